"""Layerwright: package walls for a shelf life at least cost or weight.

    import optimizer
    project = optimizer.load_project("bottle.yaml")
    print(optimizer.predict(project).shelf_life_days)

Importing this package loads nothing heavy; each function loads what it needs when it is called.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimizer.project import Project
    from optimizer.results import CheckResult, DesignResult, PredictResult
    from optimizer.results_answer import Answer
    from optimizer.results_compare import CompareResult
    from optimizer.results_explain import ExplainResult
    from optimizer.results_tradeoff import TradeoffResult

    __version__: str

__all__ = [
    "__version__",
    "check",
    "compare",
    "design",
    "explain",
    "load_project",
    "predict",
    "solve_design",
    "tradeoff",
    "write_report",
    "write_workbook",
]


def __getattr__(name: str) -> Any:
    # The version is read on demand: the metadata machinery costs more than the whole help text.
    if name == "__version__":
        from importlib.metadata import PackageNotFoundError, version

        try:
            return version("layerwright")
        except PackageNotFoundError:
            return "0+unknown"
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


def load_project(path: str | Path) -> Project:
    """Project of the file at ``path``, checked. Raises InputError with every problem found."""
    from optimizer.project import load_project as load

    return load(path)


def predict(
    project: Project | str | Path,
    *,
    samples: int | None = None,
    seed: int | None = None,
    progress: Callable[[str], None] | None = None,
) -> PredictResult:
    """How long the package of ``project`` (or of the file at that path) lasts, and what ends it.

    samples: also how uncertain that is, from so many samples, rounded up to a power of two; seed: of their
    draw. With only one of the two the other is that of the project; with neither nothing is drawn. progress:
    called with one line of text now and then.
    """
    from optimizer.uncertainty.asked import Asked
    from optimizer.uncertainty.predicted import predicted

    project = _loaded(project)
    return predicted(
        project.case,
        Asked(samples, seed),
        version=_version(),
        inputs_sha256=project.sha256,
        say=progress,
    )


def solve_design(
    project: Project | str | Path,
    *,
    time_limit: float | None = None,
    gap: float | None = None,
    progress: Callable[[str], None] | None = None,
    stop: Callable[[], bool] | None = None,
    memory_limit: float | None = None,
    confidence: float | None = None,
) -> DesignResult:
    """Cheapest, lightest or thinnest structure that meets the project's limits and rules, with a proof.

    time_limit [s]; gap: share of the objective within which the proof may stop [-]; progress: called with one
    line of text now and then. stop: asked again and again; once it says True, or more than memory_limit
    [bytes] is in use, the best so far is returned with what is proved of it. confidence [-]: least chance of
    passing, by default that under ``uncertainty`` of the project, if any. Raises InputError when the project
    has no ``design`` section, and for a gap, a limit or a confidence that makes no sense.
    """
    from optimizer.errors import InputError, Problem
    from optimizer.uncertainty.asked import Search

    Search(gap, time_limit, memory_limit, confidence).refuse_nonsense()
    project = _loaded(project)
    options = project.design
    if options is None:
        hint = "add design: {walls: [...], minimise: cost, choose_from: [...]}"
        raise InputError(Problem("the project has no design section", str(project.path), hint=hint))
    from optimizer.design.solve import solve_design as run  # only now: it loads the solver
    from optimizer.report.layers import weighed

    extra = {} if gap is None else {"gap": gap}
    result = run(
        project.case,
        options,
        time_limit=time_limit,
        progress=progress,
        stop=stop,
        memory_limit=memory_limit,
        confidence=confidence,
        version=_version(),
        inputs_sha256=project.sha256,
        **extra,
    )
    return weighed(result, project.case.package, options.candidates)


def design(project: Project | str | Path, **options: Any) -> DesignResult:
    """The same as ``solve_design``, with its options.

    ``optimizer.design`` is also the folder with the search: the name works as a function before and after
    that is loaded.
    """
    return solve_design(project, **options)


design.__wrapped__ = solve_design  # type: ignore[attr-defined]  # for those who ask for its options


def check(
    project: Project | str | Path,
    against: Project | str | Path,
    *,
    confidence: float | None = None,
    samples: int | None = None,
    seed: int | None = None,
    progress: Callable[[str], None] | None = None,
) -> CheckResult:
    """How the package of ``project`` stands against that of ``against``, and the lightest that passes.

    confidence [-]: the least probability of passing that counts as passing, also for the lightest; by default
    that under ``uncertainty`` of the project, if any. samples, seed: of the draw, those of the project unless
    given. With none of these nothing is drawn. progress: called with one line of text now and then.
    """
    from optimizer.uncertainty.asked import Asked
    from optimizer.uncertainty.checked import checked

    project, against = _loaded(project), _loaded(against)
    return checked(
        project.case,
        against.case,
        Asked(samples, seed, confidence),
        version=_version(),
        inputs_sha256=project.sha256,
        baseline_sha256=against.sha256,
        designed=() if project.design is None else project.design.walls,
        say=progress,
    )


def compare(
    project: Project | str | Path,
    offers: str | Path,
    *,
    volume: float | None = None,
    rates: str | Sequence[str] = (),
    time_limit: float | None = None,
    gap: float | None = None,
    progress: Callable[[str], None] | None = None,
) -> CompareResult:
    """Which offer of the sheet (CSV or .xlsx) is the better buy at equal shelf life.

    Each offer is optimised anew under the ``design`` section of the project. volume: packages per year;
    rates: exchange rates such as 'USD=0.92 EUR'; time_limit [s] for all offers together; gap: share of the
    objective within which each proof may stop [-]. Raises InputError with every problem of the sheet or of
    these numbers.
    """
    from optimizer.project.offers import load_offers
    from optimizer.uncertainty.asked import Search

    Search(gap, time_limit, volume=volume).refuse_nonsense()
    project = _loaded(project)
    loaded = load_offers(project, offers, (rates,) if isinstance(rates, str) else rates)
    from optimizer.design.compare import compare_offers  # only now: it loads the solver
    from optimizer.design.optimise import DEFAULT_GAP

    return compare_offers(
        loaded.contenders,
        volume=volume,
        time_limit=time_limit,
        gap=DEFAULT_GAP if gap is None else gap,
        rates=loaded.rates,
        progress=progress,
        version=_version(),
        inputs_sha256=loaded.sha256,
    )


def tradeoff(
    project: Project | str | Path,
    *,
    points: int | None = None,
    start: float | None = None,
    end: float | None = None,
    minimise: str | None = None,
    time_limit: float | None = None,
    gap: float | None = None,
    progress: Callable[[str], None] | None = None,
    stop: Callable[[], bool] | None = None,
    memory_limit: float | None = None,
) -> TradeoffResult:
    """Frontier of shelf life against cost, mass or thickness: the best structure for each of ``points`` (20)
    shelf lives from ``start`` to ``end`` [s], each proved, and where the structure changes.

    Without start and end: from a third of the target to twice it, or to the longest that is possible.
    minimise: cost, mass or thickness; the project's own unless given. time_limit [s] for all together; gap,
    progress, stop and memory_limit [bytes] as in ``solve_design``. Raises InputError when the project has no
    ``design`` section, no limit that depends on time, or no prices for the cost, and for numbers that make
    no sense.
    """
    from optimizer.project.objective import with_objective
    from optimizer.uncertainty.asked import Search

    Search(gap, time_limit, memory_limit, None, points, start, end).refuse_nonsense()
    project = _loaded(project)
    options = with_objective(project, minimise)
    from optimizer.design.optimise import DEFAULT_GAP  # only now: it loads the solver
    from optimizer.design.tradeoff import POINTS
    from optimizer.design.tradeoff import tradeoff as run

    return run(
        project.case,
        options,
        points=POINTS if points is None else points,
        gap=DEFAULT_GAP if gap is None else gap,
        start=start,
        end=end,
        time_limit=time_limit,
        progress=progress,
        stop=stop,
        memory_limit=memory_limit,
        version=_version(),
        inputs_sha256=project.sha256,
    )


def explain(project: Project | str | Path, *, limit: str | None = None) -> ExplainResult:
    """The case worked by hand, step by step, for one ``limit`` (the first one reached unless given).

    Raises InputError for a limit that the project does not have.
    """
    from dataclasses import replace

    from optimizer.errors import InputError
    from optimizer.project.given_shapes import shapes_of
    from optimizer.shelflife.worked import explain as run

    project = _loaded(project)
    try:
        return run(
            project.case,
            limit=limit,
            shapes=shapes_of(project),
            version=_version(),
            inputs_sha256=project.sha256,
        )
    except InputError as error:
        raise InputError([replace(p, file=p.file or str(project.path)) for p in error.problems]) from None


def write_report(
    answer: Answer,
    path: str | Path,
    *,
    project: Project | str | Path | None = None,
    baseline: Project | str | Path | None = None,
    units: str = "si",
) -> None:
    """Write an answer as a report: one HTML file to look at and to print, as ``--report`` does.

    project, of ``check`` also the baseline: what the answer is about, for pictures of meshes. units: si or
    us. Raises TypeError for an answer of no command with a report.
    """
    from optimizer.files import now, write_atomically
    from optimizer.report.answers import Behind, report_of
    from optimizer.units.systems import system

    behind = Behind(
        None if project is None else _loaded(project), None if baseline is None else _loaded(baseline)
    )
    write_atomically(Path(path), report_of(answer, behind, system(units), now()))


def write_workbook(answer: Answer, path: str | Path) -> None:
    """Write every table of an answer as a workbook (.xlsx), as ``--excel`` does.

    Raises TypeError for an answer of no command with tables.
    """
    from optimizer.files import now, write_atomically
    from optimizer.report.answers import workbook_of

    write_atomically(Path(path), workbook_of(answer, now()))


def _loaded(project: Project | str | Path) -> Project:
    if isinstance(project, str | Path):
        return load_project(project)
    if not hasattr(project, "case"):
        raise TypeError(f"give a project or the path of its file, not {type(project).__name__}")
    return project


def _version() -> str:
    return str(__getattr__("__version__"))
