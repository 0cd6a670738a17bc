"""What is known of a shipment, how it is made up, its line in the records and its slip."""

from __future__ import annotations

import csv
import re
import tempfile
import unicodedata
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from studcurve.analytics.cautions.words import test_of
from studcurve.analytics.errors import RecordsError
from studcurve.analytics.estimate import Estimate, estimate_from_draws
from studcurve.analytics.measures import doses, extending, motility_kept
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.sheets.columns import SHEETS
from studcurve.reports.findings import with_texts
from studcurve.reports.pages.slip import HealthTest, ShipmentSlip
from studcurve.reports.words import Words

USUAL_RATIO = 4.0
"""Parts of extender to one of semen until told: the middle of 3 to 5 (Sugai 2024, P)."""


@dataclass(frozen=True, slots=True)
class ShipmentRequest:
    """What is known at the bench.

    Attributes
    ----------
    stud
        Call name.
    reading
        The sample as read.
    appearance
        As the Collections sheet has it; None where nothing was noted.
    collected_at, sent_at, inseminate_at
        When; the last as planned.
    extender, ratio
        Its name, and parts of it to one of semen; None for the usual ratio.
    route, weight_kg
        Where the dose is put, and the bitch's weight. [kg]
    target_m, certainty
        Dose aimed at, and how surely. [10⁶]
    n_doses
        Doses to make; None for as many as are sure enough.
    is_anyway
        Whether a dose with nearly no chance to meet its target is packed all the same.
    count_cv
        Error of a count beyond chance.
    waited_minutes
        From the collection to the extender. [min]
    for_bitch, clinic, carrier, promised_on
        For the record and the slip.
    """

    stud: str
    reading: doses.SampleEvaluation
    appearance: str | None
    collected_at: datetime
    sent_at: datetime
    inseminate_at: datetime
    extender: str | None
    ratio: float | None
    route: doses.Route
    weight_kg: float | None
    target_m: float
    certainty: float
    n_doses: int | None
    is_anyway: bool
    count_cv: float
    waited_minutes: float | None
    for_bitch: str | None
    clinic: str | None
    carrier: str | None
    promised_on: date | None

    @property
    def hours(self) -> float:
        """From the collection to the insemination. [h]"""
        return (self.inseminate_at - self.collected_at).total_seconds() / 3600.0


@dataclass(frozen=True, slots=True)
class MadeUp:
    """How the sample is made up."""

    n_doses: int
    ratio: float
    extender_each_ml: float
    dose_volume_ml: float
    final_m_per_ml: float
    motile_now_m: Estimate

    @classmethod
    def of(
        cls,
        request: ShipmentRequest,
        sample: doses.SampleDraws,
        plan: doses.DosePlan,
        medium: motility_kept.Medium,
    ) -> MadeUp:
        """Make up the doses of a plan; the whole sample is one dose when none is sure enough."""
        n_doses = max(plan.n_doses, 1)
        ratio = USUAL_RATIO if request.ratio is None else request.ratio
        ratio = 0.0 if medium == "undiluted" else ratio
        volume = request.reading.volume_ml
        extender = float(extending.extender_for_ratio_ml(volume, ratio))
        whole = volume + extender
        return cls(
            n_doses,
            ratio,
            extender / n_doses,
            whole / n_doses,
            float(np.median(sample.total_m)) / whole,
            estimate_from_draws(sample.progressive_m / n_doses),
        )


def until_at(request: ShipmentRequest, plan: doses.DosePlan) -> datetime | None:
    """Until when the doses are stated to meet the target as surely as asked.

    Whole half days from the collection, but never before the insemination itself; None when they
    do not meet it even then.
    """
    if plan.until_h is None or plan.until_h < request.hours:
        return None
    hours = max(motility_kept.hours_shown(plan.until_h) or 0.0, request.hours)
    return request.collected_at + timedelta(hours=hours)


def record_shipment(store_path: Path, stud: str, request: ShipmentRequest, made: MadeUp) -> None:
    """Record the shipment as a line of the Shipments sheet; without an arrival its outcome is
    pending.
    """
    sheet = SHEETS["shipments"]
    line = {
        "dog": stud,
        "collected_on": request.collected_at.date().isoformat(),
        "sent_on": request.sent_at.date().isoformat(),
        "sent_at": f"{request.sent_at:%H:%M}",
        "carrier": request.carrier or "",
        "extender": request.extender or "",
        "n_doses": str(made.n_doses),
        "dose_volume_ml": f"{made.dose_volume_ml:.2f}",
        # What was not counted stays unrecorded: the models know better than to take it for read.
        "motile_dose_m": f"{made.motile_now_m.median:.0f}" if request.reading.is_counted else "",
        "for_bitch": request.for_bitch or "",
        "clinic": request.clinic or "",
        "promised_on": request.promised_on.isoformat() if request.promised_on else "",
    }
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{sheet.name}.csv"
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            writer.writerow(column.heading for column in sheet.columns)
            writer.writerow(line.get(column.name, "") for column in sheet.columns)
        with Store.open(store_path) as store:
            report = store.load([path], today=request.sent_at.date())
    if report.n_refused:
        findings = with_texts(report.findings, Words("en"))
        refused = findings[findings["severity"] == "refused"].iloc[0]
        raise RecordsError(
            f"The shipment was not recorded: {refused['message']}. {refused['remedy']}"
        )


def make_slip(
    stud: str,
    registered: str | None,
    request: ShipmentRequest,
    plan: doses.DosePlan,
    made: MadeUp,
    lab_tests: pd.DataFrame,
) -> ShipmentSlip:
    """What the slip says."""
    tests = _health_tests(lab_tests[lab_tests["dog"] == stud], request.sent_at.date())
    return ShipmentSlip(
        stud=stud,
        registered_name=registered,
        for_bitch=request.for_bitch,
        clinic=request.clinic,
        collected_at=request.collected_at,
        sent_at=request.sent_at,
        inseminate_at=request.inseminate_at,
        n_doses=made.n_doses,
        dose_volume_ml=made.dose_volume_ml,
        extender=request.extender,
        ratio=made.ratio,
        n_cells=request.reading.n_cells,
        is_counted=request.reading.is_counted,
        motility_pct=request.reading.progressive_motility_pct,
        n_evaluated=request.reading.n_motility_evaluated,
        motile_now_m=made.motile_now_m,
        motile_then_m=plan.chosen.motile_dose_m,
        target_m=plan.target_m,
        certainty=plan.certainty,
        meets_prob=plan.chosen.meets_prob,
        until_at=until_at(request, plan),
        is_divided=plan.n_doses > 0,
        tests=tests,
        has_brucella_test=any(test_of(test.what) == "brucella" for test in tests),
        mark=" · ".join(
            part for part in (stud, request.sent_at.date().isoformat(), request.for_bitch) if part
        ),
    )


def _health_tests(lab_tests: pd.DataFrame, today: date) -> tuple[HealthTest, ...]:
    """The newest test of each kind for an infection, as printed."""
    known = lab_tests[pd.to_datetime(lab_tests["sampled_on"]) <= pd.Timestamp(today)]
    # What concerns the receiver: infections, and not whatever else a laboratory measured.
    known = known[known["what"].map(test_of).isin(["brucella", "infection"]).astype(bool)]
    newest = known.sort_values("sampled_on").groupby(known["what"].str.casefold()).tail(1)
    tests = []
    for row in newest.sort_values("what").to_dict("records"):
        printed = [row["result"], row["value_text"], row["unit"]]
        result = " ".join(str(part) for part in printed if isinstance(part, str))
        sampled_on = pd.Timestamp(row["sampled_on"]).date()
        tests.append(HealthTest(str(row["what"]), result or None, sampled_on))
    return tuple(tests)


def slip_name(slip: ShipmentSlip) -> str:
    """A plain file name for a slip, whatever the names in it hold."""
    parts = [slip.stud, slip.sent_at.date().isoformat(), slip.for_bitch or ""]
    text = unicodedata.normalize("NFKD", "-".join(parts)).encode("ascii", "ignore").decode()
    name = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:80]
    return f"box-{name}.html"
