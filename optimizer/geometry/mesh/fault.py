"""What is wrong with a mesh file, said by the reader of its format; ``files.read`` adds the file's name."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

DAMAGED = "the file is cut off or damaged: copy or export it again"


class MeshFault(Exception):
    """A file that cannot be used. ``line`` counts from 1 and is 0 where no line is known."""

    def __init__(self, message: str, hint: str = DAMAGED, *, line: int = 0) -> None:
        super().__init__(message)
        self.message, self.hint, self.line = message, hint, line


def several(count: int, thing: str) -> str:
    """A count with its noun: 1 face, 12 faces."""
    plural = thing[:-2] + "ices" if thing.endswith("ex") else thing + "s"
    return f"{count} {thing if count == 1 else plural}"


@contextmanager
def decoding() -> Iterator[None]:
    """Whatever the mesh library fails with is told as a fault of the file."""
    try:
        with np.errstate(invalid="ignore"):  # numbers that are none are refused later
            yield
    except MemoryError:
        raise
    except Exception as error:  # of many kinds
        reason = " ".join(str(error).split())[:80] or type(error).__name__
        raise MeshFault(f"cannot be decoded ({reason})") from None
