"""Finished results of every page, with one name in every text that a record can hold."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import cache

import numpy as np
import pandas as pd

from studcurve.analytics.cautions import Caution
from studcurve.analytics.cautions.records import EVERY_ANSWER
from studcurve.analytics.estimate import Estimate, RecordsWeight
from studcurve.analytics.measures.agreement import Agreement
from studcurve.analytics.measures.control_chart import Chart
from studcurve.analytics.measures.dates import retest
from studcurve.analytics.measures.motility_kept import published_storage
from studcurve.analytics.measures.semen import with_measures
from studcurve.analytics.measures.stages import EvaluatorsAgreement, Recovery, StagesCompared
from studcurve.analytics.models.breedings.exposures import EXPOSURES
from studcurve.analytics.models.conception.bred import (
    BredDot,
    BreedingsChance,
    Coefficient,
    SemenTypeChance,
)
from studcurve.analytics.models.conception.response import Response
from studcurve.analytics.models.litter.model import PUBLISHED
from studcurve.analytics.models.litter.sizes import Expected, LitterSizes, SizeRow
from studcurve.analytics.models.ovulation.model import ProgesteroneReading, ovulation_posterior
from studcurve.analytics.models.storage.curve import ExtenderOrder
from studcurve.analytics.models.storage.usable import Dose, ExtenderCurve, StudStorage
from studcurve.analytics.models.stud.announcement import Announcement
from studcurve.analytics.models.stud.charts import ChartRule, StudCharts
from studcurve.analytics.models.stud.dips import Coincident, Dip
from studcurve.analytics.models.stud.false_alarms import KennelRule
from studcurve.analytics.models.stud.inputs import MEASURES
from studcurve.analytics.models.stud.level import (
    FALL_POINTS,
    FALL_SIZES,
    Band,
    FallChance,
    LastCollection,
    StudAnswers,
)
from studcurve.analytics.models.stud.power import (
    TRUE_FALL_POINTS,
    TRUE_FALLS,
    AnnouncedWithinAYear,
    Power,
)
from studcurve.analytics.models.stud.summary import StudSummary
from studcurve.analytics.outcomes.confounded import Together
from studcurve.analytics.outcomes.contrast import Loss
from studcurve.analytics.outcomes.counted import Band as ValuesBand
from studcurve.analytics.outcomes.counted import Mark, Side
from studcurve.analytics.outcomes.methods import MethodOutcome
from studcurve.analytics.outcomes.needed import Needed
from studcurve.analytics.outcomes.regressing import Answer, Predicted, WithinBetween
from studcurve.analytics.outcomes.regressions import ExposureRegressed, Regressions
from studcurve.analytics.outcomes.standardised import Curve
from studcurve.analytics.outcomes.summary import OUTCOMES, Counts, ExposureOutcome
from studcurve.analytics.plan.breakeven import BreakEven
from studcurve.analytics.plan.breeding_plan import BreedingPlan, HeatSummary
from studcurve.analytics.plan.compare import answer_options, gap_between
from studcurve.analytics.plan.feasible import possible_options
from studcurve.analytics.plan.measure_next import Worth
from studcurve.analytics.plan.options import Circumstances, Straws
from studcurve.analytics.plan.simulation.chain import Pair, simulate
from studcurve.analytics.plan.simulation.pups import (
    Dam,
    draw_litter,
    pups_of,
)
from studcurve.analytics.plan.simulation.samples import next_sample
from studcurve.analytics.plan.simulation.unknowns import Chain, draw_unknowns
from studcurve.analytics.plan.what_if import option_grid
from studcurve.analytics.sentences import Word, sentence
from studcurve.analytics.trust.checking import Replicated, Scores
from studcurve.analytics.trust.ledger import ledger_of
from studcurve.analytics.trust.prior_width import MethodWidth, PriorWidth
from studcurve.analytics.trust.residuals import ResidualCheck
from studcurve.analytics.trust.second_opinion import SecondOpinion, SecondOpinionRow
from studcurve.analytics.wording.checks import Checks
from studcurve.analytics.wording.ledger import ledger_wording
from studcurve.analytics.wording.outcomes import outcomes_wording
from studcurve.analytics.wording.sources import Source
from studcurve.analytics.wording.stud_page import headline
from studcurve.reports.page import Reader
from studcurve.reports.pages.comparison import ComparisonResults
from studcurve.reports.pages.handout import Animal, BredRow, HandoutResults
from studcurve.reports.pages.outcomes import OutcomesResults
from studcurve.reports.pages.overview import Due, OverviewResults, StudRow, Unreported, YearRow
from studcurve.reports.pages.shipment_sheet import Kept, ShipmentSheetResults
from studcurve.reports.pages.stud_review import StudResults
from studcurve.reports.words import Words
from tests.published_chain import published_chain

HOSTILE = "</script><script>alert(1)</script>{{x}}=HYPERLINK(1)#eval"
EN = Words("en")
OWNER, VET, CLIENT = (Reader(EN, audience) for audience in ("owner", "vet", "client"))
SOURCES = (Source("Borge et al. 2011, Theriogenology 75:911-919", "P"),)
PROVENANCE = (sentence("page.as_of", on=date(2026, 6, 1)),)

STOP = Caution(
    "brucella result missing", "stop",
    sentence("caution.brucella_result_missing", dog="Rowan", what="RSAT", on=date(2026, 5, 1)),
    "Hollett 2006 (P)",
    EVERY_ANSWER,
)  # fmt: skip


def evaluations(name):
    rng = np.random.default_rng(4)
    n = 40
    rows = pd.DataFrame(
        {
            "collected_earliest": pd.date_range("2022-01-03", periods=n, freq="23D"),
            "sexual_rest_days": 23,
            "volume_ml": rng.uniform(1.5, 4.0, n).round(1),
            "concentration_m_per_ml": rng.uniform(120, 400, n).round(),
            "n_cells_counted": rng.integers(100, 320, n).astype(float),
            "progressive_motility_pct": rng.choice([60.0, 70, 80, 90], n),
            "n_motility_evaluated": np.where(np.arange(n) % 5 == 0, 200.0, np.nan),
            "normal_morphology_pct": np.where(np.arange(n) % 3 == 0, 78.0, np.nan),
            "n_morphology_evaluated": 100.0,
            "evaluator": np.where(np.arange(n) % 4 == 0, name, "Ida"),
            "count_method": "chamber",
            "motility_method": "by eye",
            "appearance": name,
        }
    )
    return with_measures(rows, extra_cv=0.15)


def chance():
    return SemenTypeChance(
        "fresh",
        BreedingsChance(
            n_known=12, n_whelped=9, own=Estimate(0.75, 0.47, 0.93),
            published=Estimate(0.71, 0.5, 0.84), together=Estimate(0.7312, 0.6, 0.83),
            records_weight=RecordsWeight(0.42, -0.3),
        ),
    )  # fmt: skip


def litter_sizes():
    rows = tuple(
        SizeRow(n, 3 * n % 7, Expected(4.2, 1.0, 8.0), Expected(3.9, 2.0, 6.0)) for n in range(9)
    )
    return LitterSizes(
        rows, 27, 4.8, Estimate(4.9, 3.6, 6.6), Estimate(4.8, 4.5, 5.1), RecordsWeight(0.9, 0.2)
    )


def response(semen_type="chilled", route="vaginal"):
    hours, doses, days = (
        (24.0, 48.0),
        (100.0, 200.0),
        (-2.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0),
    )
    median = np.linspace(0.2, 0.8, 36).reshape(2, 2, 9)
    return Response(
        semen_type, route, hours, doses, days, median - 0.1, median, median + 0.1
    )  # fmt: skip


RULE = ChartRule(370.4, 8.3, 0.05, 1)


def summary(name="Rowan", measure="total_sperm_m", *, is_announced=True):
    """What a level says of a stud whose numbers fell from 900 to 470 M (from 78 to 62 %)."""
    chosen = MEASURES[measure]
    past, now, moved = (900.0, 470.0, -0.478) if chosen.is_log else (78.0, 62.0, -0.16)
    sizes = FALL_SIZES if chosen.is_log else FALL_POINTS
    falls = TRUE_FALLS if chosen.is_log else TRUE_FALL_POINTS
    last_on = date(2024, 6, 18)
    when = np.array(["2022-01-03", "2023-06-01", "2024-06-18"], dtype="datetime64[s]")
    level = np.linspace(past, now, 3)
    answers = StudAnswers(
        name, chosen, 40, date(2022, 1, 3), last_on, Estimate(now, 0.8 * now, 1.2 * now),
        Estimate(past, 0.9 * past, 1.1 * past), date(2023, 4, 1), 20,
        Estimate(moved, 1.3 * moved, 0.7 * moved),
        tuple(map(FallChance, sizes, (0.998, 0.91, 0.63))),
        0.002, True, (f"{name}, chamber",), ("Ida, chamber",), 0.97, Estimate(0.31, 0.05, 0.6),
    )  # fmt: skip
    fever = Coincident(name, name, date(2024, 5, 30), 19, "began while they ripened (epididymis)")
    dip = Dip(0.99, date(2023, 4, 2), (date(2023, 3, 20), date(2023, 4, 9)), Estimate(-1, -2, -0.5),
              3)  # fmt: skip
    return StudSummary(
        answers, Announcement(is_announced, 0.998, 0.63, True, True),
        KennelRule(0.985, 0.044, 5, 3), RecordsWeight(0.87, -0.4),
        Estimate(0.5 * moved, moved, 0.1),
        Power(15.9, 0.012, 9, 6.8, tuple(map(AnnouncedWithinAYear, falls, (0.2, 0.7, 0.96))), 4),
        LastCollection(last_on, 0.4 * now, Estimate(now, 0.5 * now, 2.0 * now), 0.01, True,
                       date(2024, 6, 23), Estimate(now, 0.5 * now, 2.0 * now), 0.95),
        date(2024, 7, 11), 23.0, Estimate(now, 0.5 * now, 2.0 * now), ((dip, (fever,)),), (fever,),
        retest(fever.started_on), Band(when, 0.9 * level, level, 1.1 * level),
        StudCharts(chosen, when, 10, Chart(level, 0.5 * level, 2.0 * level, level < now + 1.0),
                   Chart(level / 300, -0 * level - 1, 0 * level + 1, level > 300), RULE, RULE),
    )  # fmt: skip


def stages_of_samples():
    kept = Estimate(83.0, 77.0, 90.0)
    points = Estimate(-12.0, -18.0, -7.0)
    shipments = Agreement(7, Estimate(-5.7, -15.1, 3.6), 12.7, Estimate(-30.6, -46.8, -14.4),
                      Estimate(19.2, 3.0, 35.4))  # fmt: skip
    return StagesCompared(
        (Recovery("raw", "retained", 4, 0, kept, points, 47.0),),
        {("raw", "retained"): (70.0, 80.0, 85.0, 95.0)},
        EvaluatorsAgreement(11, 4, shipments),
    )


def storage(name="Rowan"):
    hours = tuple(float(hour) for hour in range(0, 97, 24))
    kept = tuple(Estimate(100 - hour / 2, 100 - hour, 100 - hour / 4) for hour in hours)
    dose = Dose(41.0, 30.0, 77.0, 0.8, 0.73)
    curve = ExtenderCurve(name, hours, kept, (("retained", 48.0, 81.0),), 70.0, 96.0, dose)
    order = ExtenderOrder(48.0, (name, "milk"), (kept[2], kept[2]), 0.82, (0.82,))
    return StudStorage(name, (curve,), 48.0, 200.0, 276.0, 5, order, True)


def stud_results(name="Rowan", cautions=()):
    events = pd.DataFrame(
        {
            "started_on": [pd.Timestamp("2023-03-04"), pd.Timestamp("2023-03-05")],
            "until_on": [pd.NaT, pd.NaT],
            "kind": [name, "drug"],
            "drug_class": [None, name],
            "text": [name, None],
        }
    )
    coefficient = Coefficient("c06", Estimate(-0.55, -1.2, 0.1), Estimate(-0.8, -1.5, -0.1),
                              Estimate(-0.7, -1.2, -0.2), 0.98,
                              RecordsWeight(0.37, -0.4), "P")  # fmt: skip
    return StudResults(
        stud=name,
        facts=(name,),
        cautions=cautions,
        answer=(sentence("answer.no_counted_sample", stud=name),)
        if cautions
        else headline((summary(name),), names_readers=True),
        readings=evaluations(name),
        summaries=(
            summary(name),
            summary(name, "progressive_motility_pct"),
            summary(name, "normal_morphology_pct"),
        ),
        stages=stages_of_samples(),
        storage=storage(name),
        events=events,
        chances=(chance(),),
        coefficients=(coefficient,),
        litters=litter_sizes(),
        responses=(response(), response("fresh", "vaginal")),
        dots=(BredDot("chilled", "vaginal", 2.0, 150.0, True, True, name),),
        method=("readings",),
        sources=SOURCES,
        provenance=PROVENANCE,
        checks=checks(name),
    )


def checks(name="Rowan"):
    """Every kind of check, with a name where a record can bring one in."""
    middle = Estimate(0.58, 0.51, 0.64)
    against = Estimate(-0.5, -0.9, -0.1)
    opinion = SecondOpinion(
        "whelped", (SecondOpinionRow("c05", Estimate(0.6, 0.3, 1.2), None),),
        {"c08": sentence("second.not_recorded")}, 60, 20, 0, 0, 0, 0.1,
        (sentence("second.no_published"),),
    )  # fmt: skip
    return Checks(
        paragraphs=((sentence("check.sparse_stud", stud=name, kind=Word("semen", "frozen")),),),
        scores={"model": Scores(-0.6, 0.21, 0.0, 0.0, 0.0, 0.0),
                "raw": Scores(-0.65, 0.23, 0.05, 0.02, 0.02, 0.01)},
        residuals=(ResidualCheck("motility", -6.0, 2.1, 0.04, 7.4, 5.6),
                   ResidualCheck("stud", 4.0, float("nan"), 0.8, None, 31.0)),
        replicated=(Replicated("empty_twice", 18.0, Estimate(20.0, 14.0, 27.0), 0.8),),
        methods={"chilled": MethodWidth(PriorWidth(against, against, None), 0.98, 0.97, None)},
        studs={name: PriorWidth(middle, middle, middle)},
        is_refitted=True,
        opinions={"whelped": opinion, "litter_size": sentence("second.not_settled")},
    )  # fmt: skip


def stated_chances(name, *, is_stopped=False):
    """Forty chances of the model's and one of a person's, or what a stopped dog leaves of them."""
    n = 41
    first = date(2023, 5, 1)
    rows = pd.DataFrame({
        "forecast_id": range(1, n + 1), "question_id": range(1, n + 1), "asked_by": name,
        "stated_by": ["model"] * (n - 1) + ["person"], "command": "compare", "stud": name,
        "bitch": name, "semen_type": "fresh", "route": "vaginal", "litter_prob": 0.61,
        "litter_prob_lower": 0.41, "litter_prob_upper": 0.81, "published_litter_prob": 0.57,
        "breeding_id": range(1, n + 1), "n_inseminations": 1, "records_weight": 0.3,
        "bred_earliest": [first + timedelta(days=20 * k) for k in range(n)],
        "stated_at": pd.Timestamp(first), "planned_at": pd.Timestamp(first),
        "outcome_known": True, "whelped": [k % 3 > 0 for k in range(n)], "is_sire_certain": True,
        "counts": True, "standing": "counts", "known_load_id": range(1, n + 1),
        "known_on": [first + timedelta(days=20 * k + 63) for k in range(n)],
    }).astype({"whelped": "boolean", "outcome_known": "boolean"})  # fmt: skip
    rows = rows.astype({"bred_earliest": "datetime64[us]", "known_on": "datetime64[us]"})
    shown = rows.head(0 if is_stopped else n)
    ledger = ledger_of(shown, shown[["semen_type", "bitch", "whelped"]], date(2026, 5, 1))
    return ledger_wording(ledger, n if is_stopped else 0)


def overview_results(name="Rowan", *, is_stopped=False):
    outcomes = pd.DataFrame(
        [
            ("pregnant", "whelped", 50, 48, 230, 9, 200, 190),
            ("pregnant", "unknown", 6, 0, 0, 0, 0, 0),
            ("not pregnant", "no litter", 20, 0, 0, 0, 0, 0),
            ("unknown", "whelped", 9, 9, 40, 1, 40, 38),
            ("unknown", "unknown", 5, 0, 0, 0, 0, 0),
        ],
        columns=[
            "scan", "outcome", "n_breedings", "n_litters_counted", "n_born_alive", "n_stillborn",
            "n_followed", "n_alive_8_weeks",
        ],
    )  # fmt: skip
    straws = pd.DataFrame(
        [(name, name, pd.Timestamp("2024-10-07"), 5, 3, 34.0, 50.0)],
        columns=[
            "stud", "lot", "frozen_on", "n_straws_left", "n_straws_per_dose", "motile_per_straw_m",
            "post_thaw_progressive_motility_pct",
        ],
    )  # fmt: skip
    on = date(2026, 5, 1)
    due = sentence("due.evaluation_never", stud=name)
    return OverviewResults(
        kennel=name,
        cautions=(),
        answer=(sentence("answer.no_counted_sample", stud=name),),
        due=(Due(on, on, True, due), Due(on, date(2026, 5, 3), False, due)),
        unreported=(Unreported(on, name, name, Word("semen", name), 31),),
        outcomes=outcomes,
        studs=(
            StudRow(
                name,
                on,
                812.0,
                None if is_stopped else summary(name),
                name,
                on,
                60,
                56,
                37,
                4.7,
                is_stopped,
            ),
        ),
        years=(YearRow(2026, 29, 21, 9, Estimate(0.43, 0.24, 0.63), 43),),
        chances=(chance(),),
        methods=(
            MethodOutcome(
                "fresh",
                "vaginal",
                12,
                9,
                Estimate(0.75, 0.47, 0.93),
                Estimate(0.66, 0.5, 0.8),
                None,
                None,
            ),
            MethodOutcome(
                "chilled",
                "vaginal",
                0,
                0,
                None,
                Estimate(0.6, 0.4, 0.7),
                Estimate(-0.06, -0.17, 0.01),
                0.93,
            ),
        ),
        of_chances=(sentence("answer.no_counted_sample", stud=name),),
        litters=litter_sizes(),
        stages=stages_of_samples(),
        straws=straws,
        method=("chances_chain",),
        sources=SOURCES,
        forecasts=stated_chances(name, is_stopped=is_stopped),
        provenance=PROVENANCE,
        checks=checks(name),
        outcomes_along=outcomes_along(is_stopped=is_stopped),
    )


NOTHING_BRED = Side(0, 0, 0.0, None)
FOUR, FIVE = Side(6, 4, 3.0, None), Side(7, 5, 3.0, Estimate(0.613, 0.231, 0.897))
"""What came of one breeding too few for a share, and of just enough."""

GRID = {
    "motility": (10.0, 50.0, 90.0), "concentration": (6.25, 50.0, 400.0),
    "hours": (0.0, 24.0, 72.0), "day": (-3.0, 2.0, 7.0),
}  # fmt: skip
"""Where the curves of these results are read: no value beyond was studied."""

BEYOND = {"motility": 95.0, "concentration": 900.0, "hours": 96.0, "day": 9.0}
"""A recorded value beyond each grid, alone in its band."""


def exposure_outcome(exposure, outcome, standing="open", **changed):
    """One of the four and one outcome: two bands within what was studied, and one beyond."""
    low, middle, high = GRID[exposure]
    scale = 1.0 if outcome == "litter" else 6.0
    five = replace(FIVE, rate=Estimate(scale * 0.613, scale * 0.231, scale * 0.897))
    marks = [Mark(low + k, outcome == "litter" or 4.0 + k) for k in range(4)]
    marks += [Mark(middle + k, 0.0 if outcome == "litter" else 3.0) for k in range(5)]
    marks += [Mark(BEYOND[exposure], 1.0)]
    curve = tuple(
        Estimate(scale * m, scale * (m - 0.1), scale * (m + 0.1)) for m in (0.3, 0.6, 0.7)
    )
    has_row = (exposure, outcome) != ("concentration", "size")
    one = ExposureOutcome(
        exposure,
        outcome,
        standing,
        Counts(
            19, 4, 2, FOUR, five, None, None,
            (
                ValuesBand(-np.inf, middle, low + 1.5, FOUR),
                ValuesBand(middle, high, middle + 2.0, five),
                ValuesBand(high, np.inf, BEYOND[exposure], Side(2, 1, 1.0, None)),
            ),
            tuple(marks),
            (Together("frozen", 0.9, 0.83, 0.21, 9),) if outcome == "litter" else (),
        ),
        Curve(GRID[exposure], curve, curve, 19) if has_row else None,
        Loss(4, *(Estimate(scale * m, scale * (m - 0.1), scale * (m + 0.1)) for m in (0.11, 0.17)))
        if has_row
        else None,
        Needed(863.0, 999, 0.2),
        7.3,
    )  # fmt: skip
    return replace(one, **changed)


def outcomes_along(*, is_stopped=False, fitted=OUTCOMES, asked=OUTCOMES, **changed):
    """What is told of the four; of a dog that a caution stops there is no breeding to tell of."""
    standing = "not_asked" if is_stopped else "open"
    found = [exposure_outcome(e, o, standing, **changed) for e in EXPOSURES for o in OUTCOMES]
    if is_stopped:
        nothing = Counts(0, 0, 0, NOTHING_BRED, NOTHING_BRED, None, None, (), (), ())
        found = [
            replace(one, counts=nothing, curve=None, loss=None, needed=None, pups_at_stake=0.0)
            for one in found
        ]
    return outcomes_wording(found, fitted=fitted, asked=asked, is_of_one_stud=is_stopped)


def outcomes_results(name="Rowan", cautions=(), **how):
    return OutcomesResults(
        title=name,
        is_of_one_stud=bool(cautions),
        cautions=cautions,
        fit_age=None,
        wording=outcomes_along(is_stopped=bool(cautions), **how),
        held_back=(sentence("answer.held_back", n=3, dogs=(name,)),),
        left_out=(),
        regressions=() if cautions else (regressions_of_litters(),),
        model_score={} if cautions else {"log_loss": 0.61, "brier": 0.21},
        method=() if cautions else ("outcomes_counted",),
        sources=SOURCES,
        provenance=PROVENANCE,
    )


def regressions_of_litters():
    """Ways with a range, a point and a reason, how they predict, and studs apart."""
    ways = {
        "rates": Answer(Estimate(0.12, -0.03, 0.25), 40, 9, 4),
        "gee": Answer(sentence("regress.few_litter", n=9, wanted=45), 40, 9, 4),
        "ridge": Answer(0.05, 40, 9, 4, shape="straight", curve=(0.6, 0.4)),
    }
    studs = WithinBetween(Estimate(0.02, -0.05, 0.09), Estimate(-0.1, -0.4, 0.2), 40, 2)
    chances = np.full(40, 0.6)
    predicted = Predicted({"rates": chances}, {"rates": 0.66}, {"rates": 0.23})
    exposures = {"hours": ExposureRegressed(ways, (24.0, 48.0), 3, studs)}
    return Regressions("litter", 40, 3, exposures, predicted)


def shipment_sheet_results(name="Rowan", cautions=()):
    held = Estimate(123.0, 91.0, 150.0)
    return ShipmentSheetResults(
        bitch=name, stud=name, stud_facts=(name,), cautions=cautions,
        answer=(sentence("answer.shipment_not_counted", stud=name, on=date(2026, 5, 1)),),
        collected=datetime(2026, 5, 1, 9, 30), has_collected_time=True,
        sent=datetime(2026, 5, 1, 17, 30), promised_on=date(2026, 5, 2), carrier=name,
        extender=name, n_doses=1.0, dose_volume_ml=4.2, motile_dose_m=151.0, motility_pct=80.0,
        kept=(Kept(0.0, Estimate(151.0, 151.0, 151.0)), Kept(48.0, held)), own_until_h=80.0,
        days=(sentence("answer.ovulation_not_yet", bitch=name),), sources=SOURCES,
        provenance=PROVENANCE,
    )  # fmt: skip


@cache
def plan(name="Rowan"):
    """A comparison from the published table, small and quick."""
    asked_at = datetime(2026, 5, 1, 18)
    ovulation = ovulation_posterior(
        [ProgesteroneReading(asked_at, asked_at, 3.6, 3.6, name)], first_day=date(2026, 4, 22)
    )
    circumstances = Circumstances(
        asked_at, date(2026, 5, 1), date(2026, 5, 9), straws=(Straws(name, 6, 3, 34.0),),
        extender=name,
    )  # fmt: skip
    pair = Pair(name, name, breed=name, clinic=name, bitch_age_years=4.0, stud_age_years=5.0)
    unknowns = draw_unknowns(
        published_chain(np.random.default_rng(0), 400), pair, ovulation,
        lambda rng, n_draws: next_sample(pd.DataFrame(), rng.normal(size=(2, n_draws))),
        storage=lambda rng, n_draws: published_storage("egg yolk", rng=rng, n_draws=n_draws),
        shipments=None, seed=11, n_draws=400,
    )  # fmt: skip
    options, infeasible = possible_options(circumstances)
    outcomes = [simulate(o, pair, unknowns) for o in {o.method: o for o in options}.values()]
    dams = Chain(PUBLISHED.draw(np.random.default_rng(3), 400), {})
    litter = draw_litter(dams, Dam(name, name), seed=3, n_draws=400)
    answers = answer_options(
        outcomes, [pups_of(outcome, litter) for outcome in outcomes], outcomes, pair,
        prices={"collection": 80.0}, worth_of_litter=None,
    )  # fmt: skip
    shipped = next(k for k, o in enumerate(outcomes) if o.option.carrier is not None)
    low, high = ovulation.interval()
    return BreedingPlan(
        pair=pair,
        heat=HeatSummary(
            low.date(), high.date(), ovulation.mean_at.date(), ovulation.sd_days,
            sentence("answer.no_counted_sample", stud=name), has_days=True, is_read=True,
        ),
        cautions=(),
        is_stopped=False,
        n_litters=2,
        months_since=14.0,
        litter_inbreeding_pct=None,
        sources=(sentence("source.chance_published"),
                 sentence("answer.no_counted_sample", stud=name)),
        prices={"collection": 80.0, "progesterone test": 55.0},
        currency="EUR",
        worth_of_litter=None,
        answers=answers,
        lead=0,
        gaps=tuple(gap_between(answers, 0, k) for k in range(1, len(answers))),
        lines=(BreakEven(shipped, 0, "delay_h", 11.0),),
        worths=(Worth("progesterone", asked_at, {"litters": 0.031, "pups": 0.2}),
                Worth("count", None, {"litters": 0.0, "pups": 0.0})),
        infeasible=infeasible,
        n_draws=400,
        grids=(option_grid(shipped, outcomes[shipped], pair, unknowns),
               option_grid(0, outcomes[0], pair, unknowns)),
    )  # fmt: skip


def comparison_results(name="Rowan", cautions=()):
    compared = replace(plan(name), cautions=cautions, is_stopped=bool(cautions))
    return ComparisonResults(
        compared, asked_at=datetime(2026, 5, 1, 18), sources=SOURCES, provenance=PROVENANCE
    )


def handout_results(name="Rowan", cautions=()):
    stud = stud_results(name, cautions)
    examinations = pd.DataFrame(
        [(pd.Timestamp("2025-09-03"), name, name, "17", name, name)],
        columns=["examined_on", "what", "finding", "value_text", "unit", "text"],
    )
    tests = pd.DataFrame(
        [(pd.Timestamp("2026-04-12"), name, name, "11200", name, name, name)],
        columns=[
            "sampled_on", "what", "result", "value_text", "unit", "laboratory_range", "laboratory",
        ],
    )  # fmt: skip
    kept = pd.DataFrame(
        [(pd.Timestamp("2026-04-14"), name, 80.0, 48.0, 60.0, 70.0)],
        columns=[
            "collected_on", "extender", "motility_pct", "retained_hours",
            "retained_progressive_motility_pct", "arrival_progressive_motility_pct",
        ],
    )  # fmt: skip
    return HandoutResults(
        question=name, stud=name, cautions=cautions, answer=stud.answer, summaries=stud.summaries,
        animal=Animal(None, name, name, None, None),
        examinations=examinations, lab_tests=tests, collections=stud.readings.head(8),
        readings=stud.readings, events=stud.events,
        bred=(BredRow(date(2026, 5, 1), name, name, name, "pregnant", "whelped", 6, 1, 3, 2),),
        n_bred=61, kept=kept, missing=(sentence("missing.culture"),),
        method=stud.method, sources=stud.sources, provenance=stud.provenance,
    )  # fmt: skip


@cache
def every_report(name="Rowan", *, is_stopped=False):
    """Every kind of page of one kennel, by its short name; built once for all who look at it."""
    from studcurve.reports.page import Link
    from studcurve.reports.pages.comparison import build_comparison
    from studcurve.reports.pages.handout import build_handout
    from studcurve.reports.pages.index import build_index
    from studcurve.reports.pages.outcomes import build_outcomes
    from studcurve.reports.pages.overview import build_overview
    from studcurve.reports.pages.shipment_sheet import build_shipment_sheet
    from studcurve.reports.pages.stud_review import build_stud_review

    cautions = (STOP,) if is_stopped else ()
    findings = pd.DataFrame(
        [
            {
                "file": name, "line": 3, "column_heading": name, "text": cell, "message": name,
                "remedy": name, "rule": "missing", "rule_values": kept,
            }
            for cell in (name, None)
            for kept in ("{}", None)
        ]
    )  # fmt: skip
    links = (Link("stud-rowan.html", name, name),)
    return {
        "review": build_stud_review(stud_results(name, cautions), OWNER),
        "overview": build_overview(overview_results(name, is_stopped=is_stopped), (), OWNER),
        "outcomes": build_outcomes(outcomes_results(name, cautions), OWNER),
        "shipment sheet": build_shipment_sheet(shipment_sheet_results(name, cautions), CLIENT),
        "handout": build_handout(handout_results(name, cautions), VET),
        "compare": build_comparison(comparison_results(name, cautions), OWNER),
        "index": build_index(
            name, links, findings, answer=(name,), provenance="As of 1 Jun 2026", reader=OWNER
        ),
    }
