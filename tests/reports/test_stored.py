"""Stages and storage on the page: what is said is what the tables hold."""

import re
from dataclasses import replace

import numpy as np
import pytest

from studcurve.analytics.measures.stages import EvaluatorsAgreement, compared_stages
from studcurve.pipelines.pages.storage import storage_of
from studcurve.pipelines.pages.stud import read_stud
from studcurve.reports.pages.stud_review import build_stud_review
from studcurve.reports.sections.stored import stages_section, storage_section
from tests.printed import sentences_in
from tests.reports.samples import EN, OWNER, STOP, stages_of_samples, storage, stud_results


@pytest.fixture(scope="module")
def kennel(demo_kennel):
    return demo_kennel


def test_what_is_left_on_arrival_is_that_of_the_owner_s_sheets(kennel):
    # Second route: pandas alone, one raw and one arrival reading of each collection.
    rows = kennel.views["evaluations"]
    by_stage = rows.pivot_table(
        index="collection_id", columns="stage", values="progressive_motility_pct", aggfunc="mean"
    )
    both = by_stage.dropna(subset=["raw", "on arrival"])

    section = stages_section(compared_stages(rows), EN)

    row = next(row for row in section.table.rows if row[0] == "raw → on arrival")
    assert row[1] == str(len(both))
    kept = 100.0 * np.exp(np.log(both["on arrival"] / both["raw"]).mean())
    assert row[3].startswith(f"{kept:.0f} (")


def test_the_agreement_is_stated_with_its_limits_or_not_at_all():
    stages = stages_of_samples()
    few = replace(stages, agreement=EvaluatorsAgreement(2, 1, None))

    (text,) = stages_section(stages, EN).paragraphs
    assert len(sentences_in(text, "stages.agreement")) == 1
    assert EN.points(stages.agreement.agreement.bias.median, signed=True) in text
    (text,) = stages_section(few, EN).paragraphs
    assert text == EN.say("stages.no_agreement", n=2)


def test_hours_beyond_what_was_read_are_extrapolated_in_table_and_picture():
    section = storage_section(storage(), EN)

    basis = {row[1]: row[4] for row in section.table.rows}
    assert basis["48"] == EN["storage.studied"]
    assert basis["72"] == EN["storage.extrapolated"]
    # All is kept at hour 0 by definition, which is no estimate with an interval.
    assert [row[1] for row in section.table.rows if row[3] == "–"] == ["0"]
    _, chart = section.charts[0]
    parts = [row for rows in chart["datasets"].values() for row in rows if "part" in row]
    # The last hour read here joins both parts of the line.
    assert sorted(row["hours"] for row in parts if row["part"] == "extrapolated") == [48, 72, 96]


def test_a_dose_meets_its_target_until_an_hour_with_its_interval():
    text = " ".join(storage_section(storage(), EN).paragraphs)

    (meets,) = sentences_in(text, "storage.meets")
    assert {"200", "41", "30", "77"} <= set(re.findall(r"\d+", meets))
    (order,) = sentences_in(text, "storage.order")
    assert "82" in re.findall(r"\d+", order)
    assert EN["storage.not_fertility"] in text


def test_without_a_fit_the_curve_is_the_published_one_and_nothing_is_put_in_order(kennel):
    tarn = read_stud(kennel, "Tarn")
    stored = storage_of("Tarn", tarn.shipments, tarn.evaluations, kennel.storage, kennel.target_m)

    assert stored.order is None
    assert all(curve.observed_until_h is None for curve in stored.curves)
    assert storage_section(stored, EN).lead == EN["storage.lead_published"]
    assert any(curve.readings for curve in stored.curves)


def test_a_stop_on_doses_leaves_no_storage_curve():
    free = build_stud_review(stud_results(), OWNER)
    stopped = build_stud_review(stud_results(cautions=(STOP,)), OWNER)

    assert "storage" in {section.name for section in free.sections}
    assert "storage" not in {section.name for section in stopped.sections}
