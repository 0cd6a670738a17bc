"""Small records of one dog for the rules of caution."""

from dataclasses import replace
from datetime import date, timedelta

import pandas as pd

from studcurve.analytics.cautions import DogRecords, cautions_for_dog
from studcurve.analytics.cautions.records import HealthLine, Sample

TODAY = date(2026, 6, 1)

SAMPLE = Sample(
    date(2026, 5, 20), look="normal", n_cells=210.0, concentration_m_per_ml=180.0, volume_ml=2.5,
    forward_pct=80.0, normal_pct=80.0,
)  # fmt: skip
NAN = float("nan")
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
    return replace(SAMPLE, on=ago(days), **changed)


def not_counted(days, **changed):
    blank = {"n_cells": NAN, "concentration_m_per_ml": NAN, "look": "", "forward_pct": NAN,
             "normal_pct": NAN}  # fmt: skip
    return sample(days, **(blank | changed))


TESTED = (lab_test(60),)


def records(samples=(), health=TESTED, breedings=(), row=ROW, **more):
    bred_columns = ["bred_earliest", "pregnant", "whelped", "whelped_on"]
    return DogRecords(
        "Rowan",
        pd.DataFrame(),
        pd.DataFrame(list(breedings), columns=bred_columns),
        tuple(samples),
        tuple(health),
        row,
        **more,
    )


def rules(dog_records, today=TODAY):
    return {caution.rule: caution for caution in cautions_for_dog(dog_records, today)}


def stops(dog_records, today=TODAY):
    return {c.rule for c in cautions_for_dog(dog_records, today) if c.severity == "stop"}
