"""The stud review: what one stud's samples and breedings say, and how surely."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from analytics.cautions import Caution, day, stopped_answers
from analytics.estimate import Estimate
from analytics.vocabulary import VOCABULARY
from reports.catalog import texts
from reports.charts import chance_by_semen_type, readings_over_time
from reports.page import Column, Figure, Report, Table

COMMONLY_USED_TOTAL_M = 300.0
"""A total that is often asked of a stud; drawn, never a pass mark. [10⁶]

300 to 2,000 M: University of Minnesota teaching case (M); breeds and sizes differ."""

COMMONLY_USED_MOTILITY_PCT = 70.0
"""Progressive motility that is often asked of a stud; consensus of several guides (M). [%]"""

EVENT_CHARACTERS = 24
"""Longest name of an event in a picture; the table of events has it whole."""

EVENT_APART_DAYS = 60
"""Events nearer than this would print over each other. [d]"""


@dataclass(frozen=True, slots=True)
class SemenTypeChance:
    """Chance of a litter of one semen type, three ways.

    Attributes
    ----------
    semen_type
        As in the views.
    n_known, n_whelped
        Breedings with a known outcome, and litters among them.
    own
        Share with its exact interval; None without a known outcome. [0 to 1]
    published, together
        Mean chance of the same breedings before and after the records. [0 to 1]
    share_from_records
        Share of the last that the records supply, 0 to 1.
    """

    semen_type: str
    n_known: int
    n_whelped: int
    own: Estimate | None
    published: Estimate
    together: Estimate
    share_from_records: float


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One row of the chain, before and after the records. [logit]"""

    words: str
    published: Estimate
    together: Estimate
    share_from_records: float
    mark: str


@dataclass(frozen=True, slots=True)
class StudResults:
    """Everything the page shows, finished.

    Attributes
    ----------
    stud, facts
        Call name; breed, birth and the like in one line.
    cautions
        What must be said first.
    answer
        Sentences.
    readings
        Raw samples of this stud with measures and intervals (``with_measures``).
    events
        The view's rows of this stud.
    chances
        By semen type; empty without a fit.
    coefficients
        Rows of the chain; empty without a fit.
    method, sources, provenance
        As on every page.
    today
        Day of the page.
    """

    stud: str
    facts: str
    cautions: tuple[Caution, ...]
    answer: tuple[str, ...]
    readings: pd.DataFrame
    events: pd.DataFrame
    chances: tuple[SemenTypeChance, ...]
    coefficients: tuple[Coefficient, ...]
    method: tuple[str, ...]
    sources: tuple[str, ...]
    provenance: str
    today: date


def build_stud_review(results: StudResults, language: str = "en") -> Report:
    """Lay out the review of one stud.

    A caution that stops the conception answer keeps its pictures, tables and sentences out of the
    page altogether; counts and readings, being records, stay.
    """
    t = texts(language)
    figures = [_total(results, t), _motility(results, t)]
    if "conception" not in stopped_answers(results.cautions) and results.chances:
        figures += [_chances(results.chances, t), _coefficients(results.coefficients, t)]
    if not results.events.empty:
        figures.append(_events(results.events, t))
    return Report(
        kind=t["stud_review"],
        title=results.stud,
        subtitle=results.facts,
        cautions=results.cautions,
        answer=results.answer,
        figures=tuple(figures),
        links=(),
        method=results.method,
        sources=results.sources,
        provenance=results.provenance,
        language=language,
    )


def _total(results: StudResults, t: Mapping[str, str]) -> Figure:
    """Total sperm over time."""
    quantity = VOCABULARY["total_sperm_m"]
    counted = results.readings[results.readings["total_sperm_m"] > 0]
    chart = readings_over_time(
        _points(counted, "total_sperm_m", "total_sperm_m_low", "total_sperm_m_high", t),
        _event_marks(results.events),
        value_title=f"{quantity.label} ({quantity.unit})",
        commonly_used=COMMONLY_USED_TOTAL_M,
        log_scale=True,
        t=t,
    )
    shown = results.readings.sort_values("collected_earliest", ascending=False)
    rows = tuple(
        (
            day(row["collected_earliest"]),
            number(row["sexual_rest_days"]),
            number(row["volume_ml"], 1),
            number(row["concentration_m_per_ml"]),
            number(row["total_sperm_m"]),
            interval(row["total_sperm_m_low"], row["total_sperm_m_high"]),
            number(row["progressive_motility_pct"]),
            number(row["normal_morphology_pct"]),
            text(row["observer"], t),
        )
        for row in shown.to_dict("records")
    )
    columns = tuple(
        Column(t[f"column_{name}"], name not in ("date", "observer"))
        for name in (
            "date", "rest", "volume", "concentration", "total", "interval", "motility", "normal",
            "observer",
        )
    )  # fmt: skip
    spoken = t["spoken_readings"].format(n=len(counted), what=quantity.label)
    table = Table(t["total_title"], columns, rows)
    lead = f"{t['total_lead']} {t['commonly_used_total']}"
    return Figure("total", t["total_title"], lead, chart, spoken, table)


def _motility(results: StudResults, t: Mapping[str, str]) -> Figure:
    """Share moving forward over time."""
    read = results.readings[results.readings["progressive_motility_pct"].notna()]
    chart = readings_over_time(
        _points(read, "progressive_motility_pct", "motility_low_pct", "motility_high_pct", t),
        _event_marks(results.events),
        value_title=t["axis_motility"],
        commonly_used=COMMONLY_USED_MOTILITY_PCT,
        log_scale=False,
        t=t,
    )
    rows = tuple(
        (
            text(observer, t),
            str(len(group)),
            number(group["progressive_motility_pct"].median()),
            interval(
                group["progressive_motility_pct"].min(), group["progressive_motility_pct"].max()
            ),
            f"{day(group['collected_earliest'].min())} – {day(group['collected_earliest'].max())}",
        )
        for observer, group in read.fillna({"observer": ""}).groupby("observer")
    )
    columns = (
        Column(t["column_observer"]),
        Column(t["column_samples"], True),
        Column(t["column_median"], True),
        Column(t["column_range"], True),
        Column(t["column_period"]),
    )
    spoken = t["spoken_readings"].format(n=len(read), what=t["axis_motility"])
    table = Table(t["motility_title"], columns, rows)
    lead = f"{t['motility_lead']} {t['commonly_used_motility']}"
    return Figure("motility", t["motility_title"], lead, chart, spoken, table)


def _chances(chances: Sequence[SemenTypeChance], t: Mapping[str, str]) -> Figure:
    """Chance of a litter by semen type, three ways."""
    marks: list[dict[str, str | float]] = []
    for chance in chances:
        share = t["share_note"].format(share=round(100 * chance.share_from_records))
        known = t["known_note"].format(n=chance.n_known)
        for source, estimate, note in (
            (t["published"], chance.published, ""),
            (t["own"], chance.own, known),
            (t["together"], chance.together, share),
        ):
            if estimate is not None:
                marks.append(
                    {
                        "semen": chance.semen_type,
                        "source": source,
                        "median_pct": 100 * estimate.median,
                        "lower_pct": 100 * estimate.lower,
                        "upper_pct": 100 * estimate.upper,
                        "note": note,
                    }
                )
    rows = tuple(
        (
            chance.semen_type,
            str(chance.n_known),
            str(chance.n_whelped),
            percent(chance.own),
            percent(chance.published),
            percent(chance.together),
            str(round(100 * chance.share_from_records)),
        )
        for chance in chances
    )
    columns = tuple(
        Column(t[f"column_{name}"], name != "semen")
        for name in ("semen", "known", "whelped", "own", "published", "together", "share")
    )
    spoken = t["spoken_chances"].format(types=", ".join(chance.semen_type for chance in chances))
    chart = chance_by_semen_type(pd.DataFrame(marks), t)
    table = Table(t["conception_title"], columns, rows)
    return Figure("chances", t["conception_title"], t["conception_lead"], chart, spoken, table)


def _coefficients(coefficients: Sequence[Coefficient], t: Mapping[str, str]) -> Figure:
    """Every row of the chain as a table."""
    rows = tuple(
        (
            coefficient.words,
            signed(coefficient.published),
            signed(coefficient.together),
            str(round(100 * coefficient.share_from_records)),
            coefficient.mark,
        )
        for coefficient in coefficients
    )
    columns = (
        Column(t["column_what"]),
        Column(t["column_published_logit"], True),
        Column(t["column_together_logit"], True),
        Column(t["column_share"], True),
        Column(t["column_mark"]),
    )
    table = Table(t["coefficients_title"], columns, rows)
    lead = t["coefficients_lead"]
    return Figure("coefficients", t["coefficients_title"], lead, None, "", table)


def _events(events: pd.DataFrame, t: Mapping[str, str]) -> Figure:
    """What happened to the dog, as recorded."""
    rows = tuple(
        (
            day(event["started_on"]),
            "–" if pd.isna(event["until_on"]) else day(event["until_on"]),
            str(event["kind"]),
            "–" if pd.isna(event["drug_class"]) else str(event["drug_class"]),
            "–" if pd.isna(event["text"]) else str(event["text"]),
        )
        for event in events.sort_values("started_on").to_dict("records")
    )
    columns = tuple(
        Column(t[f"column_{name}"]) for name in ("from", "until", "event", "drug", "notes")
    )
    table = Table(t["events_title"], columns, rows)
    return Figure("events", t["events_title"], t["events_lead"], None, "", table)


def _points(
    rows: pd.DataFrame, value: str, low: str, high: str, t: Mapping[str, str]
) -> pd.DataFrame:
    """Plain columns of a time chart."""
    counted = rows["count_method" if value == "total_sperm_m" else "motility_method"]
    return pd.DataFrame(
        {
            "on": rows["collected_earliest"].dt.strftime("%Y-%m-%d"),
            "value": rows[value].astype(float),
            "low": rows[low].astype(float),
            "high": rows[high].astype(float),
            "observer": [text(observer, t) for observer in rows["observer"]],
            "how": [text(how, t) for how in counted],
        }
    )


def _event_marks(events: pd.DataFrame) -> pd.DataFrame:
    """Events as labelled days; what follows within a few weeks shares the first one's label."""
    marks: list[dict[str, str]] = []
    last: pd.Timestamp | None = None
    for event in events.sort_values("started_on").to_dict("records"):
        on, kind = pd.Timestamp(event["started_on"]), str(event["kind"])[:EVENT_CHARACTERS]
        if last is not None and (on - last).days <= EVENT_APART_DAYS:
            marks[-1]["label"] += f", {kind}"
            continue
        marks.append({"on": f"{on:%Y-%m-%d}", "label": kind})
        last = on
    return pd.DataFrame(marks, columns=["on", "label"])


def text(value: object, t: Mapping[str, str]) -> str:
    """A recorded word, or that it was not recorded."""
    return t["not_recorded"] if value is None or value != value or value == "" else str(value)


def number(value: float, decimals: int = 0) -> str:
    """A number with as many decimals as it deserves; a dash where there is none."""
    return "–" if pd.isna(value) else f"{float(value):,.{decimals}f}"


def interval(low: float, high: float) -> str:
    """Two ends of an interval."""
    return "–" if pd.isna(low) or pd.isna(high) else f"{low:,.0f}–{high:,.0f}"


def percent(estimate: Estimate | None) -> str:
    """A share with its interval, in percent."""
    if estimate is None:
        return "–"
    ends = f"{100 * estimate.lower:.0f}–{100 * estimate.upper:.0f}"
    return f"{100 * estimate.median:.0f} ({ends})"


def signed(estimate: Estimate) -> str:
    """A log odds ratio with its interval; true minus signs."""
    shown = f"{estimate.median:+.2f} ({estimate.lower:+.2f} to {estimate.upper:+.2f})"
    return shown.replace("-", "−")
