"""The kennel's own storage curve is read from the records file, without the sampler."""

import json
import subprocess
import sys
from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from studcurve.analytics.measures.motility_kept import kept_at, published_storage
from studcurve.analytics.models.storage.curve import FIT_NAME, MODEL_VERSION, PRIOR_IDS
from studcurve.analytics.priors import priors_fingerprint
from studcurve.pipelines.cli import main
from studcurve.pipelines.commands.from_records import storage_of
from studcurve.pipelines.fits.guard import density_now, model_fingerprint
from studcurve.pipelines.fits.registry import STORAGE, storage_data
from studcurve.pipelines.fits.storage import storage_curve
from studcurve.pipelines.pages.kennel import read_kennel
from studcurve.pipelines.pages.shipment_sheet import shipment_sheet_results
from studcurve.pipelines.records.database.kept_fits import KeptFit
from studcurve.pipelines.records.database.store import Store
from studcurve.pipelines.run import DEMO_TODAY
from studcurve.reports.sections.sources import in_words
from studcurve.reports.words import Words

N_KEPT = 500


def kept_fit(**changed):
    """A fit that knows its curve: 60 h in egg yolk for every stud."""
    ones = np.ones(N_KEPT)
    fit = KeptFit(
        model=FIT_NAME,
        fitted_at=datetime(2026, 10, 1),
        seed=1,
        data_fingerprint="",
        model_fingerprint=model_fingerprint(FIT_NAME, MODEL_VERSION),
        priors_fingerprint=priors_fingerprint(PRIOR_IDS),
        versions={},
        diagnostics={},
        seconds=1.0,
        draws={
            "s01": 60 * ones, "s02_milk": 0.5 * ones, "s02_cream": 0.3 * ones,
            "s02_unknown": 0.6 * ones, "s03": 1.5 * ones, "s04": 8 * ones,
            "s05_stud": 1e-9 * ones, "s05_collection": 1e-9 * ones,
            "effect_stud": np.zeros((N_KEPT, 1)), "effect_product": np.zeros((N_KEPT, 1)),
        },
        labels={"effect_stud": ("Tarn",), "effect_product": ("egg yolk",)},
        load_id=0,
        checks=density_now(FIT_NAME),
    )  # fmt: skip
    return replace(fit, **changed)


@pytest.fixture
def store_with_fit(demo_store_path, tmp_path):
    path = tmp_path / "kennel.duckdb"
    path.write_bytes(demo_store_path.read_bytes())
    with Store.open(path) as store:
        store.save_fit(kept_fit())
    return path


def curve(path, extender="egg yolk", stud="Tarn"):
    return storage_curve(path, stud=stud, extender=extender, rng=np.random.default_rng(1))


def test_a_kept_fit_takes_the_place_of_the_published_curve(store_with_fit):
    own = curve(store_with_fit)

    assert own.eta_h == pytest.approx(np.full(len(own.eta_h), 60.0))
    assert "own stored samples, of Tarn and in egg yolk" in own.source
    assert kept_at(own, 70.0, 60.0).median == pytest.approx(70 / np.e)


def test_hours_beyond_the_kennel_s_own_readings_are_known(store_with_fit):
    with Store.open(store_with_fit, read_only=True) as store:
        data = storage_data(store)

    # The demo's tubes are read after up to three days, at any time of that day.
    assert 72.0 < data.observed_until_h("egg yolk") < 96.0
    assert curve(store_with_fit).observed_until_h == data.observed_until_h("egg yolk")
    assert curve(store_with_fit, extender="cream").observed_until_h == 0.0


def test_an_extender_that_was_never_read_says_so(store_with_fit):
    assert "though none in cream" in curve(store_with_fit, extender="cream").source


@pytest.mark.parametrize("has_file", [True, False])
def test_without_a_fit_the_curve_is_the_published_one(demo_store_path, tmp_path, has_file):
    path = demo_store_path if has_file else tmp_path / "none.duckdb"

    found = storage_of(path, "Tarn", "egg yolk", np.random.default_rng(1))

    published = published_storage("egg yolk", rng=np.random.default_rng(1))
    assert found.eta_h.tobytes() == published.eta_h.tobytes()
    assert found.source == published.source
    assert found.observed_until_h is None


@pytest.mark.parametrize("changed", ["model_fingerprint", "priors_fingerprint"])
def test_a_fit_of_another_model_or_table_is_not_read_and_said(store_with_fit, changed):
    with Store.open(store_with_fit) as store:
        store.save_fit(kept_fit(**{changed: "another"}))

    found = curve(store_with_fit)

    assert np.median(found.eta_h) > 150.0
    assert "another version" in found.source


def test_what_is_read_without_the_model_is_the_model_s():
    assert STORAGE.version == MODEL_VERSION
    assert STORAGE.prior_ids == PRIOR_IDS
    assert STORAGE.name == FIT_NAME


def test_reading_a_kept_curve_starts_no_sampler(store_with_fit):
    program = (
        "import sys, numpy as np\nfrom pathlib import Path\n"
        "from studcurve.pipelines.fits.storage import storage_curve\n"
        f"found = storage_curve(Path({str(store_with_fit)!r}), stud='Tarn', extender='egg yolk',"
        " rng=np.random.default_rng(1))\n"
        "assert abs(found.eta_h.mean() - 60) < 1e-6\n"
        "assert not {'jax', 'numpyro'} & set(sys.modules)\n"
    )

    subprocess.run([sys.executable, "-c", program], check=True)


def test_too_few_stored_readings_leave_the_published_curve_alone(kennel):
    with kennel.open(read_only=True) as store:
        data = STORAGE.prepare(store)

    assert STORAGE.too_thin(data) == "0 evaluations of stored samples, 5 are needed"


def printed(capsys, *arguments):
    with pytest.raises(SystemExit) as stop:
        main([*arguments])
    assert not stop.value.code
    return capsys.readouterr().out


def test_the_bench_answers_from_the_kept_fit_and_marks_what_lies_beyond(store_with_fit, capsys):
    keep = ["bench", "storage", "70", "--extender", "egg yolk", "--stud", "Tarn", "--per-dose",
            "300", "--target", "150", "--at-hours", "24,60,72", "--store",
            str(store_with_fit)]  # fmt: skip

    found = json.loads(printed(capsys, *keep, "--json"))
    keep[keep.index("egg yolk")] = "cream"
    unread = json.loads(printed(capsys, *keep, "--json"))
    text = printed(capsys, *keep)

    # Exactly 60 h and shape 1.5: 70 % × e⁻¹ at 60 h; half is left at 60 × (log 2)^(2/3) h,
    # which is 47 and told as a day and a half.
    at_60 = found["hours"][1]
    assert at_60["progressive_motility_pct"] == pytest.approx(70 / np.e, abs=0.01)
    assert [hour["is_extrapolated"] for hour in found["hours"]] == [False] * 3
    # Egg yolk was read beyond 72 h, cream never; nothing is told beyond 72 h.
    assert [hour["is_extrapolated"] for hour in unread["hours"]] == [True] * 3
    assert found["is_own"] is True
    assert [found[f"meets_until_h{end}"] for end in ("", "_low", "_high")] == pytest.approx(
        [36.0] * 3
    )
    assert "72 *" in text
    assert "The kennel has no evaluation of its own in this extender" in " ".join(text.split())


def test_a_published_curve_is_labelled_and_marks_nothing(tmp_path, capsys):
    keep = ["bench", "storage", "70", "--extender", "egg yolk", "--store", str(tmp_path / "none")]

    text = " ".join(printed(capsys, *keep).split())

    assert "*" not in text
    assert "Iguer-Ouada & Verstegen 2001" in text
    assert "own stored samples" not in text


def test_the_card_and_the_client_s_sheet_take_the_kept_curve(store_with_fit, tmp_path, capsys):
    card = [
        "bench",
        "card",
        "--extender",
        "egg yolk",
        "--hours",
        "60",
        "--store",
        str(store_with_fit),
    ]
    own = json.loads(printed(capsys, *card, "--out", str(tmp_path), "--json"))
    published = json.loads(
        printed(capsys, *card[:-1], str(tmp_path / "none"), "--out", str(tmp_path), "--json")
    )

    # 60 h at the kept scale of 60 h: 1/e is left, so the kept curve asks for more semen.
    assert (own["is_own_storage"], published["is_own_storage"]) == (True, False)
    assert own["dose_ml"][5][3] > 1.5 * published["dose_ml"][5][3]

    kennel = read_kennel(store_with_fit, DEMO_TODAY)
    shipments = kennel.views["shipments"]
    his = (shipments["stud"] == "Tarn") & (shipments["extender"] == "egg yolk")
    shipment = shipments[his & (shipments["motile_dose_m"] > 0)].iloc[-1]
    kennel = replace(kennel, views={**kennel.views, "shipments": shipments.loc[[shipment.name]]})
    sheet = shipment_sheet_results(kennel, shipment["for_bitch"])
    at_60 = next(kept.motile_dose_m for kept in sheet.kept if kept.hours == 60)

    assert at_60.median == pytest.approx(shipment["motile_dose_m"] / np.e)
    sources = " ".join(in_words(sheet.sources, Words("en")))
    assert "own stored samples" in sources
    assert "Tarn" not in sources
