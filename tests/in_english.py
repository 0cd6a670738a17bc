"""Findings as an English reader is told them."""

from studcurve.reports.findings import with_texts
from studcurve.reports.words import Words


def in_english(findings):
    """Findings with what is wrong and what to do."""
    return with_texts(findings, Words("en"))
