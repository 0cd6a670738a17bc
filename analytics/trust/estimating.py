r"""Generalized estimating equations of a table: what can be told apart, estimated, and how surely?

A logistic or log-linear mean with one correlation inside a cluster (Liang & Zeger 1986, Biometrika
73:13-22) and the errors of the sandwich, corrected for few clusters (Mancl & DeRouen 2001,
Biometrics 57:126-134). Ranges are those of Student's t on the clusters beyond one for each column.

Knows nothing of dogs: columns, a result and clusters go in.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
from scipy.optimize import linprog
from scipy.special import expit
from scipy.stats import t as student_t

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats

Mask = np.ndarray[Any, Any]
Family = Literal["logistic", "log_linear"]
Within = Literal["exchangeable", "independence"]

FEWEST_PER_COEFFICIENT = 5
"""Outcomes of the rarer kind, or counts, that each coefficient needs: Vittinghoff & McCulloch
2007, Am J Epidemiol 165:710-718 (M)."""

FEWEST_FREE_CLUSTERS = 10
"""Clusters beyond one for each coefficient, below which no error of an estimate is given. (rule)"""

SETTLED = 1e-10
"""What may be left of the equations, as a share of the sum of all columns' sizes: far inside any
error, and so little that the last digits do not hang on the machine."""

IN_ROW_SPACE = 1e-7
"""Part of a scaled row outside of the space of the rows that were read, up to which its mean can be
told."""


ALONE = 1.0 - 1e-9
"""Leverage from which a cluster alone carries a direction of the columns."""


class Readable(NamedTuple):
    """What of a table can be estimated.

    Attributes
    ----------
    separated
        Rows that a combination of columns foretells without error, shape (n,).
    lone
        Rows of a cluster that alone carries a coefficient, which has no error then, shape (n,).
    columns
        Indices of the columns of the other rows, without those that the ones before them make up.
    """

    separated: Mask
    lone: Mask
    columns: tuple[int, ...]

    @property
    def rows(self) -> Mask:
        """Rows that can be read, shape (n,)."""
        return ~(self.separated | self.lone)


class TooFew(NamedTuple):
    """Which rule a table falls short of.

    Attributes
    ----------
    of
        ``outcomes`` or ``clusters``.
    n, wanted
        As many as there are, and as would be needed.
    """

    of: Literal["outcomes", "clusters"]
    n: int
    wanted: int


@dataclass(frozen=True, slots=True)
class Equations:
    """Solved estimating equations.

    Attributes
    ----------
    family
        Logistic, or log-linear.
    columns
        Indices of the columns that have a coefficient.
    estimates, covariance
        Shape (n_kept,) and (n_kept, n_kept).
    plain_covariance
        The same as if the family's variance held and rows were independent.
    correlation
        Between two outcomes of a cluster, given the columns; 0 under independence.
    n_clusters
        Clusters that were read.
    scale, row_space
        Largest size of each column, and an orthonormal basis of the scaled rows that were read,
        shape (n_columns, rank).
    """

    family: Family
    columns: tuple[int, ...]
    estimates: Floats
    covariance: Floats
    plain_covariance: Floats
    correlation: float
    n_clusters: int
    scale: Floats
    row_space: Floats

    @property
    def errors(self) -> Floats:
        """Standard errors of the estimates, shape (n_kept,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def reach(self) -> float:
        """Half width of a range, in standard errors."""
        free = self.n_clusters - len(self.columns)
        return float(student_t.ppf(0.5 + INTERVAL_PROB / 2.0, free))

    def is_told(self, design: Floats) -> Mask:
        """Whether the mean of a row is one that the rows that were read can tell.

        Parameters
        ----------
        design
            All columns, shape (n, n_columns).
        """
        rows = design / self.scale
        outside = rows - rows @ self.row_space @ self.row_space.T
        return np.asarray(np.abs(outside).max(axis=1, initial=0.0) <= IN_ROW_SPACE)

    def means(self, design: Floats) -> Floats:
        """Chance, or mean count, of each row, shape (n,); ``design`` as for :meth:`is_told`."""
        straight = design[:, self.columns] @ self.estimates
        return np.asarray(expit(straight) if self.family == "logistic" else np.exp(straight))

    def mean_difference(self, before: Floats, after: Floats) -> Estimate:
        r"""Mean over the rows of what each is with other columns, less what it is with its own.

        With :math:`h` the mean's function, :math:`\bar\Delta = \frac1n \sum_i h(x'_i \beta) -
        h(x_i \beta)`, and its error by the delta method from the corrected sandwich.

        Parameters
        ----------
        before, after
            All columns of the same rows, twice; at least one row, shape (n, n_columns).

        Returns
        -------
        Estimate
            A difference in shares, or in counts.
        """
        means = self.means(before), self.means(after)
        slopes = [m * (1.0 - m) if self.family == "logistic" else m for m in means]
        gradient = (slopes[1] @ after[:, self.columns] - slopes[0] @ before[:, self.columns]) / len(
            before
        )
        middle = float((means[1] - means[0]).mean())
        half = self.reach * float(np.sqrt(gradient @ self.covariance @ gradient))
        limit = 1.0 if self.family == "logistic" else np.inf
        return Estimate(middle, max(middle - half, -limit), min(middle + half, limit))


def readable(
    family: Family, design: Floats, observed: Floats, cluster: np.ndarray[Any, Any]
) -> Readable:
    """Find the rows and columns of a table that have finite, separate coefficients with errors.

    Parameters
    ----------
    family
        Separation is asked of a logistic mean alone.
    design
        Shape (n, n_columns).
    observed, cluster
        0 or 1, or counts; and whose row it is, shape (n,).
    """
    separated, lone = (np.zeros(len(observed), dtype=bool) for _ in range(2))
    n_left = len(observed) + 1
    # What one rule leaves out can be what kept the other from speaking.
    while (left := np.flatnonzero(~(separated | lone))).size < n_left:
        n_left = left.size
        if family == "logistic":
            separated[left] = separated_rows(design[left], observed[left])
            left = left[~separated[left]]
        lone[left] = lone_rows(design[left], cluster[left])
    return Readable(separated, lone, independent_columns(design[left]))


def too_few(
    family: Family, observed: Floats, cluster: np.ndarray[Any, Any], n_columns: int
) -> TooFew | None:
    """Which of the two rules so many columns break; None where they break none.

    Parameters
    ----------
    family, observed, cluster
        What was read, shape (n,).
    n_columns
        Coefficients to be estimated.
    """
    n = len(observed)
    n_rarer = int(min(observed.sum(), n - observed.sum())) if family == "logistic" else n
    wanted = max(1, FEWEST_PER_COEFFICIENT * n_columns)
    if n_rarer < wanted:
        return TooFew("outcomes", n_rarer, wanted)
    n_clusters, wanted = len(np.unique(cluster)), n_columns + FEWEST_FREE_CLUSTERS
    return TooFew("clusters", n_clusters, wanted) if n_clusters < wanted else None


def estimating_equations(
    family: Family,
    design: Floats,
    observed: Floats,
    cluster: np.ndarray[Any, Any],
    *,
    columns: Sequence[int],
    within: Within = "exchangeable",
) -> Equations | None:
    """Solve the equations.

    Parameters
    ----------
    family
        Logistic, or log-linear.
    design
        All columns of the rows that are read, shape (n, n_columns).
    observed, cluster
        Result and cluster, shape (n,).
    columns
        Those of :func:`readable`.
    within
        Correlation that the equations suppose inside a cluster; errors hold under any.

    Returns
    -------
    Equations or None
        None where no solution was reached.
    """
    # Imported here: it is large, and no page that shows what was kept solves anything.
    import statsmodels.api as sm

    kept = tuple(columns)
    means = sm.families.Binomial() if family == "logistic" else sm.families.Poisson()
    structure = (
        sm.cov_struct.Exchangeable() if within == "exchangeable" else sm.cov_struct.Independence()
    )
    with warnings.catch_warnings():
        # What statsmodels warns of is read below: no convergence, or no finite number.
        warnings.simplefilter("ignore")
        model = sm.GEE(
            observed, design[:, kept], groups=cluster, family=means, cov_struct=structure
        )
        fitted = model.fit(cov_type="bias_reduced", ctol=SETTLED * np.abs(design).sum())
    estimates, covariance = np.asarray(fitted.params), np.asarray(fitted.cov_robust_bc)
    with np.errstate(invalid="ignore"):
        is_finite = np.isfinite([estimates, np.sqrt(np.diag(covariance))]).all()
    if not (fitted.converged and is_finite):
        return None
    scale = np.abs(design).max(axis=0, initial=0.0)
    scale = np.where(scale > 0.0, scale, 1.0)
    _, sizes, directions = np.linalg.svd(design / scale, full_matrices=False)
    return Equations(
        family,
        kept,
        estimates,
        covariance,
        np.asarray(fitted.cov_naive),
        float(structure.dep_params) if within == "exchangeable" else 0.0,
        len(np.unique(cluster)),
        scale,
        directions[sizes > IN_ROW_SPACE * sizes[0]].T,
    )


def separated_rows(design: Floats, outcome: Floats) -> Mask:
    """Rows whose outcome some combination of columns tells without error.

    A logistic regression has a finite maximum of its likelihood where there are none; found by the
    linear program of Konis 2007 (thesis, Oxford): a direction along which every row's outcome gets
    likelier or stays, and some row's gets likelier.

    Parameters
    ----------
    design
        Shape (n, n_columns).
    outcome
        0 or 1, shape (n,).

    Returns
    -------
    numpy.ndarray
        True or false, shape (n,).
    """
    left = np.arange(len(outcome))
    scale = np.abs(design).max(axis=0, initial=0.0)
    signed = (2.0 * outcome - 1.0)[:, None] * design / np.where(scale > 0, scale, 1.0)
    while len(left):
        rows = signed[left]
        found = linprog(-rows.sum(axis=0), A_ub=-rows, b_ub=np.zeros(len(rows)), bounds=(-1, 1))
        # The program's own tolerance is 10⁻⁷; a direction within the box moves some row by more.
        moved = rows @ np.asarray(found.x) > 1e-6
        if not moved.any():
            break
        left = left[~moved]
    return ~np.isin(np.arange(len(outcome)), left)


def lone_rows(design: Floats, cluster: np.ndarray[Any, Any]) -> Mask:
    """Rows of the clusters without which some direction of the columns would be seen nowhere.

    Such a cluster is fitted as it is, whatever came: the correction for few clusters divides by one
    less its leverage, which is nothing.

    Parameters
    ----------
    design
        Shape (n, n_columns).
    cluster
        Shape (n,).

    Returns
    -------
    numpy.ndarray
        True or false, shape (n,).
    """
    if not len(design):
        return np.zeros(0, dtype=bool)
    kept = independent_columns(design)
    scale = np.abs(design[:, kept]).max(axis=0)
    rows, _ = np.linalg.qr(design[:, kept] / scale)
    _, whose = np.unique(cluster, return_inverse=True)
    order = np.argsort(whose, kind="stable")
    starts = np.searchsorted(whose[order], np.arange(whose.max() + 1))
    products = rows[:, :, None] * rows[:, None, :]
    leverage = np.linalg.eigvalsh(np.add.reduceat(products[order], starts, axis=0))[:, -1]
    return np.asarray((leverage >= ALONE)[whose])


def independent_columns(design: Floats) -> tuple[int, ...]:
    """Indices of the columns in order, without those that the ones before them make up.

    Parameters
    ----------
    design
        Shape (n, n_columns).
    """
    kept: list[int] = []
    for k in range(design.shape[1]):
        if np.linalg.matrix_rank(design[:, [*kept, k]]) > len(kept):
            kept.append(k)
    return tuple(kept)
