"""The frozen classical figures are those of lme4 and glmmTMB, where R is installed."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

REFERENCES = Path(__file__).parents[1] / "references"

SALAMANDERS = [1.00822, 0.30618, -1.89599, 0.99041, 1.17437**0.5, 1.04100**0.5, -209.27659]
HERDS = [-1.39834, -0.99192, -1.12822, -1.57975, 0.64207]
"""lme4 1.1-31 and glmmTMB 1.1.5 (Laplace); the last number of the salamanders is the log
likelihood. The herds' coefficients are also those of lme4's help page."""

FROZEN = {
    "salamander lme4": SALAMANDERS,
    "salamander glmmTMB": SALAMANDERS,
    "herds lme4": [*HERDS, -92.02657],
    "herds glmmTMB": [*HERDS],
    # With nodes lme4's log likelihood stands on another constant, so coefficients alone.
    "herds lme4 25 nodes": [-1.39922, -0.99141, -1.12781, -1.57948, 0.64752],
    "women lme4 25 nodes": [-1.69015, 0.73242, -0.02660, 1.10932, 1.37652, 1.34559, 0.46422],
}


@pytest.mark.reference
@pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed")
def test_r_gives_the_frozen_figures():
    done = subprocess.run(
        ["Rscript", str(REFERENCES / "mixed_logistic.R"), str(REFERENCES)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    found = {
        name: [float(value) for value in values]
        for name, *values in (line.split("\t") for line in done.stdout.splitlines())
    }

    assert set(found) == set(FROZEN)
    for name, values in FROZEN.items():
        # glmer's default search stops within a few thousandths of the maximum.
        np.testing.assert_allclose(found[name][: len(values)], values, atol=5e-3, err_msg=name)
