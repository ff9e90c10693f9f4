"""Numbers in the lines of a text file: all at once where every line is right, else line by line to say which
is wrong."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.geometry.mesh.fault import MeshFault
from optimizer.geometry.mesh.model import Vertices

#: Vertex numbers beyond this are damage.
MOST_VERTICES = 2**31


def parsed(text: bytes, kind: type[Any]) -> NDArray[Any] | None:
    """All numbers of a text, ``kind`` float or int; None where a word is not a number of that kind."""
    if not text.strip():
        return np.empty(0, dtype=kind)
    if b"\0" in text:  # the parser would stop here without a word
        return None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # before numpy 2.3 a word that is no number only warns
            return np.fromstring(text, dtype=kind, sep=" ")
    except (ValueError, DeprecationWarning):
        return None


def word_counts(lines: Sequence[bytes]) -> NDArray[np.int64]:
    """(n,) words in each line."""
    return np.fromiter(map(len, map(bytes.split, lines)), dtype=np.int64, count=len(lines))


def points(lines: Sequence[bytes], at: Sequence[int], columns: Sequence[int] = (0, 1, 2)) -> Vertices:
    """(n, 3) positions from the words ``columns`` of each line; ``at``: its number in the file."""
    if not len(lines):
        return np.empty((0, 3))
    counts = word_counts(lines)
    short = np.flatnonzero(counts <= max(columns))
    if short.size:
        k = int(short[0])
        raise MeshFault(f"a vertex has {counts[k]} numbers, {max(columns) + 1} are needed", line=at[k])
    if (counts == counts[0]).all():
        table = parsed(b" ".join(lines), float)
        if table is not None and len(table) == counts.sum():
            return table.reshape(-1, counts[0])[:, list(columns)]
    return np.array([_point(line, number, columns) for line, number in zip(lines, at, strict=True)])


def _point(line: bytes, number: int, columns: Sequence[int]) -> list[float]:
    words = line.split()
    chosen = [words[c] for c in columns]
    try:
        if b"_" in line:  # Python's own grouping of digits, not a number in a mesh file
            raise ValueError
        return [float(word) for word in chosen]
    except ValueError:
        raise MeshFault(f"'{shown(b' '.join(chosen))}' are not three numbers", line=number) from None


def shown(text: bytes) -> str:
    """A piece of a file as it can be printed in a message."""
    cleaned = "".join(c if c.isprintable() else "?" for c in text.decode("utf-8", "replace"))
    return cleaned if len(cleaned) <= 40 else cleaned[:37] + "..."


def integer(word: bytes, number: int) -> int:
    """A vertex number or a count of corners."""
    try:
        if b"_" in word:
            raise ValueError
        value = int(word)
    except ValueError:
        raise MeshFault(f"'{shown(word)}' is not a vertex number", line=number) from None
    if abs(value) > MOST_VERTICES:
        raise MeshFault(f"a face names vertex {value}, which is not in the file", line=number)
    return value


def counted_polygons(
    lines: Sequence[bytes], at: Sequence[int], skip: int = 0
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Corners of all faces in one row, and (m,) corners of each face.

    Each line: ``skip`` words, the number of corners, the corners; what follows is passed over.
    """
    words = word_counts(lines)
    if len(lines) and (words == words[0]).all() and words[0] > skip + 1:
        table = parsed(b" ".join(lines), np.int64)
        if table is not None and len(table) == words.sum():
            rows = table.reshape(-1, words[0])
            n = int(rows[0, skip])
            if (rows[:, skip] == n).all() and 3 <= n <= words[0] - skip - 1:
                return rows[:, skip + 1 : skip + 1 + n].ravel(), np.full(len(rows), n)
    corners: list[int] = []
    counts: list[int] = []
    for line, number in zip(lines, at, strict=True):
        row = line.split()[skip:]
        n = integer(row[0], number) if row else 0
        if n < 3:
            raise MeshFault(f"a face has {n} corners, at least 3 are needed", line=number)
        if len(row) < n + 1:
            raise MeshFault(f"a face of {n} corners names only {len(row) - 1}", line=number)
        corners.extend(integer(word, number) for word in row[1 : n + 1])
        counts.append(n)
    return np.array(corners, dtype=np.int64), np.array(counts, dtype=np.int64)


def filled(data: bytes, comment: bytes = b"#") -> tuple[list[bytes], list[int]]:
    """The lines that say something, comments cut off, and their numbers from 1."""
    lines = data.splitlines()
    if comment in data:
        lines = [line.partition(comment)[0] for line in lines]
    at = [k for k, line in enumerate(lines, start=1) if line and not line.isspace()]
    return [lines[k - 1] for k in at], at
