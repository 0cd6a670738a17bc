"""Findings in words: what is wrong and what to do, from the name and the values of each rule."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from studcurve.analytics.sentences import Value, sentence, values_kept
from studcurve.reports.words import Words


def with_texts(findings: pd.DataFrame, words: Words) -> pd.DataFrame:
    """Put findings into words.

    Parameters
    ----------
    findings
        Rows of the view of that name.
    words
        Of the reader.

    Returns
    -------
    DataFrame
        The same rows, with ``message`` (what came and what was wanted), ``remedy`` (what to do) and
        ``sentence`` (both, after file and line) in the reader's language.
    """
    texts = [_texts(row, words) for row in findings.to_dict("records")]
    messages = [text for text, _ in texts]
    remedies = [text for _, text in texts]
    places = zip(findings["file"], findings["line"], texts, strict=True)
    return findings.assign(
        message=pd.Series(messages, findings.index, dtype=object),
        remedy=pd.Series(remedies, findings.index, dtype=object),
        sentence=pd.Series(
            [
                words.say(
                    "finding.sentence", file=file, line=str(line), message=message, remedy=remedy
                )
                for file, line, (message, remedy) in places
            ],
            findings.index,
            dtype=object,
        ),
    )


def _texts(row: Mapping[Hashable, Any], words: Words) -> tuple[str, str]:
    """What a rule found and advises.

    A finding of an older file that kept no values, or of a rule that is no more, has the words it
    was kept with; one without any is shown by the name of its rule.
    """
    wanted, remedy = (f"rule.{row['rule']}.{part}" for part in ("wanted", "remedy"))
    if pd.isna(row["rule_values"]) or wanted not in words.texts:
        if not pd.isna(row["message"]):
            return str(row["message"]), str(row["remedy"])
        return _message(row, str(row["rule"]), words), words["finding.rule_of_old"]
    values = values_kept(str(row["rule_values"]))
    return _message(row, sentence(wanted, **values), words), words.say(remedy, **values)


def _message(row: Mapping[Hashable, Any], wanted: Value, words: Words) -> str:
    heading, cell = str(row["column_heading"]), row["text"]
    if pd.isna(cell):
        return words.say("finding.blank", heading=heading, wanted=wanted)
    return words.say("finding.cell", heading=heading, wanted=wanted, cell=str(cell))
