"""What could the results that nobody reported do to a share of litters?

Bounds, not guesses: if none, or every one, of the open results were a litter. A bitch that was
scanned and not pregnant cannot have whelped of that breeding: without a report she counts as empty
at both ends. One that was scanned pregnant stays open, since a pregnancy can be lost after the
scan; so does one that nobody scanned.

Does not know: a scan that was wrong (priors r05), which the conception model does.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from studcurve.analytics.sentences import Sentence, sentence


@dataclass(frozen=True, slots=True)
class MissingOutcomes:
    """What the outcomes that were never reported could do to a share of litters.

    Attributes
    ----------
    n_breedings, n_litters, n_missing
        All, those that gave a litter, and those without a reported outcome.
    n_scanned_empty
        Of the missing, those whose scan has settled that there was no litter.
    share, lowest_share, highest_share
        Of the known; of all if none, or every one, of the open gave a litter. NaN for none.
    """

    n_breedings: int
    n_litters: int
    n_missing: int
    n_scanned_empty: int
    share: float
    lowest_share: float
    highest_share: float

    @property
    def n_known(self) -> int:
        """Breedings with a reported outcome."""
        return self.n_breedings - self.n_missing


def scanned_empty(*missing: MissingOutcomes) -> Sentence | str:
    """How many of the results that were never reported a scan has settled; nothing for none."""
    n = sum(one.n_scanned_empty for one in missing)
    return sentence("answer.scanned_empty", n=n) if n else ""


def missing_outcomes(bred: pd.DataFrame) -> MissingOutcomes:
    """Share of litters among the known, and at both extremes of what is open.

    Parameters
    ----------
    bred
        Rows of the view ``breedings``; ``whelped`` and ``pregnant`` are read.
    """
    # By way of nullable types: a column in which nothing is known holds no true and no false.
    whelped, pregnant = (bred[column].astype("boolean") for column in ("whelped", "pregnant"))
    n, n_litters, n_missing = len(bred), int(whelped.sum()), int(whelped.isna().sum())
    n_scanned_empty = int((whelped.isna() & ~pregnant.fillna(True)).sum())
    n_known = n - n_missing
    return MissingOutcomes(
        n,
        n_litters,
        n_missing,
        n_scanned_empty,
        n_litters / n_known if n_known else float("nan"),
        n_litters / n if n else float("nan"),
        (n_litters + n_missing - n_scanned_empty) / n if n else float("nan"),
    )


def survives_missing(first: MissingOutcomes, second: MissingOutcomes) -> bool:
    """Whether the missing outcomes, at either extreme, leave the same one of two shares higher."""
    lowest = first.lowest_share - second.highest_share
    highest = first.highest_share - second.lowest_share
    return bool(lowest * highest > 0)
