"""Body of ``--projects``: a command over a folder of project files."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimizer.cli.guard import BROKEN, DONE, FAILED, INTERRUPTED, WRONG_INPUT
from optimizer.cli.output import deliver, put
from optimizer.cli.outputs import STDOUT, Outputs
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
    Outputs(json).check(*_named_like_projects(json, csv), others=(("--csv", csv),))
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
    if csv not in (None, STDOUT):
        write_atomically(Path(str(csv)), portfolio_csv(portfolio))
    if csv == STDOUT:
        if json is not None:
            write_atomically(Path(json), portfolio_json(portfolio))
        put(portfolio_csv(portfolio))
    else:
        deliver(portfolio_page(portfolio, units=system(units)), portfolio_json(portfolio), json)
    return _status(portfolio)


def _named_like_projects(*targets: str | None) -> list[str]:
    """Files that are there and could be one of the projects: nothing is written over them."""
    endings = (".yaml", ".yml", ".xlsx", ".xlsm")
    return [t for t in targets if t is not None and t.lower().endswith(endings) and Path(t).exists()]


def _status(portfolio: Portfolio) -> int:
    if portfolio.count("failed"):
        return BROKEN
    if portfolio.count("input error"):
        return WRONG_INPUT
    return DONE if portfolio.passing == len(portfolio.rows) else FAILED
