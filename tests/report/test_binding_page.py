"""What holds a design, as text."""

from __future__ import annotations

from dataclasses import replace

from optimizer.report.design import design_page
from optimizer.results import Binding, ChosenLayer

from .samples import DESIGNED

ROWS = (
    Binding(
        "oxygen_gain", "10 % looser limit", 0.0012, "EUR/package",
        saves_least=0.00119, saves_most=0.00121, tighter="10 % tighter limit", costs=0.0014,
        structure={"bottle": (ChosenLayer("HDPE", 400.0), ChosenLayer("EVOH 32", 5.0))},
    ),
    Binding("shelf life", "1 month less", 0.0005, "EUR/package", saves_least=0.0004, saves_most=0.0009),
    Binding("smallest gauge of tie PE", "1 um less", 0.0003, "EUR/package", note="order kept"),
)  # fmt: skip


def page(rows: tuple[Binding, ...], *notes: str) -> str:
    result = replace(DESIGNED, binding=rows, binding_notes=notes)
    return " ".join(design_page(result).text().split())


def test_savings_costs_and_another_order_are_shown() -> None:
    text = page(ROWS)
    assert "oxygen gain 10 % looser limit 0.0012 EUR/package" in text
    assert "oxygen gain 10 % tighter limit 0.0014 EUR/package" in text
    assert "oxygen gain, 10 % looser limit: HDPE 400 / EVOH 32 5" in text
    assert "smallest gauge of tie PE: order kept" in text


def test_a_saving_whose_proof_is_open_above_is_given_as_at_least_what_is_proved() -> None:
    text = page(ROWS)
    assert "shelf life 1 month less >= 0.0004 EUR/package" in text
    assert ">= 0.0012" not in text


def test_notes_are_shown_also_without_any_row() -> None:
    text = page((), "Not looked at in the time: oxygen_gain.")
    assert "What holds the optimum Not looked at in the time: oxygen gain." in text
    assert "What holds the optimum" not in page(())
    assert "tightened by" in page(ROWS) and "tightened by" not in page(ROWS[1:])
