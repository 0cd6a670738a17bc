"""Valid records of a small kennel, for property tests: every line here is let in without a word.

Cells keep to what one line may say; what two lines may not say together is kept apart by giving
each line a day of its own.
"""

from datetime import date, timedelta

from hypothesis import strategies as st

from studcurve.analytics.vocabulary import VOCABULARY
from studcurve.pipelines.records.sheets.columns import EXAMPLE_PREFIX, MORPHOLOGY_PARTS, SHEETS

FIRST_DAY = date(2005, 1, 10)
STUDS, BITCHES = ("Rowan", "Älgar", 'O"Tool', "Tarn, the old"), ("Bryony", "Señorita", "月")
DAYS_BETWEEN_LINES = 100

_LETTERS = st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cn", "Co"])
_SIGNS = st.sampled_from(list("\"',;|\\=+-@()[]{}<>&%_~^`\n\t"))


def _is_told(text):
    return (
        bool(text)
        and text[0] not in "=+-@"
        and not text.startswith(EXAMPLE_PREFIX[0])
        and text == text.strip()
    )


def texts(longest=24):
    """What a person may type into a free cell."""
    return (
        st.lists(st.one_of(_LETTERS, _SIGNS), min_size=1, max_size=longest)
        .map(lambda letters: "".join(letters).strip())
        .filter(_is_told)
    )


def days(on):
    """A day, written in one of the ways that need no guess."""
    return st.sampled_from([on.isoformat(), f"{on.day} {on:%b %Y}", f"{on:%B} {on.day}, {on.year}"])


CLOCKS = st.times().map(lambda clock: f"{clock.hour:02}:{clock.minute:02}")


def numbers(name, low=None, high=None):
    """A number within its range as a person writes it, with a decimal point or comma."""
    quantity = VOCABULARY[name]
    low = quantity.low if low is None else low
    high = quantity.high if high is None else high
    tenths = st.integers(round(10 * low), round(10 * high))
    point = tenths.map(lambda t: f"{t / 10:g}" if t % 10 else str(t // 10))
    return st.one_of(point, point, tenths.map(lambda t: f"{t // 10},{t % 10}"))


def counts(name, low=None, high=None):
    quantity = VOCABULARY[name]
    low = int(quantity.low if low is None else low)
    return st.integers(low, int(quantity.high if high is None else high)).map(str)


def readings(name, low=None, high=None):
    """A measurement: a number, a bound, a range, or a word."""
    number = numbers(name, low, high)
    words = st.sampled_from(["too many to count", "none seen", "not done", "unknown"])
    bounds = st.tuples(st.sampled_from(["> ", "<", "≥", "<= "]), number).map("".join)
    quantity = VOCABULARY[name]
    ends = st.tuples(
        st.integers(int(quantity.low if low is None else low), int(quantity.high if high is None
                    else high)), st.integers(0, 3),
    )  # fmt: skip
    ranges = ends.map(lambda e: f"{e[0]}-{min(e[0] + e[1], int(quantity.high))}")
    return st.one_of(number, number, number, bounds, ranges, words)


def line(required, optional):
    return st.fixed_dictionaries(required, optional=optional)


def dogs():
    """The Dogs sheet, whole: the studs and bitches that every other sheet names."""

    def one(name, sex):
        return line(
            {"call_name": st.just(name), "sex": st.just(sex)},
            {"registered_name": texts(), "born_on": days(date(2004, 1, 2)), "breed": texts(),
             "adult_weight_kg": numbers("adult_weight_kg"), "registry_number": texts(),
             "sire": texts(), "dam": texts(), "inbreeding_pct": numbers("inbreeding_pct", 1, 100),
             "owner": texts(), "n_litters_before": counts("n_litters_before"), "notes": texts(60)},
        )  # fmt: skip

    every = [one(name, "male") for name in STUDS] + [one(name, "female") for name in BITCHES]
    return st.tuples(*every).map(list).filter(_are_told_apart)


def _are_told_apart(lines):
    """No name finds two dogs, and none is another dog's call name."""
    names = [name.casefold() for row in lines for name in
             {row["call_name"], row.get("registered_name", ""), row.get("registry_number", "")} if
             name]  # fmt: skip
    return len(names) == len(set(names)) and len({n.upper() for n in names}) == len(names)


def _collection(on):
    low = st.integers(0, 90)
    moving = low.flatmap(
        lambda pct: st.tuples(st.just(str(pct)), st.integers(pct, 100).map(str))
    )  # fmt: skip
    measured = line(
        {"dog": st.sampled_from(STUDS), "collected_on": days(on), "_moving": moving},
        {"collected_at": CLOCKS,
         "volume_ml": st.one_of(numbers("volume_ml", 1, 4), st.just("not done")),
         "concentration_m_per_ml": readings("concentration_m_per_ml", 0, 900),
         "n_cells_counted": counts("n_cells_counted"),
         "count_method": st.sampled_from(["chamber", "photometer", "NOT COUNTED"]),
         "normal_morphology_pct": readings("normal_morphology_pct"),
         "n_morphology_evaluated": counts("n_morphology_evaluated"), "evaluator": texts(),
         "extender": texts(), "n_doses": counts("n_doses"),
         "destination": st.sampled_from(["shipped", "frozen", "own bitch"]), "notes": texts(60),
         "minutes_at_37": numbers("minutes_at_37"), "centrifuge_g": numbers("centrifuge_g", 50,
                                                                            1200),
         "supernatant_removed_ml": numbers("supernatant_removed_ml", 0, 0.9),
         **{part: readings("abnormal_pct") for part in MORPHOLOGY_PARTS}},
    )  # fmt: skip

    def unpacked(cells):
        forward, moving = cells.pop("_moving")
        return cells | {"progressive_motility_pct": forward, "total_motility_pct": moving,
                        "motility_method": "counted"}  # fmt: skip

    failed = line(
        {"dog": st.sampled_from(STUDS), "collected_on": days(on),
         "failed_reason": st.sampled_from(["no erection", "Refused", "nothing"])},
        {"collected_at": CLOCKS, "notes": texts()},
    )  # fmt: skip
    return st.one_of(measured.map(unpacked), measured.map(unpacked), failed)


def _frozen(on):
    return line(
        {"dog": st.sampled_from(STUDS), "frozen_on": days(on), "lot": texts(),
         "n_straws": counts("n_straws", 1, 90)},
        {"motile_per_straw_m": readings("motile_per_straw_m"),
         "n_straws_per_dose": counts("n_straws_per_dose"), "stored_at": texts(), "notes": texts()},
    )  # fmt: skip


def _shipment(on):
    later = on + timedelta(days=1)
    return line(
        {"dog": st.sampled_from(STUDS), "sent_on": days(on)},
        {"collected_on": days(on), "sent_at": CLOCKS, "carrier": texts(), "extender": texts(),
         "n_doses": counts("n_doses"), "dose_volume_ml": numbers("dose_volume_ml", 1, 9),
         "motile_dose_m": readings("motile_dose_m"), "for_bitch": texts(), "clinic": texts(),
         "promised_on": days(later), "retained_on": days(later), "notes": texts()},
    )  # fmt: skip


def _heat(on):
    drawn = on + timedelta(days=8)
    return line(
        {"dog": st.sampled_from(BITCHES), "first_day": days(on)},
        {"lh_surge_on": days(drawn), "vet_ovulation_on": days(drawn + timedelta(days=2)),
         "notes": texts()},
    ).flatmap(
        lambda cells: st.one_of(
            st.just(cells),
            line(
                {"progesterone_1_on": days(drawn),
                 "progesterone_1": readings("progesterone", 0, 30),
                 "progesterone_1_unit": st.sampled_from(["ng/mL", "nmol/L", "NG/ML"])},
                {"progesterone_1_at": CLOCKS, "progesterone_1_laboratory": texts()},
            ).map(lambda more: cells | more),
        )
    )  # fmt: skip


def _breeding(on):
    whelped = on + timedelta(days=62)
    return line(
        {"dog": st.sampled_from(BITCHES), "stud": st.sampled_from(STUDS), "bred_on": days(on),
         "semen_type": st.just("natural")},
        {"bred_at": CLOCKS, "route": st.just("natural"), "second_on": days(on + timedelta(days=2)),
         "clinic": texts(), "scanned_on": days(on + timedelta(days=30)), "notes": texts(),
         "litter_inbreeding_pct": numbers("litter_inbreeding_pct", 1, 100)},
    ).flatmap(
        lambda cells: st.one_of(
            st.just(cells),
            st.just(cells | {"result": "missed"}),
            line({"result": st.just("whelped"), "whelped_on": days(whelped),
                  "n_born_alive": counts("n_born_alive", 3, 9)},
                 {"n_stillborn": counts("n_stillborn", 0, 3),
                  "n_alive_8_weeks": st.sampled_from("0123")}).map(lambda more: cells | more),
        )
    )  # fmt: skip


def _health(on):
    return line(
        {"dog": st.sampled_from(STUDS + BITCHES), "noted_on": days(on),
         "kind": st.sampled_from(["examination", "Laboratory Test", "event"]), "what": texts()},
        {"measured_value": texts(), "unit": texts(), "laboratory_range": texts(),
         "until_on": days(on + timedelta(days=9)), "laboratory": texts(), "drug_class": texts(),
         "notes": texts()},
    )  # fmt: skip


def _price(on):
    return line(
        {"what": st.sampled_from(SHEETS["prices"].column("what").choices),
         "price": numbers("price", 0, 999), "currency": st.just("EUR"), "valid_from": days(on)},
        {"valid_until": days(on + timedelta(days=30)), "notes": texts()},
    )  # fmt: skip


_LINES = {"collections": _collection, "frozen": _frozen, "shipments": _shipment, "heats": _heat,
          "breedings": _breeding, "health": _health, "prices": _price}  # fmt: skip


@st.composite
def records(draw, most=6):
    """A kennel's sheets: lines by library name of their cells, every one of them valid."""
    sheets = {"dogs": draw(dogs())}
    for sheet, one in _LINES.items():
        n_lines = draw(st.integers(0, most))
        sheets[sheet] = [
            draw(one(FIRST_DAY + timedelta(days=DAYS_BETWEEN_LINES * n))) for n in range(n_lines)
        ]
    tests = draw(st.lists(texts(), max_size=3, unique_by=str.casefold))
    sheets["intervals"] = [{"what": what, "repeat_days": "180"} for what in tests]
    assert sheets.keys() == SHEETS.keys()
    return sheets
