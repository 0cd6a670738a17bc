"""Finished results of every page, with one name in every text that a record can hold."""

from datetime import date, datetime

import numpy as np
import pandas as pd

from analytics.cautions import Caution
from analytics.checking import Replicated, Scores
from analytics.estimate import Estimate
from analytics.litter_sizes import Expected, LitterSizes, SizeRow
from analytics.prior_width import PriorWidth
from analytics.response import Response
from analytics.second_opinion import SecondOpinion, SecondOpinionRow
from analytics.semen import with_measures
from analytics.sentences import Word, sentence
from reports.checks import Checks
from reports.client_sheet import ClientResults, Kept
from reports.handout import BredRow, HandoutResults
from reports.overview import Due, OverviewResults, StudRow, Unreported, YearRow
from reports.page import Reader
from reports.stud_review import Coefficient, SemenTypeChance, StudResults
from reports.whatif import BredDot
from reports.words import Words

HOSTILE = "</script><script>alert(1)</script>{{x}}=HYPERLINK(1)#eval"
EN = Words("en")
OWNER, VET, CLIENT = (Reader(EN, audience) for audience in ("owner", "vet", "client"))
SOURCES = ("Borge et al. 2011, Theriogenology 75:911-919 (P)",)

STOP = Caution(
    "brucella positive or suspect", "stop",
    sentence("caution.brucella_result_missing", dog="Rowan"), "Hollett 2006 (P)",
    frozenset({"conception", "plan", "box", "doses", "forecast"}),
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
            "n_motility_judged": np.where(np.arange(n) % 5 == 0, 200.0, np.nan),
            "normal_morphology_pct": np.where(np.arange(n) % 3 == 0, 78.0, np.nan),
            "observer": np.where(np.arange(n) % 4 == 0, name, "Ida"),
            "count_method": "chamber",
            "motility_method": "by eye",
            "appearance": name,
        }
    )
    return with_measures(rows, extra_cv=0.15)


def chance():
    return SemenTypeChance(
        "fresh", 12, 9, Estimate(0.75, 0.47, 0.93), Estimate(0.71, 0.5, 0.84),
        Estimate(0.7312, 0.6, 0.83), 0.42,
    )  # fmt: skip


def litter_sizes():
    rows = tuple(
        SizeRow(n, 3 * n % 7, Expected(4.2, 1.0, 8.0), Expected(3.9, 2.0, 6.0)) for n in range(9)
    )
    return LitterSizes(rows, 27, 4.8, Estimate(4.9, 3.6, 6.6), Estimate(4.8, 4.5, 5.1), 0.9)


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
                              Estimate(-0.7, -1.2, -0.2), 0.37,
                              "P")  # fmt: skip
    return StudResults(
        stud=name,
        facts=name,
        cautions=cautions,
        answer=(sentence("said.no_counted_sample", stud=name),),
        readings=evaluations(name),
        events=events,
        chances=(chance(),),
        coefficients=(coefficient,),
        litters=litter_sizes(),
        responses=(response(), response("fresh", "vaginal")),
        dots=(BredDot("chilled", "vaginal", 2.0, 150.0, True, True, name),),
        method=("readings",),
        sources=SOURCES,
        provenance="As of 1 Jun 2026",
        checks=checks(name),
    )


def checks(name="Rowan"):
    """Every kind of check, with a name where a record can bring one in."""
    middle = Estimate(0.58, 0.51, 0.64)
    against = Estimate(-0.5, -0.9, -0.1)
    opinion = SecondOpinion(
        "whelped", (SecondOpinionRow("c05", Estimate(0.6, 0.3, 1.2), None),),
        {"c08": sentence("second.not_recorded")}, 60, 20, 0, 0, 0.1,
        (sentence("second.no_published"),),
    )  # fmt: skip
    return Checks(
        said=((sentence("check.sparse_stud", stud=name, kind=Word("semen", "frozen")),),),
        scores={"model": Scores(-0.6, 0.21, 0.0, 0.0, 0.0, 0.0),
                "raw": Scores(-0.65, 0.23, 0.05, 0.02, 0.02, 0.01)},
        replicated=(Replicated("litters_frozen", 18.0, Estimate(20.0, 14.0, 27.0), 0.8),),
        methods={"chilled": PriorWidth(against, against, None)},
        studs={name: PriorWidth(middle, middle, middle)},
        is_refitted=True,
        opinions={"whelped": opinion, "litter_size": sentence("second.not_settled")},
    )  # fmt: skip


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
    return OverviewResults(
        kennel=name,
        cautions=(),
        answer=(sentence("said.no_counted_sample", stud=name),),
        due=(Due(on, on, True, name), Due(on, date(2026, 5, 3), False, name)),
        unreported=(Unreported(on, name, name, Word("semen", name), 31),),
        outcomes=outcomes,
        studs=(StudRow(name, on, 812.0, name, on, 60, 56, 37, 4.7, is_stopped),),
        years=(YearRow(2026, 29, 21, 9, Estimate(0.43, 0.24, 0.63), 43),),
        chances=(chance(),),
        litters=litter_sizes(),
        straws=straws,
        method=("chances_chain",),
        sources=SOURCES,
        provenance="As of 1 Jun 2026",
        checks=checks(name),
    )


def client_results(name="Rowan", cautions=()):
    held = Estimate(123.0, 91.0, 150.0)
    return ClientResults(
        bitch=name, stud=name, stud_facts=name, cautions=cautions,
        answer=(sentence("said.box_not_counted", stud=name, on=date(2026, 5, 1)),),
        collected=datetime(2026, 5, 1, 9, 30), has_collected_time=True,
        sent=datetime(2026, 5, 1, 17, 30), promised_on=date(2026, 5, 2), carrier=name,
        extender=name, n_doses=1.0, dose_volume_ml=4.2, motile_dose_m=151.0, motility_pct=80.0,
        kept=(Kept(0.0, Estimate(151.0, 151.0, 151.0)), Kept(48.0, held)),
        days=(sentence("said.ovulation_not_yet", bitch=name),), sources=SOURCES,
        provenance="As of 1 Jun 2026",
    )  # fmt: skip


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
            "collected_on", "extender", "motility_pct", "kept_back_hours",
            "kept_back_progressive_motility_pct", "arrival_progressive_motility_pct",
        ],
    )  # fmt: skip
    return HandoutResults(
        question=name, stud=stud, animal=(("breed", name), ("chip", name)),
        examinations=examinations, lab_tests=tests, collections=stud.readings.head(8),
        bred=(BredRow(date(2026, 5, 1), name, name, name, "pregnant", "whelped", 6, 1, 3, 2),),
        n_bred=61, kept=kept, missing=(sentence("missing.culture"),),
    )  # fmt: skip


def every_report(name="Rowan", cautions=()):
    """Every kind of page of one kennel, by its short name."""
    from reports.client_sheet import build_client_sheet
    from reports.handout import build_handout
    from reports.index import build_index
    from reports.overview import build_overview
    from reports.page import Link
    from reports.stud_review import build_stud_review

    findings = pd.DataFrame([{"file": name, "line": 3, "message": name, "remedy": name}])
    links = (Link("stud-rowan.html", name, name),)
    return {
        "review": build_stud_review(stud_results(name, cautions), OWNER),
        "overview": build_overview(overview_results(name, is_stopped=bool(cautions)), (), OWNER),
        "client": build_client_sheet(client_results(name, cautions), CLIENT),
        "handout": build_handout(handout_results(name, cautions), VET),
        "index": build_index(
            name, links, findings, answer=(name,), provenance="As of 1 Jun 2026", reader=OWNER
        ),
    }
