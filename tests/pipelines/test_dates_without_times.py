"""A record without a time of day says less, and what follows from it is wider."""

import numpy as np
import pytest

from studcurve.analytics.measures.motility_kept import retention_share
from studcurve.analytics.models.ovulation.model import ovulation_of_cycles

READ = [("2024-03-08", "0.8"), ("2024-03-10", "1.9"), ("2024-03-12", "4.6"), ("2024-03-13", "6.9")]
EGG_YOLK_H, SHAPE = 192.0, 1.5
"""Priors s01 and s03."""


def ovulation(kennel, clock):
    row = {"Bitch": "Senna", "First day": "2024-03-01"}
    for n, (day, value) in enumerate(READ, 1):
        row |= {f"Progesterone {n} on": day, f"Progesterone {n} at": clock,
                f"Progesterone {n}": value, f"Progesterone {n} unit": "ng/mL",
                f"Progesterone {n} laboratory": "Vessel Lab"}  # fmt: skip
    kennel.load(kennel.write("heats", [row]))
    return ovulation_of_cycles(kennel.read("cycles"), kennel.read("progesterone")).iloc[0]


def test_blood_drawn_on_a_day_without_a_time_dates_ovulation_less_surely(kennel):
    dated = ovulation(kennel, "")
    timed = ovulation(kennel, "12:00")

    # A time somewhere within a day has an sd of 1/√12 d; four such draws, partly independent, must
    # show in the answer. 1 % of the sd is far beyond the error of the grid (0.05 d).
    assert dated["ovulation_sd_days"] > 1.01 * timed["ovulation_sd_days"]
    # Noon is the middle of the day, so the answer itself stays where it was, within half a day.
    assert abs((dated["ovulation_at"] - timed["ovulation_at"]).total_seconds()) < 12 * 3600


def hours_kept(kennel, collected_at, sent_at, arrived_at):
    """Fewest and most hours between the collection and the reading on arrival."""
    kennel.load(
        kennel.collections({"Time": collected_at, "Extender": "egg yolk"}),
        kennel.write("shipments", [{
            "Stud": "Bracken", "Collected on": "2024-03-05", "Sent on": "2024-03-05",
            "Sent at": sent_at, "Arrived on": "2024-03-06", "Arrived at": arrived_at,
            "Progressive motility on arrival (%)": "60",
        }]),
    )  # fmt: skip
    row = kennel.read("evaluations").query("stage == 'on arrival'").iloc[0]
    fewest = row["evaluated_earliest"] - row["collected_latest"]
    most = row["evaluated_latest"] - row["collected_earliest"]
    return [max(span.total_seconds() / 3600, 0.0) for span in (fewest, most)]


@pytest.mark.parametrize(
    ("collected_at", "arrived_at", "wanted"),
    [("08:00", "11:00", (27, 27)), ("08:00", "", (16, 40)), ("", "11:00", (11, 35)),
     ("", "", (0, 48))],
)  # fmt: skip
def test_hours_of_storage_are_as_wide_as_the_days_leave_them(
    kennel, collected_at, arrived_at, wanted
):
    hours = hours_kept(kennel, collected_at, "17:30" if arrived_at else "", arrived_at)

    assert hours == pytest.approx(wanted, abs=1 / 3600)  # a day ends at 23:59:59


def test_what_is_kept_of_motility_is_less_sure_with_every_time_that_is_missing(kennel):
    widths = []
    for clocks in (("08:00", "17:30", "11:00"), ("08:00", "", ""), ("", "", "")):
        kept = retention_share(hours_kept(kennel, *clocks), EGG_YOLK_H, SHAPE)
        widths.append(float(np.ptp(kept)))

    assert widths == sorted(widths)
    assert widths[0] == 0
    assert widths[1] < 0.8 * widths[2]
