"""Small records of one dog for the rules of caution."""

from datetime import date, timedelta

import pandas as pd

from analytics.cautions import DogRecords, cautions_for_dog
from analytics.cautions.records import HealthLine

TODAY = date(2026, 6, 1)

SAMPLE = {
    "stage": "raw",
    "failed_reason": None,
    "collected_earliest": pd.Timestamp("2026-05-20"),
    "appearance": "normal",
    "n_cells_counted": 210.0,
    "volume_ml": 2.5,
    "concentration_m_per_ml": 180.0,
    "progressive_motility_pct": 80.0,
    "normal_morphology_pct": 80.0,
}
ROW = {"sex": "male", "born_on": pd.Timestamp("2022-01-01"), "adult_weight_kg": 23.5,
       "n_litters_before": 0}  # fmt: skip


def ago(days):
    return TODAY - timedelta(days=days)


def lab_test(days, result="negative", what="Brucella (RSAT)", **more):
    return HealthLine("Rowan", "laboratory test", ago(days), what, result, **more)


def event(days, what, until_days=None, **more):
    until = None if until_days is None else ago(until_days)
    return HealthLine("Rowan", "event", ago(days), what, until=until, **more)


def examination(days, what, result="", **more):
    return HealthLine("Rowan", "examination", ago(days), what, result, **more)


def release(days, what, result="RSAT and 2ME negative", veterinarian="Dr. Vey"):
    return HealthLine("Rowan", "release by veterinarian", ago(days), what, result,
                      veterinarian=veterinarian)  # fmt: skip


def sample(days, **changed):
    return SAMPLE | {"collected_earliest": pd.Timestamp(ago(days))} | changed


def not_counted(days, **changed):
    blank = {"n_cells_counted": None, "concentration_m_per_ml": None, "appearance": None,
             "progressive_motility_pct": None, "normal_morphology_pct": None}  # fmt: skip
    return sample(days, **(blank | changed))


TESTED = (lab_test(60),)


def records(samples=(), health=TESTED, breedings=(), row=ROW, **more):
    bred_columns = ["bred_earliest", "whelped", "whelped_on"]
    return DogRecords(
        "Rowan",
        pd.DataFrame(list(samples), columns=list(SAMPLE)),
        pd.DataFrame(list(breedings), columns=bred_columns),
        tuple(health),
        row,
        **more,
    )


def rules(dog_records, today=TODAY):
    return {caution.rule: caution for caution in cautions_for_dog(dog_records, today)}


def stops(dog_records, today=TODAY):
    return {c.rule for c in cautions_for_dog(dog_records, today) if c.severity == "stop"}
