"""What the kennel's own records supply of a number, printed the same everywhere."""

from __future__ import annotations

from studcurve.analytics.estimate import RecordsWeight
from studcurve.reports.words import Words


def weight_cells(weight: RecordsWeight, words: Words) -> tuple[str, str]:
    """Two cells, of the columns ``share`` and ``shift``: share in percent, shift in sds."""
    return words.number(100 * weight.share), words.number(weight.shift_sds, 1, signed=True)


def share_note(weight: RecordsWeight, words: Words) -> str:
    """The same as a note beside a mark."""
    return words.say("review.share_note", share=weight.share, shift=weight.shift_sds)
