"""The table of priors is whole, sourced, and says what its published rows say."""

import re

import numpy as np
import pytest

from studcurve.analytics.priors import PRIORS, priors_fingerprint


def test_every_row_of_the_table_is_there():
    wanted = [
        *(f"c{n:02d}" for n in range(1, 28)),
        *(f"l{n:02d}" for n in range(1, 20)),
        *(f"s{n:02d}" for n in range(1, 7)), *(f"r{n:02d}" for n in range(1, 6)),
        *(f"q{n:02d}" for n in range(1, 7)), *(f"o{n:02d}" for n in range(1, 9)),
        "p01", "m01", "m02",
    ]  # fmt: skip
    stems = {row.split("_")[0] for row in PRIORS}

    assert stems == set(wanted)


@pytest.mark.parametrize("prior", PRIORS.values(), ids=lambda prior: prior.id)
def test_a_row_has_words_a_source_and_a_mark(prior):
    assert prior.words
    assert prior.source
    assert set(re.split(r", ", prior.mark)) <= {"P", "D", "J", "M"}
    assert "http" not in prior.source
    assert prior.sd > 0 or prior.distribution == "fixed"


def test_frozen_against_fresh_is_the_pool_of_its_two_published_trials():
    # Hollinshead & Hanlon 2017: 434/543 fresh, 458/645 frozen; Cochran 2023: 114/137 and 42/63.
    # DerSimonian & Laird 1986 by hand.
    trials = [(434, 543, 458, 645), (114, 137, 42, 63)]
    effects, variances = [], []
    for a, n, c, m in trials:
        effects.append(np.log(c / (m - c)) - np.log(a / (n - a)))
        variances.append(1 / a + 1 / (n - a) + 1 / c + 1 / (m - c))
    y, w = np.array(effects), 1 / np.array(variances)
    q = (w * (y - (w @ y) / w.sum()) ** 2).sum()
    tau2 = max(0, (q - 1) / (w.sum() - (w**2).sum() / w.sum()))
    w = 1 / (np.array(variances) + tau2)
    pooled, se = (w @ y) / w.sum(), 1 / np.sqrt(w.sum())

    assert pooled == pytest.approx(-0.573, abs=0.002)
    assert abs(PRIORS["c06"].centre - pooled) < se
    assert PRIORS["c06"].sd > se


def test_whelping_given_pregnancy_is_the_ratio_of_the_french_rates():
    # Reprod Domest Anim 52(S2), 2017: 87.8 % pregnant, 81.9 % whelped.
    assert 1 / (1 + np.exp(-PRIORS["c02"].centre)) == pytest.approx(81.9 / 87.8, abs=0.005)


def test_the_fingerprint_depends_on_numbers_of_the_rows_that_are_read():
    assert priors_fingerprint(("c",)) != priors_fingerprint(("l",))
    assert priors_fingerprint(("c",)) == priors_fingerprint(("c",))
