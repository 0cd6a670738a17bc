r"""What do ways of regression, which know nothing published, say of one table?

Every way answers the same question. Over the rows on the poor side of an exposure whose result is
known,

.. math:: \bar\Delta = \frac{1}{n} \sum_i \hat m(x^*_i, z_i) - \hat m(x_i, z_i)

with :math:`\hat m` the predicted share or mean count, :math:`x_i` the exposure as it was,
:math:`x^*_i` what it is set to, and :math:`z_i` all else as recorded: positive where more goes with
the better value.

``rates``
    The rate of the other side less that of the poor side, whatever else differs between them.
``gee``
    Generalized estimating equations; the exposure bends where there are results enough.
``ridge``
    A regression with a quadratic penalty (Hoerl & Kennard 1970, Technometrics 12:55-67), chosen by
    predicting clusters that were left out; a point without a range.
``boosting``
    Gradient-boosted trees (Friedman 2001, Annals of Statistics 29:1189-1232); a point likewise.

Does not know: whatever went with an exposure and stands in no column. The range of a difference
between studs takes bitches for the sample, and the studs as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeAlias

import numpy as np
from scipy.stats import t as student_t

from studcurve.analytics.estimate import INTERVAL_PROB, Estimate, Floats
from studcurve.analytics.measures.counting import share_difference_interval
from studcurve.analytics.sentences import Sentence, sentence
from studcurve.analytics.trust.checking import N_FOR_CHALLENGER, bitch_folds, possible, scores
from studcurve.analytics.trust.estimating import (
    Equations,
    Family,
    Mask,
    TooFew,
    Within,
    estimating_equations,
    independent_columns,
    readable,
    too_few,
)

Codes = np.ndarray[Any, np.dtype[np.int64]]
Outcome = Literal["litter", "size"]
Shape = Literal["spline", "straight", "alone"]
Way = Literal["rates", "gee", "ridge", "boosting"]

WAYS: tuple[Way, ...] = ("rates", "gee", "ridge", "boosting")
"""From the plainest to the one that bends most."""

N_FOR_RIDGE = 60
"""Known results from which a penalty is chosen by leaving clusters out. (rule)"""

FEWEST_DISTINCT = 5
"""Different values of an exposure from which its line may bend. (rule)"""

N_INNER_KNOTS = 1
"""Inner knots of a natural cubic spline, which then has two columns. (rule)"""

FEWEST_A_SIDE = 2
"""Counts of each side below which they have no spread."""

FEWEST_OF_STUD = 5
"""Known results of a stud below which he does not count as one to compare with. (rule)"""

FEWEST_STUDS = 2
"""Studs of so many results that a difference between studs needs. (rule)"""

PENALTIES = tuple((10.0 ** np.arange(-3.0, 1.01, 0.5)).tolist())
"""Penalties tried, of the squares of standardized coefficients, for each row. (rule)"""

PENALIZED_TO = 1e-8
"""Slope of a penalized likelihood at which its solver stops."""

Predict: TypeAlias = Callable[[Floats, Mask], Floats]
"""Predicted means of chosen rows with the exposure at given values of all rows, NaN where the table
cannot tell; ``predict(exposure, rows)``."""


@dataclass(frozen=True, slots=True)
class Table:
    """One outcome beside one exposure; all arrays have n rows.

    Attributes
    ----------
    outcome
        ``litter`` (0 or 1) or ``size`` (a count).
    observed
        Result, NaN where it is not known.
    exposure, best
        As recorded, and what it is set to; NaN where not recorded or where it does not apply.
    side
        1 on the poor side, 0 on the other, −1 where not recorded.
    beside
        Columns of method and bitch, the first of them ones, shape (n, n_beside).
    others
        Columns of the other exposures, without a gap, shape (n, n_others).
    cluster
        Whose row it is; rows of one go together.
    drawn, grid
        Rows that a curve is read over, with or without a result, and values of the exposure.
    """

    outcome: Outcome
    observed: Floats
    exposure: Floats
    best: Floats
    side: Codes
    beside: Floats
    others: Floats
    cluster: Codes
    drawn: Mask
    grid: tuple[float, ...] = ()

    @property
    def family(self) -> Family:
        """Mean of its regressions."""
        return "logistic" if self.outcome == "litter" else "log_linear"

    @property
    def is_known(self) -> Mask:
        """Rows with a known result."""
        return np.isfinite(self.observed)

    @property
    def is_read(self) -> Mask:
        """Rows with a known result and the exposure recorded."""
        return self.is_known & np.isfinite(self.exposure) & np.isfinite(self.best)

    @property
    def is_missing(self) -> Mask:
        """Rows with a known result to which the exposure applies but of which none was recorded."""
        return self.is_known & np.isfinite(self.best) & ~np.isfinite(self.exposure)

    @property
    def is_poor(self) -> Mask:
        """Rows that a difference is read over."""
        return np.asarray(self.is_read & (self.side == 1))

    @property
    def n_distinct(self) -> int:
        """Different values of the exposure among the rows that are read."""
        return len(np.unique(self.exposure[self.is_read]))

    def why_none(self) -> Sentence | None:
        """Why no way can compare the two sides; None where both have a known result."""
        if not self.is_known.any():
            return sentence("regress.no_result")
        if not self.is_read.any():
            return sentence("regress.not_recorded")
        if not self.is_poor.any():
            return sentence("regress.none_poor")
        if self.is_poor.sum() == self.is_read.sum():
            return sentence("regress.none_other")
        return None


@dataclass(frozen=True, slots=True)
class Answer:
    """What one way says of one table.

    Attributes
    ----------
    difference
        Mean difference over the poor side, in shares or pups: with a range, a point alone, or a
        sentence that says why there is none.
    n_read, n_poor
        Rows that were read, and those of the poor side that the mean is over.
    n_missing
        Rows left out because the exposure was not recorded.
    n_separated, n_lone
        Rows left out because a combination of columns foretells them without error, or because a
        column is of one cluster alone.
    shape
        How the exposure entered: as a natural cubic ``spline`` or ``straight``, the other
        exposures beside it, or straight and ``alone``; None without a regression.
    curve
        Predicted mean at each position of the grid, None beyond the recorded values.
    """

    difference: Estimate | float | Sentence
    n_read: int
    n_poor: int
    n_missing: int
    n_separated: int = 0
    n_lone: int = 0
    shape: Shape | None = None
    curve: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class WithinBetween:
    """Difference that goes with one unit more of an exposure, in shares or pups.

    Attributes
    ----------
    within, between
        From a stud's own mean, and of the means of two studs.
    n_read, n_studs
        Rows and studs that were read.
    """

    within: Estimate
    between: Estimate
    n_read: int
    n_studs: int


@dataclass(frozen=True, slots=True)
class Basis:
    """Columns of an exposure: a natural cubic spline, or the exposure itself.

    Attributes
    ----------
    knots
        From the lowest to the highest value that was read; none for a straight line.
    """

    knots: tuple[float, ...] = ()

    def columns(self, x: Floats) -> Floats:
        """Columns at some values, straight beyond the outer knots, shape (n, n_columns)."""
        if not self.knots or not len(x):
            return np.asarray(x[:, None])
        import patsy

        low, *inner, high = self.knots
        # The first column is what all others and the intercept make up.
        return np.asarray(patsy.cr(x, knots=inner, lower_bound=low, upper_bound=high))[:, 1:]


STRAIGHT = Basis()


def bending(values: Floats) -> Basis:
    """Spline with its inner knots at equal shares of the different values, or a straight line.

    Parameters
    ----------
    values
        Recorded, shape (n,).
    """
    distinct = np.unique(values)
    if len(distinct) < FEWEST_DISTINCT:
        return STRAIGHT
    return Basis(tuple(np.quantile(distinct, np.linspace(0.0, 1.0, N_INNER_KNOTS + 2)).tolist()))


@dataclass(frozen=True, slots=True)
class Design:
    """Which columns of a table are read, the exposure's last.

    Attributes
    ----------
    table
        Which.
    shape
        How the exposure enters.
    basis
        Its columns.
    """

    table: Table
    shape: Shape
    basis: Basis

    @property
    def n_of_exposure(self) -> int:
        """Columns of the exposure."""
        return max(1, len(self.basis.knots) - 1)

    def at(self, exposure: Floats, rows: Mask) -> Floats:
        """All columns of some rows with the exposure at given values, shape (n_rows, n_columns)."""
        table = self.table
        others = [] if self.shape == "alone" else [table.others[rows]]
        return np.column_stack([table.beside[rows], *others, self.basis.columns(exposure[rows])])

    def as_recorded(self, rows: Mask) -> Floats:
        """The same with the exposure as it was."""
        return self.at(self.table.exposure, rows)


def designs_of(table: Table, *, can_bend: bool = True) -> Iterator[Design]:
    """Designs of a table from the one that asks most of it.

    Parameters
    ----------
    table
        With both sides.
    can_bend
        Whether a spline is wanted at all.
    """
    bent = bending(table.exposure[table.is_read])
    if can_bend and bent.knots:
        yield Design(table, "spline", bent)
    yield Design(table, "straight", STRAIGHT)
    if table.others.shape[1]:
        yield Design(table, "alone", STRAIGHT)


@dataclass(frozen=True, slots=True)
class Regressed:
    """Estimating equations of a table.

    Attributes
    ----------
    design
        Columns.
    equations
        Solved.
    read
        Rows that were read.
    n_separated, n_lone
        Rows left out.
    """

    design: Design
    equations: Equations
    read: Mask
    n_separated: int
    n_lone: int

    @property
    def told_poor(self) -> Mask:
        """Rows of the poor side whose mean can be told as it was and with the exposure set."""
        table, poor = self.design.table, self.read & self.design.table.is_poor
        for exposure in (table.exposure, table.best):
            poor[poor] = self.equations.is_told(self.design.at(exposure, poor))
        return poor

    def predict(self, exposure: Floats, rows: Mask) -> Floats:
        """As :data:`Predict`."""
        columns = self.design.at(exposure, rows)
        is_told = self.equations.is_told(columns)
        return np.where(is_told, self.equations.means(columns), np.nan)


def regressed(design: Design, *, within: Within = "exchangeable") -> Regressed | Sentence:
    """Solve the estimating equations of a table, or say why they have no answer.

    Parameters
    ----------
    design
        Table and columns.
    within
        Correlation supposed inside a cluster.
    """
    table, read = design.table, design.table.is_read
    columns, observed = design.as_recorded(read), table.observed[read]
    found = readable(table.family, columns, observed, table.cluster[read])
    wanted = range(columns.shape[1] - design.n_of_exposure, columns.shape[1])
    if not set(wanted) <= set(found.columns):
        if not set(wanted) <= set(independent_columns(columns)):
            return sentence("regress.collinear")
        return sentence("regress.lone" if found.lone.any() else "regress.separated")
    columns, observed = columns[found.rows], observed[found.rows]
    cluster = table.cluster[read][found.rows]
    few = too_few(table.family, observed, cluster, len(found.columns))
    if few is not None:
        return _too_few(table.outcome, few)
    solved = estimating_equations(
        table.family, columns, observed, cluster, columns=found.columns, within=within
    )
    if solved is None:
        return sentence("regress.not_settled")
    left = read.copy()
    left[read] = found.rows
    return Regressed(design, solved, left, int(found.separated.sum()), int(found.lone.sum()))


def _too_few(outcome: Outcome, few: TooFew) -> Sentence:
    key = "regress.few_bitches" if few.of == "clusters" else f"regress.few_{outcome}"
    return sentence(key, n=few.n, wanted=few.wanted)


def every_way(table: Table, *, seed: int) -> dict[Way, Answer]:
    """What each way says of a table.

    Parameters
    ----------
    table
        Any.
    seed
        Seed of the trees.
    """
    reason = table.why_none()
    if reason is not None:
        return {way: _answer(table, reason) for way in WAYS}
    return {
        "rates": by_rates(table),
        "gee": by_equations(table),
        "ridge": by_ridge(table),
        "boosting": by_boosting(table, seed=seed),
    }


def _answer(table: Table, difference: Estimate | float | Sentence) -> Answer:
    """An answer that read all that could be read."""
    n_read, n_poor, n_missing = (
        int(rows.sum()) for rows in (table.is_read, table.is_poor, table.is_missing)
    )
    return Answer(difference, n_read, n_poor, n_missing)


def by_rates(table: Table) -> Answer:
    """Rate of the other side less that of the poor side.

    Shares have the hybrid score interval of Newcombe 1998
    (:func:`studcurve.analytics.measures.counting.share_difference_interval`), means that of Welch
    1947, Biometrika 34:28-35.

    Parameters
    ----------
    table
        With both sides.
    """
    poor = table.observed[table.is_poor]
    other = table.observed[table.is_read & (table.side == 0)]
    if table.outcome == "litter":
        ends = share_difference_interval(
            (int(other.sum()), int(poor.sum())), (len(other), len(poor))
        )
        return _answer(table, Estimate(*ends))
    fewest = min(len(poor), len(other))
    if fewest < FEWEST_A_SIDE:
        return _answer(table, sentence("regress.few_a_side", n=fewest, wanted=FEWEST_A_SIDE))
    variances = [float(side.var(ddof=1)) / len(side) for side in (other, poor)]
    total = sum(variances)
    if total == 0.0:
        return _answer(table, sentence("regress.alike"))
    free = total**2 / sum(
        variance**2 / (len(side) - 1)
        for variance, side in zip(variances, (other, poor), strict=True)
    )
    middle = float(other.mean() - poor.mean())
    half = float(student_t.ppf(0.5 + INTERVAL_PROB / 2.0, free)) * total**0.5
    return _answer(table, Estimate(middle, middle - half, middle + half))


def by_equations(table: Table, *, within: Within = "exchangeable") -> Answer:
    """Answer of the estimating equations of the richest design that the table bears.

    Parameters
    ----------
    table
        With both sides.
    within
        Correlation supposed inside a cluster.
    """
    reason = sentence("regress.separated")
    for design in designs_of(table):
        found = regressed(design, within=within)
        if isinstance(found, Sentence):
            reason = found
            continue
        poor = found.told_poor
        if not poor.any():
            reason = sentence("regress.separated")
            continue
        columns = design.as_recorded(poor), design.at(table.best, poor)
        return replace(
            _answer(table, found.equations.mean_difference(*columns)),
            n_read=int(found.read.sum()),
            n_poor=int(poor.sum()),
            n_separated=found.n_separated,
            n_lone=found.n_lone,
            shape=design.shape,
            curve=curve_of(table, found.predict),
        )
    return _answer(table, reason)


def by_ridge(table: Table) -> Answer:
    """Answer of a regression with a quadratic penalty.

    Parameters
    ----------
    table
        With both sides.
    """
    read = table.is_read
    if read.sum() < N_FOR_RIDGE:
        return _answer(table, _few_known(int(read.sum()), N_FOR_RIDGE))
    design = next(designs_of(table))
    fitted = penalized(
        table.outcome, design.as_recorded(read), table.observed[read], table.cluster[read]
    )
    if isinstance(fitted, Sentence):
        return _answer(table, fitted)
    return _point(table, design, fitted)


def by_boosting(table: Table, *, seed: int) -> Answer:
    """Answer of gradient-boosted trees.

    Parameters
    ----------
    table
        With both sides.
    seed
        Of the trees.
    """
    read = table.is_read
    if read.sum() < N_FOR_CHALLENGER:
        return _answer(table, _few_known(int(read.sum()), N_FOR_CHALLENGER))
    design = next(designs_of(table, can_bend=False))
    fitted = boosted(table.outcome, design.as_recorded(read), table.observed[read], seed=seed)
    if isinstance(fitted, Sentence):
        return _answer(table, fitted)
    # Trees bend as they will.
    return replace(_point(table, design, fitted), shape=None)


def _few_known(n: int, wanted: int) -> Sentence:
    return sentence("regress.few_known", n=n, wanted=wanted)


Fitted: TypeAlias = Callable[[Floats], Floats]
"""Predicted means from all columns of some rows."""


def _point(table: Table, design: Design, fitted: Fitted) -> Answer:
    """Answer of a fitted regression that can predict any row."""

    def predict(exposure: Floats, rows: Mask) -> Floats:
        return fitted(design.at(exposure, rows))

    poor = table.is_poor
    difference = float((predict(table.best, poor) - predict(table.exposure, poor)).mean())
    answer = _answer(table, difference)
    return replace(answer, shape=design.shape, curve=curve_of(table, predict))


def curve_of(table: Table, predict: Predict) -> tuple[float | None, ...]:
    """Mean prediction over the drawn rows with all of them at each position of the grid.

    Parameters
    ----------
    table
        Which.
    predict
        Of a fitted regression.

    Returns
    -------
    tuple
        None beyond the values that were read of such rows: nothing there was seen.
    """
    read = table.exposure[table.is_read & table.drawn]
    if not len(read):
        return (None,) * len(table.grid)
    found: list[float | None] = []
    for position in table.grid:
        if not read.min() <= position <= read.max():
            found.append(None)
            continue
        means = predict(np.full(len(table.exposure), position), table.drawn)
        told = np.isfinite(means)
        found.append(float(means[told].mean()) if told.any() else None)
    return tuple(found)


def penalized(
    outcome: Outcome, columns: Floats, observed: Floats, cluster: Codes
) -> Fitted | Sentence:
    """Fit a ridge regression whose penalty predicts left-out clusters best.

    Parameters
    ----------
    outcome
        Logistic of a litter, log-linear of a size.
    columns, observed, cluster
        Of the rows that are read.
    """
    from sklearn.metrics import log_loss, mean_poisson_deviance

    n_clusters = len(np.unique(cluster))
    if n_clusters < 2:
        return sentence("regress.few_bitches", n=n_clusters, wanted=2)
    folds = bitch_folds(cluster)
    if outcome == "litter" and any(len(np.unique(observed[train])) < 2 for train, _ in folds):
        return sentence("regress.one_kind")

    def loss(penalty: float) -> float:
        predicted = np.empty(len(observed))
        for train, test in folds:
            fitted = _ridge(outcome, columns[train], observed[train], penalty)
            predicted[test] = fitted(columns[test])
        if outcome == "litter":
            return float(log_loss(observed, possible(predicted), labels=[0.0, 1.0]))
        return float(mean_poisson_deviance(observed, predicted))

    return _ridge(outcome, columns, observed, min(PENALTIES, key=loss))


def _ridge(outcome: Outcome, columns: Floats, observed: Floats, penalty: float) -> Fitted:
    """Ridge regression on standardized columns with one penalty for each row."""
    from sklearn.linear_model import LogisticRegression, PoissonRegressor
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    how = {"solver": "newton-cholesky", "tol": PENALIZED_TO}
    if outcome == "litter":
        # Its penalty stands against the sum over the rows.
        shares = make_pipeline(
            StandardScaler(), LogisticRegression(C=1.0 / (penalty * len(observed)), **how)
        ).fit(columns, observed)
        return lambda rows: np.asarray(shares.predict_proba(rows)[:, 1])
    means = make_pipeline(StandardScaler(), PoissonRegressor(alpha=penalty, **how))
    means.fit(columns, observed)
    return lambda rows: np.asarray(means.predict(rows))


def boosted(outcome: Outcome, columns: Floats, observed: Floats, *, seed: int) -> Fitted | Sentence:
    """Fit gradient-boosted trees.

    Parameters
    ----------
    outcome
        Logistic loss of a litter, Poisson loss of a size.
    columns, observed
        Of the rows that are read.
    seed
        Of the trees.
    """
    from sklearn.ensemble import HistGradientBoostingClassifier, HistGradientBoostingRegressor

    if outcome == "size":
        means = HistGradientBoostingRegressor(loss="poisson", random_state=seed)
        means.fit(columns, observed)
        return lambda rows: np.asarray(means.predict(rows))
    if len(np.unique(observed)) < 2:
        return sentence("regress.one_kind")
    shares = HistGradientBoostingClassifier(random_state=seed).fit(columns, observed)
    return lambda rows: np.asarray(shares.predict_proba(rows)[:, 1])


def within_and_between(table: Table, stud: Codes, *, unit: float) -> WithinBetween | Sentence:
    """Tell apart what went with an exposure inside each stud and between studs.

    Mundlak 1978, Econometrica 46:69-85: each stud's mean of the exposure and the deviation from it
    enter side by side, straight. A difference is the mean over the rows that were read, from half a
    unit below to half a unit above.

    Parameters
    ----------
    table
        Any.
    stud
        Whose semen it was, shape (n,).
    unit
        Of the exposure.
    """
    reason = table.why_none()
    if reason is not None:
        return reason
    read = table.is_read
    names, his = np.unique(stud[read], return_inverse=True)
    n_results = np.bincount(his)
    n_enough = int((n_results >= FEWEST_OF_STUD).sum())
    if n_enough < FEWEST_STUDS:
        return sentence("regress.few_studs", n=n_enough, wanted=FEWEST_STUDS)
    n_poor = np.bincount(his, weights=table.is_poor[read])
    if not ((n_poor > 0) & (n_poor < n_results)).any():
        return sentence("regress.one_sided")
    mean = np.zeros(len(table.exposure))
    mean[read] = (np.bincount(his, weights=table.exposure[read]) / n_results)[his] / unit
    apart = replace(
        table,
        exposure=table.exposure / unit - mean,
        beside=np.column_stack([table.beside, mean]),
    )
    reason = sentence("regress.collinear")
    for design in designs_of(apart, can_bend=False):
        found = regressed(design)
        if isinstance(found, Sentence):
            reason = found
            continue
        of_stud = table.beside.shape[1]
        if of_stud not in found.equations.columns:
            reason = sentence("regress.collinear")
            continue
        columns = design.as_recorded(found.read)

        def difference(
            k: int, equations: Equations = found.equations, columns: Floats = columns
        ) -> Estimate:
            half = np.zeros(columns.shape[1])
            half[k] = 0.5
            return equations.mean_difference(columns - half, columns + half)

        return WithinBetween(
            difference(columns.shape[1] - 1), difference(of_stud), len(columns), len(names)
        )
    return reason


@dataclass(frozen=True, slots=True)
class Predicted:
    """Chances of the rows with a known result, each with its cluster left out.

    Attributes
    ----------
    ways
        Chance by way, in the order of the rows, shape (n_known,). ``rates`` is the share of all
        other clusters.
    log_loss, brier
        Mean negative log chance of what came, and mean squared error, by way; less is better.
    why_not
        Why another way has none.
    n_untold
        Rows whose chance the estimating equations could not tell; ``rates`` stands in for them.
    """

    ways: Mapping[Way, Floats]
    log_loss: Mapping[Way, float]
    brier: Mapping[Way, float]
    why_not: Mapping[Way, Sentence] = field(default_factory=dict)
    n_untold: int = 0


def predicted_left_out(
    designs: Mapping[Shape, Floats], observed: Floats, cluster: Codes, *, seed: int
) -> Predicted:
    """Predict every row of a table of zeros and ones from the other clusters.

    Parameters
    ----------
    designs
        All columns of the rows by shape, from the richest, shape (n, n_columns) each; among them
        ``straight``.
    observed, cluster
        Result and cluster of the rows; at least two clusters.
    seed
        Of the trees.
    """
    folds, n = bitch_folds(cluster), len(observed)
    # Half a litter and half a miss are added, as Jeffreys' prior does.
    rates = np.empty(n)
    for train, test in folds:
        rates[test] = (observed[train].sum() + 0.5) / (len(train) + 1.0)
    ways: dict[Way, Floats] = {"rates": rates}
    why_not: dict[Way, Sentence] = {}
    richest, straight = next(iter(designs.values())), designs["straight"]

    def keep(way: Way, n_wanted: int, predict: Callable[[Codes, Codes], Floats | Sentence]) -> None:
        if n < n_wanted:
            why_not[way] = _few_known(n, n_wanted)
            return
        chances = np.empty(n)
        for train, test in folds:
            found = predict(train, test)
            if isinstance(found, Sentence):
                why_not[way] = found
                return
            chances[test] = found
        ways[way] = chances

    def by_gee(train: Codes, test: Codes) -> Floats | Sentence:
        return _equations_left_out(designs, observed, cluster, train, test)

    def ridge(train: Codes, test: Codes) -> Floats | Sentence:
        fitted = penalized("litter", richest[train], observed[train], cluster[train])
        return fitted if isinstance(fitted, Sentence) else fitted(richest[test])

    def boosting(train: Codes, test: Codes) -> Floats | Sentence:
        fitted = boosted("litter", straight[train], observed[train], seed=seed)
        return fitted if isinstance(fitted, Sentence) else fitted(straight[test])

    keep("gee", 0, by_gee)
    keep("ridge", N_FOR_RIDGE, ridge)
    keep("boosting", N_FOR_CHALLENGER, boosting)
    n_untold = 0
    if "gee" in ways:
        untold = np.isnan(ways["gee"])
        n_untold = int(untold.sum())
        ways["gee"] = np.where(untold, rates, ways["gee"])
    ways = {way: possible(chances) for way, chances in ways.items()}
    scored = {way: scores(one, observed, cluster, model=one) for way, one in ways.items()}
    return Predicted(
        ways,
        {way: -one.log_score for way, one in scored.items()},
        {way: one.brier for way, one in scored.items()},
        why_not,
        n_untold,
    )


def _equations_left_out(
    designs: Mapping[Shape, Floats], observed: Floats, cluster: Codes, train: Codes, test: Codes
) -> Floats | Sentence:
    """Chances of some rows from the equations of others, NaN where these cannot tell."""
    reason = sentence("regress.not_settled")
    for columns in designs.values():
        found = readable("logistic", columns[train], observed[train], cluster[train])
        rows = train[found.rows]
        few = too_few("logistic", observed[rows], cluster[rows], len(found.columns))
        if few is not None:
            reason = _too_few("litter", few)
            continue
        solved = estimating_equations(
            "logistic", columns[rows], observed[rows], cluster[rows], columns=found.columns
        )
        if solved is not None:
            return np.where(solved.is_told(columns[test]), solved.means(columns[test]), np.nan)
        reason = sentence("regress.not_settled")
    return reason
