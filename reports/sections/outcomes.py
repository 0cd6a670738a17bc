"""What motility, concentration, hours and day went with: sentences, pictures, tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.outcomes.counted import Band, Outcome, Side
from studcurve.analytics.outcomes.methods import MethodOutcome
from studcurve.analytics.outcomes.standardised import Curve
from studcurve.analytics.outcomes.summary import ExposureOutcome
from studcurve.analytics.sentences import Word
from studcurve.analytics.wording.outcomes import OutcomesWording, fact, scaled
from studcurve.reports.charts.outcomes import outcome_along
from studcurve.reports.page import Section, Table, columns
from studcurve.reports.words import Words

SCALE = {"litter": 100.0, "size": 1.0}
"""Of an outcome as it is shown: percent, or pups."""

NO_CURVE = pd.DataFrame(columns=["x", "way", "median"])

LARGEST_SHOWN = 6.0
"""Pups to which the axis of litter size reaches at least."""


def exposure_section(
    wording: OutcomesWording,
    exposure: str,
    words: Words,
    *,
    is_first: bool,
    has_marks: bool,
    regressed: Mapping[Outcome, pd.DataFrame],
) -> Section:
    """Both outcomes of one exposure: its sentences, a picture each, and the bands.

    Parameters
    ----------
    wording
        What is told of all four.
    exposure
        Which.
    words
        Of the reader.
    is_first
        Whether its pictures are the first on the page, and it says how to read them.
    has_marks
        Whether single breedings are drawn.
    regressed
        Curves of regressions by outcome.
    """
    pairs = wording.of(exposure)
    pictures = [
        (
            _spoken(one, words, has_marks=has_marks),
            _picture(
                one,
                words,
                regressed.get(one.outcome, NO_CURVE),
                has_marks=has_marks,
                is_fitted=one.outcome in wording.fitted,
            ),
        )
        for one, _ in pairs
        if (has_marks and one.counts.marks) or one.curve is not None
    ]
    rows = tuple(
        row
        for one, _ in pairs
        for row in _bands(one, words, is_fitted=one.outcome in wording.fitted)
    )
    # What holds of both outcomes alike is said once.
    paragraphs = dict.fromkeys(
        " ".join(words.tell(part) for part in paragraph) for _, paragraph in pairs
    )
    names = [
        "outcome_of", "values_between", "n_bred", "known", "came", "observed_rate",
        "curve_published", "curve_together",
    ]  # fmt: skip
    heading = words[f"outcomes.heading_{exposure}"]
    return Section(
        f"outcomes-{exposure}",
        heading,
        words[f"outcomes.lead_{exposure}"],
        paragraphs=(
            *paragraphs,
            *(
                (_how_to_read(wording, words, has_marks=has_marks, has_regressed=bool(regressed)),)
                if pictures and is_first
                else ()
            ),
        ),
        charts=tuple(pictures),
        table=Table(heading, columns(words, names, texts_in={"outcome_of", "values_between"}), rows)
        if rows
        else None,
    )


def methods_section(methods: Sequence[MethodOutcome], words: Words) -> Section | None:
    """The same bitches with each semen type; None where fewer than two were used."""
    if not methods:
        return None
    rows = tuple(
        (
            words.word("semen", one.semen_type),
            words.number(one.n_known),
            words.percent(one.own),
            words.percent(one.same_bitches),
            "–" if one.difference is None else words.signed(_in_points(one.difference), 0),
            "–" if one.fewer_prob is None else words.whole_percent(one.fewer_prob),
        )
        for one in methods
    )
    names = ["semen", "known", "observed_rate", "same_bitches", "beside_reference", "fewer_prob"]
    reference = next(one.semen_type for one in methods if one.difference is None)
    heading = words["methods.heading"]
    return Section(
        "same-bitches",
        heading,
        words.say("methods.lead", reference=Word("semen", reference)),
        table=Table(heading, columns(words, names, texts_in={"semen"}), rows),
    )


def _in_points(share: Estimate) -> Estimate:
    return Estimate(100 * share.median, 100 * share.lower, 100 * share.upper)


def outcomes_section(wording: OutcomesWording, words: Words) -> Section | None:
    """One line for each of the eight questions; None where nothing is on record."""
    told = zip(wording.summaries, wording.verdicts, strict=True)
    asked = [(one, verdict) for one, verdict in told if one.standing != "not_asked"]
    if not asked:
        return None
    rows = tuple(
        (
            words.word("exposed_to", one.exposure),
            words.word("outcome_of", one.outcome),
            _rate(one.counts.poor, one, words),
            _rate(one.counts.usual, one, words),
            _signed(one.loss.published if one.loss else None, one, words),
            _signed(
                one.loss.together if one.loss and one.outcome in wording.fitted else None,
                one,
                words,
            ),
            words.tell(verdict),
        )
        for one, verdict in asked
    )
    names = [
        "exposure", "outcome_of", "poor_side", "usual_side", "published_loss", "together_loss",
        "verdict",
    ]  # fmt: skip
    texts = {"exposure", "outcome_of", "verdict"}
    heading = words["outcomes.overview_heading"]
    facts = [words.tell(counted) for one, _ in asked if (counted := fact(one)) is not None]
    return Section(
        "exposures",
        heading,
        words.say("outcomes.overview_lead", kind=words["outcomes.kind"]),
        paragraphs=(
            " ".join(words.tell(part) for part in wording.answer),
            *((" ".join(facts),) if facts else ()),
        ),
        table=Table(
            words["outcomes.verdicts_heading"], columns(words, names, texts_in=texts), rows
        ),
        is_table_folded=True,
    )


def _how_to_read(
    wording: OutcomesWording, words: Words, *, has_marks: bool, has_regressed: bool
) -> str:
    """What marks, points, lines and ribbon of the pictures are."""
    line = "both" if wording.fitted else "published"
    parts = [*(["marks"] if has_marks else []), "points", line]
    parts += ["regressed"] if has_regressed else []
    return " ".join(words[f"outcomes.picture_{part}"] for part in parts)


def _spoken(one: ExposureOutcome, words: Words, *, has_marks: bool) -> str:
    return words.say(
        f"outcomes.picture_{one.outcome}{'' if has_marks else '_without_marks'}",
        exposure=words[f"outcomes.of_{one.exposure}"],
        n=len(one.counts.marks),
    )


def _picture(
    one: ExposureOutcome,
    words: Words,
    regressed: pd.DataFrame,
    *,
    has_marks: bool,
    is_fitted: bool,
) -> dict[str, Any]:
    scale = SCALE[one.outcome]
    marks, bands = _marks(one, words, has_marks=has_marks), _points(one, scale)
    curve = _curve(one, scale, is_fitted=is_fitted)
    highest = 100.0
    if one.outcome == "size":
        tops = [marks["y"].max(), bands["upper"].max(), curve["upper"].max(), LARGEST_SHOWN]
        highest = float(np.ceil(np.nanmax(np.array(tops, dtype=np.float64))))
    return outcome_along(
        curve,
        bands,
        marks,
        regressed,
        x_title=words[f"axis.exposure_{one.exposure}"],
        y_title=words["axis.chance" if one.outcome == "litter" else "axis.pups_born"],
        log_scale=one.exposure == "concentration",
        highest=highest,
        digits=".0f" if one.outcome == "litter" else ".1f",
        words=words,
    )


def _marks(one: ExposureOutcome, words: Words, *, has_marks: bool) -> pd.DataFrame:
    """Single breedings: litters above the axis and missed ones below, or at their pups."""
    rows = []
    for mark in one.counts.marks if has_marks else ():
        at = mark.outcome if one.outcome == "size" else (106.0 if mark.outcome else -6.0)
        came = (
            words.number(mark.outcome)
            if one.outcome == "size"
            else words.word("outcome", "whelped" if mark.outcome else "no litter")
        )
        rows.append({"x": mark.value, "y": at, "about": f"{words.number(mark.value, 1)}: {came}"})
    return pd.DataFrame(rows, columns=["x", "y", "about"])


def _points(one: ExposureOutcome, scale: float) -> pd.DataFrame:
    rows = [
        {
            "x": band.middle,
            "median": scale * band.side.rate.median,
            "lower": scale * max(0.0, band.side.rate.lower),
            "upper": scale * band.side.rate.upper,
            "n": band.side.n_known,
        }
        for band in one.counts.bands
        if band.side.rate is not None
    ]
    return pd.DataFrame(rows, columns=["x", "median", "lower", "upper", "n"])


def _curve(one: ExposureOutcome, scale: float, *, is_fitted: bool) -> pd.DataFrame:
    """Both curves of an outcome; before a fit there is none of the records."""
    names = ["x", "source", "median", "lower", "upper", "is_recorded"]
    if one.curve is None:
        return pd.DataFrame(columns=names)
    recorded = [mark.value for mark in one.counts.marks]
    low, high = (min(recorded), max(recorded)) if recorded else (np.inf, -np.inf)
    rows = [
        (x, source, scale * at.median, scale * at.lower, scale * at.upper, low <= x <= high)
        for source, estimates in (
            ("published", one.curve.published),
            ("together", one.curve.together if is_fitted else ()),
        )
        for x, at in zip(one.curve.positions, estimates, strict=bool(estimates))
    ]
    return pd.DataFrame(rows, columns=names)


def _bands(one: ExposureOutcome, words: Words, *, is_fitted: bool) -> list[tuple[str, ...]]:
    return [
        (
            words.word("outcome_of", one.outcome),
            _band(band, words),
            words.number(band.side.n_bred),
            words.number(band.side.n_known),
            words.number(band.side.total),
            _rate(band.side, one, words),
            _read(one, "published", band.middle, words),
            _read(one, "together", band.middle, words) if is_fitted else "–",
        )
        for band in one.counts.bands
    ]


def _band(band: Band, words: Words) -> str:
    lower, upper = words.number(band.lower), words.number(band.upper)
    if not np.isfinite(band.lower):
        return words.say("outcomes.band_below", upper=upper)
    if not np.isfinite(band.upper):
        return words.say("outcomes.band_from", lower=lower)
    return words.say("outcomes.band", lower=lower, upper=upper)


def _rate(side: Side, one: ExposureOutcome, words: Words) -> str:
    """Share or mean with its interval; of few breedings how many they are."""
    if side.rate is None:
        return words.say("outcomes.too_few", known=side.n_known) if side.n_known else "–"
    return _stated(side.rate, one, words)


def _stated(estimate: Estimate, one: ExposureOutcome, words: Words) -> str:
    scale, decimals = SCALE[one.outcome], 0 if one.outcome == "litter" else 1
    ends = words.interval(scale * estimate.lower, scale * estimate.upper, decimals)
    return f"{words.number(scale * estimate.median, decimals)} ({ends})"


def _signed(estimate: Estimate | None, one: ExposureOutcome, words: Words) -> str:
    if estimate is None:
        return "–"
    scale, decimals = SCALE[one.outcome], 0 if one.outcome == "litter" else 1
    return words.signed(scaled(estimate, scale), decimals)


def _read(one: ExposureOutcome, source: str, x: float, words: Words) -> str:
    """What the curve says at a value; beyond what was studied an interval without a middle."""
    curve = one.curve
    if curve is None:
        return "–"
    median, lower, upper = along(curve, source, x)
    if curve.positions[0] <= x <= curve.positions[-1]:
        return _stated(Estimate(median, lower, upper), one, words)
    scale, decimals = SCALE[one.outcome], 0 if one.outcome == "litter" else 1
    return words.interval(scale * lower, scale * upper, decimals)


def along(curve: Curve, source: str, x: float) -> tuple[float, float, float]:
    """Middle and ends of a curve at a value, straight between its positions and level beyond."""
    estimates = curve.published if source == "published" else curve.together
    ends = [(one.median, one.lower, one.upper) for one in estimates]
    median, lower, upper = (
        float(np.interp(x, curve.positions, part)) for part in zip(*ends, strict=True)
    )
    return median, lower, upper
