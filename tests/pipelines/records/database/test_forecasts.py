"""Stated chances: kept as they were stated, whatever comes later, and matched to what was done."""

import itertools
import re
import shutil
from dataclasses import replace
from datetime import date, datetime, timedelta

import duckdb
import numpy as np
import pandas as pd
import pytest

from studcurve.analytics.errors import RecordsError
from studcurve.analytics.trust.ledger import ledger_of
from studcurve.pipelines.records import archive
from studcurve.pipelines.records.database.forecasts import Forecast
from studcurve.pipelines.records.database.schema import SQL
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.records.database.whole_file import refuse_damaged

PLANNED = datetime(2026, 3, 12, 10)
TODAY = date(2026, 10, 31)
BRED = {"Bitch": "Senna", "Stud": "Bracken", "Date": "2026-03-12", "Semen": "chilled",
        "Route": "vaginal"}  # fmt: skip
LITTER = {"Result": "whelped", "Whelped on": "2026-05-13", "Born alive": "6"}


@pytest.fixture
def dogs(kennel):
    found = kennel.read("dogs")
    return dict(zip(found["call_name"], found["dog_id"], strict=True))


@pytest.fixture
def forecast(dogs):
    """A chance that differs from a plain one as said."""

    def make(stud="Bracken", bitch="Senna", **other):
        plain = Forecast(
            stated_at=datetime(2026, 3, 10, 8), asked_by="Ida", stated_by="model",
            command="compare", stud_id=dogs[stud], stud=stud, bitch_id=dogs[bitch], bitch=bitch,
            semen_type="chilled", route="vaginal", n_inseminations=1, planned_at=PLANNED,
            litter_prob=0.6125, litter_prob_median=0.63, litter_prob_lower=0.4,
            litter_prob_upper=0.8, published_litter_prob=0.55, records_weight=0.1,
            n_draws=4000, model_fingerprint="conception, version 1", priors_fingerprint="ab12",
            versions='{"numpy": "2"}', records_fingerprint="cd34",
        )  # fmt: skip
        return replace(plain, **other)

    return make


def state(kennel, *stated):
    with kennel.open() as store:
        store.add_forecasts(stated)


def kept(kennel):
    """The table as it lies in the file, by the engine itself."""
    with duckdb.connect(str(kennel.records), read_only=True) as file:
        return file.execute("FROM forecast ORDER BY forecast_id").fetchall()


def told(kennel, *columns):
    rows = kennel.read("forecasts").sort_values("forecast_id")
    return list(rows[list(columns)].itertuples(index=False, name=None))


def breed(kennel, *rows, name="breedings.csv"):
    return kennel.load(kennel.write("breedings", [BRED | row for row in rows], name))


def test_what_was_stated_comes_back_to_the_last_digit(kennel, forecast):
    stated = forecast(litter_prob=0.1 + 0.2, stated_at=datetime(2026, 3, 10, 8, 1, 2, 345678))

    state(kennel, stated)

    with duckdb.connect(str(kennel.records), read_only=True) as file:
        found = file.execute("FROM forecast")
        names = [column[0] for column in found.description]
        row = dict(zip(names, found.fetchone(), strict=True))
    assert {name: row[name] for name in Forecast.__slots__} == {
        name: getattr(stated, name) for name in Forecast.__slots__
    }
    assert (row["forecast_id"], row["question_id"], row["load_id"]) == (1, 1, 1)
    assert row["n_current_lines"] == 4


def test_the_last_one_before_the_insemination_for_the_way_that_was_used_counts(kennel, forecast):
    state(kennel, forecast(litter_prob=0.5), forecast(semen_type="fresh", litter_prob=0.7))
    state(kennel, forecast(stated_at=datetime(2026, 3, 11, 8), litter_prob=0.6),
          forecast(stated_at=datetime(2026, 3, 11, 8), semen_type="fresh"))  # fmt: skip
    state(kennel, forecast(stated_at=datetime(2026, 3, 13), litter_prob=0.9))

    breed(kennel, {"Time": "10:30"} | LITTER)

    assert told(kennel, "litter_prob", "standing", "counts") == [
        (0.5, "an earlier one", False), (0.7, "another way", False), (0.6, "counts", True),
        (0.6125, "another way", False), (0.9, "too late", False),
    ]  # fmt: skip
    assert told(kennel, "whelped") == [(True,)] * 5


@pytest.mark.parametrize(
    ("stated_at", "hour", "counts"),
    [("10:30", "10:30", True), ("10:31", "10:30", False), ("23:59", "", True)],
)
def test_a_day_without_an_hour_ends_at_midnight_and_an_hour_is_exact(
    kennel, forecast, stated_at, hour, counts
):
    state(kennel, forecast(stated_at=datetime.fromisoformat(f"2026-03-12 {stated_at}")))

    breed(kennel, {"Time": hour})

    assert told(kennel, "counts") == [(counts,)]


@pytest.mark.parametrize(("days", "standing"), [
    (-22, "no breeding"), (-21, "counts"), (0, "counts"), (21, "counts"), (22, "no breeding"),
])  # fmt: skip
def test_one_heat_is_three_weeks_about_the_planned_day(kennel, forecast, days, standing):
    planned = PLANNED + timedelta(days=days)
    state(kennel, forecast(planned_at=planned, stated_at=datetime(2026, 2, 1)))

    breed(kennel, {})

    assert told(kennel, "standing") == [(standing,)]


@pytest.mark.parametrize(("other", "standing"), [
    ({"Stud": "Tarn"}, "no breeding"), ({"Bitch": "Sage"}, "no breeding"),
    ({"Route": "transcervical"}, "another way"), ({"Semen": "frozen"}, "another way"),
])  # fmt: skip
def test_another_dog_is_another_breeding_and_another_way_is_shown(
    kennel, forecast, other, standing
):
    state(kennel, forecast())

    breed(kennel, other)

    assert told(kennel, "standing", "counts") == [(standing, False)]


@pytest.mark.parametrize(("second", "counting"), [("", 1), ("2026-03-14", 2)])
def test_of_one_question_the_number_of_inseminations_that_was_done_counts(
    kennel, forecast, second, counting
):
    state(kennel, forecast(n_inseminations=2), forecast(n_inseminations=1))

    breed(kennel, {"Second date": second})

    assert told(kennel, "n_inseminations", "counts") == [(2, counting == 2), (1, counting == 1)]


def test_a_persons_chance_counts_beside_the_models_and_hides_none(kennel, forecast):
    own = {"stated_by": "person", "litter_prob_median": None, "litter_prob_lower": None,
           "litter_prob_upper": None}  # fmt: skip
    state(kennel, forecast(), forecast(**own, asked_by="Ida", litter_prob=0.3))
    state(kennel, forecast(**own, asked_by="Ben", litter_prob=0.4))
    state(kennel, forecast(**own, asked_by="Ida", litter_prob=0.2))

    breed(kennel, LITTER)

    assert told(kennel, "asked_by", "litter_prob", "counts") == [
        ("Ida", 0.6125, True), ("Ida", 0.3, False), ("Ben", 0.4, False), ("Ida", 0.2, True),
    ]  # fmt: skip


def test_of_two_people_one_chance_of_a_breeding_is_scored(kennel, forecast):
    """Whoever asked last: two chances of one litter hang together."""
    bitches = ("Senna", "Sage")
    for bitch, names in zip(bitches, (("Ida", "Ben"), ("Ben", "Ida")), strict=True):
        for name in names:
            prob = 0.3 if name == "Ida" else 0.4
            state(kennel, forecast(bitch=bitch, stated_by="person", asked_by=name,
                                   litter_prob=prob))  # fmt: skip
    breed(kennel, *({"Bitch": bitch} | LITTER for bitch in bitches))

    people = ledger_of(kennel.read("forecasts"), kennel.read("breedings"), TODAY).people

    assert (people.n_stated, people.n_counting, people.n_settled) == (4, 2, 2)
    assert people.litters.expected.median == pytest.approx(0.4 + 0.3)
    assert people.litters.n_whelped == 2
    assert told(kennel, "standing") == [
        ("an earlier one",), ("counts",), ("an earlier one",), ("counts",),
    ]  # fmt: skip


def test_what_is_stated_after_the_breeding_was_entered_never_counts_whatever_the_clock_says(
    kennel, forecast
):
    state(kennel, forecast())
    breed(kennel, {})

    state(kennel, forecast(stated_at=datetime(2026, 3, 11), litter_prob=0.99))
    breed(kennel, LITTER)

    assert told(kennel, "litter_prob", "standing") == [(0.6125, "counts"), (0.99, "too late")]


def test_a_breeding_of_two_studs_has_no_outcome_of_one(kennel, forecast):
    state(kennel, forecast())

    breed(kennel, LITTER, {"Stud": "Tarn", "Date": "2026-03-13"})

    assert told(kennel, "counts", "outcome_known", "is_sire_certain") == [(True, True, False)]
    assert kennel.read("forecasts")["whelped"].isna().all()


def test_a_withdrawn_breeding_keeps_its_forecast_and_says_so(kennel, forecast):
    state(kennel, forecast())
    breed(kennel, LITTER | {"Whelped on": "2026-07-30"})
    finding_id = int(kennel.read("findings")["finding_id"].iloc[0])
    before = kept(kennel)

    with kennel.open() as store:
        store.withdraw([finding_id], today=TODAY, reason="another bitch")

    assert kennel.read("breedings").empty
    assert kept(kennel) == before
    assert told(kennel, "standing") == [("withdrawn",)]


def test_a_withdrawn_line_of_another_stud_withdraws_no_forecast(kennel, forecast):
    state(kennel, forecast(), forecast(stud="Tarn"))
    breed(kennel, {"Stud": "Tarn"} | LITTER | {"Whelped on": "2026-07-30"})
    finding_id = int(kennel.read("findings")["finding_id"].iloc[0])

    with kennel.open() as store:
        store.withdraw([finding_id], today=TODAY, reason="another bitch")

    assert told(kennel, "stud", "standing") == [
        ("Bracken", "no breeding"), ("Tarn", "withdrawn"),
    ]  # fmt: skip


def test_a_result_is_known_from_the_load_that_first_brought_it(kennel, forecast):
    def loaded(day, **more):
        kennel.load(kennel.write("breedings", [BRED | more]), today=day)
        ((known_on, load_id),) = told(kennel, "known_on", "known_load_id")
        return None if pd.isna(known_on) else (pd.Timestamp(known_on).date(), int(load_id))

    state(kennel, forecast())

    assert loaded(date(2026, 11, 2)) is None
    first = loaded(date(2026, 11, 9), **LITTER)
    assert first == (date(2026, 11, 9), 3)
    assert loaded(date(2026, 12, 1), **LITTER, Notes="seen") == first
    assert loaded(date(2026, 12, 8), **(LITTER | {"Born alive": "5"})) == first


def test_no_load_counts_as_earlier_than_one_before_it(kennel, forecast):
    """The dogs were loaded on the last of October; this sheet says that it is June."""
    state(kennel, forecast())

    kennel.load(kennel.write("breedings", [BRED | LITTER]), today=date(2026, 6, 1))

    ((known_on,),) = told(kennel, "known_on")
    assert pd.Timestamp(known_on).date() == TODAY


def test_nothing_that_comes_later_changes_a_forecast(kennel, forecast, tmp_path):
    """Whatever is done to the file, in whatever order: the rows stay, and so does what counted."""
    state(kennel, forecast(), forecast(semen_type="fresh", litter_prob=0.7, asked_by="Eve"))
    breed(kennel, {"Clinic": "Ida's practice"})
    first, counted = kept(kennel), told(kennel, "forecast_id", "counts", "breeding_id")

    def corrected(n):
        breed(kennel, {"Result": ("missed", "whelped")[n % 2], "Notes": f"seen {n}"})

    def more_breedings(n):
        breed(kennel, {}, {"Bitch": "Sage", "Date": f"2025-01-{n + 1:02d}"}, name=f"more{n}.csv")

    def stated(n):
        state(kennel, forecast(stated_at=datetime(2026, 3, 1 + n), litter_prob=0.01 + 0.05 * n))

    def confirmed(n):
        found = kennel.read("findings").query("is_open and severity != 'refused'")["finding_id"]
        with kennel.open() as store:
            store.confirm(found.tolist(), today=TODAY, reason=None)

    def copied(n):
        archive.back_up(kennel.records, tmp_path / f"{n}.duckdb")
        archive.restore(tmp_path / f"{n}.duckdb", kennel.records)

    def exported(n):
        archive.export(kennel.records, tmp_path / f"export{n}", lambda found: found)
        archive.restore(tmp_path / f"export{n}", kennel.records)

    def erased(n):
        breed(kennel, {"Notes": f"seen by Zoe{n}"})
        archive.erase_from_file(kennel.records, f"Zoe{n}", today=TODAY, reason="asked")

    steps = (corrected, more_breedings, stated, confirmed, copied, exported, erased)
    often = [0, *range(len(steps)), 0, 2]
    order = np.random.default_rng(7).permutation(often)
    for n, step in enumerate(order):
        steps[step](n)

        assert kept(kennel)[: len(first)] == first, steps[step].__name__
        assert told(kennel, "forecast_id", "counts", "breeding_id")[: len(first)] == counted
        with kennel.open(read_only=True) as store:
            assert store.broken_promises() == []


def test_a_name_is_erased_and_what_it_asked_about_stays(kennel, forecast):
    state(kennel, forecast(asked_by="Ida"), forecast(asked_by="Ben"))
    state(kennel, forecast(asked_by="ida", litter_prob=0.3))
    place = [column[0] for column in duckdb.connect(str(kennel.records), read_only=True).execute(
        "FROM forecast").description].index("asked_by")  # fmt: skip
    before = kept(kennel)

    erased = archive.erase_from_file(kennel.records, "Ida", today=TODAY, reason="asked by letter")

    after = kept(kennel)
    assert (erased.n_lines, erased.n_forecasts) == (0, 2)
    assert [row[place] for row in after] == ["(erased 1)", "Ben", "(erased 1)"]
    assert [row[:place] + row[place + 1 :] for row in after] == [
        row[:place] + row[place + 1 :] for row in before
    ]
    with duckdb.connect(str(kennel.records), read_only=True) as file:
        stones = file.execute("FROM erased_forecast ORDER BY forecast_id").fetchall()
    assert stones == [(1, 1, TODAY, "asked by letter"), (1, 3, TODAY, "asked by letter")]
    with kennel.open(read_only=True) as store:
        assert store.broken_promises() == []
    again = archive.erase_from_file(kennel.records, "Ben", today=TODAY, reason="asked")
    assert again.n_forecasts == 1
    assert [row[place] for row in kept(kennel)] == ["(erased 1)", "(erased 2)", "(erased 1)"]


TAMPERED = {
    "changed": "UPDATE forecast SET litter_prob = 0.61 WHERE forecast_id = 2",
    "moved in time": "UPDATE forecast SET stated_at = TIMESTAMP '2026-03-01' WHERE forecast_id = 2",
    "taken out": "DELETE FROM forecast WHERE forecast_id = 2",
    "the last taken out": "DELETE FROM forecast WHERE forecast_id = 3",
    "all taken out": "DELETE FROM forecast",
    "the count taken out": "DELETE FROM forecast_count",
    "put between": "INSERT INTO forecast SELECT * REPLACE (4 AS forecast_id) FROM forecast "
                   "WHERE forecast_id = 1",
}  # fmt: skip


@pytest.mark.parametrize("how", TAMPERED)
def test_a_row_that_was_tampered_with_is_noticed(kennel, forecast, how):
    state(kennel, forecast(), forecast(litter_prob=0.6), forecast(litter_prob=0.7))
    with duckdb.connect(str(kennel.records)) as file:
        file.execute(TAMPERED[how])

    with kennel.open(read_only=True) as store:
        assert [one.split(":")[0] for one in store.broken_promises()] == ["forecast"]
    with pytest.raises(RecordsError):
        refuse_damaged(kennel.records, "It")


@pytest.mark.parametrize("where", ["forecast_id = 3", "true"])
def test_what_was_taken_off_the_end_stays_noticed_when_more_is_stated(kennel, forecast, where):
    state(kennel, forecast(), forecast(litter_prob=0.6), forecast(litter_prob=0.7))
    with duckdb.connect(str(kennel.records)) as file:
        file.execute(f"DELETE FROM forecast WHERE {where}")

    state(kennel, forecast(litter_prob=0.8))

    with kennel.open(read_only=True) as store:
        assert len(store.broken_promises()) == 1


def test_no_statement_of_the_program_changes_a_forecast_but_the_erasing_of_a_name():
    package = SQL.parent.parent
    files = itertools.chain(package.rglob("*.py"), package.rglob("*.sql"))
    texts = [path.read_text(encoding="utf-8") for path in files]
    changing = re.compile(
        r"(?:UPDATE|DELETE FROM|DROP TABLE|ALTER TABLE|INSERT OR REPLACE INTO|TRUNCATE)\s+"
        r"forecast\b(?:\s+SET\s+(\w+))?",
        re.IGNORECASE,
    )

    assert [found[1] for text in texts for found in changing.finditer(text)] == ["asked_by"]


def test_a_replayed_forecast_is_of_the_records_of_its_day(kennel, forecast, tmp_path):
    breed(kennel, LITTER)

    with kennel.open() as store:
        store.add_forecasts([forecast(command="replay")], load_id=0)

    assert told(kennel, "command", "counts") == [("replay", True)]


def test_a_disk_that_does_not_take_it_is_a_sentence(kennel, forecast):
    with kennel.open(read_only=True) as store, pytest.raises(RecordsError):
        store.add_forecasts([forecast()])

    assert kept(kennel) == []


def test_a_file_of_the_schema_before_gets_the_table(kennel, tmp_path):
    old = shutil.copyfile(kennel.records, tmp_path / "old.duckdb")
    with duckdb.connect(str(old)) as file:
        file.execute("DROP VIEW forecasts; DROP TABLE forecast; DROP TABLE erased_forecast")
        file.execute("DROP TABLE forecast_count")
        file.execute("DELETE FROM schema_version WHERE version >= 14")

    with Store.open(old) as store:
        assert store.read("forecasts").empty
        assert store.broken_promises() == []
