"""A stud over time on the page: sentences, table and picture say the same; nobody reads more."""

import re
from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from studcurve.analytics.models.stud.announcement import Announcement
from studcurve.analytics.wording.stud import reader_words
from studcurve.analytics.wording.stud_page import headline
from studcurve.reports.page import Reader
from studcurve.reports.sections.stud_over_time import level_section, measure_charts
from studcurve.reports.words import Words
from tests.printed import sentences_in
from tests.reports.samples import CLIENT, EN, OWNER, evaluations, stud_results, summary

DE = Reader(Words("de"))


def cells(level, reader=OWNER):
    """The table behind a level, by what stands in its first column."""
    section = level_section(level, reader, is_headline=True)
    return {what: (value, ends) for what, value, ends in section.table.rows}


def headline_text(level, reader=OWNER):
    sentences = headline((level,), names_readers=reader.audience != "client")
    return " ".join(reader.words.tell(sentence) for sentence in sentences)


def drawn(level, reader=OWNER):
    results = stud_results()
    (picture,) = measure_charts(
        level.answers.measure.name, evaluations("Rowan"), results.events, level, reader
    )
    return picture


def test_a_measure_that_nobody_took_has_no_picture():
    rows = evaluations("Rowan").iloc[:0]

    assert measure_charts("total_sperm_m", rows, stud_results().events, None, OWNER) == ()


@pytest.mark.parametrize(
    ("measure", "alert"),
    [
        ("total_sperm_m", "answer.change_total_announced"),
        ("progressive_motility_pct", "answer.change_share_announced"),
    ],
)
def test_the_headline_says_the_numbers_of_the_table(measure, alert):
    fallen = summary(measure=measure)
    table, text = cells(fallen), headline_text(fallen)

    level, ends = table[EN.say("level_table.now", on=date(2024, 6, 18))]
    assert level.split(" ")[0] in text
    assert ends.replace("–", " to ") in text
    change, ends = table[EN["level_table.change"]]
    assert change.split(" ")[0] in text
    assert ends in text
    size = "40 %" if measure == "total_sperm_m" else "15 points"
    assert table[EN.say("level_table.fall", size=size)][0] == "63 %"
    assert "63 %" in text
    assert table[EN["level_table.alarm"]][0] in text
    assert table[EN["level_table.announced"]][0] == EN["level_table.yes"]
    assert len(sentences_in(text, alert)) == 1


def test_the_picture_ends_at_the_level_of_the_table():
    fallen = summary()
    spoken, chart = drawn(fallen)

    ribbon = max(chart["datasets"].values(), key=lambda rows: ("upper" in rows[0], len(rows)))
    assert round(ribbon[-1]["median"]) == round(fallen.answers.now.median)
    assert f"{fallen.answers.now.median:.0f}" in spoken


@pytest.mark.parametrize(("apart", "n_labels"), [(59, 1), (60, 1), (61, 2)])
def test_events_of_up_to_sixty_days_apart_share_a_label(apart, n_labels):
    on = pd.Timestamp("2023-03-01")
    happened = pd.DataFrame(
        {"started_on": [on, on + pd.Timedelta(days=apart)], "kind": ["fever", "injury"]}
    )
    ((_, chart),) = measure_charts(
        "total_sperm_m", evaluations("Rowan"), happened, summary(), OWNER
    )

    labels = {row.get("label") or "" for rows in chart["datasets"].values() for row in rows}
    assert len({label for label in labels if "fever" in label or "injury" in label}) == n_labels


def test_a_probability_is_never_printed_as_none_or_all():
    assert EN.probability(0.9979) == "over 99 %"
    assert EN.probability(0.0001) == "under 1 %"
    assert DE.words.probability(0.9979) == "über 99 %"
    assert EN.probability(0.64) == "64 %"


def test_readers_that_cannot_be_separated_are_named_to_the_owner_and_to_no_client():
    then, lately = "Ash, chamber", "Birch, photometer"
    level = summary()
    level = replace(
        level,
        announcement=Announcement(False, 0.99, 0.63, False, True),
        answers=replace(level.answers, past_readers=(then,), last_readers=(lately,)),
    )

    (change,) = sentences_in(headline_text(level), "answer.change_total_readers")
    for reader in reader_words((then, lately)):
        assert EN.tell(reader) in change
    assert cells(level)[EN["level_table.announced"]][0] == EN["level_table.readers"]
    assert "Ash" not in headline_text(level, CLIENT)
    assert "Ash" not in str(level_section(level, CLIENT, is_headline=True))


def test_a_client_reads_no_event_and_no_reader():
    of_events = ("answer.dip_alone", "answer.dip_coincident", "level.look_back",
                 "level.look_back_none", "level.retest")  # fmt: skip

    def events_in(reader):
        text = " ".join(level_section(summary(), reader, is_headline=False).paragraphs)
        return [key for key in of_events if sentences_in(text, key)]

    assert events_in(OWNER) == ["answer.dip_coincident", "level.look_back"]
    assert events_in(CLIENT) == []
    assert "Ida" in str(drawn(summary())[1])
    assert "Ida" not in str(drawn(summary(), CLIENT)[1])


def test_a_low_last_sample_is_answered_with_a_repetition_and_an_event_with_a_new_test():
    # An announced fall names its own days to collect again; the event's are stated without one.
    quiet = summary(is_announced=False)
    text = " ".join(level_section(quiet, OWNER, is_headline=True).paragraphs)

    (low,) = sentences_in(text, "answer.last_low")
    assert EN.day(date(2024, 6, 23)) in low
    assert sentences_in(text, "answer.dip_coincident")
    assert sentences_in(text, "level.retest")
    assert sentences_in(text, "answer.fall_retest") == []
    assert re.search(r"\b(effect|because|caused|due to)\b", text) is None


def test_a_further_measure_speaks_in_the_headline_only_where_it_is_announced():
    quiet = summary(measure="progressive_motility_pct", is_announced=False)
    fallen = summary(measure="progressive_motility_pct")

    assert len(headline((summary(), quiet), names_readers=True)) == 2
    assert len(headline((summary(), fallen), names_readers=True)) == 3


def test_what_is_said_in_german_holds_the_same_numbers():
    # German writes "90-%-Bereich": the interval's own probability is left out of both.
    numbers = r"\d+(?= %)"

    def counted(reader):
        text = headline_text(summary(), reader).replace("\u00a0", " ")
        found = re.findall(numbers, text)
        return sorted(n for n in found if n != "90")

    assert counted(DE) == counted(OWNER)
