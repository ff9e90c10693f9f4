"""Body of ``--projects``: a command over a folder of project files."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimizer.cli.guard import BROKEN, DONE, FAILED, INTERRUPTED, WRONG_INPUT
from optimizer.cli.output import deliver
from optimizer.cli.outputs import check_target
from optimizer.files import write_atomically

if TYPE_CHECKING:
    from optimizer.report.portfolio import Portfolio


def run(
    command: str,
    projects: str,
    scheduler: str | None,
    workers: int | None,
    results: str | None,
    fresh: bool,
    csv: str | None,
    json: str | None,
    units: str,
    **options: Any,
) -> int:
    """Run, keep every answer, print the table; the status is that of the worst project."""
    check_target(json)
    check_target(csv, option="--csv")
    from optimizer.portfolio import ClusterLost, Stopped, run_portfolio
    from optimizer.report.bar import bar
    from optimizer.report.portfolio import portfolio_csv, portfolio_json, portfolio_page
    from optimizer.units.systems import system

    try:
        with bar(command) as progress:
            portfolio = run_portfolio(
                projects,
                command,
                options=options,
                scheduler=scheduler,
                workers=workers,
                results=results,
                fresh=fresh,
                progress=progress,
            )
    except Stopped as stop:
        print(f"Stopped; {stop}. The same command goes on from there.", file=sys.stderr)
        return INTERRUPTED
    except ClusterLost as lost:
        print(f"{lost}. The same command goes on from there.", file=sys.stderr)
        return BROKEN
    if csv is not None:
        write_atomically(Path(csv), portfolio_csv(portfolio))
    deliver(portfolio_page(portfolio, units=system(units)), portfolio_json(portfolio), json)
    return _status(portfolio)


def _status(portfolio: Portfolio) -> int:
    if portfolio.count("failed"):
        return BROKEN
    if portfolio.count("input error"):
        return WRONG_INPUT
    return DONE if portfolio.passing == len(portfolio.rows) else FAILED
