"""What is published, and how much it is worth: the table every model starts from.

One row a parameter. Marks: P published, D derived from published rows, J judgment calibrated on
published rates, M from memory. Standard deviations are wide on purpose: published contrasts are
confounded by who was given which method. A fit names the fingerprint of this table; a changed row
makes kept fits stale.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from studcurve.analytics.estimate import Floats

Distribution = Literal["normal", "half-normal", "log-normal", "beta", "dirichlet", "fixed"]
"""``half-normal`` has its scale in ``sd``; ``log-normal`` has the log of its centre as mean and
``sd`` on the log scale; ``beta`` has mean and sd; ``dirichlet`` has its worth in ``sd``."""


@dataclass(frozen=True, slots=True)
class Prior:
    """One parameter and what is known of it before any record.

    Attributes
    ----------
    id
        Row of the table; a suffix separates the values of one row.
    words
        What it is, in words a breeder holds.
    distribution, centre, sd
        See :data:`Distribution`; in ``unit``.
    unit
        Scale of the parameter.
    source
        Author, year, journal, or that it is judgment.
    mark
        P, D, J or M; several where several apply.
    """

    id: str
    words: str
    distribution: Distribution
    centre: float
    sd: float
    unit: str
    source: str
    mark: str


_LF89 = "Linde-Forsberg & Forsberg 1989, J Reprod Fertil Suppl 39:299-310"
_LF93 = "Linde-Forsberg & Forsberg 1993, J Reprod Fertil Suppl 47:313-323"
_LF99 = "Linde-Forsberg, Ström Holst & Govette 1999, Theriogenology 52:11-23"
_LF01 = "Linde-Forsberg 2001, 2041 inseminations (secondary)"
_THOMASSEN = "Thomassen et al. 2006, Theriogenology 66:1645-1650"
_HOLLINSHEAD = "Hollinshead & Hanlon 2017, Theriogenology 101:62-72"
_P4 = "Hollinshead & Hanlon 2019, Theriogenology 125:37-42"
_COCHRAN = "Cochran et al. 2023, Top Companion Anim Med"
_MASON = "Mason & Rous 2014, Theriogenology 82:844-850"
_BURGESS = "Burgess, Mitchell & Thomas 2012, Aust Vet J 90:283-290"
_FRANCE = "French breeders' heats 2010-14, Reprod Domest Anim 52(S2):158-162, 2017"
_VANHAAFTEN = "van Haaften et al. 1989, Vet Rec 125:524-526"
_FOX = "Farstad, Fougner & Torres 1992, Theriogenology (fox)"
_BORGE = "Borge et al. 2011, Theriogenology 75:911-919"
_GAVRILOVIC = "Gavrilovic, Andersson & Linde Forsberg 2008, Theriogenology 70:783-794"
_OETTLE = "Oettlé 1993, J Reprod Fertil Suppl 47"
_TSUTSUI = "Tsutsui 2009, Reprod Domest Anim 44"
_ROTA = "Rota, Ström & Linde-Forsberg 1995, Theriogenology 44:885-900"
_STORAGE = (
    f"{_ROTA}; Iguer-Ouada & Verstegen 2001, Theriogenology 55:671-684; Ponglowhapan et al. 2004, "
    "Theriogenology 62:1498-1517; Batista 2012, Reprod Domest Anim"
)
_CONCANNON = "Concannon 1977 (six Beagles)"
_J = "judgment"

PROGESTERONE_PROFILE: tuple[tuple[int, float, str, str], ...] = (
    (-120, 0.5, "early heat: judgment", "J"),
    (-56, 0.7, _CONCANNON, "P"),
    (-40, 0.9, _CONCANNON, "P"),
    (-24, 1.2, _CONCANNON, "P"),
    (-16, 1.4, _CONCANNON, "P"),
    (-8, 1.5, _CONCANNON, "P"),
    (0, 2.65, f"mean of 2.6 and 2.7: {_CONCANNON}; {_P4}", "D"),
    (24, 3.2, _CONCANNON, "P"),
    (48, 5.1, f"mean of 5.4 and 4.8: {_CONCANNON}; {_P4}", "D"),
    (72, 7.2, _P4, "P"),
    (120, 12.0, "early luteal rise: judgment", "J"),
    (240, 25.0, "early luteal rise: judgment", "J"),
    (480, 30.0, "luteal level: judgment", "J"),
)
"""Mean progesterone of the reference assay, a radioimmunoassay, by hours from the LH peak:
hours, ng/mL, source, mark. Rows o01 of the table."""

_NORMAL: tuple[tuple[str, str, float, float, str, str, str], ...] = (
    # id, words, mean, sd, unit, source, mark
    (
        "c01", "pregnant at scan: average bitch and stud, natural mating at the right time",
        2.2, 0.4, "logit", f"calibrated so that the chain averages to 87.8 %: {_FRANCE}", "J, P",
    ),
    (
        "c02", "whelped, once pregnant at scan",
        2.6, 0.3, "logit", f"81.9/87.8 = 93 %: {_FRANCE}", "D",
    ),
    (
        "c03", "fresh semen by vaginal insemination, against natural mating",
        -0.6, 0.5, "logit", f"shrunk, selected cases: {_LF89}; {_LF93}; {_LF01}", "J",
    ),
    (
        "c04", "transcervical, against vaginal",
        0.7, 0.35, "logit", f"{_LF01}; Silva et al. 1996, Vet Rec 138:154-157", "P",
    ),
    (
        "c05", "chilled, against fresh by the same route, at its usual dose and about 24 h",
        -0.5, 0.35, "logit", f"{_COCHRAN}; {_LF01}", "P",
    ),
    (
        "c06", "frozen, against fresh by the same route, at its usual dose",
        -0.55, 0.40, "logit",
        f"pooled −0.573 of {_HOLLINSHEAD} and {_COCHRAN}, sd widened for a new kennel", "P",
    ),
    (
        "c07", "frozen and vaginal, on top of both",
        -0.5, 0.5, "logit", f"{_LF99}; {_THOMASSEN}; {_LF01}", "D",
    ),
    (
        "c08", "surgical, against transcervical (recorded, never offered)",
        -0.2, 0.5, "logit", f"{_MASON}; {_BURGESS}", "P",
    ),
    (
        "c09", "second insemination, beyond its better timing",
        0.10, 0.15, "logit", f"two against one at the best time: {_THOMASSEN}", "P",
    ),
    (
        "c10", "each doubling of the motile dose, below the usual dose of the route",
        0.4, 0.25, "logit", f"{_MASON}; {_BURGESS}; slope 0.61: {_FOX}", "D",
    ),
    (
        "c11", "each doubling of the motile dose, above the usual dose",
        0.03, 0.05, "logit", f"plateau: {_FOX}", "D",
    ),
    (
        "c12", "each day of chilled storage beyond 24 h (no claim beyond 72 h)",
        -0.15, 0.35, "logit", f"{_J}; no dog study relates hours of storage to pregnancy", "J",
    ),
    (
        "c13", "each 10 points of normal morphology below 70 %",
        -0.4, 0.3, "logit", f"{_J} on {_OETTLE} (group sizes from memory)", "J",
    ),
    (
        "c14", "each year of the bitch beyond 5",
        -0.15, 0.10, "logit", f"slope judgment, direction {_HOLLINSHEAD}", "J, P",
    ),
    (
        "c15", "the bitch has missed before the records begin",
        -1.0, 0.5, "logit", f"shrunk: {_VANHAAFTEN}", "P",
    ),
    (
        "c16", "each year of the stud beyond 8",
        -0.10, 0.10, "logit", f"{_J} on {_THOMASSEN}; Hesser 2017, Theriogenology 87:115", "J",
    ),
    (
        "c17_fresh", "natural or fresh, each day earlier than two days before ovulation",
        -0.4, 0.25, "logit", _J, "J",
    ),
    ("c17_chilled", "chilled, each day before ovulation", -0.5, 0.3, "logit", _J, "J"),
    (
        "c17_frozen", "frozen, each day earlier than 2.5 days after ovulation",
        -1.0, 0.4, "logit", _J, "J",
    ),
    (
        "c18_vaginal", "natural or vaginal, each day later than five days after ovulation",
        -1.0, 0.4, "logit", _J, "J",
    ),
    (
        "c18_intrauterine", "intrauterine, each day later than six days after ovulation",
        -1.7, 0.6, "logit", f"−2.2 a day after day 7: {_TSUTSUI}", "J, P",
    ),
    (
        "c23", "each 10 points of progressive motility, when inseminated, below the usual one of "
        "the semen type, beyond what the dose says",
        -0.15, 0.25, "logit",
        "whelping 37, 67 and 79 % below 30, at 30 to 65 and above 65 % progressive: "
        f"{_HOLLINSHEAD}; "
        "0.45 and 0.19 a 10 points in all, of which the dose explains a part", "D",
    ),
    (
        "c24", "each doubling of the concentration inseminated, beyond what the dose says",
        0.0, 0.15, "logit", _J, "J",
    ),
    (
        "c25", "fresh semen, each 6 h from collection to insemination beyond the first hour",
        -0.10, 0.10, "logit",
        f"{_J}; loss begins within about 30 minutes: common practice, no source", "J",
    ),
    (
        "c26", "chilled semen, each 6 h nearer to collection than 24 h",
        0.03, 0.05, "logit", _J, "J",
    ),
    *(
        (
            f"m02_{kind}", f"result never reported, {words}: the chance of the kind of result that "
            "is reported less",
            -1.5, 1.5, "logit", f"{_J}; the records tell it", "J",
        )
        for kind, words in (
            ("natural", "mating"), ("fresh", "fresh semen"), ("chilled", "chilled semen"),
            ("frozen", "frozen semen"),
        )
    ),
    ("l01_toy", "log litter size, under 5 kg", 1.25, 0.15, "log", _BORGE, "P"),
    ("l01_small", "log litter size, 5 to 10 kg", 1.44, 0.15, "log", _BORGE, "M"),
    ("l01_medium", "log litter size, 10 to 25 kg", 1.74, 0.15, "log", _BORGE, "M"),
    ("l01_large", "log litter size, 25 to 45 kg", 1.93, 0.15, "log", _BORGE, "M"),
    ("l01_giant", "log litter size, over 45 kg", 1.96, 0.15, "log", _BORGE, "P"),
    (
        "l03", "fresh insemination, against natural",
        -0.15, 0.10, "log", f"{_LF89}; {_BORGE} (from memory)", "P, M",
    ),
    ("l04", "chilled, against fresh", -0.08, 0.12, "log", f"{_COCHRAN}; {_LF01}", "P"),
    (
        "l05", "frozen, against fresh",
        -0.25, 0.10, "log", f"{_HOLLINSHEAD}; {_COCHRAN}; {_LF01}; {_LF89}; {_LF93}", "P",
    ),
    ("l06", "transcervical, against vaginal", 0.09, 0.07, "log", _LF01, "P"),
    ("l07", "second insemination", 0.07, 0.06, "log", f"{_THOMASSEN}, minus timing", "D"),
    ("l08", "each doubling of the dose below 100 M", 0.06, 0.05, "log", _FOX, "D"),
    ("l09", "each year of the dam from 4", -0.023, 0.015, "log", _HOLLINSHEAD, "P"),
    (
        "l09_large", "large and giant, each further year of the dam beyond 5",
        -0.03, 0.03, "log", f"{_BORGE}; {_GAVRILOVIC}", "J",
    ),
    ("l10", "first litter", -0.08, 0.06, "log", _GAVRILOVIC, "P"),
    (
        "l11_dam", "each point of the dam's inbreeding",
        -0.012, 0.008, "log", "Schrack et al. 2017, Theriogenology 95:163-170", "P",
    ),
    (
        "l11_litter", "each point of the litter's inbreeding",
        -0.005, 0.004, "log", "Eleryd 2022, SLU thesis; Leroy 2015, Vet J 203:74-78", "P, M",
    ),
    (
        "l16", "inseminated before the window, each day", -0.05, 0.05, "log",
        f"{_J}; litters are largest on the best day", "J",
    ),
    (
        "l17", "inseminated after the window, each day (aged ova)", -0.15, 0.12, "log",
        f"mean litters of 4.3, 4.0 and 2.5 on successive late days: {_TSUTSUI}", "P, J",
    ),
    (
        "l18", "each day of chilled storage beyond 24 h; fresh semen, each 12 h beyond the first",
        -0.04, 0.05, "log", _J, "J",
    ),
    (
        "l19", "each 10 points of progressive motility, when inseminated, below the usual one of "
        "the semen type, beyond what the dose says",
        -0.04, 0.04, "log",
        f"{_J}; direction {_LF89}; {_THOMASSEN}", "J",
    ),
    (
        "l13", "log dispersion of litter size",
        0.11, 0.28, "log",
        "variance over mean 0.77 to 1.17: Gresky, Hamann & Distl 2005, Berl Münch Tierärztl Wschr "
        "118:134-139; Schrack et al. 2017; Urfer 2009, Acta Vet Scand 51:21", "D",
    ),
    (
        "l14", "stillborn",
        -2.75, 0.35, "logit", "4.3 to 7.4 %: Tønnessen et al. 2012, Theriogenology 77:1788-1801; "
        "Gresky et al. 2005; Schrack et al. 2017", "P",
    ),
    (
        "l14_size", "stillborn, each pup of the litter beyond five",
        0.05, 0.05, "logit", f"{_J}; direction Tønnessen et al. 2012, Theriogenology 77:1788-1801",
        "J, P",
    ),
    (
        "l14_age", "stillborn, each year of the dam beyond 4",
        0.05, 0.05, "logit", f"{_J}; direction Tønnessen et al. 2012, Theriogenology 77:1788-1801",
        "J, P",
    ),
    (
        "l14_within", "losses of one litter go together: logit of their correlation",
        -1.3, 0.5, "logit of correlation",
        "0.21 from some loss in 24.6 % of litters at 8.0 % of pups: Tønnessen et al. 2012, "
        "Theriogenology 77:1788-1801", "D",
    ),
    (
        "l15", "lost between birth and 8 weeks",
        -3.0, 0.4, "logit", "3.7 + 1 %: Tønnessen et al. 2012, Theriogenology 77:1788-1801", "P",
    ),
    (
        "q06_total", "log total sperm, each year beyond 7",
        -0.05, 0.05, "log", f"{_J} on Hesser 2017, Theriogenology 87:115; Tesi 2018", "J",
    ),
    (
        "q06_motility", "motility, each year beyond 7",
        -0.08, 0.08, "logit", f"{_J} on Hesser 2017, Theriogenology 87:115", "J",
    ),
    (
        "q06_morphology", "normal morphology, each year beyond 7",
        -0.12, 0.10, "logit", f"{_J} on Hesser 2017; Tesi 2018, Theriogenology 118:34-39", "J",
    ),
    (
        "q01_centre", "log total sperm of a stud, rested, up to seven years old",
        6.6, 0.7, "log of millions",
        "300 to 2,000 M: University of Minnesota; 200 to 3,000 M: Atlantic Veterinary College", "P",
    ),
    (
        "q02_centre_motility", "progressive motility of a stud up to seven years old",
        1.1, 0.5, "logit", "74 ± 7 %: Nöthling et al. 1997; at least 70 % expected", "P",
    ),
    (
        "q02_centre_morphology", "normal morphology of a stud up to seven years old",
        1.1, 0.6, "logit", "72 ± 14 %: Nöthling et al. 1997; 70 to 90 %: Atlantic Veterinary "
        "College", "P",
    ),
    (
        "q05_recent", "abrupt change in the last months that nobody has noted",
        0.0, 0.3, "log or logit", _J, "J",
    ),
    (
        "q05_step", "change that follows a declared event, when it is deepest",
        0.0, 0.7, "log or logit",
        f"{_J}: from nothing (Henning et al. 2014, Reprod Domest Anim 49:145-157) to loss of all",
        "J",
    ),
    (
        "o04", "from LH surge to ovulation",
        46.0, 4.0, "h", f"between 38 and 50 h: {_CONCANNON}", "P",
    ),
    (
        "o05", "from first bleeding to ovulation, without any test",
        11.0, 4.0, "d", "Beagle colony, range 3 to 31, Reprod Domest Anim", "P",
    ),
    ("o06_lh", "from LH surge to whelping", 65.0, 1.9, "d", _HOLLINSHEAD, "P"),
    ("o06_ovulation", "from ovulation to whelping", 63.1, 2.1, "d", "Mir 2011 (162)", "P"),
    (
        "o06_mating", "from a single timed mating to whelping",
        61.4, 1.5, "d", "Okkens 2001 (113 bitches)", "P",
    ),
)  # fmt: skip

_HALF_NORMAL: tuple[tuple[str, str, float, str, str, str], ...] = (
    # id, words, scale, unit, source, mark
    ("c19", "frozen, height of the mild peak at 3.3 days after ovulation (sd 0.7 d)", 0.3, "logit",
     f"peak {_THOMASSEN} (days 2-3), Steckler 2013 (about day 4); height judgment", "P, J"),
    ("c20_bitch", "spread between bitches", 0.5, "logit", _J, "J"),
    ("c20_stud", "spread between studs", 0.4, "logit", _J, "J"),
    ("c20_breed", "spread between breeds", 0.4, "logit", _J, "J"),
    ("c21_kennel", "spread between kennels", 0.3, "logit", _J, "J"),
    ("c21_clinic", "spread between inseminating clinics", 0.3, "logit", _J, "J"),
    ("c21_year", "spread between years", 0.3, "logit", _J, "J"),
    ("c27", "spread between breedings beyond every column, for the chance of one of them", 1.0,
     "logit", f"{_J}; single results cannot tell its size: set so that ranges of single breedings "
     "hold in simulated kennels of another story", "J"),
    ("l02", "spread between breeds of one size", 0.2, "log", f"spread in {_BORGE}", "P"),
    ("l12_dam", "spread between dams", 0.15, "log", "judgment on heritability 0.06 to 0.31", "J"),
    ("l12_stud", "spread between studs", 0.08, "log", "judgment on heritability", "J"),
    ("s05_stud", "spread of log storage time between studs", 0.35, "log", _J, "J"),
    ("s05_collection", "spread of log storage time between collections", 0.2, "log", _J, "J"),
    ("q01_between", "spread of log total sperm between dogs", 0.5, "log",
     "judgment on human and bull repeatability", "J"),
    ("q01_within", "spread of log total sperm between collections", 0.45, "log",
     "judgment on human and bull repeatability", "J"),
    ("q02_between", "spread of motility between dogs", 0.6, "logit", _J, "J"),
    ("q02_within", "spread of motility between collections", 0.4, "logit", _J, "J"),
    ("q04", "amplitude of the time of year", 0.1, "log", "direction published", "P"),
    ("q05_amplitude", "amplitude of the slow baseline", 0.3, "log", _J, "J"),
)  # fmt: skip

_OTHER = (
    Prior("c22", "plan only: bias of each semen and route contrast", "normal", 0.0, 0.3, "logit",
          "judgment: choice of bitch, not method, may have made the difference", "J"),
    Prior("m01", "bitches that did not whelp whose result is never reported, beside those that did",
          "log-normal", 2.0, 0.6, "ratio of chances",
          f"{_J}: litters are reported and empties forgotten; no source found", "J"),
    Prior("c10_vaginal", "usual motile dose, vaginal", "fixed", 200.0, 0.0, "M",
          "at least 150 to 200 M: Linde-Forsberg 1991 (secondary); litters not at their most below "
          f"200 M: {_BURGESS}", "D"),
    Prior("c10_intrauterine", "usual motile dose, transcervical or surgical", "fixed", 100.0, 0.0,
          "M", f"more than 100 M live and normal sperm: {_MASON}", "D"),
    *(
        Prior(f"c23_usual_{kind}", f"usual progressive motility when inseminated, {kind}", "fixed",
              usual_pct, 0.0, "%", "judgment on the samples behind the published rates", "J")
        for kind, usual_pct in (("fresh", 65.0), ("chilled", 65.0), ("frozen", 45.0))
    ),
    Prior("s01", "storage time scale, egg yolk, 4-5 °C", "log-normal", 192.0, 0.5, "h", _STORAGE,
          "P"),
    Prior("s02_milk", "× milk extender", "log-normal", 0.5, 0.3, "ratio", _ROTA, "D"),
    Prior("s02_cream", "× cream extender", "log-normal", 0.33, 0.3, "ratio", _ROTA, "D"),
    Prior("s02_unknown", "× unknown extender", "log-normal", 0.6, 0.6, "ratio", _J, "J"),
    Prior("s03", "storage shape", "log-normal", 1.5, 0.4, "shape", "plateau, then collapse", "D"),
    Prior("s04", "undiluted at room temperature, half-time", "log-normal", 8.0, 0.5, "h",
          "proxy from an epididymal series; common practice: loss begins about 30 minutes", "D"),
    Prior("s04_shape", "undiluted at room temperature, shape", "fixed", 1.6, 0.0, "shape",
          "the same series", "D"),
    Prior("s05_product", "spread of log storage time between products of one kind", "normal", 0.0,
          0.2, "log", _J, "J"),
    Prior("s05_start", "progressive motility of a fresh sample before evaluation", "normal", 74.0,
          14.0, "%", "74 ± 7 %, 54 samples of 5 dogs: Nöthling et al. 1997, J Reprod Fertil Suppl "
          "51:109-116; sd doubled for other dogs", "D"),
    Prior("s06_180g", "kept by 5 minutes of centrifugation at 180 g", "fixed", 91.0, 0.0, "%",
          "Rijsselaere 2002, Theriogenology 57:1669-1681", "P"),
    Prior("s06_720g", "kept by 5 minutes of centrifugation at 720 g", "fixed", 97.7, 0.0, "%",
          "Rijsselaere 2002, Theriogenology 57:1669-1681", "P"),
    Prior("s06_1620g", "kept by 5 minutes of centrifugation at 1,620 g", "fixed", 99.6, 0.0, "%",
          "Rijsselaere 2002, Theriogenology 57:1669-1681", "P"),
    Prior("s06_2880g", "kept by 5 minutes of centrifugation at 2,880 g", "fixed", 100.0, 0.0, "%",
          "Rijsselaere 2002, Theriogenology 57:1669-1681", "P"),
    Prior("r01_sd", "motility by eye, error of one evaluation", "fixed", 8.0, 0.0, "points",
          "judgment; bull laboratories differ by 30 points", "J"),
    Prior("r01_observer", "motility by eye, sd between evaluators", "half-normal", 0.0, 7.0,
          "points", _J, "J"),
    Prior("r01_judged", "motility counted, error beyond counting", "fixed", 3.0, 0.0, "points", _J,
          "J"),
    Prior("r02_trained", "chamber count beyond Poisson, trained", "fixed", 0.06, 0.0, "cv",
          "canine repeatability 5.7 %", "P"),
    Prior("r02_home", "chamber count beyond Poisson, at home", "fixed", 0.15, 0.0, "cv", _J, "J"),
    Prior("r03", "progressive share of total motility", "beta", 0.85, 0.08, "share", _J, "J"),
    Prior("r04", "stored sample evaluated without warming", "half-normal", 0.0, 15.0, "points",
          _J, "J"),
    Prior("r04_unknown", "evaluations without a note of warming that were cold", "fixed", 0.2,
          0.0, "share", _J, "J"),
    Prior("r05_sensitivity", "a pregnant bitch scans pregnant from day 28", "fixed", 0.97, 0.0,
          "probability", _J, "J"),
    Prior("r05_specificity", "a bitch that is not pregnant scans so", "fixed", 0.99, 0.0,
          "probability", _J, "J"),
    Prior("q01_level", "total sperm of a dog of unknown size", "fixed", 775.0, 0.0, "M",
          "middle of 200 to 3,000 M by size: Lofstedt, Atlantic Veterinary College; of 300 to "
          "2,000 M: University of Minnesota", "D"),
    Prior("q03_time", "rest: recovery time", "log-normal", 2.5, 0.25, "d",
          "Olar, Amann & Pickett 1983, Biol Reprod", "P, J"),
    Prior("q03_deficit", "rest: deficit on the next day", "beta", 0.275, 0.06, "share",
          "15 to 40 %: judgment", "J"),
    Prior("r01_counted", "counted motility and morphology, sd between evaluators", "half-normal",
          0.0, 3.0, "points", _J, "J"),
    Prior("r01_shape", "morphology, sd between evaluators", "half-normal", 0.0, 5.0, "points", _J,
          "J"),
    Prior("r02_observer", "count, sd between evaluators and ways of counting", "half-normal", 0.0,
          0.15, "log", _J, "J"),
    Prior("q01_tail", "degrees of freedom of single collections: some are incomplete, some typed "
          "wrong", "fixed", 6.0, 0.0, "degrees", f"{_J}; incomplete ejaculation explained 11 of 24 "
          "samples without sperm: Tesi 2018, Theriogenology 118:34-39", "J"),
    Prior("q05_lag", "from a declared event to half of its dip", "log-normal", 25.0, 0.4, "d",
          "nothing before 8 to 14 days, deepest in weeks 3 to 9: Merck Veterinary Manual; cycle of "
          "62 days: Soares et al. 2009, J Anat", "D"),
    Prior("q05_duration", "from there to half of the recovery", "log-normal", 45.0, 0.5, "d",
          "over within one spermatogenic cycle as a rule, beyond 60 days after fever: Merck "
          "Veterinary Manual", "D"),
    Prior("q05_stud", "slow baseline: amplitude of one stud against the kennel's usual one",
          "log-normal", 1.0, 0.7, "ratio", _J, "J"),
    Prior("q05_length", "slow baseline: length", "log-normal", 1.0, 0.5, "y", _J, "J"),
    *(
        Prior(f"o01_{'before' if hours < 0 else 'after'}_{abs(hours)}h",
              f"mean progesterone {abs(hours)} h {'before' if hours < 0 else 'after'} the LH surge",
              "fixed", ng_per_ml, 0.0, "ng/mL", source, mark)
        for hours, ng_per_ml, source, mark in PROGESTERONE_PROFILE
    ),
    Prior("o02", "level between cycles", "half-normal", 0.0, 0.25, "log", f"judgment on {_P4}",
          "J"),
    Prior("o03_between", "assay scale between laboratories", "half-normal", 0.0, 0.3, "log",
          "slopes 0.45 to 1.06, Theriogenology 147:116-123, 2020", "P"),
    Prior("o03_within", "assay scale within a laboratory", "half-normal", 0.0, 0.10, "log",
          "the same", "P"),
    Prior("o03_radio", "scale of a radioimmunoassay", "normal", 0.0, 0.15, "log",
          "the profile's own kind of assay; spread judgment", "J"),
    Prior("o03_enzyme", "scale of enzyme-amplified chemiluminescence", "normal", -0.48, 0.35, "log",
          "between 0.16 + 0.45 of the radioimmunoassay (Theriogenology 147:116-123, 2020) and 0.85 "
          "of it (Nöthling & De Cramer 2019, JSAVA 90:a1730)", "D"),
    Prior("o03_electro", "scale of electrochemiluminescence", "normal", 0.0, 0.15, "log",
          "-0.23 + 1.06 of the radioimmunoassay: Theriogenology 147:116-123, 2020; sd judgment",
          "D, J"),
    Prior("o03_clinic", "scale of an analyzer in the clinic", "normal", 0.1, 0.3, "log",
          "reads higher by a share not printed in the abstract: Front Vet Sci 8:660923, 2021; size "
          "judgment", "J"),
    Prior("o05_earliest", "earliest ovulation, from first bleeding", "fixed", 3.0, 0.0, "d",
          "Beagle colony, range 3 to 31, Reprod Domest Anim", "P"),
    Prior("o05_latest", "latest ovulation, from first bleeding", "fixed", 31.0, 0.0, "d",
          "Beagle colony, range 3 to 31, Reprod Domest Anim", "P"),
    Prior("o06_small", "a litter of up to four pups comes later by", "fixed", 1.0, 0.0, "d",
          "Eilts 2005 (764 litters)", "P"),
    Prior("o07", "rise speed between cycles", "half-normal", 0.0, 0.15, "log", _J, "J"),
    Prior("o08", "no ovulation in this heat, or a split heat", "beta", 0.05, 0.034, "probability",
          "judgment; split heats in young bitches: common practice, no source", "J"),
    Prior("o08_split", "without ovulation, readings look as if the LH surge came within", "fixed",
          28.0, 0.0, "d", _J, "J"),
    Prior("p01", "shipment on time; next day 6 %, after the weekend 2 %", "dirichlet", 0.92, 20.0,
          "share", "judgment, worth 20 boxes", "J"),
)  # fmt: skip

PRIORS: Mapping[str, Prior] = MappingProxyType(
    {
        prior.id: prior
        for prior in (
            *(Prior(r[0], r[1], "normal", r[2], r[3], r[4], r[5], r[6]) for r in _NORMAL),
            *(Prior(r[0], r[1], "half-normal", 0.0, r[2], r[3], r[4], r[5]) for r in _HALF_NORMAL),
            *_OTHER,
        )
    }
)
"""Every row by id."""


def priors_fingerprint(prefixes: tuple[str, ...]) -> str:
    """Fingerprint of the numbers of the rows whose id begins with one of the prefixes."""
    digest = hashlib.sha256()
    for prior in sorted(PRIORS.values(), key=lambda prior: prior.id):
        if prior.id.startswith(prefixes):
            digest.update(repr(astuple(prior)[:1] + astuple(prior)[2:6]).encode())
    return digest.hexdigest()


N_PRIOR_DRAWS = 4000
"""Draws of the published table that stand beside a posterior, or in for it."""


def draw_priors(rows: Iterable[str], rng: np.random.Generator, n_draws: int) -> dict[str, Floats]:
    """Draw rows of the table independently, each of shape (n_draws,).

    Parameters
    ----------
    rows
        Ids of normal, half-normal and log-normal rows; drawn in this order.
    rng
        Source of randomness.
    n_draws
        Length of each array.
    """
    draws = {}
    for row in rows:
        prior = PRIORS[row]
        if prior.distribution == "normal":
            draws[row] = rng.normal(prior.centre, prior.sd, n_draws)
        elif prior.distribution == "half-normal":
            draws[row] = np.abs(rng.normal(0.0, prior.sd, n_draws))
        elif prior.distribution == "log-normal":
            draws[row] = prior.centre * np.exp(prior.sd * rng.normal(size=n_draws))
        else:
            raise ValueError(f"row {row} is {prior.distribution}: draw normal kinds of rows only")
    return draws
