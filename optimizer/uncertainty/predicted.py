"""``predict`` with samples: the answer with the properties as given, and how uncertain it is."""

from __future__ import annotations

from dataclasses import replace

from optimizer.results import PredictResult
from optimizer.shelflife.package import Case
from optimizer.shelflife.predict import predict
from optimizer.uncertainty.asked import Asked, Counting, Say, warnings_of
from optimizer.uncertainty.run import Simulator, assess


def predicted(
    case: Case,
    asked: Asked,
    *,
    version: str = "",
    inputs_sha256: str = "",
    say: Say | None = None,
    simulate: Simulator | None = None,
) -> PredictResult:
    """As ``shelflife.predict``; where samples are asked for with ``uncertainty``.

    The walls of the samples are simulated as those of the prediction. With a confidence under ``uncertainty``
    of the project, ``passes`` needs that probability too.

    simulate: None for ``simulate_samples``. Raises InputError for what cannot be asked for."""
    asked.refuse_nonsense(case.target)
    result = predict(case, version=version, inputs_sha256=inputs_sha256, say=say)
    if not asked:
        wanted = case.uncertainty.confidence
        if wanted is None:
            return result
        note = (
            f"The project asks for a confidence of {100.0 * wanted:g} %; without samples this is not judged, "
            "see --samples"
        )
        return replace(result, warnings=(*result.warnings, note))
    counting = Counting(say or _quiet)
    found = assess(
        case,
        samples=asked.samples,
        seed=asked.seed,
        wall=result.wall_model,
        simulate=simulate or counting.simulate,
        progress=counting.progress,
    )
    confidence = asked.confidence_for(case)
    close = warnings_of(case, confidence, found.probability, found.probability_error or 0.0)
    return replace(
        result,
        passes=result.passes and enough(found.probability, confidence),
        uncertainty=found,
        confidence_asked=confidence,
        warnings=(*result.warnings, *close),
    )


def enough(probability: float | None, confidence: float | None) -> bool:
    """Whether the probability of passing reaches the confidence asked for, if any."""
    return confidence is None or (probability is not None and probability >= confidence)


def _quiet(text: str) -> None:
    pass
