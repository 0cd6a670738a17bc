"""The decay curve inside certified least squares and a published survival fit."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares, minimize
from statsmodels.duration.survfunc import SurvfuncRight, survdiff

from studcurve.analytics.measures.motility_kept import log_retention, retention_share

STRD = Path(__file__).parents[1] / "references" / "nist_strd"


def decay(x, rate):
    """Exponential decay as the storage curve of shape 1."""
    return retention_share(x, 1.0 / rate, 1.0)


MODELS = {
    "Misra1a": lambda b, x: b[0] * (1 - decay(x, b[1])),
    "BoxBOD": lambda b, x: b[0] * (1 - decay(x, b[1])),
    "Chwirut2": lambda b, x: decay(x, b[0]) / (b[1] + b[2] * x),
    "Rat42": lambda b, x: b[0] / (1 + np.exp(b[1]) * decay(x, b[2])),
    "Lanczos3": lambda b, x: sum(b[k] * decay(x, b[k + 1]) for k in (0, 2, 4)),
    "MGH17": lambda b, x: b[0] + b[1] * decay(x, b[3]) + b[2] * decay(x, b[4]),
}


@dataclass(frozen=True, slots=True)
class Certified:
    start: np.ndarray
    value: np.ndarray
    sd: np.ndarray
    sum_of_squares: float
    y: np.ndarray
    x: np.ndarray


def certified(name):
    """Read a file of NIST's Statistical Reference Datasets; start 2 is the nearer one."""
    lines = (STRD / f"{name}.dat").read_text().splitlines()
    rows = np.array(
        [line.split("=")[1].split() for line in lines if line.strip().startswith("b")
         and "=" in line], dtype=float,
    )  # fmt: skip
    (rss,) = (line.split(":")[1] for line in lines if line.startswith("Residual Sum of Squares"))
    heading = max(i for i, line in enumerate(lines) if line.startswith("Data:"))
    data = np.array([line.split() for line in lines[heading + 1 :] if line.strip()], dtype=float)
    return Certified(rows[:, 1], rows[:, 2], rows[:, 3], float(rss), data[:, 0], data[:, 1])


@pytest.mark.parametrize("name", MODELS)
def test_least_squares_of_decay_reach_the_certified_values(name):
    wanted = certified(name)
    model = MODELS[name]

    found = least_squares(
        lambda b: model(b, wanted.x) - wanted.y, wanted.start, method="lm", x_scale="jac",
        xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=20_000,
    )  # fmt: skip
    residual_variance = 2 * found.cost / (len(wanted.y) - len(wanted.start))
    sd = np.sqrt(np.diag(np.linalg.inv(found.jac.T @ found.jac)) * residual_variance)

    # Six of the certified digits; their standard deviations from scipy's differenced slopes, four.
    assert found.x == pytest.approx(wanted.value, rel=1e-6)
    assert 2 * found.cost == pytest.approx(wanted.sum_of_squares, rel=1e-6)
    assert sd == pytest.approx(wanted.sd, rel=1e-4)


# Freireich et al. 1963, Blood 21:699-716: weeks of remission of 42 children in pairs; negative
# where still in remission. The table of Gehan 1965, Biometrika 52:203-223.
TREATED = [6, 6, 6, -6, 7, -9, 10, -10, -11, 13, 16, -17, -19, -20, 22, 23, -25, -32, -32, -34, -35]
CONTROL = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def remission():
    """Weeks, whether relapsed, and whether in the control group."""
    weeks = np.abs(np.array(TREATED + CONTROL, dtype=float))
    control = np.repeat([0.0, 1.0], [len(TREATED), len(CONTROL)])
    return weeks, np.array(TREATED + CONTROL) > 0, control


def fitted_curve(weeks, relapsed, control):
    """The storage curve as the survival of both groups: intercept, control, log of 1/κ."""

    def minus_log_likelihood(b):
        eta, kappa = np.exp(b[0] + b[1] * control), np.exp(-b[2])
        hazard = kappa / weeks * (weeks / eta) ** kappa
        return -(log_retention(weeks, eta, kappa) + relapsed * np.log(hazard)).sum()

    return minimize(minus_log_likelihood, [3.0, 0.0, 0.0], method="BFGS", options={"gtol": 1e-7})


def test_the_curve_is_the_survival_of_a_published_weibull_fit():
    # R's survreg: intercept 3.51569, control −1.26733, scale 0.73219, log-likelihood −106.58
    # (Venables & Ripley 2002, Modern Applied Statistics with S, section 13.2).
    found = fitted_curve(*remission())

    assert (*found.x[:2], np.exp(found.x[2])) == pytest.approx(
        (3.51569, -1.26733, 0.73219), abs=2e-5
    )
    assert -found.fun == pytest.approx(-106.58, abs=0.005)


def test_the_curve_lies_inside_the_bands_of_kaplan_and_meier():
    # R's survfit and survdiff for the same children: survival at weeks 6, 10, 16 and 23 of the
    # treated with Greenwood's errors, and the log-rank statistic of the two groups.
    weeks, relapsed, control = remission()
    treated = control == 0.0
    at = np.array([6.0, 10.0, 16.0, 23.0])

    steps = SurvfuncRight(weeks[treated], relapsed[treated].astype(float))
    place = np.searchsorted(steps.surv_times, at)
    statistic, _ = survdiff(weeks, relapsed.astype(float), control)

    wanted, greenwood = (
        [0.857143, 0.752941, 0.627451, 0.448179],
        [0.07636, 0.09635, 0.11405, 0.13459],
    )
    assert steps.surv_prob[place] == pytest.approx(wanted, abs=1e-6)
    assert steps.surv_prob_se[place] == pytest.approx(greenwood, abs=1e-5)
    assert statistic == pytest.approx(16.793, abs=5e-4)
    b = fitted_curve(weeks, relapsed, control).x
    curve = retention_share(at, np.exp(b[0]), np.exp(-b[2]))
    assert (np.abs(curve - wanted) < np.array(greenwood)).all()
