"""Warnings about materials in few lines: one for each material, gases with the same caution together.

Texts that are not known here are kept as they are, so nothing is lost; the JSON answer keeps every text.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence

from optimizer.constants import PERMEANTS
from optimizer.report.wording import listed

_GAS = "|".join(PERMEANTS)
#: 'O2: ' or 'O2 ' at the start of a text.
_FIRST_GAS = re.compile(rf"({_GAS}):? ")
_BASELINE = "(baseline) "
#: How a text about one gas is shortened, in the order of the line. {gases}: those that share the rest;
#: {gases: what}: each with its own value.
_SHORTER: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(rf"(?P<gas>{_GAS}):? {text}"), short)
    for text, short in (
        (r"value from memory, confirm it", "{gases} value from memory"),
        (r"estimated value \((?P<what>.*)\)", "{gases} value estimated ({what})"),
        (
            r"evaluated between the sources \((?P<what>.*)\)",
            "{gases} value evaluated between sources ({what})",
        ),
        (r"geometric mean of a printed range", "{gases} value the middle of a printed range"),
        (
            r"humidity of the test not given, taken as dry",
            "humidity of the {gases} test unknown, taken as dry",
        ),
        (r"activation energy (?P<what>from memory|estimated)", "activation energy of {gases} {what}"),
        (r"activation energy assumed, (?P<what>.*)", "activation energy of {gases: what} assumed"),
        (
            r"humidity response flat below (?P<what>.*) %RH, the driest measured",
            "{gases} flat below {what} %RH",
        ),
        (
            r"humidity response flat above (?P<what>.*) %RH, the wettest measured",
            "{gases} flat above {what} %RH",
        ),
        (
            r"one permeability at all humidities although the material responds to humidity",
            "one {gases} value for all humidities",
        ),
        (
            r"known at (?P<what>.*) %RH only although the material responds to humidity; held constant",
            "{gases} known at {what} %RH only, held constant",
        ),
        (
            r"permeability was measured at (?P<what>.*?)(?: deg[CF])?; storage at (?P<used>.*) is more "
            r"than (?:10 K|18 degF) outside, so it rests on the activation energy",
            "{gases} measured at {what}, used at {used}",
        ),
        (r"diffusivity: value from memory, confirm it", "diffusivity of {gases} from memory"),
        (
            r"diffusivity: activation energy assumed, (?P<what>.*)",
            "diffusion energy of {gases: what} assumed",
        ),
    )
)
_FLAT = re.compile(r"(.*) flat below (\S+) %RH; \1 flat above (\S+) %RH")


def gathered(
    texts: Iterable[str], materials: Collection[str], gases: Collection[str] = PERMEANTS
) -> list[str]:
    """Texts about a material ('HDPE: O2: ...') joined into one for each; the others stand first.

    Those about gases that are not asked for are counted, not shown.
    """
    alone: list[str] = []
    joined: dict[str, list[str]] = {}
    elsewhere = 0
    for text in dict.fromkeys(texts):
        before = text.startswith(_BASELINE)
        material, colon, rest = text.removeprefix(_BASELINE).partition(": ")
        if not colon or material not in materials:
            alone.append(text)
            continue
        gas = _FIRST_GAS.match(rest)
        if gas and gas[1] not in gases:
            elsewhere += 1
            continue
        joined.setdefault(f"{_BASELINE}{material}" if before else material, []).append(rest)
    found = alone + [f"{subject}: {'; '.join(shortened(rest))}" for subject, rest in joined.items()]
    if elsewhere:
        found.append(f"{elsewhere} more, of gases that no limit follows, in the JSON answer")
    return found


def shortened(texts: Sequence[str]) -> list[str]:
    """The cautions of one material: 'O2 and H2O value estimated', 'O2 measured at 23, used at 38 degC'."""
    known: dict[tuple[int, str], list[str]] = {}
    other: list[str] = []
    for text in texts:
        for place, (pattern, short) in enumerate(_SHORTER):
            match = pattern.fullmatch(text)
            if match:
                what, gas = match.groupdict().get("what", ""), match["gas"]
                own = short.replace("{gases: what}", "{gases}")
                phrase = own.replace("{what}", what).replace("{used}", match.groupdict().get("used", ""))
                known.setdefault((place, phrase), []).append(gas if own == short else f"{gas} ({what})")
                break
        else:
            other.append(text)
    parts = [
        phrase.replace("{gases}", listed(list(dict.fromkeys(found))))
        for (_, phrase), found in sorted(known.items(), key=lambda item: item[0][0])
    ]
    return _joined([*other, *parts])


def _joined(parts: Sequence[str]) -> list[str]:
    """Both ends of a flat humidity response in one."""
    found: list[str] = []
    for part in parts:
        both = _FLAT.fullmatch(f"{found[-1]}; {part}") if found else None
        if both:
            found[-1] = f"{both[1]} flat below {both[2]} and above {both[3]} %RH"
        else:
            found.append(part)
    return found
