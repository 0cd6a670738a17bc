"""Who met a dog whose *Brucella* test is not negative stands first in `due` and the overview."""

from datetime import timedelta

import pytest
from tests.pipelines.conftest import TODAY

from studcurve.pipelines.due import read_due
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.pages.overview import overview_results
from studcurve.pipelines.pages.stud import read_studs

pytestmark = pytest.mark.usefixtures("files_stay_open")


def on(days):
    return (TODAY + timedelta(days=days)).isoformat()


def lab_line(dog, days, result="negative"):
    return {"Dog": dog, "Date": on(days), "Kind": "laboratory test", "What": "RSAT",
            "Result": result, "Laboratory": "Vessel Lab"}  # fmt: skip


def bred(bitch, stud, days, semen="natural", **more):
    return {"Bitch": bitch, "Stud": stud, "Date": on(days), "Semen": semen,
            "Route": "natural" if semen == "natural" else "vaginal"} | more  # fmt: skip


@pytest.fixture
def exposed(kennel):
    """Bracken is suspect; 84 days before his last negative sample are 284 days before today."""
    straw = {"Straws": "4"}
    kennel.load(
        kennel.write("health", [lab_line("Bracken", -200), lab_line("Bracken", -10, "suspect")]),
        kennel.write("breedings", [
            bred("Senna", "Bracken", -30),
            bred("Senna", "Tarn", -28),
            bred("Sage", "Bracken", -260, "chilled", Result="whelped",
                 **{"Whelped on": on(-198), "Born alive": "5"}),
            bred("Sage", "Bracken", -500, Result="whelped",
                 **{"Whelped on": on(-438), "Born alive": "6"}),
        ]),
        kennel.write("shipments", [
            {"Stud": "Bracken", "Sent on": on(-283), "For bitch": "Afar", "Clinic": "Lindal"},
            {"Stud": "Bracken", "Sent on": on(-285), "For bitch": "Earlier"},
        ]),
        kennel.write("frozen", [
            {"Stud": "Bracken", "Frozen on": on(-284), "Lot": "NEW", **straw},
            {"Stud": "Bracken", "Frozen on": on(-285), "Lot": "OLD", **straw},
        ]),
        today=TODAY,
    )  # fmt: skip
    return kennel.records


def test_the_exposed_stand_first_with_their_litters_shipments_and_straws(exposed):
    items = read_due(exposed, today=TODAY)
    keys = [item.what.key for item in items]
    of = {key: [item.what.values for item in items if item.what.key == key] for key in keys}

    assert keys[:6] == [
        "caution.brucella_not_negative", "exposure.contact", "exposure.contact",
        "exposure.shipments",
        "exposure.straws", "exposure.people",
    ]  # fmt: skip
    senna, sage = of["exposure.contact"]
    assert (senna["dog"], senna["by"], senna["on"].isoformat()) == ("Senna", "Bracken", on(-30))
    (expected,) = senna["litters"].values["litters"]
    assert expected.key == "exposure.expected"
    assert senna["others"].values["dogs"] == ("Tarn",)
    assert sage["dog"] == "Sage"
    (born,) = sage["litters"].values["litters"]
    assert (born.key, born.values["on"].isoformat()) == ("exposure.born", on(-198))
    assert sage["others"] == ""
    (shipments,) = of["exposure.shipments"]
    assert [shipment.values["to"] for shipment in shipments["shipments"]] == ["Afar"]
    (straws,) = of["exposure.straws"]
    assert (straws["lots"], straws["n"]) == (("NEW",), 4)
    # The exposed bitch has neither days nor a next draw.
    assert not any(item.dog == "Senna" and item.kind == "insemination" for item in items)


def test_the_overview_begins_with_the_same_sentences(exposed):
    kennel = read_kennel(exposed, TODAY)
    first = overview_results(kennel, read_studs(kennel)).cautions
    due = [item.what for item in read_due(exposed, today=TODAY) if item.kind == "caution"]

    assert [caution.sentence for caution in first[: len(due)]] == due
    assert all(caution.severity == "stop" for caution in first[:6])


def test_a_bitch_scanned_not_pregnant_awaits_no_litter_and_stays_exposed(kennel):
    scanned = {"Scan on": on(-10), "Scan": "not pregnant"}
    kennel.load(
        kennel.write("health", [lab_line("Bracken", -10, "positive")]),
        kennel.write("breedings", [bred("Senna", "Bracken", -45, **scanned)]), today=TODAY,
    )  # fmt: skip

    (values,) = [
        item.what.values
        for item in read_due(kennel.records, today=TODAY)
        if item.what.key == "exposure.contact"
    ]
    assert (values["dog"], values["litters"]) == ("Senna", "")


def test_without_an_earlier_negative_every_contact_counts(kennel):
    kennel.load(
        kennel.write("health", [lab_line("Bracken", -10, "+")]),
        kennel.write("breedings", [bred("Sage", "Bracken", -1500)]), today=TODAY,
    )  # fmt: skip

    keys = [item.what.key for item in read_due(kennel.records, today=TODAY)]
    assert keys[:2] == ["caution.brucella_not_negative", "exposure.contact"]


def test_a_release_ends_it_all(exposed, kennel):
    release = {"Dog": "Bracken", "Date": on(-1), "Kind": "release by veterinarian",
               "What": "Brucella", "Result": "RSAT and 2ME negative",
               "Veterinarian": "Dr. Vey"}  # fmt: skip
    kennel.load(kennel.write("health", [release], name="released/health.csv"), today=TODAY)

    keys = {item.what.key for item in read_due(exposed, today=TODAY)}
    assert not any(key.startswith("exposure.") for key in keys)
    assert "caution.brucella_not_negative" not in keys
