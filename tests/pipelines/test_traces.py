"""Numbers on the pages, recomputed from the owner's sheets by another path: pandas on the CSV."""

import re
from html.parser import HTMLParser

import pandas as pd
import pytest

from studcurve.pipelines.plan import records as plan_records
from studcurve.pipelines.plan.comparison import plan_breeding
from studcurve.pipelines.plan.wishes import Wishes
from studcurve.pipelines.run import (
    DEMO_TODAY,
    write_comparison,
    write_handout,
    write_overview,
    write_stud_reviews,
)


class Tables(HTMLParser):
    """Every table of a page as rows of cells, by the id of its section."""

    def __init__(self, html):
        super().__init__()
        self.found, self._section, self._row, self._cell = {}, "", None, None
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        if tag == "section":
            self._section = attributes.get("aria-labelledby", "")
        if tag == "tr":
            self._row = []
        if tag in {"td", "th"}:
            self._cell = ""

    def handle_endtag(self, tag):
        if tag in {"td", "th"} and self._row is not None:
            self._row.append(self._cell.replace("\u00a0", " ").strip())
            self._cell = None
        if tag == "tr":
            self.found.setdefault(self._section, []).append(self._row)

    def handle_data(self, data):
        if self._cell is not None:
            self._cell += data


pytestmark = pytest.mark.usefixtures("files_are_read_once")


@pytest.fixture(scope="module")
def sheets(demo_records):
    return {path.stem: pd.read_csv(path, dtype=str) for path in demo_records.glob("*.csv")}


@pytest.fixture(scope="module")
def counted_breedings(sheets, demo_stopped):
    """The owner's Breedings sheet without the dogs that a caution stops: no sum counts them."""
    rows = sheets["breedings"]
    return rows[~rows["Stud"].isin(demo_stopped)]


@pytest.fixture(scope="module")
def overview(demo_store_path, tmp_path_factory):
    page = write_overview(demo_store_path, tmp_path_factory.mktemp("p"), today=DEMO_TODAY)
    return Tables(page.read_text("utf-8")).found


def days(texts):
    return pd.to_datetime(texts, format="mixed")


@pytest.mark.parametrize("year", range(2019, 2027))
def test_a_year_holds_the_breedings_litters_and_pups_of_the_sheet(
    overview, counted_breedings, year
):
    rows = counted_breedings
    rows = rows[days(rows["Date"]).dt.year == year]
    cells = next(row for row in overview["years"] if row[0] == str(year))

    assert int(cells[1]) == len(rows)
    assert int(cells[2]) == rows["Result"].notna().sum()
    assert int(cells[3]) == (rows["Result"] == "whelped").sum()
    assert int(cells[5]) == pd.to_numeric(rows["Born alive"]).sum()


@pytest.mark.parametrize("stud", ["Bracken", "Merle", "Pike", "Sorrel", "Tarn"])
def test_a_stud_has_the_breedings_and_litters_of_the_sheet(overview, sheets, stud):
    rows = sheets["breedings"]
    rows = rows[rows["Stud"] == stud]
    cells = next(row for row in overview["studs"] if row[0] == stud)

    assert int(cells[6]) == len(rows)
    assert int(cells[7]) == rows["Result"].notna().sum()
    assert int(cells[8]) == (rows["Result"] == "whelped").sum()
    assert float(cells[9]) == pytest.approx(pd.to_numeric(rows["Born alive"]).mean(), abs=0.051)


def test_the_outcomes_add_up_to_the_sheet(overview, counted_breedings):
    rows = counted_breedings
    table = overview["outcomes"][1:]

    assert sum(int(row[2]) for row in table) == len(rows)
    whelped = [row for row in table if row[1] == "whelped"]
    assert sum(int(row[2]) for row in whelped) == (rows["Result"] == "whelped").sum()
    assert (
        sum(int(row[4].replace(",", "")) for row in whelped)
        == pd.to_numeric(rows["Born alive"]).sum()
    )
    assert sum(int(row[7]) for row in whelped) == pd.to_numeric(rows["Alive at 8 weeks"]).sum()


def test_the_last_samples_of_the_review_and_the_handout_are_those_of_the_sheet(
    demo_store_path, tmp_path, sheets
):
    rows = sheets["collections"]
    rows = rows[(rows["Dog"] == "Tarn") & rows["Result"].isna()].copy()
    rows["on"] = days(rows["Date"])
    volume = pd.to_numeric(rows["Volume (mL)"], errors="coerce")
    rows["total"] = volume * pd.to_numeric(rows["Concentration (M/mL)"], errors="coerce")
    plain = rows.dropna(subset="total").sort_values("on").tail(5)
    wanted = {f"{on.day} {on:%b %Y}": round(total) for on, total in
              zip(plain["on"], plain["total"], strict=True)}  # fmt: skip

    (review,) = write_stud_reviews(demo_store_path, tmp_path, today=DEMO_TODAY, studs=["Tarn"])
    handout = write_handout(demo_store_path, "Tarn", tmp_path, today=DEMO_TODAY)[0]
    for page, section in ((review, "total"), (handout, "collections")):
        table = Tables(page.read_text("utf-8")).found[section]
        total_by_day = {row[0]: row[4] for row in table[1:]}
        for on, total in wanted.items():
            assert abs(int(total_by_day[on].replace(",", "")) - total) <= 1
    assert re.search(r"last 10 of \d+ breedings", handout.read_text("utf-8"))


def test_the_litters_by_size_are_those_of_the_sheet(overview, counted_breedings):
    rows = counted_breedings
    born = pd.to_numeric(rows[rows["Result"] == "whelped"]["Born alive"])
    n_by_size = {int(row[0]): int(row[1]) for row in overview["sizes"][1:]}

    for n_pups, n_litters in born.value_counts().items():
        assert n_by_size[int(n_pups)] == n_litters
    assert sum(n_by_size.values()) == len(born)


def test_a_comparison_tells_her_age_her_litters_and_the_prices_of_the_sheets(
    demo_store_path, tmp_path, sheets
):
    asked = pd.Timestamp("2026-10-31 08:00")
    records = plan_records.read_plan_records(demo_store_path, asked.to_pydatetime())
    plan = plan_breeding(records, "Tarn", "Thyme", Wishes(), seed=1, n_draws=200)
    page = write_comparison(plan, records, tmp_path).read_text("utf-8")
    tables = Tables(page).found

    born = days(sheets["dogs"].set_index("Dog").loc[["Thyme"], "Born"]).iloc[0]
    hers = sheets["breedings"]
    hers = hers[(hers["Bitch"] == "Thyme") & (hers["Result"] == "whelped")]
    months = (asked - days(hers["Whelped on"]).max()).days / 30.4375
    text = re.sub(r"\s+", " ", page.replace("\u00a0", " "))
    of_her = re.search(r"Thyme: ([\d.]+) years, (\d+) litters? before, (\d+) months", text)
    before = pd.to_numeric(sheets["dogs"].set_index("Dog").loc["Thyme", "Litters before"])
    assert float(of_her[1]) == pytest.approx((asked - born).days / 365.25, abs=0.051)
    assert int(of_her[2]) == len(hers) + (0 if pd.isna(before) else before)
    assert int(of_her[3]) == pytest.approx(months, abs=0.6)

    rows = sheets["prices"]
    rows = rows[days(rows["From"]) <= asked]
    price = {
        what.lower(): float(one) for what, one in zip(rows["What"], rows["Price"], strict=True)
    }

    def of(word):
        return next(value for what, value in price.items() if word in what)

    cost = {row[0]: row[1] for row in tables["cost"][1:]}
    assert float(cost["natural mating once"]) == of("scan")
    assert float(cost["fresh vaginal once"]) == of("collection") + of("scan")
    assert float(cost["fresh transcervical once"]) == (
        of("collection") + of("scan") + of("transcervical")
    )
