"""The chain of a plan against the model's own functions, and what may never happen in it."""

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.special import expit
from tests.analytics.archetypes import Archetype, pregnant_logit
from tests.published_chain import published_chain

from studcurve.analytics.models.breedings.inputs import USUAL_DOSE_M
from studcurve.analytics.models.breedings.terms import EARLY_EDGE_DAYS, LATE_EDGE_DAYS, hinge
from studcurve.analytics.models.conception import model as conception
from studcurve.analytics.models.conception.chance import litter_prob, new_partner_spread
from studcurve.analytics.plan.feasible import possible_options
from studcurve.analytics.plan.simulation.chain import (
    NEVER_HARMFUL,
    NEVER_HELPFUL,
    Shift,
    bias_draws,
    simulate,
)
from studcurve.analytics.plan.simulation.unknowns import (
    Chain,
    draw_unknowns,
    partner_effects,
)

SOME = settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.fixture(scope="module")
def options(circumstances):
    return possible_options(circumstances)[0]


def one_of_each(options):
    return list({option.method: option for option in options}.values())


def test_the_chain_is_the_conception_model_at_each_draws_own_dose_day_and_hours(
    options, pair, without_bias
):
    unknowns = replace(without_bias, partners=np.zeros(without_bias.n_draws))
    few = np.arange(0, unknowns.n_draws, 400)
    for option in one_of_each(options):
        outcome = simulate(option, pair, unknowns)
        for d in few:
            # The model's own function, one draw and one breeding at a time.
            days = [
                (at - unknowns.origin).total_seconds() / 86400.0 - unknowns.ovulation_days[d]
                for at in (option.inseminated_at, option.if_next_day, option.if_weekend)[
                    outcome.days_late[d]
                ]
            ]
            breeding = Archetype(
                option.semen_type,
                option.route,
                tuple(days),
                outcome.motile_dose_m[d],
                outcome.hours_stored[d] / 24.0,
                motility_pct=outcome.motility_pct[d],
                bitch_age_years=pair.bitch_age_years,
                stud_age_years=pair.stud_age_years,
            )
            one = {row: draws[[d]] for row, draws in unknowns.coefficients.items()}
            expected = pregnant_logit(one, breeding)[0]

            assert outcome.logit[d] == pytest.approx(expected, abs=1e-10)
            assert outcome.litter_prob[d] == pytest.approx(
                expit(expected) * expit(one["c02"][0]), abs=1e-12
            )


def test_new_partners_average_to_the_models_own_integral(options, pair, without_bias):
    option = next(o for o in options if o.method == "fresh transcervical once")
    outcome = simulate(option, pair, without_bias)
    chain = published_chain(np.random.default_rng(0))
    spread = new_partner_spread(chain.draws)
    without_partners = outcome.logit - without_bias.partners

    averaged = litter_prob(without_bias.coefficients, without_partners, spread=spread)

    error = (outcome.litter_prob - averaged).std() / math.sqrt(len(averaged))
    assert outcome.litter_prob.mean() == pytest.approx(averaged.mean(), abs=4.0 * error)


def test_what_no_column_holds_of_this_heat_widens_every_option_alike(options, pair, without_bias):
    n = without_bias.n_draws
    z = np.random.default_rng(8).normal(size=n)
    wide = replace(without_bias, beyond_sd=np.full(n, 0.8), beyond_z=z)
    for option in one_of_each(options):
        plain, one = (simulate(option, pair, u) for u in (without_bias, wide))

        # Written out: every part is stretched, and where this heat stands is added.
        stretch = math.sqrt(1.0 + (0.8 * 16.0 * math.sqrt(3.0) / (15.0 * math.pi)) ** 2)
        assert one.logit == pytest.approx(stretch * plain.logit + 0.8 * z, abs=1e-12)
        assert one.litter_prob.std() > plain.litter_prob.std()
        assert one.litter_prob.mean() == pytest.approx(plain.litter_prob.mean(), abs=0.02)


def test_a_heat_stands_where_it_does_whoever_is_compared(
    pair, ovulation, sample_of_a_new_stud, in_egg_yolk
):
    def draw_again(pair):
        return draw_unknowns(
            published_chain(np.random.default_rng(0)), pair, ovulation, sample_of_a_new_stud,
            storage=in_egg_yolk, shipments=None, seed=11, n_draws=50,
        )  # fmt: skip

    one, other = draw_again(pair), draw_again(replace(pair, stud="another"))

    assert np.array_equal(one.beyond_z, other.beyond_z)
    assert np.array_equal(one.beyond_sd, other.beyond_sd)
    assert not np.array_equal(one.beyond_z, draw_again(replace(pair, bitch="another")).beyond_z)


def test_a_dose_counts_as_a_tenth_of_a_million_where_it_holds_less(options, pair, unknowns):
    option = next(o for o in options if o.method == "fresh vaginal once")
    dose_m = simulate(option, pair, unknowns).motile_dose_m
    d = int(unknowns.coefficients["c10"].argmax())

    def part(at_m):
        """What a dose of so many motile sperm does in the draw that minds a small one most."""
        shift = Shift(doublings=math.log2(at_m / dose_m[d]))
        return simulate(option, pair, unknowns, shift=shift).parts["motile dose"][d]

    # In millions.
    assert part(0.05) == part(0.01) == pytest.approx(part(0.1), rel=1e-9)
    assert part(0.1) < part(0.101) < part(1.0)


def test_shipped_semen_has_lost_what_its_curve_says_and_fresh_semen_nothing(
    options, pair, unknowns
):
    collected_m = unknowns.sample.total_m * unknowns.sample.progressive_share
    fresh, chilled = (
        simulate(next(o for o in options if o.method == method), pair, unknowns)
        for method in ("fresh vaginal once", "chilled vaginal once")
    )

    assert fresh.motile_dose_m == pytest.approx(collected_m)
    assert chilled.hours_stored.min() > 12.0
    lost = (chilled.hours_stored / unknowns.storage.eta_h) ** unknowns.storage.kappa
    assert chilled.motile_dose_m == pytest.approx(collected_m * np.exp(-lost))


def test_a_sample_on_hand_is_itself_and_the_next_collection_another(options, pair, unknowns):
    option = next(o for o in options if o.method == "fresh vaginal once")
    held = replace(unknowns.sample, total_m=np.full(unknowns.n_draws, 300.0),
                   progressive_share=np.full(unknowns.n_draws, 0.5))  # fmt: skip
    on_hand = replace(option, source="sample on hand")
    known = replace(unknowns, on_hand=held)

    def dose_m(option, unknowns):
        return simulate(option, pair, unknowns).motile_dose_m

    assert option.source == "next collection"
    assert dose_m(on_hand, known) == pytest.approx(np.full(unknowns.n_draws, 150.0))
    assert np.array_equal(dose_m(option, known), dose_m(option, unknowns))
    # Where nobody said what is in it, it holds what his samples do.
    assert np.array_equal(dose_m(on_hand, unknowns), dose_m(option, unknowns))


def names_of(pair):
    return {"stud": pair.stud, "bitch": pair.bitch, "breed": pair.breed}


def test_a_partner_of_the_records_keeps_its_own_effect(pair):
    rng = np.random.default_rng(4)
    draws = conception.PUBLISHED.draw(rng, 500)
    draws["effect_stud"] = np.column_stack([np.full(500, 0.3), np.full(500, -0.8)])
    silent = {row: np.zeros(500) for row in ("c20_bitch", "c20_breed")}
    chain = Chain({**draws, **silent}, {"stud": ("other", pair.stud)})

    effects = partner_effects(
        chain, names_of(pair), conception.PUBLISHED.spreads, seed=4, n_draws=1000
    )

    assert effects == pytest.approx(np.full(1000, -0.8))


def test_clinic_and_year_count_where_the_records_hold_them_alone(pair):
    rng = np.random.default_rng(4)
    published = published_chain(rng, 500)
    effect = np.column_stack([np.full(500, 0.3), np.full(500, -0.8)])
    own = {f"effect_{factor}": effect for factor in ("stud", "bitch", "breed", "clinic")}
    levels = {factor: (f"a {factor}", f"other {factor}") for factor in ("stud", "bitch", "breed")}
    names = {factor: f"a {factor}" for factor in (*levels, "clinic")}

    def effects(levels):
        chain = Chain({**published.draws, **own}, levels)
        return partner_effects(chain, names, conception.PUBLISHED.spreads, seed=4, n_draws=500)

    # Three partners of 0.3 each; of a clinic without a record nothing, not even a new one's spread.
    assert effects(levels) == pytest.approx(np.full(500, 0.9))
    both = effects({**levels, "clinic": ("a clinic", "other clinic")})
    assert both == pytest.approx(np.full(500, 1.2))


def test_two_new_bitches_are_two_dogs_and_the_new_stud_they_share_is_one(pair):
    chain = published_chain(np.random.default_rng(0))

    def effects(**names):
        return partner_effects(
            chain, names_of(pair) | names, conception.PUBLISHED.spreads, seed=4, n_draws=4000
        )

    one, other = effects(bitch="Aster"), effects(bitch="Briar")
    other_stud = effects(bitch="Briar", stud="another")
    shared = np.corrcoef(one, other)[0, 1]

    # Of the variances 0.5², 0.4² and 0.4² of bitch, stud and breed the last two are shared; the
    # error of a correlation of 4,000 draws with the tails of a scale mixture is below 0.03.
    assert shared == pytest.approx(0.32 / 0.57, abs=4 * 0.03)
    assert not np.array_equal(other, other_stud)
    assert np.array_equal(one, effects(bitch="Aster"))


@given(data=st.data())
@SOME
def test_an_older_sample_a_smaller_dose_or_a_day_further_out_never_raises_the_chance(
    data, options, pair, unknowns
):
    option = data.draw(st.sampled_from(one_of_each(options)))
    hours = sorted(data.draw(st.tuples(st.floats(0, 96), st.floats(0, 96))))
    doublings = sorted(data.draw(st.tuples(st.floats(-9, 6), st.floats(-9, 6))))
    edge = LATE_EDGE_DAYS[option.route]
    out = np.array(sorted(data.draw(st.tuples(st.floats(0, 12), st.floats(0, 12)))))
    first = (option.inseminated_at[0] - unknowns.origin).total_seconds() / 86400.0
    # Far enough for the first insemination to be past its edge in every draw, whatever the
    # shipment.
    beyond = edge + unknowns.ovulation_days.max() - first

    def chance(**shift):
        return simulate(option, pair, unknowns, shift=Shift(**shift)).litter_prob

    fresher, older = (chance(stored_h=h) for h in hours)
    fewer, more = (chance(doublings=d) for d in doublings)
    nearer, further = (chance(days=beyond + d) for d in out)

    assert np.all(older <= fresher)
    assert np.all(fewer <= more)
    # A smooth early edge still bends by 0.25 ln(1 + exp(−(late − early)/0.25)) at the late one.
    early = max(-unknowns.coefficients[row].min() for row in NEVER_HELPFUL)
    slack = early * hinge(np, -(edge - EARLY_EDGE_DAYS[option.semen_type]))
    assert np.all(further <= nearer + slack / 4.0 + 1e-15)


@given(data=st.data())
@SOME
def test_a_day_too_early_is_never_better_than_a_day_less_early(data, options, pair, unknowns):
    once = [o for o in one_of_each(options) if len(o.inseminated_at) == 1 and o.carrier is None]
    option = data.draw(st.sampled_from(once))
    first = (option.inseminated_at[0] - unknowns.origin).total_seconds() / 86400.0
    early_edge = EARLY_EDGE_DAYS[option.semen_type]
    before = early_edge + unknowns.ovulation_days.min() - first
    out = sorted(data.draw(st.tuples(st.floats(0, 10), st.floats(0, 10))))

    nearer, further = (
        simulate(option, pair, unknowns, shift=Shift(days=before - d)).litter_prob for d in out
    )

    late = max(-unknowns.coefficients[row].min() for row in NEVER_HELPFUL)
    slack = late * hinge(np, -(LATE_EDGE_DAYS[option.route] - early_edge))
    assert np.all(further <= nearer + slack / 4.0 + 1e-15)


def test_a_later_shipment_is_never_better_stored(options, pair, unknowns):
    option = next(o for o in options if o.method == "chilled vaginal once")

    outcome = simulate(option, pair, unknowns)
    on_time = outcome.days_late == 0

    assert 0 < on_time.sum() < len(on_time)
    planned_h = (option.inseminated_at[0] - option.collected_at) / timedelta(hours=1)
    assert set(outcome.hours_stored[on_time].round(6)) == {planned_h}
    assert outcome.hours_stored[~on_time].min() >= planned_h + 24.0


@given(sd=st.floats(0.05, 1.0), seed=st.integers(0, 1000))
@SOME
def test_a_bias_widens_and_never_moves_the_centre(sd, seed, options, pair, without_bias):
    bias = bias_draws(np.random.default_rng(seed), without_bias.n_draws, sd=sd)
    biased_unknowns = replace(without_bias, bias=bias)
    for option in one_of_each(options):
        plain = simulate(option, pair, without_bias)
        biased = simulate(option, pair, biased_unknowns)
        if option.semen_type == "natural":
            assert np.array_equal(biased.litter_prob, plain.litter_prob)
            continue
        assert biased.logit.mean() == pytest.approx(plain.logit.mean(), abs=1e-12)
        # Independent by construction, so the variances add; the sampled covariance is at most
        # four of its errors below zero.
        added = biased.parts["bias of the contrasts"]
        error = 2.0 * plain.logit.std() * added.std() / math.sqrt(len(added))
        assert biased.logit.var() > plain.logit.var() + added.var() - 4.0 * error
        assert added.std() > 0.9 * sd


def test_the_bias_of_the_plan_comes_from_its_own_row_and_no_record_moves_it(
    pair, ovulation, sample_of_a_new_stud, in_egg_yolk
):
    tight = {
        row: values * 0.01
        for row, values in conception.PUBLISHED.draw(np.random.default_rng(1), 1000).items()
    }
    drawn = [
        draw_unknowns(
            chain,
            pair,
            ovulation,
            sample_of_a_new_stud,
            storage=in_egg_yolk,
            shipments=None,
            seed=3,
        )
        for chain in (published_chain(np.random.default_rng(0)), Chain(tight, {}))
    ]

    for row in drawn[0].bias:
        assert np.array_equal(drawn[0].bias[row], drawn[1].bias[row])
        # Standard deviation of 4,000 normal draws, four errors of 0.3/√8000.
        assert drawn[0].bias[row].std() == pytest.approx(0.3, abs=4 * 0.3 / math.sqrt(8000))


def test_the_signs_of_a_plan_hold_in_every_draw(unknowns):
    assert all(unknowns.coefficients[row].max() <= 0.0 for row in NEVER_HELPFUL)
    assert all(unknowns.coefficients[row].min() >= 0.0 for row in NEVER_HARMFUL)


def test_the_same_seed_gives_the_same_draws_and_a_dose_follows_its_sample(options, pair, unknowns):
    once = next(o for o in options if o.method == "chilled vaginal once")
    twice = next(
        o
        for o in options
        if o.method == "chilled vaginal twice" and o.inseminated_at[0] == once.inseminated_at[0]
    )

    alone, halved = simulate(once, pair, unknowns), simulate(twice, pair, unknowns)

    assert halved.motile_dose_m == pytest.approx(alone.motile_dose_m / 2.0)
    assert np.array_equal(simulate(once, pair, unknowns).litter_prob, alone.litter_prob)
    assert USUAL_DOSE_M["vaginal"] < np.median(alone.motile_dose_m)
