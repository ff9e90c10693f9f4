"""An answer to its outputs: text, JSON, report, workbook. Files are written once all of them are made."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.cli.output import put, put_page
from optimizer.cli.outputs import STDOUT, Outputs
from optimizer.files import now, write_atomically

if TYPE_CHECKING:
    from optimizer.report.answers import Behind
    from optimizer.results_answer import Answer


def answer(result: Answer, outputs: Outputs, behind: Behind | None = None, *, text: bool = True) -> None:
    """Write the files that were asked for and print the page, or the JSON where it goes to standard output.

    behind: what the answer is about, for the pictures of the report. text: whether anything is printed.
    """
    from optimizer.report.answers import page_of, report_of, workbook_of
    from optimizer.report.record import to_json
    from optimizer.units.systems import system

    units, created = system(outputs.units), now()
    files: list[tuple[str, str | bytes]] = []
    if outputs.json not in (None, STDOUT):
        files.append((str(outputs.json), to_json(result)))
    if outputs.report is not None:
        files.append((outputs.report, report_of(result, behind, units, created)))
    if outputs.excel is not None:
        files.append((outputs.excel, workbook_of(result, created)))
    for name, content in files:
        write_atomically(Path(name), content)
    if text and outputs.json == STDOUT:
        put(to_json(result))
    elif text:
        put_page(page_of(result, units, behind))
