"""Why not simply regress? What regressions say that know nothing published, beside the model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.outcomes.counted import Outcome
from studcurve.analytics.outcomes.regressing import N_FOR_RIDGE, Answer, WithinBetween
from studcurve.analytics.outcomes.regressions import Regressions
from studcurve.analytics.outcomes.summary import ExposureOutcome
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.trust.checking import N_FOR_CHALLENGER
from studcurve.analytics.wording.outcomes import scaled
from studcurve.reports.page import Section, Table, columns
from studcurve.reports.words import Words

SCALE = {"litter": (100.0, 0), "size": (1.0, 1)}
"""Of a difference as it is shown, and its decimals: points, or pups."""


def regressed_annex(
    found: Sequence[Regressions],
    summaries: Sequence[ExposureOutcome],
    model_score: Mapping[str, float],
    words: Words,
) -> tuple[Section, ...]:
    """The same difference by every way, how each predicts, and within and between studs.

    Parameters
    ----------
    found
        Of litters, and of their size.
    summaries
        What the model says of the same.
    model_score
        Log loss and Brier score of the model's own chances of the same breedings; may be empty.
    words
        Of the reader.
    """
    sections = (
        _differences(found, summaries, words),
        _scores(found, model_score, words),
        _studs(found, words),
    )
    return tuple(section for section in sections if section is not None)


def regressed_curves(
    found: Sequence[Regressions], exposure: str, words: Words
) -> dict[Outcome, pd.DataFrame]:
    """Mean prediction of each way along an exposure, by outcome; as the picture shows it.

    Parameters
    ----------
    found
        Of litters, and of their size.
    exposure
        One of the four.
    words
        Of the reader.
    """
    curves = {}
    for of_outcome in found:
        one = of_outcome.exposures.get(exposure)
        rows = [
            (x, words.word("regressed_by", way), SCALE[of_outcome.outcome][0] * value)
            for way, answer in (one.ways.items() if one is not None else ())
            for x, value in zip(one.grid if one is not None else (), answer.curve, strict=False)
            if value is not None
        ]
        if rows:
            curves[of_outcome.outcome] = pd.DataFrame(rows, columns=["x", "way", "median"])
    return curves


def _differences(
    found: Sequence[Regressions], summaries: Sequence[ExposureOutcome], words: Words
) -> Section | None:
    ours = {(one.outcome, one.exposure): one.loss for one in summaries}
    rows: list[tuple[str, ...]] = []
    for of_outcome in found:
        for exposure, one in of_outcome.exposures.items():
            head = words.word("exposed_to", exposure), words.word("outcome_of", of_outcome.outcome)
            for way, answer in one.ways.items():
                if _is_too_early(answer):
                    continue
                rows.append(
                    (
                        *head,
                        words.word("regressed_by", way),
                        _told(answer.difference, of_outcome.outcome, words),
                        words.number(answer.n_read),
                        words.number(_left_out(answer)),
                    )
                )
            loss = ours.get((of_outcome.outcome, exposure))
            if loss is not None:
                rows += [
                    (*head, words[f"legend.{source}"],
                     _told(estimate, of_outcome.outcome, words), words.number(loss.n), "–")
                    for source, estimate in (
                        ("published", loss.published), ("together", loss.together)
                    )
                ]  # fmt: skip
    if not rows:
        return None
    heading = words["regressed.heading"]
    names = ["exposure", "outcome_of", "regressed_by", "difference_at_best", "n_read", "n_left_out"]
    texts = {"exposure", "outcome_of", "regressed_by"}
    table = Table(heading, columns(words, names, texts_in=texts), tuple(rows))
    lead = words.say("regressed.lead", ridge=N_FOR_RIDGE, boosting=N_FOR_CHALLENGER)
    return Section("regressed", heading, lead, table=table)


def _is_too_early(answer: Answer) -> bool:
    """Whether a way is asked only of more results; the lead says of how many."""
    why = answer.difference
    return isinstance(why, Sentence) and why.key == "regress.few_known"


def _left_out(answer: Answer) -> int:
    return answer.n_missing + answer.n_separated + answer.n_lone


def _told(difference: Estimate | float | Sentence, outcome: str, words: Words) -> str:
    """A difference with its range, a point alone, or why there is none."""
    if isinstance(difference, Sentence):
        return words.tell(difference)
    scale, decimals = SCALE[outcome]
    if isinstance(difference, Estimate):
        return words.signed(scaled(difference, scale), decimals)
    return words.number(scale * difference, decimals, signed=True)


def _scores(
    found: Sequence[Regressions], model_score: Mapping[str, float], words: Words
) -> Section | None:
    predicted = next((one.predicted for one in found if one.predicted is not None), None)
    if predicted is None:
        return None
    rows: list[tuple[str, ...]] = [
        (
            words.word("regressed_by", way),
            words.number(predicted.log_loss[way], 3),
            words.number(predicted.brier[way], 3),
        )
        for way in predicted.ways
    ]
    if model_score:
        scores = (words.number(model_score[name], 3) for name in ("log_loss", "brier"))
        rows.append((words["predictor.model"], *scores))
    heading = words["regressed.scores_heading"]
    names = ["predicted_by", "log_loss", "brier"]
    table = Table(heading, columns(words, names, texts_in={"predicted_by"}), tuple(rows))
    return Section("regressed-scores", heading, words["regressed.scores_lead"], table=table)


def _studs(found: Sequence[Regressions], words: Words) -> Section | None:
    rows = [
        (
            words.word("exposed_to", exposure),
            words.word("outcome_of", of_outcome.outcome),
            words.word("step_of", exposure),
            *(
                _told(part, of_outcome.outcome, words)
                for part in (one.studs.within, one.studs.between)
            ),
            words.number(one.studs.n_studs),
        )
        for of_outcome in found
        for exposure, one in of_outcome.exposures.items()
        if isinstance(one.studs, WithinBetween)
    ]
    if not rows:
        return None
    heading = words["regressed.studs_heading"]
    names = ["exposure", "outcome_of", "step", "within_studs", "between_studs", "studs"]
    texts = {"exposure", "outcome_of", "step"}
    table = Table(heading, columns(words, names, texts_in=texts), tuple(rows))
    return Section("regressed-studs", heading, words["regressed.studs_lead"], table=table)
