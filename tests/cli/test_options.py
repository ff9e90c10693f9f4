"""Option values in the words of their users."""

from __future__ import annotations

import pytest

from optimizer.cli.options import read_seconds, read_share


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("30", 30),
        ("30 s", 30),
        ("30s", 30),
        ("0.5 min", 30),
        ("2 minutes", 120),
        ("1 h", 3600),
        (" 1 hour ", 3600),
    ],
)
def test_times_are_read(text: str, seconds: float) -> None:
    assert read_seconds(text) == seconds


@pytest.mark.parametrize("text", ["", "soon", "-3", "0", "3 weeks", "1e3", "nan", "inf", "3,5", "30 %"])
def test_other_texts_are_no_time(text: str) -> None:
    with pytest.raises(ValueError):
        read_seconds(text)


def test_a_percentage_needs_its_sign() -> None:
    assert read_share("0.1 %") == pytest.approx(0.001)
    assert read_share("0%") == 0.0
    for text in ("0.1", "100 %", "-1 %", "0.1 mm"):
        with pytest.raises(ValueError):
            read_share(text)
