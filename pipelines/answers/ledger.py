"""What became of stated chances, for a terminal and for machines; and that an answer's are kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

import pandas as pd

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.trust.ledger import Ledger, Litters, Record
from studcurve.analytics.wording.ledger import LedgerWording
from studcurve.pipelines.answers.answer import Answer, TextTable
from studcurve.pipelines.plan.forecasts import Kept
from studcurve.reports.sections.ledger import ledger_annex, method_of, result_of
from studcurve.reports.words import Words

MOST_LINES = 20
"""Stated chances that a terminal lists; machines get all."""

_HIDDEN = frozenset({"is_settled", "breeding_id", "known_load_id"})
"""Columns of the list that nobody needs."""


def ledger_answer(wording: LedgerWording, words: Words) -> Answer:
    """The sentences, the tables behind them, and the latest chances."""
    rows = wording.ledger.rows
    tables = [
        TextTable(tuple(column.heading for column in one.table.columns), one.table.rows)
        for one in ledger_annex(wording, words)
        if one.table is not None
    ]
    if not rows.empty:
        tables.append(_list(rows.head(MOST_LINES), words))
    return Answer(
        tuple(words.tell(one) for paragraph in wording.paragraphs for one in paragraph),
        tuple(tables),
        (words["ledger.lead"],),
        {"ledger": ledger_values(wording.ledger), "forecasts": _rows(rows)},
    )


def with_ledger(answer: Answer, wording: LedgerWording, words: Words) -> Answer:
    """An answer that also says whether earlier chances were right."""
    return replace(
        answer,
        sentences=(*answer.sentences, *(words.tell(one) for one in wording.alarm)),
        values={**answer.values, "ledger": ledger_values(wording.ledger)},
    )


def with_kept(answer: Answer, kept: Kept, words: Words, more: Sequence[Sentence] = ()) -> Answer:
    """An answer that also says whether its chances were kept.

    Parameters
    ----------
    answer
        With chances.
    kept
        What became of them.
    words
        Of the reader.
    more
        What was stated and is about nothing here.
    """
    notes = tuple(words.tell(one) for one in (*more, kept.note))
    return replace(
        answer,
        remarks=(*answer.remarks, *notes),
        values={
            **answer.values,
            "forecasts": {
                "n_kept": len(kept.stated),
                "why": kept.note.key,
                "note": " ".join(notes),
                "kept": [
                    {
                        "stated_by": one.stated_by,
                        "asked_by": one.asked_by,
                        "bitch": one.bitch,
                        "method": method_of(asdict(one)),
                        "planned_at": one.planned_at,
                        "litter_prob": one.litter_prob,
                        "published_litter_prob": one.published_litter_prob,
                    }
                    for one in kept.stated
                ],
            },
        },
    )


def ledger_values(ledger: Ledger) -> dict[str, object]:
    """The sums for machines."""
    return {
        "model": _record_values(ledger.model),
        "people": None if ledger.people is None else _record_values(ledger.people),
    }


def _record_values(record: Record) -> dict[str, object]:
    return {
        "n_stated": record.n_stated,
        "n_counting": record.n_counting,
        "n_known": record.n_known,
        "n_settled": record.n_settled,
        "n_missing": record.n_missing,
        "n_replayed": record.n_replayed,
        "n_older": record.n_older,
        "n_withdrawn": record.n_withdrawn,
        "litters": None if record.litters is None else _litters_values(record.litters),
        "by_semen_type": {kind: _litters_values(one) for kind, one in record.by_semen_type.items()},
        "scores": {way: asdict(one) for way, one in record.scores.items()},
        "bands": [{**asdict(band), "share": _estimate(band.share)} for band in record.bands],
        "evidence": None if record.evidence is None else asdict(record.evidence),
        "is_off": record.is_off,
        "standing_out": list(record.standing_out),
    }


def _litters_values(litters: Litters) -> dict[str, object]:
    return {
        "n": litters.n,
        "n_whelped": litters.n_whelped,
        "expected": litters.expected.median,
        "expected_lower": litters.expected.lower,
        "expected_upper": litters.expected.upper,
        "difference": litters.difference.median,
        "difference_lower": litters.difference.lower,
        "difference_upper": litters.difference.upper,
        "as_few_prob": litters.as_few_prob,
        "as_many_prob": litters.as_many_prob,
    }


def _estimate(estimate: Estimate) -> dict[str, float]:
    return {"median": estimate.median, "lower": estimate.lower, "upper": estimate.upper}


def _rows(rows: pd.DataFrame) -> list[Mapping[str, Any]]:
    """Every stated chance; what is not known is None."""
    shown = rows[[name for name in rows.columns if name not in _HIDDEN]].astype("object")
    return [
        {str(name): value for name, value in row.items()}
        for row in shown.where(shown.notna(), None).to_dict("records")
    ]


def _list(rows: pd.DataFrame, words: Words) -> TextTable:
    names = ("stated_on", "bitch", "way", "chance", "standing", "result")
    return TextTable(
        tuple(words[f"column.{name}"] for name in names),
        tuple(
            (
                words.day(row["stated_at"]),
                row["bitch"],
                words.word("way", method_of(row)),
                words.whole_percent(row["litter_prob"]),
                words.word("standing", row["standing"]),
                result_of(row, words),
            )
            for row in rows.to_dict("records")
        ),
    )
