"""Was it right: counts, scores and the bet against stated chances, each by a second route."""

import itertools
import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from studcurve.analytics.trust.ledger import (
    Evidence,
    calibration_bands,
    capital,
    count_probs,
    evidence_against,
    ledger_of,
    litters_against,
    log_capitals,
    plain_rates,
)

RNG_SEED = 20261031
FIRST = pd.Timestamp("2025-01-01 10:00")
SOME = np.array([0.9, 0.35, 0.72, 0.5, 0.08, 0.66])
TODAY = date(2026, 10, 31)


def days(n):
    return pd.Series([FIRST + timedelta(days=k) for k in range(n)])


def outcomes(n):
    """Every way in which n breedings can end."""
    return [np.array(ends, dtype=float) for ends in itertools.product((0, 1), repeat=n)]


def prob_of(ends, prob):
    return float(np.prod(np.where(ends == 1, prob, 1 - prob)))


def forecasts(n=1, **columns):
    """Rows of the view: a counting chance of the model's for each of some bitches, as said."""
    plain = {
        "forecast_id": range(1, n + 1), "question_id": range(1, n + 1), "asked_by": "Ida",
        "stated_by": "model", "command": "compare", "stud": "Rowan",
        "bitch": [f"Bitch {k}" for k in range(n)], "semen_type": "fresh", "route": "vaginal",
        "litter_prob": 0.7, "published_litter_prob": 0.6, "breeding_id": range(1, n + 1),
        "bred_earliest": days(n).to_numpy(), "outcome_known": True, "whelped": True,
        "is_sire_certain": True, "counts": True, "standing": "counts", "known_on": FIRST,
        "known_load_id": 1,
    }  # fmt: skip
    frame = pd.DataFrame(plain | columns)
    return frame.astype({"whelped": "boolean", "outcome_known": "boolean"})


def bred(rows):
    return rows[["semen_type", "bitch", "whelped"]]


def test_the_distribution_of_litters_is_that_of_every_way_in_which_they_can_end():
    by_count = np.zeros(len(SOME) + 1)
    for ends in outcomes(len(SOME)):
        by_count[int(ends.sum())] += prob_of(ends, SOME)

    np.testing.assert_allclose(count_probs(SOME), by_count, rtol=1e-13)
    np.testing.assert_allclose(count_probs(np.full(9, 0.3)), stats.binom.pmf(range(10), 9, 0.3),
                               rtol=1e-12)  # fmt: skip


@pytest.mark.parametrize("n_whelped", [0, 3, 6])
def test_the_difference_has_the_interval_of_the_count(n_whelped):
    whelped = np.repeat([1.0, 0.0], [n_whelped, 6 - n_whelped])

    found = litters_against(SOME, whelped)

    cumulated = np.cumsum([sum(prob_of(e, SOME) for e in outcomes(6) if e.sum() == k)
                           for k in range(7)])  # fmt: skip
    low, high = np.argmax(cumulated >= 0.05), np.argmax(cumulated >= 0.95)
    assert found.expected.median == pytest.approx(SOME.sum())
    assert (found.expected.lower, found.expected.upper) == (low, high)
    assert found.difference.median == pytest.approx(n_whelped - SOME.sum())
    assert (found.difference.lower, found.difference.upper) == (n_whelped - high, n_whelped - low)
    assert found.as_few_prob == pytest.approx(cumulated[n_whelped])
    assert found.as_few_prob + found.as_many_prob == pytest.approx(
        1 + cumulated[n_whelped] - (cumulated[n_whelped - 1] if n_whelped else 0)
    )


def test_the_expected_number_lies_in_its_interval_also_where_all_are_nearly_sure():
    found = litters_against(np.array([0.99]), np.array([1.0]))

    assert found.expected.lower <= 0.99 <= found.expected.upper


def test_scores_are_those_of_a_hand_calculation():
    """Five chances of 0.8 that came, and five of 0.6 of which one came."""
    rows = forecasts(10, litter_prob=[0.8] * 5 + [0.6] * 5, published_litter_prob=0.5,
                     whelped=[True] * 6 + [False] * 4)  # fmt: skip

    record = ledger_of(rows, bred(rows), TODAY).model

    stated = record.scores["stated"]
    assert stated.log_score == pytest.approx(
        (5 * math.log(0.8) + math.log(0.6) + 4 * math.log(0.4)) / 10
    )
    assert stated.brier == pytest.approx((5 * 0.04 + 0.16 + 4 * 0.36) / 10)
    published = record.scores["published"]
    assert published.log_score == pytest.approx(math.log(0.5))
    assert published.brier == pytest.approx(0.25)
    assert published.log_score_gain == pytest.approx(stated.log_score - math.log(0.5))
    assert published.brier_gain == pytest.approx(0.25 - stated.brier)
    gains = np.where(rows["whelped"], np.log(rows["litter_prob"] / 0.5),
                     np.log((1 - rows["litter_prob"]) / 0.5))  # fmt: skip
    assert published.log_score_gain_se == pytest.approx(gains.std(ddof=1) / math.sqrt(10))
    # Of the nine other bitches five whelped beside one that did, six beside one that did not.
    raw = [5.5 / 10 if came else 6.5 / 10 for came in rows["whelped"]]
    assert record.scores["raw"].brier == pytest.approx(
        np.mean((np.array(raw) - rows["whelped"].to_numpy(dtype=float)) ** 2)
    )


def test_plain_rates_leave_the_bitch_herself_out():
    rng = np.random.default_rng(RNG_SEED)
    known = pd.DataFrame({
        "semen_type": rng.choice(["fresh", "frozen"], 60), "bitch": rng.choice(list("ABCDE"), 60),
        "whelped": pd.array(rng.choice([True, False, None], 60), dtype="boolean"),
    })  # fmt: skip
    asked = pd.DataFrame({"semen_type": ["fresh", "frozen", "chilled"], "bitch": ["A", "Z", "A"]})

    expected = []
    for row in asked.itertuples():
        others = known[(known["semen_type"] == row.semen_type) & (known["bitch"] != row.bitch)]
        came = others["whelped"].dropna()
        expected.append((came.sum() + 0.5) / (len(came) + 1))
    np.testing.assert_allclose(plain_rates(asked, known), expected)
    assert expected[2] == 0.5


def test_right_chances_win_nothing_on_average():
    """The bet is fair: over every way in which breedings can end its mean stays 1."""
    for n in range(1, len(SOME) + 1):
        mean = sum(
            prob_of(ends, SOME[:n]) * capital(log_capitals(SOME[:n], ends))[-1]
            for ends in outcomes(n)
        )
        assert mean == pytest.approx(1.0, rel=1e-12)


def test_the_capital_is_what_its_parts_win_bet_by_bet():
    whelped = np.array([1.0, 0, 1, 1, 0, 0])
    centre = math.log(0.7 / 0.3)
    parts = []
    for shift, slope in itertools.product((-1.2, -0.8, -0.4, 0, 0.4, 0.8, 1.2), (0.5, 1, 2)):
        if (shift, slope) == (0, 1):
            continue
        money = 1.0
        for p, y in zip(SOME, whelped, strict=True):
            odds = centre + shift + slope * (math.log(p / (1 - p)) - centre)
            q = 1 / (1 + math.exp(-odds))
            money *= q / p if y else (1 - q) / (1 - p)
        parts.append(money)

    assert capital(log_capitals(SOME, whelped))[-1] == pytest.approx(np.mean(parts), rel=1e-12)


def test_the_capital_stays_finite_where_chances_are_nearly_sure():
    money = capital(log_capitals(np.array([1 - 1e-12, 1e-12]), np.array([1.0, 0.0])))

    assert np.isfinite(money).all()


def alarms(n_kennels, n_breedings, shift=0.0):
    """Whether and how the alarm is ever raised in kennels whose true log odds are shifted."""
    rng = np.random.default_rng(RNG_SEED)
    found = []
    for _ in range(n_kennels):
        odds = rng.normal(0.9, 0.8, n_breedings)
        whelped = rng.random(n_breedings) < 1 / (1 + np.exp(-odds - shift))
        stated = 1 / (1 + np.exp(-odds))
        found.append(evidence_against(stated, whelped.astype(float), days(n_breedings)))
    return found


def test_right_chances_ever_raise_the_alarm_in_at_most_one_kennel_of_twenty():
    n_kennels = 2000

    n_raised = sum(one.raised_on is not None for one in alarms(n_kennels, 300))

    # The bound is on the rate; a rate of 5 % shows more than this in one of 10,000 such tests.
    assert n_raised <= stats.binom.ppf(1 - 1e-4, n_kennels, 0.05)
    assert n_raised > 0


@pytest.mark.parametrize(("shift", "fault"), [(-1.0, "too high"), (1.2, "too low")])
def test_wrong_chances_are_found_out_and_the_way_is_named(shift, fault):
    found = alarms(200, 100, shift)

    raised = [one for one in found if one.raised_on is not None]
    assert len(raised) > 150
    assert np.mean([one.fault == fault for one in raised]) > 0.95


def test_chances_that_are_too_bold_are_told_from_chances_that_are_too_high():
    """Stated at 0.95 and 0.2 where 0.87 and 0.43 are right: half as far from 0.7 in log odds."""
    stated = np.tile([0.95, 0.2], 150)
    rng = np.random.default_rng(RNG_SEED)
    whelped = (rng.random(300) < np.tile([0.869, 0.433], 150)).astype(float)

    assert evidence_against(stated, whelped, days(300)).fault == "too bold"


def test_an_alarm_that_was_raised_stays_raised():
    stated = np.full(412, 0.8)
    whelped = np.concatenate([np.zeros(12), np.tile([1.0, 1, 1, 1, 0], 80)])

    found = evidence_against(stated, whelped, days(412))

    assert found.highest >= 20 > found.capital
    assert found.raised_on is not None
    money = capital(log_capitals(stated, whelped))
    assert found.raised_on == days(412)[int(np.argmax(money >= 20))].date()


def late_kennel(rng, n):
    """Right chances of n breedings a week apart, a third of them reported up to a year late."""
    prob = rng.uniform(0.3, 0.9, n)
    bred = pd.Series([FIRST + timedelta(days=7 * k) for k in range(n)])
    late = np.where(rng.random(n) < 1 / 3, rng.integers(80, 365, n), 60)
    known_on = (bred + pd.to_timedelta(late, unit="D")).dt.normalize()
    return forecasts(
        n, litter_prob=prob, whelped=rng.random(n) < prob, bred_earliest=bred.to_numpy(),
        known_on=known_on.to_numpy(), known_load_id=known_on.rank(method="first").astype(int),
    )  # fmt: skip


def path_seen(monkeypatch, rows, day):
    """Chances and outcomes as a look on a day puts them in order, knowing what it can know."""
    seen = []

    def bet(prob, whelped, bred_at):
        seen.extend(zip(prob, whelped, strict=True))
        return evidence_against(prob, whelped, bred_at)

    monkeypatch.setattr("studcurve.analytics.trust.ledger.evidence_against", bet)
    known = rows["known_on"] <= pd.Timestamp(day)
    rows = rows.assign(whelped=rows["whelped"].where(known), outcome_known=known)
    return seen, ledger_of(rows, bred(rows), day).model.evidence


def test_a_result_that_is_reported_late_is_appended_and_changes_nothing_before_it(monkeypatch):
    rows = late_kennel(np.random.default_rng(RNG_SEED), 60)
    looks = sorted({
        max(one.bred_earliest.normalize() + timedelta(days=72), one.known_on).date()
        for one in rows.itertuples()
    })  # fmt: skip

    paths = [path_seen(monkeypatch, rows, day)[0] for day in looks]

    assert len(paths[-1]) == 60
    for earlier, later in itertools.pairwise(paths):
        assert len(earlier) < len(later)
        assert later[: len(earlier)] == earlier
    assert paths[-1] != list(zip(rows["litter_prob"], rows["whelped"], strict=True))


def test_a_result_that_is_loaded_later_on_the_same_day_is_appended(monkeypatch):
    """The older forecast is of the later load; both breedings have long been over."""
    rows = forecasts(2, litter_prob=[0.6, 0.8], known_on=pd.Timestamp("2026-01-01"),
                     known_load_id=[3, 2])  # fmt: skip

    path, _ = path_seen(monkeypatch, rows, TODAY)

    assert [prob for prob, _ in path] == [0.8, 0.6]


def test_late_reports_raise_no_more_false_alarms():
    """Looked at after each arrival: ever raised is what the last look's path ever reached."""
    rng, n_kennels = np.random.default_rng(RNG_SEED), 250
    raised = 0
    for _ in range(n_kennels):
        rows = late_kennel(rng, 80)
        raised += ledger_of(rows, bred(rows), date(2030, 1, 1)).model.is_off

    assert raised <= stats.binom.ppf(1 - 1e-4, n_kennels, 0.05)
    assert raised > 0


@pytest.mark.parametrize(("n", "n_bands"), [(29, 0), (30, 3), (49, 4), (50, 5), (500, 5)])
def test_the_calibration_waits_for_thirty_and_has_ten_in_each_band(n, n_bands):
    rng = np.random.default_rng(RNG_SEED)
    prob = rng.uniform(0.2, 0.95, n)
    rows = forecasts(n, litter_prob=prob, whelped=rng.random(n) < prob)

    bands = ledger_of(rows, bred(rows), date(2028, 1, 1)).model.bands

    assert len(bands) == n_bands
    assert sum(band.n for band in bands) == (n if n_bands else 0)
    assert all(band.n >= 10 for band in bands)
    assert all(a.highest <= b.lowest for a, b in itertools.pairwise(bands))


def test_a_band_tells_mean_and_share():
    prob = np.repeat([0.3, 0.6], 10)
    whelped = np.array([1.0] * 2 + [0.0] * 8 + [1.0] * 7 + [0.0] * 3)

    low, high = calibration_bands(prob, whelped)

    assert (low.stated, low.share.median) == pytest.approx((0.3, 0.2))
    assert (high.stated, high.share.median) == pytest.approx((0.6, 0.7))
    exact = stats.binomtest(7, 10).proportion_ci(0.90, "exact")
    assert (high.share.lower, high.share.upper) == pytest.approx((exact.low, exact.high), abs=1e-6)


@pytest.mark.parametrize(("age", "n_settled"), [(71, 0), (72, 1)])
def test_a_breeding_is_summed_from_its_latest_day_of_whelping_on(age, n_settled):
    rows = forecasts(1)

    record = ledger_of(rows, bred(rows), FIRST.date() + timedelta(days=age)).model

    assert (record.n_known, record.n_settled) == (1, n_settled)
    assert (record.litters is None) == (n_settled == 0)


def test_what_nobody_reported_is_counted_and_not_summed():
    rows = forecasts(4, whelped=[True, None, None, False], outcome_known=[True, False, True, True])

    record = ledger_of(rows, bred(rows), TODAY).model

    assert (record.n_counting, record.n_known, record.n_missing) == (4, 2, 1)
    assert (record.litters.n, record.litters.n_whelped) == (2, 1)


def test_only_what_counts_is_scored_and_the_others_are_shown():
    rows = forecasts(3, counts=[True, False, False],
                     standing=["counts", "an earlier one", "withdrawn"])  # fmt: skip

    ledger = ledger_of(rows, bred(rows), TODAY)

    assert ledger.model.litters.n == 1
    assert (ledger.model.n_stated, ledger.model.n_withdrawn) == (3, 1)
    assert ledger.rows["forecast_id"].tolist() == [3, 2, 1]


@pytest.mark.parametrize(("n", "is_scored"), [(9, False), (10, True)])
def test_scores_wait_for_ten(n, is_scored):
    rows = forecasts(n)

    assert bool(ledger_of(rows, bred(rows), TODAY).model.scores) == is_scored


def test_people_are_scored_beside_the_model_on_the_same_breedings():
    model = forecasts(12, whelped=[True, False] * 6)
    people = model.assign(forecast_id=model["forecast_id"] + 12, stated_by="person",
                          litter_prob=[0.9, 0.1] * 6)  # fmt: skip
    rows = pd.concat([model, people], ignore_index=True)

    ledger = ledger_of(rows, bred(model), TODAY)

    assert ledger.model.scores["stated"].brier == pytest.approx((0.09 + 0.49) / 2)
    assert ledger.people.scores["stated"].brier == pytest.approx(0.01)
    assert ledger.people.scores["model"].brier == pytest.approx((0.09 + 0.49) / 2)
    assert ledger.people.scores["model"].brier_gain == pytest.approx(0.28)
    assert ledger_of(model, bred(model), TODAY).people is None


def test_semen_types_that_stand_out_are_named_the_most_striking_first():
    rows = forecasts(
        30, semen_type=["fresh"] * 10 + ["chilled"] * 10 + ["frozen"] * 10, litter_prob=0.8,
        whelped=[True] * 8 + [False] * 2 + [True] * 4 + [False] * 16,
    )  # fmt: skip

    assert ledger_of(rows, bred(rows), TODAY).model.standing_out == ("frozen", "chilled")


@pytest.mark.parametrize(("fault", "kinds"), [
    ("too high", ("frozen",)), ("too low", ("fresh",)), ("too bold", ("frozen", "fresh")),
    ("too timid", ("frozen", "fresh")),
])  # fmt: skip
def test_what_stands_out_is_off_in_the_way_of_the_alarm(fault, kinds):
    """Of frozen semen too few litters came, of fresh semen too many."""
    rows = forecasts(24, semen_type=["fresh"] * 12 + ["frozen"] * 12,
                     litter_prob=[0.5] * 12 + [0.9] * 12,
                     whelped=[True] * 11 + [False] * 8 + [True] * 5)  # fmt: skip
    record = ledger_of(rows, bred(rows), TODAY).model
    evidence = Evidence(capital=30.0, highest=30.0, raised_on=TODAY, fault=fault)

    assert replace(record, evidence=evidence).standing_out == kinds


def test_no_forecast_is_an_empty_ledger():
    rows = forecasts(1)

    ledger = ledger_of(rows.head(0), bred(rows), TODAY)

    assert (ledger.model.n_stated, ledger.model.litters, ledger.people) == (0, None, None)
    assert not ledger.model.is_off
