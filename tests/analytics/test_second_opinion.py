"""The classical second opinion: simulated truth, our own fit, other programs, refusals."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.special import expit
from tests.analytics.view_rows import inseminations, ovulations

from studcurve.analytics.models.ovulation.model import ovulation_of_cycles
from studcurve.analytics.models.regression import NormalPrior, fit_mixed_logistic, regression_table
from studcurve.analytics.sentences import Sentence
from studcurve.analytics.trust.estimating import separated_rows
from studcurve.analytics.trust.second_opinion import (
    CONCEPTION_TERMS,
    LITTER_TERMS,
    LOGISTIC_TO_NORMAL,
    SecondOpinion,
    second_opinion_on_litter_size,
    second_opinion_on_whelping,
)
from studcurve.reports.words import Words

METHODS = (("natural", "natural"), ("fresh", "vaginal"), ("fresh", "transcervical"),
           ("chilled", "vaginal"), ("chilled", "transcervical"), ("frozen", "vaginal"),
           ("frozen", "transcervical"))  # fmt: skip


def breedings(rng, n_bitches, n_each=4, bitch_sd=0.0):
    """Breedings of bitches whose odds, and whose litters' mean, follow the terms exactly."""
    n = n_bitches * n_each
    bitch = np.repeat(np.arange(n_bitches), n_each)
    semen, route = np.array(METHODS)[rng.integers(len(METHODS), size=n)].T
    age = rng.uniform(1.5, 9.0, n)
    twice, missed = rng.random(n) < 0.5, (rng.random(n_bitches) < 0.3)[bitch]
    ai, deep = semen != "natural", route == "transcervical"
    chilled, frozen = semen == "chilled", semen == "frozen"
    own = bitch_sd * rng.normal(size=n_bitches)[bitch]
    eta = (
        1.6 - 0.3 * ai + 0.4 * deep - 0.5 * chilled - 0.6 * frozen
        - 0.7 * (frozen & (route == "vaginal")) + 0.4 * twice
        - 0.15 * np.maximum(0.0, age - 5.0) - 0.8 * missed + own
    )  # fmt: skip
    log_mean = (
        1.7 - 0.08 * ai - 0.1 * chilled - 0.25 * frozen + 0.1 * deep + 0.08 * twice
        - 0.03 * np.maximum(0.0, age - 4.0)
    )  # fmt: skip
    whelped = rng.random(n) < expit(eta)
    pups = np.where(whelped, 1 + rng.binomial(12, (np.exp(log_mean) - 1) / 12), 0)
    bred_on = pd.Timestamp("2015-01-01") + pd.to_timedelta(np.arange(n), unit="D")
    return pd.DataFrame({
        "breeding_id": np.arange(n), "bitch": [f"B{k}" for k in bitch], "stud": "S",
        "breed": "one", "clinic": None, "semen_type": semen, "route": route,
        "n_inseminations": 1 + twice, "bred_earliest": bred_on, "whelped": whelped,
        "n_born_alive": pups, "n_stillborn": 0, "n_alive_8_weeks": pups, "n_litters_before": np.nan,
        "is_sire_certain": True, "adult_weight_kg": 20.0, "inbreeding_pct": np.nan,
        "bitch_age_years": age, "missed_before": missed,
    })  # fmt: skip


NOTHING_INSEMINATED = inseminations(), ovulations()

TRUE_ODDS = {"c03": -0.3, "c04": 0.4, "c05": -0.5, "c06": -0.6, "c07": -0.7, "c09": 0.4,
             "c14": -0.15, "c15": -0.8}  # fmt: skip
TRUE_MEANS = {"l03": -0.08, "l04": -0.1, "l05": -0.25, "l06": 0.1, "l07": 0.08, "l09": -0.03}


def missed_truths(found, truth):
    """Terms whose truth lies more than four half widths' standard errors away."""
    missed = []
    for row in found.rows:
        middle = np.log(row.classical.median)
        error = (np.log(row.classical.upper) - np.log(row.classical.lower)) / (2 * 1.645)
        if abs(middle - truth[row.term]) > 4 * error:
            missed.append(row.term)
    return missed


def test_simulated_odds_and_means_are_found_within_their_errors():
    rows = breedings(np.random.default_rng(11), 800)

    odds = second_opinion_on_whelping(rows)
    means = second_opinion_on_litter_size(rows, *NOTHING_INSEMINATED)

    assert {row.term for row in odds.rows} == set(TRUE_ODDS)
    assert missed_truths(odds, TRUE_ODDS) == []
    assert odds.left_out["c08"].key == "second.not_recorded"
    assert {row.term for row in means.rows} == set(TRUE_MEANS)
    assert missed_truths(means, TRUE_MEANS) == []
    # Six pairs of breedings a bitch, without any likeness.
    assert abs(odds.correlation) < 4 / np.sqrt(800 * 6)


@pytest.mark.slow
def test_intervals_hold_nine_times_in_ten():
    # 60 kennels of 80 bitches with effects of their own; the truth between groups is the one that
    # a fit to very many breedings finds.
    truth = {
        row.term: np.log(row.classical.median)
        for row in second_opinion_on_whelping(
            breedings(np.random.default_rng(1), 20_000, bitch_sd=0.8)
        ).rows
    }
    held = []
    for seed in range(60):
        found = second_opinion_on_whelping(
            breedings(np.random.default_rng([2, seed]), 80, bitch_sd=0.8)
        )
        held += [
            row.classical.lower <= np.exp(truth[row.term]) <= row.classical.upper
            for row in found.rows
        ]

    # Terms of one kennel go together a little: the error is that of half as many intervals.
    error = np.sqrt(0.9 * 0.1 / (len(held) / 2))
    assert np.mean(held) == pytest.approx(0.9, abs=3 * error)


@pytest.mark.slow
def test_a_large_set_gives_ours_and_theirs_alike():
    # Our block samples breedings within bitches; told between groups its odds must be theirs.
    rows = breedings(np.random.default_rng(21), 400, bitch_sd=0.8)
    found = second_opinion_on_whelping(rows)
    columns = pd.DataFrame({
        "c03": rows["semen_type"] != "natural", "c04": rows["route"] == "transcervical",
        "c05": rows["semen_type"] == "chilled", "c06": rows["semen_type"] == "frozen",
        "c07": (rows["semen_type"] == "frozen") & (rows["route"] == "vaginal"),
        "c09": rows["n_inseminations"] > 1, "c14": np.maximum(0, rows["bitch_age_years"] - 5),
        "c15": rows["missed_before"],
    }).astype(float)  # fmt: skip
    table = regression_table(columns.assign(bitch=rows["bitch"]), list(columns), ["bitch"])

    ours = fit_mixed_logistic(
        table, rows["whelped"].to_numpy(float), np.ones(len(rows)),
        coefficients=NormalPrior(np.zeros(9), np.full(9, 10.0)), spread_scale={"bitch": 2.0},
        seed=1,
    )  # fmt: skip

    shrink = np.sqrt(1 + LOGISTIC_TO_NORMAL**2 * ours.draws["sd_bitch"] ** 2)
    for row in found.rows:
        error = np.log(row.classical.upper / row.classical.lower) / (2 * 1.645)
        between_groups = (ours.coefficient(row.term) / shrink).mean()
        # Both read the same records: what parts them is far below the error that they share.
        assert np.log(row.classical.median) == pytest.approx(between_groups, abs=0.5 * error)


def test_one_breeding_a_bitch_is_a_plain_logistic_regression():
    # Second route: maximum likelihood needs no clusters then.
    rows = breedings(np.random.default_rng(5), 600, n_each=1)
    ai = (rows["semen_type"] != "natural").to_numpy(float)
    deep = (rows["route"] == "transcervical").to_numpy(float)
    chilled = (rows["semen_type"] == "chilled").to_numpy(float)
    frozen = (rows["semen_type"] == "frozen").to_numpy(float)
    design = np.column_stack([
        np.ones(600), ai, deep, chilled, frozen, frozen * (rows["route"] == "vaginal"),
        rows["n_inseminations"] > 1, np.maximum(0, rows["bitch_age_years"] - 5),
        rows["missed_before"],
    ]).astype(float)  # fmt: skip

    plain = sm.Logit(rows["whelped"].astype(float).to_numpy(), design).fit(disp=False)
    found = second_opinion_on_whelping(rows)

    middles = [np.log(row.classical.median) for row in found.rows]
    np.testing.assert_allclose(middles, plain.params[1:], atol=1e-5)


def test_a_method_that_always_failed_is_left_out_and_named():
    rows = breedings(np.random.default_rng(8), 100)
    bad = (rows["semen_type"] == "frozen") & (rows["route"] == "vaginal")
    rows.loc[bad, "whelped"] = False

    found = second_opinion_on_whelping(rows)
    without = second_opinion_on_whelping(rows[~bad])

    assert found.left_out["c07"].key == "second.separated"
    assert found.n_separated == bad.sum()
    assert found.n_read == (~bad).sum()
    for one, other in zip(found.rows, without.rows, strict=True):
        assert one.classical.median == pytest.approx(other.classical.median)


def test_separation_is_what_the_likelihood_says_it_is():
    # Second route: of a separated table the likelihood grows without end; Heinze & Schemper 2002
    # name one by a column, an overlapping pair of numbers is none.
    x = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
    design = sm.add_constant(x)

    assert separated_rows(design, np.array([0, 0, 0, 1, 1, 1.0])).all()
    assert not separated_rows(design, np.array([0, 1, 0, 1, 0, 1.0])).any()
    # Quasi-separated: only those at the very edge overlap.
    edge = np.array([1.0, 2.0, 3.0, 3.0, 4.0, 5.0])
    np.testing.assert_array_equal(
        separated_rows(sm.add_constant(edge), np.array([0, 0, 0, 1, 1, 1.0])),
        [True, True, False, False, True, True],
    )


def test_breedings_with_a_gap_are_left_out_and_counted():
    rows = breedings(np.random.default_rng(3), 200)
    rows.loc[rows.index[:50], "bitch_age_years"] = np.nan
    rows["whelped"] = rows["whelped"].astype("boolean")
    rows.loc[rows.index[50:60], "whelped"] = pd.NA

    found = second_opinion_on_whelping(rows)

    assert found.n_incomplete == 50
    assert found.n_read == 800 - 60
    assert "second.incomplete" in {caveat.key for caveat in found.caveats}


def test_terms_that_always_go_together_are_not_told_apart():
    rows = breedings(np.random.default_rng(4), 200)
    rows["n_inseminations"] = np.where(rows["semen_type"] == "frozen", 2, 1)

    found = second_opinion_on_whelping(rows)

    assert found.left_out["c09"].key == "second.collinear"


@pytest.mark.parametrize("n", [0, 1, 3, 30])
def test_few_records_get_a_sentence_instead_of_a_table(n):
    rows = breedings(np.random.default_rng(6), 200).head(n)

    for found in (
        second_opinion_on_whelping(rows),
        second_opinion_on_litter_size(rows, *NOTHING_INSEMINATED),
    ):
        assert isinstance(found, Sentence)
        assert found.key.startswith(("second.few_whelped", "second.few_litter", "second.few_b"))


@pytest.mark.parametrize("always", [True, False])
def test_all_or_no_litters_get_a_sentence(always):
    rows = breedings(np.random.default_rng(6), 100).assign(whelped=always)

    found = second_opinion_on_whelping(rows)

    assert found.key == "second.few_whelped"
    assert found.values["n"] == 0


def test_the_demos_second_opinion_stands_beside_ours(demo_store, demo_fit, demo_litter_fit):
    rows = demo_store.read("breedings")

    for found, terms in (
        (second_opinion_on_whelping(rows, demo_fit), CONCEPTION_TERMS),
        (
            second_opinion_on_litter_size(
                rows,
                demo_store.read("inseminated_semen"),
                ovulation_of_cycles(demo_store.read("cycles"), demo_store.read("progesterone")),
                demo_litter_fit,
            ),
            LITTER_TERMS,
        ),
    ):  # fmt: skip
        assert isinstance(found, SecondOpinion)
        assert {row.term for row in found.rows} | set(found.left_out) == set(terms)
        for row in found.rows:
            # What is published narrows an interval; it does not move it past the records' own.
            assert row.ours.upper / row.ours.lower < row.classical.upper / row.classical.lower
            assert row.ours.lower < row.classical.upper
            assert row.classical.lower < row.ours.upper
        for language in ("en", "de"):
            words = Words(language)
            printed = [
                words.tell(sentence) for sentence in (*found.caveats, *found.left_out.values())
            ]
            printed += [words[f"coefficient.{term}"] for term in terms]
            assert all(printed)
