"""A load step by step: the SQL of a sheet on lines written by hand, and what the steps hand on."""

import json
import re
from pathlib import Path

import duckdb
import pytest

from studcurve.pipelines.records.database import line_sql, loading
from studcurve.pipelines.records.database.line_sql import LineSql
from studcurve.pipelines.records.database.relations import RELATIONS
from studcurve.pipelines.records.database.schema import SQL
from studcurve.pipelines.records.sheets import cell_rules, rules
from studcurve.pipelines.records.sheets.columns import ANSWER_NAME, SHEETS

PRICES = SHEETS["prices"]
LINES = [
    {"what": "Scan", "price": "80", "currency": "EUR", "valid_from": "2024-01-01"},
    {"what": "scan", "price": "85", "currency": "eur", "valid_from": "2024-01-01", "notes": "n"},
    {"what": "Other", "price": "many", "currency": "EUR", "valid_from": "2024-03-01"},
    {"what": "other", "price": "many", "currency": "EUR", "surplus": '["x"]'},
]  # fmt: skip
READ = {
    "number_of": [("80", 80.0), ("85", 85.0), ("many", None)],
    "day_of": [("2024-01-01", "2024-01-01"), ("2024-03-01", "2024-03-01")],
}


def filled(*names):
    return tuple(column for column in PRICES.columns if column.name in names)


SOME = filled("what", "price", "currency", "valid_from", "notes")


@pytest.fixture
def engine():
    """An engine that holds four staged lines of Prices, and no records at all."""
    with duckdb.connect() as connection:
        columns = ["line", "surplus", ANSWER_NAME, *PRICES.names]
        connection.execute(
            "CREATE TABLE staged_prices (file_no INTEGER, "
            + ", ".join(f"{name} {'INTEGER' if name == 'line' else 'VARCHAR'}" for name in columns)
            + ")"
        )
        for line in LINES:
            values = [line.get(name) for name in columns]
            connection.execute(
                f"INSERT INTO staged_prices VALUES (0{', ?' * len(columns)})", values
            )
        connection.execute("CREATE MACRO has_decimal_comma() AS FALSE")
        connection.execute(
            "CREATE MACRO is_unordered_day(t) AS CASE WHEN t IS NOT NULL THEN FALSE END"
        )
        yield connection


def with_lines(engine, sql):
    """The same engine after the steps that make lines and read their cells."""
    engine.execute(f"CREATE OR REPLACE VIEW lines AS {sql.lines({0: 0})}")
    engine.execute(f"CREATE OR REPLACE TABLE text_of AS {sql.texts(in_one_pass=True)}")
    engine.execute("CREATE OR REPLACE TABLE number_of (cell VARCHAR, number DOUBLE)")
    engine.execute("CREATE OR REPLACE TABLE day_of (cell VARCHAR, day DATE)")
    engine.execute("CREATE OR REPLACE TABLE word_of (name VARCHAR, cell VARCHAR, word VARCHAR)")
    for word in PRICES.column("what").choices:
        engine.execute("INSERT INTO word_of VALUES ('what', ?, ?)", [word, word])
    for table, rows in READ.items():
        for row in rows:
            engine.execute(f"INSERT INTO {table} VALUES (?, ?)", row)
    return engine


def answer(engine, query):
    return engine.execute(query).df().to_dict("records")


def test_a_line_is_the_list_of_its_cells_without_the_blank_ones_at_its_end(engine):
    kept = [json.loads(row["cells"]) for row in answer(engine, LineSql(PRICES, SOME).lines({0: 0}))]

    assert kept[0] == ["Scan", "80", "EUR", "2024-01-01"]
    assert kept[1] == ["scan", "85", "eur", "2024-01-01", None, "n"]
    assert len(kept[3]) == len(PRICES.columns) + 1
    assert json.loads(kept[3][-1]) == ["x"]


def test_a_column_that_no_line_fills_changes_no_line(engine):
    with_it = LineSql(PRICES, (*SOME, *filled("valid_until"))).lines({0: 0})
    without = LineSql(PRICES, SOME).lines({0: 0})

    assert [row["cells"] for row in answer(engine, with_it)] == [
        row["cells"] for row in answer(engine, without)
    ]


def test_lines_are_numbered_from_the_first_one_of_their_file(engine):
    sql = LineSql(PRICES, SOME)

    assert [row["line"] for row in answer(engine, sql.lines({0: 0}))] == [2, 3, 4, 5]
    engine.execute("UPDATE staged_prices SET line = 40 WHERE rowid = 1")
    assert [row["line"] for row in answer(engine, sql.lines({0: 0}))] == [2, 40, 4, 5]
    engine.execute("UPDATE staged_prices SET file_no = 1 WHERE rowid >= 2")
    assert [row["line"] for row in answer(engine, sql.lines({0: 0, 1: 2}))] == [2, 40, 2, 3]


def test_each_distinct_text_is_read_once_whichever_way_it_is_collected(engine):
    sql = LineSql(PRICES, SOME)
    with_lines(engine, sql)

    ways = [
        {(row["name"], row["cell"]) for row in answer(engine, sql.texts(in_one_pass=way))}
        for way in (True, False)
    ]

    assert {pair for pair in ways[0] if pair[1]} == {pair for pair in ways[1] if pair[1]}
    assert ("price", "80") in ways[0]
    assert ("what", "Scan") in ways[0]
    assert "currency" not in {name for name, _ in ways[0]}  # free text is taken as it is
    assert [row["cell"] for row in answer(engine, f"{sql.texts_of('number')} ORDER BY 1")] == [
        "80", "85", "many",
    ]  # fmt: skip
    assert answer(engine, sql.texts_of("dog")) == []


def test_a_cell_stands_as_it_was_read_beside_its_text(engine):
    sql = LineSql(PRICES, SOME)
    with_lines(engine, sql)

    rows = answer(engine, f"FROM ({sql.typed_lines(['price', 'valid_until'])}) ORDER BY n")

    assert [row["price__text"] for row in rows] == ["80", "85", "many", "many"]
    assert [row["price"] for row in rows][:2] == [80.0, 85.0]
    assert all(row["price"] != row["price"] for row in rows[2:])
    # A column that no line fills is blank, one that is not asked for is not there.
    assert all(row["valid_until__text"] is None for row in rows)
    assert "currency" not in rows[0]


def test_two_lines_are_about_the_same_whatever_their_case(engine):
    sql = LineSql(PRICES, SOME)
    with_lines(engine, sql)

    rows = answer(engine, f"FROM ({sql.identified()}) ORDER BY n")

    about = [(row["subject"], str(row["day"])[:10], row["mark"]) for row in rows]
    assert about[0] == ("scan", "2024-01-01", "eur|")
    assert about[1] == ("scan", "2024-01-01", "eur|n")
    assert about[2] != about[3]


def test_a_line_is_found_by_every_rule_that_it_breaks_and_by_no_other(engine):
    sql = LineSql(PRICES, SOME)
    with_lines(engine, sql)
    by_way = sql.rules()
    numbered = line_sql.numbered_rules(PRICES)
    names = {number: (rule.name, rule.column) for number, rule in numbered}

    engine.execute(f"CREATE TABLE bad_cell AS {sql.bad_cells(by_way.of_cells)}")
    bad_columns = [row["name"] for row in answer(engine, "SELECT DISTINCT name FROM bad_cell")]
    found = answer(engine, sql.found(by_way, bad_columns))

    assert bad_columns == ["price"]
    assert sorted((row["n"], *names[row["rule_no"]]) for row in found) == [
        (2, "not a number", "price"),
        (3, "not a number", "price"),
        (3, "too many cells", "notes"),
    ]


def test_every_rule_of_a_full_sheet_is_asked_in_one_way():
    for sheet in SHEETS.values():
        by_way = LineSql(sheet, sheet.columns).rules()

        asked = [number for its in by_way.of_cells.values() for number, _ in its]
        asked += [number for number, _ in (*by_way.plain, *by_way.looking)]
        of_lines = [n for n, rule in line_sql.numbered_rules(sheet) if rule.scope == "line"]
        assert sorted(asked) == of_lines


def test_a_rule_about_cells_that_nobody_fills_is_not_asked():
    asked = LineSql(PRICES, filled("what", "price", "currency")).rules()

    assert "valid_from" not in asked.of_cells
    assert "price ends before it begins" not in {rule.name for _, rule in asked.plain}


def places():
    """The code of each place that a load runs through, by the name that the relations give it."""
    scripts = (
        "names", "answers", "accept", "moved", "standing", "answered", "write", "findings",
    )  # fmt: skip
    texts = {f"{name}.sql": (SQL / f"{name}.sql").read_text("utf-8") for name in scripts}
    texts["load/*.sql"] = "\n".join(p.read_text("utf-8") for p in (SQL / "load").iterdir())
    for name, modules in {
        "loading.py": [loading],
        "line_sql.py": [line_sql],
        "rules.py": [rules, cell_rules],
    }.items():
        texts[name] = "\n".join(Path(module.__file__).read_text("utf-8") for module in modules)
    return {place: re.sub(r"--.*", "", text) for place, text in texts.items()}


def made_in(text):
    return set(re.findall(r"CREATE OR REPLACE TEMP (?:TABLE|VIEW|MACRO) (\w+)", text))


def is_read_in(text, name):
    """Whether SQL names a relation: after FROM or JOIN, called as a macro, or handed to one."""
    end = "" if name.endswith("_") else r"(?![a-z])"  # asked_ begins the name of each sheet's own
    named = rf"\b(?:FROM|JOIN|INTO)\s+\(?{name}{end}"
    called = rf"(?<!MACRO )(?<!def )(?<!\.)\b{name}\("
    return bool(re.search(rf"{named}|{called}|(?:numbered|cells_of)\('{name}'\)", text))


def test_what_steps_hand_on_is_listed_with_who_makes_and_who_reads_it():
    texts = places()
    makers = {
        name: {place for place in texts if name in made_in(texts[place])}
        for text in texts.values()
        for name in made_in(text)
    }
    readers = {
        name: {place for place in texts if is_read_in(texts[place], name)} for name in makers
    }
    for lookup in line_sql.LOOKUPS.values():
        readers[lookup.table].add("line_sql.py")
    listed = {relation.name: relation for relation in RELATIONS}

    assert len(listed) == len(RELATIONS)
    assert set(listed) == {name for name in makers if readers[name] - makers[name]}
    for name, relation in listed.items():
        assert set(relation.made_by) == makers[name], name
        assert set(relation.read_by) == readers[name] - makers[name], name
