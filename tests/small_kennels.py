"""Small kennels whose cells are left blank in every way: what a new owner's sheets look like.

A line is written whole and then loses optional cells: none, one, some of them, or all. A kennel has
no dog to three dogs, any sheet may be missing, and every breeding may end alike.
"""

from datetime import date, timedelta

from hypothesis import strategies as st

from studcurve.pipelines.records.sheets.columns import MORPHOLOGY_PARTS, SHEETS

TODAY = date(2026, 6, 1)
STUDS, BITCHES = ("Rowan", "Alder"), ("Bryony", "Sedge")
OUTCOMES = ("whelped", "missed", "lost", "")


def _on(days_ago):
    return (TODAY - timedelta(days=days_ago)).isoformat()


def _dog(name):
    return {
        "call_name": name, "sex": "male" if name in STUDS else "female", "born_on": "2021-04-02",
        "registered_name": f"Fernhollow {name}", "breed": "Ostrel Spaniel",
        "adult_weight_kg": "23.5", "registry_number": f"OS {name}", "sire": "Teasel",
        "dam": "Yarrow", "inbreeding_pct": "6.25", "owner": "own", "n_litters_before": "1",
        "n_missed_before": "1", "notes": "calm",
    }  # fmt: skip


def _collection(stud, ago):
    return {
        "dog": stud, "collected_on": _on(ago), "collected_at": "08:30", "volume_ml": "2.4",
        "concentration_m_per_ml": "310", "n_cells_counted": "248", "count_method": "chamber",
        "total_motility_pct": "80", "progressive_motility_pct": "70", "motility_method": "by eye",
        "n_motility_evaluated": "100", "normal_morphology_pct": "78",
        "n_morphology_evaluated": "100",
        "appearance": "normal", "evaluator": "Ida", "extender": "egg yolk", "n_doses": "2",
        "destination": "shipped", "notes": "quick", "minutes_at_37": "5",
        **dict.fromkeys(MORPHOLOGY_PARTS, "3"), "centrifuge_g": "720", "centrifuge_min": "5",
        "supernatant_removed_ml": "0.9", "volume_after_ml": "7",
    }  # fmt: skip


def _failed(stud, ago):
    return {"dog": stud, "collected_on": _on(ago), "collected_at": "09:00",
            "failed_reason": "no erection"}  # fmt: skip


def _no_sperm(stud, ago):
    return _collection(stud, ago) | {
        "concentration_m_per_ml": "0", "n_cells_counted": "0", "total_motility_pct": "",
        "progressive_motility_pct": "", "normal_morphology_pct": "", "n_doses": "",
    }  # fmt: skip


def _frozen(stud, ago):
    return {
        "dog": stud, "frozen_on": _on(ago), "lot": f"{stud[0]}{ago}", "n_straws": "8",
        "motile_per_straw_m": "34", "post_thaw_progressive_motility_pct": "50",
        "n_straws_per_dose": "3", "stored_at": "home tank", "notes": "two left over",
    }  # fmt: skip


def _shipment(stud, ago):
    return {
        "dog": stud, "collected_on": _on(ago), "sent_on": _on(ago), "sent_at": "17:30",
        "carrier": "Nordan", "extender": "egg yolk", "n_doses": "2", "dose_volume_ml": "3.5",
        "motile_dose_m": "250", "for_bitch": "Bryony", "clinic": "Two Bridges Clinic",
        "promised_on": _on(ago - 1), "arrived_on": _on(ago - 1), "arrived_at": "11:00",
        "arrival_pct": "60", "arrival_minutes": "5", "retained_pct": "60",
        "retained_on": _on(ago - 1), "retained_at": "12:00", "retained_minutes": "5",
        "notes": "ice",
    }  # fmt: skip


def _heat(bitch, ago):
    drawn = {}
    for n, value in enumerate(("0.8", "1.4", "2.6", "5.1", "9", "> 20"), 1):
        drawn |= {
            f"progesterone_{n}_on": _on(ago - n), f"progesterone_{n}_at": "09:00",
            f"progesterone_{n}": value, f"progesterone_{n}_unit": "ng/mL",
            f"progesterone_{n}_laboratory": "Vessel Lab",
        }  # fmt: skip
    return {"dog": bitch, "first_day": _on(ago), "lh_surge_on": _on(ago - 3),
            "vet_ovulation_on": _on(ago - 5), "notes": "early", **drawn}  # fmt: skip


def _breeding(bitch, stud, ago, semen, result):
    line = {
        "dog": bitch, "stud": stud, "bred_on": _on(ago), "bred_at": "10:00", "semen_type": semen,
        "route": "natural" if semen == "natural" else "vaginal", "second_on": _on(ago - 2),
        "second_at": "10:00", "collected_on": _on(ago), "motile_dose_m": "250",
        "clinic": "Two Bridges Clinic", "scanned_on": _on(ago - 29), "scan": "pregnant",
        "n_pups_on_scan": "5", "notes": "quiet", "litter_inbreeding_pct": "3.1",
    }  # fmt: skip
    if semen == "frozen":
        line |= {"n_straws": "3"}
    if result == "whelped":
        line |= {"whelped_on": _on(ago - 63), "n_born_alive": "5", "n_stillborn": "1",
                 "n_alive_8_weeks": "5"}  # fmt: skip
    if result == "missed":
        line |= {"scan": "not pregnant", "n_pups_on_scan": ""}
    return line | {"result": result}


def _health(dog, ago, kind, what, result):
    return {
        "dog": dog, "noted_on": _on(ago), "kind": kind, "what": what, "result": result,
        "measured_value": "7", "unit": "U/L", "laboratory_range": "5-9", "until_on": _on(ago - 5),
        "laboratory": "Norra Analys", "drug_class": "antibiotic", "notes": "well",
    }  # fmt: skip


HEALTH = (
    ("laboratory test", "Brucella (RSAT)", "negative"),
    ("examination", "testes", "normal"),
    ("event", "fever", "39.8"),
    ("laboratory test", "alkaline phosphatase", "normal"),
)
PRICE = {"what": "shipment", "price": "145", "currency": "EUR",
         "valid_from": "2024-01-01", "valid_until": "2027-01-01", "notes": "courier"}  # fmt: skip
INTERVAL = {"what": "Brucella", "repeat_days": "180", "notes": "vet"}


def optional_columns(sheet):
    return [column.name for column in SHEETS[sheet].columns if not column.required]


def without(line, blank):
    return {name: text for name, text in line.items() if name not in blank and text}


def _blanks(sheet):
    """Optional columns of a sheet that are left blank on every line of it."""
    columns = optional_columns(sheet)
    return st.one_of(
        st.just(frozenset()),
        st.just(frozenset(columns)),
        st.sampled_from(columns).map(lambda name: frozenset({name})),
        st.sampled_from(columns).map(lambda name: frozenset(columns) - {name}),
        st.frozensets(st.sampled_from(columns)),
    )


def lines_of(studs, bitches, *, outcomes=("whelped", "missed"), semen=("natural", "chilled")):
    """Every line that such a kennel could hold, whole."""
    pairs = [(bitch, stud) for bitch in bitches for stud in studs]
    return {
        "dogs": [_dog(name) for name in (*studs, *bitches)],
        "collections": [
            make(stud, ago)
            for stud in studs
            for make, ago in ((_collection, 12), (_collection, 90), (_failed, 40), (_no_sperm, 5))
        ],
        "frozen": [_frozen(stud, ago) for stud in studs for ago in (400, 20)],
        "shipments": [_shipment(stud, ago) for stud in studs for ago in (12, 90, 500)],
        "heats": [_heat(bitch, ago) for bitch in bitches for ago in (9, 200, 400)],
        "breedings": [
            _breeding(*pair, ago - 10 * n, semen[n % len(semen)], outcomes[n % len(outcomes)])
            for n, (pair, ago) in enumerate(
                (pair, ago) for ago in (190, 390, 590) for pair in pairs
            )
        ]
        + [_breeding(*pair, 30, semen[0], "") for pair in pairs[:1]],
        "health": [_health(dog, 30, *what) for dog in (*studs, *bitches) for what in HEALTH],
        "prices": [PRICE],
        "intervals": [INTERVAL],
    }


@st.composite
def kennels(draw):
    """Sheets of a small kennel: its lines by library name of their cells, blank ones left out."""
    n_studs, n_bitches = draw(
        st.sampled_from([(1, 1), (1, 2), (2, 1), (1, 0), (2, 0), (0, 1), (0, 2), (0, 0)])
    )
    whole = lines_of(
        STUDS[:n_studs],
        BITCHES[:n_bitches],
        outcomes=draw(st.lists(st.sampled_from(OUTCOMES), min_size=1, max_size=3)),
        semen=draw(
            st.lists(
                st.sampled_from(["natural", "fresh", "chilled", "frozen"]), min_size=1, max_size=2
            )
        ),
    )
    sheets = {}
    for sheet, lines in whole.items():
        blank = draw(_blanks(sheet))
        how_many = draw(st.sampled_from(["all", "all", "some", "none"])) if lines else "all"
        chosen = {"all": lines, "none": []}.get(how_many)
        if chosen is None:
            chosen = draw(st.lists(st.sampled_from(lines), min_size=1, unique_by=repr))
        sheets[sheet] = [without(line, blank) for line in (lines if sheet == "dogs" else chosen)]
    return sheets
