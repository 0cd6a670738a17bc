"""A stud over time on the page: sentences, table and picture say the same; nobody is told more."""

import re
from dataclasses import replace

import pandas as pd
import pytest

from studcurve.analytics.models.stud.announcement import Announcement
from studcurve.analytics.wording.stud_page import headline
from studcurve.reports.page import Reader
from studcurve.reports.sections.stud_over_time import level_section, measure_charts
from studcurve.reports.words import Words
from tests.reports.samples import CLIENT, EN, OWNER, evaluations, stud_results, told

DE = Reader(Words("de"))


def cells(one, reader=OWNER):
    """The table behind a level, by what stands in its first column."""
    section = level_section(one, reader, is_headline=True)
    return {what: (value, ends) for what, value, ends in section.table.rows}


def said(one, reader=OWNER):
    told = headline((one,), names_readers=reader.audience != "client")
    return " ".join(reader.words.tell(sentence) for sentence in told)


def drawn(one, reader=OWNER):
    results = stud_results()
    (picture,) = measure_charts(
        one.answers.measure.name, evaluations("Rowan"), results.events, one, reader
    )
    return picture


def test_a_measure_that_nobody_took_has_no_picture():
    rows = evaluations("Rowan").iloc[:0]

    assert measure_charts("total_sperm_m", rows, stud_results().events, None, OWNER) == ()


@pytest.mark.parametrize("measure", ["total_sperm_m", "progressive_motility_pct"])
def test_the_headline_says_the_numbers_of_the_table(measure):
    one = told(measure=measure)
    table, text = cells(one), said(one)

    level, ends = table["Baseline on 18 Jun 2024"]
    assert level.split(" ")[0] in text
    assert ends.replace("–", " to ") in text
    change, ends = table["Change from his own past"]
    assert change.split(" ")[0] in text
    assert ends in text
    size = "40 %" if measure == "total_sperm_m" else "15 points"
    assert table[EN.say("level_table.fall", size=size)][0] == "63 %"
    assert "63 %" in text
    assert table[EN["level_table.alarm"]][0] in text
    assert table[EN["level_table.announced"]][0] == "yes"
    assert "Alert: " in text


def test_the_picture_ends_at_the_level_of_the_table():
    one = told()
    spoken, chart = drawn(one)

    ribbon = max(chart["datasets"].values(), key=lambda rows: ("upper" in rows[0], len(rows)))
    assert round(ribbon[-1]["median"]) == round(one.answers.now.median)
    assert f"{one.answers.now.median:.0f}" in spoken


@pytest.mark.parametrize(("apart", "n_labels"), [(59, 1), (60, 1), (61, 2)])
def test_events_of_up_to_sixty_days_apart_share_a_label(apart, n_labels):
    on = pd.Timestamp("2023-03-01")
    happened = pd.DataFrame(
        {"started_on": [on, on + pd.Timedelta(days=apart)], "kind": ["fever", "injury"]}
    )
    ((_, chart),) = measure_charts("total_sperm_m", evaluations("Rowan"), happened, told(), OWNER)

    labels = {row.get("label") or "" for rows in chart["datasets"].values() for row in rows}
    assert len({label for label in labels if "fever" in label or "injury" in label}) == n_labels


def test_a_probability_is_never_printed_as_none_or_all():
    assert EN.probability(0.9979) == "over 99 %"
    assert EN.probability(0.0001) == "under 1 %"
    assert DE.words.probability(0.9979) == "über 99 %"
    assert EN.probability(0.64) == "64 %"


def test_readers_that_cannot_be_told_apart_are_named_to_the_owner_and_to_no_client():
    one = told()
    one = replace(
        one,
        announcement=Announcement(False, 0.99, 0.63, False, True),
        answers=replace(
            one.answers, past_readers=("Ash, chamber",), last_readers=("Birch, photometer",)
        ),
    )

    assert "Ash (chamber) evaluated then and Birch (photometer) lately" in said(one)
    assert cells(one)[EN["level_table.announced"]][0] == EN["level_table.readers"]
    assert "Ash" not in said(one, CLIENT)
    assert "Ash" not in str(level_section(one, CLIENT, is_headline=True))


def test_a_client_is_told_no_event_and_no_reader():
    section = level_section(told("Rowan"), CLIENT, is_headline=False)
    _, chart = drawn(told("Rowan"), CLIENT)

    assert "dipped" not in " ".join(section.paragraphs)
    assert "recorded" not in " ".join(section.paragraphs)
    assert "Ida" not in str(chart)


def test_a_low_last_sample_is_answered_with_a_repetition_and_an_event_with_a_new_test():
    # An announced fall names its own days to collect again; the event's are told without one.
    quiet = told(is_announced=False)
    text = " ".join(level_section(quiet, OWNER, is_headline=True).paragraphs)

    assert "One low sample is no trend: collect again after five days' rest" in text
    assert "coincident" in text
    assert "the veterinarian decides" in text
    assert re.search(r"\b(effect|because|caused|due to)\b", text) is None


def test_a_further_measure_speaks_in_the_headline_only_where_it_is_announced():
    quiet = told(measure="progressive_motility_pct", is_announced=False)
    fallen = told(measure="progressive_motility_pct")

    assert len(headline((told(), quiet), names_readers=True)) == 2
    assert len(headline((told(), fallen), names_readers=True)) == 3


def test_what_is_said_in_german_holds_the_same_numbers():
    # German writes "90-%-Bereich": the interval's own probability is left out of both.
    numbers = r"\d+(?= %)"

    def counted(reader):
        found = re.findall(numbers, said(told(), reader).replace("\u00a0", " "))
        return sorted(n for n in found if n != "90")

    assert counted(DE) == counted(OWNER)
