"""What distinguishes one order of layers from another, in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher

from optimizer.shelflife.words import listed

_NUMBERS = {1: "one", 2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}


def difference(before: Mapping[str, Sequence[str]], after: Mapping[str, Sequence[str]]) -> str:
    """'EVOH 32 replaced by PVDC; tie PE added; one layer more', from the materials of every wall, inside to
    outside; the wall is named where there are several."""
    texts = []
    for wall, old in before.items():
        text = of_wall(old, after[wall])
        if text:
            texts.append(f"{wall}: {text}" if len(before) > 1 else text)
    return "; ".join(texts)


def of_wall(before: Sequence[str], after: Sequence[str]) -> str:
    """The same for one wall; '' where nothing differs."""
    if list(before) == list(after):
        return ""
    gone, new = Counter(before) - Counter(after), Counter(after) - Counter(before)
    order = f"order {' / '.join(after)}"
    if not gone and not new:
        return f"the same layers in another {order}"
    steps = _in_place(before, after)
    if sum((old for old, _ in steps), Counter()) == gone:
        words = [_step(old, new) for old, new in steps]
    else:  # layers that stay have moved as well
        words = [_step(gone, new), f"in the {order}"]
    counted = Counter(words)
    texts = [word if n == 1 else f"{word} ({_number(n)} times)" for word, n in counted.items()]
    more = len(after) - len(before)
    if more:
        noun = "layer" if abs(more) == 1 else "layers"
        texts.append(f"{_number(abs(more))} {noun} {'more' if more > 0 else 'less'}")
    return "; ".join(texts)


def _in_place(before: Sequence[str], after: Sequence[str]) -> list[tuple[Counter[str], Counter[str]]]:
    """Materials taken out and put in at each place where the two differ."""
    codes = SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
    return [(Counter(before[i:j]), Counter(after[k:m])) for kind, i, j, k, m in codes if kind != "equal"]


def _step(gone: Counter[str], new: Counter[str]) -> str:
    if not new:
        return f"{_many(gone)} left out"
    return f"{_many(gone)} replaced by {_many(new)}" if gone else f"{_many(new)} added"


def _many(materials: Counter[str]) -> str:
    return listed([name if n == 1 else f"{_number(n)} {name}" for name, n in materials.items()])


def _number(n: int) -> str:
    return _NUMBERS.get(n, str(n))
