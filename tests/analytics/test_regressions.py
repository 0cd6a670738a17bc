"""Regressions of breedings: what is read, what is counted, what is kept, and of any kennel."""

import json
import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.special import expit
from tests.analytics.view_rows import natural_matings

from studcurve.analytics.estimate import Estimate
from studcurve.analytics.models.breedings.exposures import EXPOSURES, Exposures
from studcurve.analytics.models.breedings.records import ConceptionData
from studcurve.analytics.models.breedings.terms import LINEAR
from studcurve.analytics.models.litter import model as litter
from studcurve.analytics.models.litter.model import LitterData
from studcurve.analytics.outcomes.regressing import WAYS, Answer, WithinBetween
from studcurve.analytics.outcomes.regressions import (
    UNITS,
    as_plain,
    from_plain,
    regress_litters,
    regress_sizes,
    table_of,
)
from studcurve.analytics.sentences import Sentence
from studcurve.pipelines.fits.registry import (
    check_conception,
    check_litter,
    conception_data,
    litter_data,
)
from studcurve.reports.words import Words

SEMEN = {"natural": "natural", "fresh": "vaginal", "chilled": "vaginal", "frozen": "transcervical"}


def breedings(seed, n=240, kinds=tuple(SEMEN), missing=0.0):
    """Breedings whose chance falls with short motility alone; every exposure is recorded."""
    rng = np.random.default_rng(seed)
    semen = np.array(kinds)[rng.integers(len(kinds), size=n)]
    inseminated = semen != "natural"
    exposures = Exposures(
        np.where(inseminated, rng.uniform(20.0, 90.0, n), np.nan),
        np.where(inseminated, 50.0 * 2.0 ** rng.uniform(-3.0, 3.0, n), np.nan),
        np.select(
            [semen == "fresh", semen == "chilled"],
            [rng.uniform(1.0, 12.0, n), rng.uniform(12.0, 72.0, n)],
            np.nan,
        ),
        rng.uniform(-3.0, 8.0, n),
        np.full(n, np.nan),
    )  # fmt: skip
    lost = rng.random((5, n)) < missing
    exposures = Exposures(
        *(np.where(gone, np.nan, part) for gone, part in zip(lost, exposures, strict=True))
    )
    bred = replace(
        natural_matings(n), semen_type=semen, route=np.array([SEMEN[kind] for kind in semen]),
        exposures=exposures,
    )  # fmt: skip
    short = np.nan_to_num(np.maximum(0.0, 65.0 - exposures.motility_pct)) / 10.0
    groups = {"stud": rng.integers(3, size=n), "bitch": np.arange(n) // 2}
    return rng, bred, expit(1.2 - 0.6 * short), groups


def conception(seed, **how):
    rng, bred, prob, groups = breedings(seed, **how)
    n = len(prob)
    design = np.zeros((n, len(LINEAR)))
    for row, kind in (("c05", "chilled"), ("c06", "frozen")):
        design[:, LINEAR.index(row)] = bred.semen_type == kind
    design[:, LINEAR.index("c03")] = bred.semen_type != "natural"
    whelped = (rng.random(n) < prob).astype(int)
    return ConceptionData(
        **{name: getattr(bred, name) for name in bred.__dataclass_fields__},
        design=design, scanned_pregnant=np.full(n, -1), whelped=whelped,
        is_owed=np.ones(n, dtype=bool), groups=groups,
        levels={"stud": ("A", "B", "C"), "bitch": tuple(f"b{k}" for k in range(n // 2 + 1))},
    )  # fmt: skip


def litters(seed, **how):
    rng, bred, prob, groups = breedings(seed, **how)
    n = len(prob)
    design = np.zeros((n, len(litter.LINEAR)))
    design[:, litter.LINEAR.index("l01_medium")] = 1.0
    return LitterData(
        bred, design, np.zeros(n), 1.0 + rng.poisson(6.0 * prob),
        rng.integers(3, size=n).astype(float), np.full(n, -1.0), groups,
        {"stud": ("A", "B", "C"), "bitch": ()},
    )  # fmt: skip


def test_breedings_are_counted_by_what_they_are_left_out_for():
    data = conception(1, missing=0.2)
    whelped = data.whelped.copy()
    whelped[:25] = -1
    data = replace(data, whelped=whelped)
    known = whelped >= 0
    kinds = {
        "motility": ("fresh", "chilled", "frozen"), "concentration": ("fresh", "chilled", "frozen"),
        "hours": ("fresh", "chilled"), "day": tuple(SEMEN),
    }  # fmt: skip

    found = regress_litters(data, seed=1)

    assert (found.n_known, found.n_unknown) == (215, 25)
    assert tuple(found.exposures) == EXPOSURES
    for exposure, one in found.exposures.items():
        # Second route: by hand from semen and recorded values.
        applies = known & np.isin(data.semen_type, kinds[exposure])
        recorded = np.isfinite(data.exposures.of(exposure))
        assert tuple(one.ways) == WAYS
        assert one.n_inapplicable == (known & ~applies).sum()
        for way in ("rates", "ridge"):
            answer = one.ways[way]
            assert answer.n_read == (applies & recorded).sum()
            assert answer.n_missing == (applies & ~recorded).sum()
            assert answer.n_read + answer.n_missing + one.n_inapplicable == found.n_known
        gee = one.ways["gee"]
        if isinstance(gee.difference, Estimate):
            assert gee.n_read + gee.n_separated + gee.n_lone == (applies & recorded).sum()


def test_short_motility_is_found_and_nothing_else():
    found = regress_litters(conception(2, n=900), seed=1)

    for way in ("rates", "gee"):
        assert found.exposures["motility"].ways[way].difference.lower > 0.0, way
    assert found.exposures["motility"].ways["ridge"].difference > 0.05
    # Ten points less go with fewer litters inside each stud; all studs have the same semen.
    assert found.exposures["motility"].studs.within.lower > 0.0
    for exposure in ("concentration", "hours", "day"):
        difference = found.exposures[exposure].ways["gee"].difference
        error = (difference.upper - difference.lower) / (2 * 1.645)
        assert abs(difference.median) < 4 * error


def test_the_difference_is_over_the_poor_side_set_to_what_is_best():
    data = conception(3)
    table = table_of(
        data, "hours", "litter", data.whelped.astype(float), np.ones((240, 1)),
        data.groups["bitch"],
    )  # fmt: skip

    chilled, fresh = data.semen_type == "chilled", data.semen_type == "fresh"
    hours = data.exposures.hours
    with np.errstate(invalid="ignore"):
        late = (chilled & (hours > 36.0)) | (fresh & (hours > 6.0))
    np.testing.assert_array_equal(table.is_poor, late)
    np.testing.assert_array_equal(table.best[chilled], 24.0)
    np.testing.assert_array_equal(table.best[fresh], 1.0)
    assert np.isnan(table.best[~(chilled | fresh)]).all()
    # The three others, each with a column for where it was not recorded.
    assert table.others.shape == (240, 6)
    assert np.isfinite(table.others).all()


def test_another_exposure_that_is_not_recorded_enters_at_its_mean_and_says_so():
    data = conception(3, missing=0.3)
    table = table_of(
        data, "day", "litter", data.whelped.astype(float), np.ones((240, 1)), data.groups["bitch"]
    )  # fmt: skip

    motility, missing, doublings = (table.others[:, k] for k in (0, 1, 2))
    recorded = data.exposures.motility_pct
    np.testing.assert_array_equal(missing, np.isnan(recorded))
    np.testing.assert_array_equal(motility[missing == 0], recorded[missing == 0])
    np.testing.assert_allclose(motility[missing == 1], np.nanmean(recorded))
    np.testing.assert_allclose(
        doublings.mean(), np.nanmean(np.log2(data.exposures.motile_m_per_ml))
    )


def test_concentration_enters_in_doublings_and_its_grid_stays_in_its_unit():
    found = regress_litters(conception(3), seed=1).exposures["concentration"]

    assert UNITS["concentration"] == 1.0
    assert min(found.grid) == pytest.approx(50.0 / 8.0)
    assert max(found.grid) == pytest.approx(400.0)
    told = [value for value in found.ways["ridge"].curve if value is not None]
    # The recorded values reach nearly to both ends of the grid.
    assert len(told) >= len(found.grid) - 2
    assert all(0.0 < value < 1.0 for value in told)


def test_pups_are_all_born_and_a_litter_without_its_stillborn_is_not_known():
    data = litters(4)
    stillborn = data.n_stillborn.copy()
    stillborn[:40] = -1.0
    data = replace(data, n_stillborn=stillborn)
    poor = data.bred.exposures.motility_pct < np.select(
        [data.bred.semen_type == kind for kind in ("fresh", "chilled", "frozen")],
        [65.0, 65.0, 45.0], np.nan,
    )  # fmt: skip

    found = regress_sizes(data, seed=1)

    assert (found.outcome, found.n_known, found.n_unknown) == ("size", 200, 40)
    assert found.predicted is None
    read = (stillborn >= 0) & np.isfinite(data.bred.exposures.motility_pct)
    born = data.n_alive + stillborn
    expected = born[read & ~poor].mean() - born[read & poor].mean()
    rates = found.exposures["motility"].ways["rates"]
    assert rates.n_poor == (read & poor).sum()
    assert rates.difference.median == pytest.approx(expected)
    gee = found.exposures["motility"].ways["gee"].difference
    assert gee.lower > 0.0


def test_breedings_are_predicted_from_a_hundred_known_results():
    data = conception(5, n=130)
    hundred, fewer = (
        replace(data, whelped=np.where(np.arange(130) < n, data.whelped, -1)) for n in (100, 99)
    )

    found = regress_litters(hundred, seed=1).predicted

    assert {len(chances) for chances in found.ways.values()} == {100}
    assert regress_litters(fewer, seed=1).predicted is None
    alike = replace(hundred, whelped=np.where(hundred.whelped >= 0, 1, -1))
    assert regress_litters(alike, seed=1).predicted is None


def test_chances_stand_in_the_order_of_the_breedings_with_a_known_result():
    data = conception(6, n=200)
    backwards = np.arange(200)[::-1]
    turned = replace(
        data, whelped=data.whelped[backwards], design=data.design[backwards],
        semen_type=data.semen_type[backwards], route=data.route[backwards],
        exposures=Exposures(*(part[backwards] for part in data.exposures)),
        groups={name: index[backwards] for name, index in data.groups.items()},
    )  # fmt: skip

    ahead, back = (regress_litters(one, seed=1).predicted for one in (data, turned))

    # Bitches are parted by how many breedings each has, which is alike: by their number.
    for way in ("rates", "gee", "ridge"):
        np.testing.assert_allclose(back.ways[way][backwards], ahead.ways[way], atol=1e-6)


def every_answer(found):
    return [answer for one in found.exposures.values() for answer in one.ways.values()]


def sentences_of(found):
    told = [answer.difference for answer in every_answer(found)]
    told += [one.studs for one in found.exposures.values()]
    told += list(found.predicted.why_not.values()) if found.predicted else []
    return [one for one in told if isinstance(one, Sentence)]


@pytest.mark.parametrize("outcome", ["litter", "size"])
def test_what_is_kept_is_plain_and_comes_back_as_it_was(outcome):
    found = (
        regress_litters(conception(7, missing=0.1), seed=1)
        if outcome == "litter"
        else regress_sizes(litters(7), seed=1)
    )

    kept = json.loads(json.dumps(as_plain(found), allow_nan=False))
    again = from_plain(kept)

    assert as_plain(again) == kept
    assert again.exposures == found.exposures
    kinds = {type(answer.difference) for answer in every_answer(found)}
    assert kinds == {Estimate, float, Sentence}
    assert all(isinstance(answer, Answer) for answer in every_answer(again))
    assert any(isinstance(one.studs, WithinBetween) for one in again.exposures.values())
    assert (again.predicted is None) == (outcome == "size")


def test_the_demos_250_breedings_take_no_five_seconds_and_tell_their_reasons(demo_store):
    for data, regress in (
        (conception_data(demo_store), regress_litters),
        (litter_data(demo_store), regress_sizes),
    ):
        # The libraries are loaded before the clock runs.
        regress(data, seed=1)
        started = time.process_time()
        found = regress(data, seed=1)
        seconds = time.process_time() - started

        assert seconds < 5.0
        assert found.exposures["motility"].ways["rates"].n_read > 50
        for language in ("en", "de"):
            words = Words(language)
            assert all(words.tell(one) for one in sentences_of(found))


def test_both_checks_keep_the_regressions(demo_fit, demo_litter_fit):
    litters_kept = check_conception(demo_fit, seed=1)["regressions"]
    sizes_kept = check_litter(demo_litter_fit, seed=1)["regressions"]

    assert litters_kept == as_plain(regress_litters(demo_fit.data, seed=1))
    assert sizes_kept == as_plain(regress_sizes(demo_litter_fit.data, seed=1))
    known = demo_fit.data.whelped >= 0
    assert litters_kept["n_known"] == len(litters_kept["predicted"]["ways"]["gee"]) == known.sum()


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.integers(0, 10_000), st.integers(0, 110), st.sampled_from([0.0, 0.3, 0.9, 1.0]),
    st.lists(st.sampled_from(sorted(SEMEN)), min_size=1, max_size=4, unique=True),
    st.sampled_from([0.0, 0.05, 0.5, 1.0]), st.sampled_from([1, 2, 30, 200]),
)  # fmt: skip
def test_any_kennel_is_answered_with_finite_numbers_or_a_sentence(
    seed, n, missing, kinds, whelping, n_bitches
):
    rng = np.random.default_rng(seed)
    bitch = {"stud": rng.integers(2, size=n), "bitch": rng.integers(n_bitches, size=n)}
    data = replace(
        conception(seed, n=n, kinds=kinds, missing=missing), groups=bitch,
        whelped=np.where(rng.random(n) < 0.1, -1, rng.random(n) < whelping),
    )  # fmt: skip
    pups = replace(litters(seed, n=n, kinds=kinds, missing=missing), groups=bitch)

    for found in (regress_litters(data, seed=1), regress_sizes(pups, seed=1)):
        json.dumps(as_plain(found), allow_nan=False)
        for answer in every_answer(found):
            assert answer.n_poor <= answer.n_read
        for told in sentences_of(found):
            assert Words("de").tell(told)


def test_no_breeding_is_no_result():
    found = regress_litters(conception(1, n=0), seed=1)

    assert {answer.difference.key for answer in every_answer(found)} == {"regress.no_result"}
