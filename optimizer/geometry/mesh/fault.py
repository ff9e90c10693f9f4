"""What is wrong with a mesh file, said by the reader of its format; ``files.read`` adds the file's name."""

from __future__ import annotations

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
