"""Reading of option values; standard library only, so that help stays quick."""

from __future__ import annotations

import math
import re

_SECONDS = {
    "": 1.0,
    "s": 1.0,
    "sec": 1.0,
    "second": 1.0,
    "min": 60.0,
    "minute": 60.0,
    "h": 3600.0,
    "hour": 3600.0,
}
_BYTES = {"kb": 1e3, "mb": 1e6, "gb": 1e9, "tb": 1e12, "kib": 2**10, "mib": 2**20, "gib": 2**30, "tib": 2**40}
_NUMBER = re.compile(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*([A-Za-z%]*)\s*")


def read_seconds(text: str) -> float:
    """'30', '30 s', '2 min', '1 h' to seconds. Raises ValueError with a message for the user."""
    match = _NUMBER.fullmatch(text)
    unit = match[2].lower() if match else ""
    factor = _SECONDS.get(unit, _SECONDS.get(unit.removesuffix("s")))
    if match is None or factor is None:
        raise ValueError(f"{text!r} is not a time; write seconds, or for example '30 s', '2 min', '1 h'")
    seconds = float(match[1]) * factor
    if not 0.0 < seconds < math.inf:
        raise ValueError("the time must be more than 0")
    return seconds


def read_bytes(text: str) -> float:
    """'4 GB', '500 MB', '2 GiB' to bytes. A bare number is refused. Raises ValueError."""
    match = _NUMBER.fullmatch(text)
    factor = _BYTES.get(match[2].lower()) if match else None
    if match is None or factor is None:
        raise ValueError(f"{text!r} is not a size of memory; write for example '4 GB' or '500 MB'")
    if float(match[1]) <= 0.0:
        raise ValueError("the memory must be more than 0")
    return float(match[1]) * factor


def read_share(text: str) -> float:
    """'0.1 %' to 0.001. A bare number is refused: 0.1 could mean either. Raises ValueError."""
    match = _NUMBER.fullmatch(text)
    if match is None or match[2] != "%":
        raise ValueError(f"{text!r} is not a percentage; write for example '0.1 %'")
    share = float(match[1]) / 100.0
    if not 0.0 <= share < 1.0:
        raise ValueError("the percentage must lie from 0 % to below 100 %")
    return share


def read_confidence(text: str) -> float:
    """'95 %' to 0.95. A bare number is refused: 0.95 could mean either. Raises ValueError."""
    match = _NUMBER.fullmatch(text)
    if match is None or match[2] != "%":
        raise ValueError(f"{text!r} is not a percentage; write for example '95 %'")
    share = float(match[1]) / 100.0
    if not 0.5 < share < 1.0:
        raise ValueError("the confidence must lie above 50 % and below 100 %")
    return share


def read_volume(text: str) -> float:
    """'2000000', '2 000 000', '2e6' to packages per year. Raises ValueError."""
    plain = re.sub(r"(?<=\d)[ _](?=\d{3}(?!\d))", "", text.strip())
    if not re.fullmatch(r"\d+(\.\d*)?([eE]\+?\d{1,3})?", plain):
        raise ValueError(f"{text!r} is not a number of packages; write for example 2000000")
    if not 0.0 < float(plain) < math.inf:
        raise ValueError("the number of packages must be more than 0")
    return float(plain)
