"""Numbers, days and dilutions as they are typed: one reading, or one sentence and exit code 2."""

from datetime import date, datetime, time

import pytest
import typer

from studcurve.pipelines.cli import main
from studcurve.pipelines.commands.plan import MORNING
from studcurve.pipelines.commands.terminal import asked_at, asked_on
from studcurve.pipelines.commands.values import (
    Now,
    OnePlus,
    count,
    number,
    one_of,
    one_plus,
    read_clock,
    read_day,
    read_hours,
    read_moment,
    read_named_day,
    read_now,
    read_numbers,
    read_weekdays,
)


def ask(*arguments, capsys):
    with pytest.raises(SystemExit) as stop:
        main(list(arguments))
    printed = capsys.readouterr()
    return stop.value.code or 0, printed.out, printed.err


@pytest.mark.parametrize(
    ("read", "typed", "value"),
    [
        (number(), "12.5", 12.5),
        (number(), "12,5", 12.5),
        (number(), "0,125", 0.125),
        (number(), "-1,5", -1.5),
        (number(0.0, 100.0), "100", 100.0),
        (count(), "140", 140),
        (read_numbers, "12,9,15", (12.0, 9.0, 15.0)),
        (read_numbers, "6;12,5; 24", (6.0, 12.5, 24.0)),
        (one_plus(19), "1 + 19", OnePlus(19.0)),
        (one_plus(4), "1+4,5", OnePlus(4.5)),
        (read_day, "2026-11-05", date(2026, 11, 5)),
        (read_day, "05.11.2026", date(2026, 11, 5)),
        (read_moment, "2026-11-05T18:30", datetime(2026, 11, 5, 18, 30)),
        (read_now, "2026-11-05", Now(date(2026, 11, 5), None)),
        (read_now, "2026-11-05 18:30", Now(date(2026, 11, 5), time(18, 30))),
        (read_now, "2026-11-05T00:00", Now(date(2026, 11, 5), time())),
        (read_clock, "9:30", time(9, 30)),
        (read_hours, "09:00-17:30", (time(9), time(17, 30))),
        (read_weekdays, "mon-fri", frozenset(range(5))),
        (read_weekdays, "sat-mon,wed", frozenset({5, 6, 0, 2})),
        (read_named_day, "Fern = 2026-11-05", ("Fern", date(2026, 11, 5))),
        (one_of(("fresh", "frozen")), "Frozen", "frozen"),
    ],
)
def test_what_is_typed_has_one_reading(read, typed, value):
    assert read(typed) == value
    # A default goes through its reader as well.
    if isinstance(value, float | int | date | OnePlus | Now):
        assert (
            read(str(value).removesuffix(":00") if type(value) is datetime else str(value)) == value
        )


@pytest.mark.parametrize(
    ("read", "typed"),
    [
        (number(), "many"),
        (number(), "1,250"),  # 1.25 or 1250
        (number(), "nan"),
        (number(), "inf"),
        (number(0.0, 100.0), "100.1"),
        (number(0.0, 100.0), "-0.1"),
        (count(), "1.5"),
        (count(1, 12), "13"),
        (count(1, 12), "0"),
        (read_numbers, "12,many"),
        (read_numbers, "12,-1"),
        (read_numbers, ""),
        (one_plus(19), "20"),
        (one_plus(19), "1:20"),
        (one_plus(19), "2 + 38"),
        (one_plus(19), "1 + nan"),
        (one_plus(19), "1 + -1"),
        (read_day, "2026-13-01"),
        (read_day, "11/05/2026"),
        (read_day, "1949-12-31"),
        (read_moment, "2026-11-05"),
        (read_now, "tomorrow"),
        (read_now, "2200-01-01"),
        (read_clock, "25:00"),
        (read_hours, "17:00"),
        (read_hours, "17:00-09:00"),
        (read_weekdays, "someday"),
        (read_named_day, "Aster"),
        (read_named_day, "Aster=soon"),
        (read_named_day, "Aster=2026-13-01"),
        (one_of(("fresh", "frozen")), "warm"),
    ],
)
def test_what_has_no_reading_or_two_is_wrong_usage_that_repeats_it(read, typed):
    with pytest.raises(typer.BadParameter) as refused:
        read(typed)

    assert repr(typed) in refused.value.message


@pytest.mark.parametrize(
    "arguments",
    [
        ("bench", "concentration", "many"),
        ("bench", "dose", "3", "180"),
        ("bench", "extend", "3", "--ratio=4"),
        ("bench", "concentration", "130", "--dilution=20"),
        ("compare", "Tarn", "Thyme", "--now", "yesterday"),
        ("compare", "Tarn", "Thyme", "--last-pickup", "25:00"),
        ("compare", "Tarn", "Thyme", "--without", "warm"),
        ("schedule", "Tarn", "--ovulation", "Thyme"),
        ("ship", "Tarn", "--volume", "3.1", "--inseminate", "2026-11-01 11:00"),
        ("ship", "Tarn", "3.1", "80", "--volume", "3.1", "--inseminate", "2026-11-01 11:00"),
    ],
)
def test_wrong_values_are_told_with_their_option_and_exit_code_2(arguments, capsys):
    code, out, err = ask(*arguments, capsys=capsys)

    assert (code, out) == (2, "")
    assert "Invalid value for" in err
    assert "Traceback" not in err


def test_a_decimal_comma_gives_the_answer_of_a_decimal_point(capsys):
    by_comma, by_point = (
        ask("bench", "extend", volume, "--ratio", ratio, "--json", capsys=capsys)
        for volume, ratio in (("3,5", "1 + 2,5"), ("3.5", "1 + 2.5"))
    )

    assert by_comma == by_point
    assert by_comma[0] == 0


def test_the_hour_that_is_given_stands_above_the_hour_of_the_command(tmp_path):
    none, day = tmp_path / "none.duckdb", date(2026, 11, 5)

    assert asked_at(Now(day, time(18, 30)), none, MORNING) == datetime(2026, 11, 5, 18, 30)
    assert asked_at(Now(day, None), none, MORNING) == datetime(2026, 11, 5, 8)
    assert asked_at(Now(day, None), none).date() == asked_on(Now(day, time(1)), none) == day
