"""Was it right: stated chances of a litter, sentence, picture and list."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from studcurve.analytics.trust.ledger import Band, Ledger, Record
from studcurve.analytics.wording.ledger import LedgerWording
from studcurve.reports.charts.ledger import calibration
from studcurve.reports.page import Section, Table, columns
from studcurve.reports.words import Words

MOST_ROWS = 60
"""Stated chances that a page lists; machines get all."""


def ledger_section(wording: LedgerWording, words: Words) -> Section | None:
    """The sentences, the picture once there are enough, and the list; None without a chance."""
    rows = wording.ledger.rows
    if rows.empty:
        return None
    bands = wording.ledger.model.bands
    charts: tuple[tuple[str, dict[str, Any]], ...] = ()
    if bands:
        spoken = words.say("ledger.bands_spoken", n=len(bands))
        charts = ((spoken, calibration(_points(bands), words)),)
    return Section(
        "ledger",
        words["ledger.heading"],
        words["ledger.lead"],
        paragraphs=(
            *(" ".join(words.tell(one) for one in paragraph) for paragraph in wording.paragraphs),
            *((words["ledger.bands_lead"],) if bands else ()),
            words.say("ledger.list_lead", n=len(rows), shown=min(len(rows), MOST_ROWS)),
        ),
        charts=charts,
        table=_list(rows.head(MOST_ROWS), words),
        is_table_folded=True,
    )


def ledger_annex(wording: LedgerWording, words: Words) -> tuple[Section, ...]:
    """The tables behind the sentences; what there is nothing of is left out."""
    found = (
        _scores(wording.ledger, words),
        _kinds(wording.ledger, words),
        _bands(wording.ledger, words),
    )
    return tuple(section for section in found if section is not None)


def method_of(row: Mapping[Any, Any]) -> str:
    """The way of a row of the view ``forecasts``, as the catalog's list ``way`` knows it."""
    where = "mating" if row["semen_type"] == "natural" else row["route"]
    return f"{row['semen_type']} {where} {'once' if row['n_inseminations'] == 1 else 'twice'}"


def result_of(row: Mapping[Any, Any], words: Words) -> str:
    """What came of it; a dash where that is not known or not of one stud."""
    if pd.isna(row["whelped"]):
        return "–"
    return words.word("outcome", "whelped" if row["whelped"] else "no litter")


def _list(rows: pd.DataFrame, words: Words) -> Table:
    names = [
        "stated_on", "stated_by", "stud", "bitch", "way", "planned_on", "stated_chance",
        "published_chance", "standing", "result",
    ]  # fmt: skip
    texts = {"stated_on", "stated_by", "stud", "bitch", "way", "planned_on", "standing", "result"}
    return Table(
        words["ledger.list_heading"],
        columns(words, names, texts_in=texts),
        tuple(
            (
                words.day(row["stated_at"]),
                words.word("stated_by", row["stated_by"]),
                row["stud"],
                row["bitch"],
                words.word("way", method_of(row)),
                words.day(row["planned_at"]),
                _chance(row, words),
                words.number(100 * row["published_litter_prob"]),
                words.word("standing", row["standing"]),
                result_of(row, words),
            )
            for row in rows.to_dict("records")
        ),
    )


def _chance(row: Mapping[Any, Any], words: Words) -> str:
    """The chance that was printed, with its range where draws are behind it."""
    chance = words.whole_percent(row["litter_prob"])
    if pd.isna(row["litter_prob_lower"]):
        return chance
    ends = words.interval(100 * row["litter_prob_lower"], 100 * row["litter_prob_upper"])
    return f"{chance} ({ends})"


def _records(ledger: Ledger) -> dict[str, Record]:
    return {"model": ledger.model} | ({"person": ledger.people} if ledger.people else {})


def _scores(ledger: Ledger, words: Words) -> Section | None:
    rows = [
        (
            words.word("stated_by", by) if way == "stated" else f"– {words[f'predictor.{way}']}",
            words.number(one.log_score, 3),
            "–"
            if way == "stated"
            else f"{words.number(one.log_score_gain, 3, signed=True)} ± "
            f"{words.number(one.log_score_gain_se, 3)}",
            words.number(one.brier, 3),
            "–"
            if way == "stated"
            else f"{words.number(one.brier_gain, 3, signed=True)} ± "
            f"{words.number(one.brier_gain_se, 3)}",
        )
        for by, record in _records(ledger).items()
        for way, one in record.scores.items()
    ]
    if not rows:
        return None
    heading = words["ledger.scores_heading"]
    names = ["predicted_by", "log_score", "log_gain", "brier", "brier_gain"]
    table = Table(heading, columns(words, names, texts_in={"predicted_by"}), tuple(rows))
    return Section("ledger-scores", heading, words["check.lead_predicted"], table=table)


def _kinds(ledger: Ledger, words: Words) -> Section | None:
    rows = tuple(
        (
            words.word("semen", kind),
            words.number(one.n),
            f"{words.number(one.expected.median, 1)} "
            f"({words.interval(one.expected.lower, one.expected.upper)})",
            words.number(one.n_whelped),
            words.signed(one.difference, 1),
        )
        for kind, one in ledger.model.by_semen_type.items()
    )
    if not rows:
        return None
    heading = words["ledger.kinds_heading"]
    names = ["semen", "n_counted", "litters_expected", "litters_came", "litters_difference"]
    table = Table(heading, columns(words, names, texts_in={"semen"}), rows)
    return Section("ledger-kinds", heading, table=table)


def _bands(ledger: Ledger, words: Words) -> Section | None:
    bands = ledger.model.bands
    if not bands:
        return None
    rows = tuple(
        (
            words.say("ledger.band", lowest=band.lowest, highest=band.highest),
            words.number(band.n),
            words.number(100 * band.stated),
            words.percent(band.share),
        )
        for band in bands
    )
    heading = words["ledger.bands_heading"]
    names = ["band", "n_counted", "mean_chance", "litter_share"]
    table = Table(heading, columns(words, names, texts_in={"band"}), rows)
    return Section("ledger-bands", heading, words["ledger.bands_lead"], table=table)


def _points(bands: tuple[Band, ...]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "stated": 100 * band.stated,
            "median": 100 * band.share.median,
            "lower": 100 * band.share.lower,
            "upper": 100 * band.share.upper,
            "n": band.n,
        }
        for band in bands
    )
