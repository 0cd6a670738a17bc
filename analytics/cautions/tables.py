"""The words themselves, by what they mean; from memory (M), and read by ``words.py`` alone.

A stem begins a word; one of five letters or more may also stand inside it, as German joins words;
one of up to three letters, or with a ``$`` at its end, is the whole word. Stems are folded: lower
case, without accents, a for ä and ae. A stem with a blank is found as it stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

# Brucella canis

BRUCELLA_STEMS = ("brucel", "bruccel", "bruzel", "brukel", "brucil", "bruzil", "brusel")
BRUCELLA_NAMES = (
    "brucella", "brucellosis", "brucellose", "brucellen", "bruzellose", "bruzellen", "brucelosis",
)  # fmt: skip
"""What a misspelled name is compared with."""

BRUCELLA_PHRASES = frozenset({
    "b canis", "bcanis", "br canis", "rsat", "2me", "2 me", "merc rsat", "mercaptoethanol",
    "merkaptoethanol", "tat", "slat", "agid", "cpag", "cpa g", "slide agglutination",
    "tube agglutination", "card agglutination", "agargel immundiffusion",
    "agar gel immunodiffusion",
})  # fmt: skip
"""Abbreviations and names of the tests that laboratories print for it alone."""

AGGLUTINATION = ("agglutin",)
"""Other agglutinations are read as tests for it, unless another germ is named."""

ANTIBODY_TESTS = ("agglutin", "serolog", "antibod", "antikorper", "elisa", "ifat", "ifa")

DIRECT_TESTS = ("pcr", "cultur", "kultur", "isolat", "dna")
"""Tests that look for the germ itself: it is shed at times, so a negative one is no screening."""

OTHER_GENERA = (
    "ehrlich", "babesi", "hepatozo", "toxocar", "mycoplasm", "microspor", "demodex", "otodect",
    "ctenoceph", "leishman", "anaplasm", "adenovir", "lupus", "dirofil", "taenia", "isospor",
    "sarcopt", "trichodect", "neospor", "leptospir",
)  # fmt: skip
"""Whose species is named canis too."""

# Other tests

VACCINE_WORDS = (
    "vaccin", "impf", "booster", "rabies", "tollwut", "parvo", "distemper", "staupe", "hepatitis",
    "adenovir", "bordetell", "kennel cough", "zwingerhusten",
)  # fmt: skip

INFECTIONS = (
    "herpes", "chv", "chv1", "leptospir", "leishman", "ehrlich", "babesi", "mycoplasm",
    "ureaplasm", "chlamyd", "toxoplasm", "neospor", "campylobact", "salmonell", "strep", "staph",
    "e coli", "ecoli", "escherich", "klebsiel", "pseudomon", "proteus", "tvt", "venereal",
    "sticker", "trichomon", "cultur", "kultur", "swab", "tupfer", "abstrich", "bakteriolog",
    "bacteriolog", "deckinfekt",
)  # fmt: skip
"""Infections, and the tests that look for any, whose result is read like that of *Brucella*."""

INFECTION_HINTS = (
    "pcr", "elisa", "ifat", "ifa", "iift", "antibod", "antikorper", "ak", "antigen", "serolog",
    "titre", "titer", "virus", "viral", "bacter", "bakter", "infect", "infekt", "keim$", "keime",
    "erreger", "pathogen", "sat", "kbr", "igg", "igm", "zoono", "western blot",
)  # fmt: skip
"""Words that laboratories use when they look for an infection."""

KNOWN_TESTS = (
    "progesteron", "lh", "relaxin", "testosteron", "hormon", "ostradiol", "estradiol", "thyroid",
    "thyro", "schilddrus", "t4", "ft4", "tsh", "tgaa", "cortisol", "acth", "autoantik",
    "autoantib", "coombs", "dna", "parent", "abstamm", "vaterschaft", "genet", "gentest",
    "genotyp", "gene$", "gen$", "locus", "pra", "prcd", "gpra", "dm", "vwd", "mdr1", "eic", "cea",
    "ncl", "hnpk", "myelopath", "willebrand", "degenerat", "coat col", "fellfarb", "furnish",
    "phosphatas", "alp", "ap", "psa", "cpse", "esteras", "hip$", "hips", "huft", "hd", "ed",
    "elbow", "ellbog", "ellenbog", "eye", "eyes", "auge", "ophthalm", "catarac", "katarak",
    "patell",
    "heart", "herz", "cardi", "kardi", "echo", "ecg", "ekg", "holter", "doppler", "hearing",
    "baer", "gehor", "audiometr", "x ray", "xray", "rontgen", "radiograph", "ultraso",
    "ultraschall", "dental", "teeth", "zahn", "gebiss", "skin", "haut", "allerg", "worm", "wurm",
    "giard", "dirofil", "borrel", "lyme", "anaplasm", "parasit", "flea", "mite$", "mites", "milben",
    "fecal", "facal", "feces", "kotprobe", "kot",
)  # fmt: skip
"""Tests that say nothing of an infection that mating or semen carries."""

PLAIN_TESTS = (
    "cbc", "blood count", "blutbild", "hematol", "hamatol", "biochem", "chemistr", "chemie",
    "kidney", "niere", "liver", "leber", "alt", "ast", "creatin", "kreatin", "urea", "harnstoff",
    "glucos", "glukos", "urin", "harn", "profil", "panel", "bile", "gallen", "pancrea", "pankrea",
    "cytolog", "zytolog", "smear", "ausstrich", "semen", "sperm", "ejacul", "ejakul", "samen",
    "blood group", "blutgruppe", "coagul", "gerinn", "electrolyt", "elektrolyt", "vitamin",
    "fructosamin", "crp", "leukocyt", "leukozyt", "wbc", "blood", "blut",
)  # fmt: skip
"""Tests known by words so plain that a word of an infection beside them outweighs them."""

# Results

NEGATIVE_WORDS = frozenset({
    "negative", "negativ", "negativer", "negatives", "neg", "nonreactive", "nonreaktiv",
    "seronegative", "seronegativ", "steril", "sterile", "keimfrei", "erregerfrei",
})  # fmt: skip

NEGATIVE_PHRASES = frozenset({
    "non reactive", "not reactive", "non reaktiv", "nicht reaktiv", "not detected",
    "none detected", "not isolated", "nicht nachgewiesen", "nicht nachweisbar", "nicht isoliert",
    "no growth", "no bacterial growth", "kein wachstum", "kein keimwachstum", "kein nachweis",
    "kein erregernachweis", "keine antikorper", "keine antikorper nachgewiesen",
    "keine antikorper nachweisbar", "no antibodies", "no antibodies detected", "no brucella",
    "no brucella detected", "no brucella isolated", "keine brucellen", "no agglutination",
    "keine agglutination", "keine erreger", "no pathogens", "below detection limit",
    "unter der nachweisgrenze", "unter nachweisgrenze",
})  # fmt: skip

POSITIVE_STEMS = (
    "posit", "pos", "react", "reakt", "suspect", "verdacht", "fraglich", "borderline", "grenzwert",
    "weak", "schwach", "inconcl", "doubtful", "zweifelhaft", "infect", "infiz", "infekt",
)  # fmt: skip
"""Words that alarm beside the name of a test."""

POSITIVE_WORDS = frozenset({"positive", "positiv", "pos", "suspect", "verdachtig"})
"""Words of a result that needs no question: it stops."""

FILLERS = frozenset({
    "result", "ergebnis", "befund", "test", "tests", "titre", "titer", "screening", "screen", "by",
    "in", "the", "of", "for", "auf", "fur", "im", "am", "und", "and", "rsat", "2me", "me", "tat",
    "slat", "agid", "cpag", "ifat", "ifa", "elisa", "pcr", "igg", "igm", "brucella", "canis", "b",
    "brucellosis", "brucellose", "brucellen", "serum", "blood", "blut", "semen", "sperma",
    "urine", "urin", "both", "beide", "lab", "labor", "laboratory", "sample", "probe", "is", "ist",
    "was", "war", "all", "alle", "left", "right", "links", "rechts", "beidseits", "bilateral",
    "size", "grosse", "shape", "form", "consistency", "konsistenz", "hd", "ed", "hips", "elbows",
})  # fmt: skip
"""Words that say neither."""

OUTSTANDING_WORDS = frozenset({
    "pending", "outstanding", "awaited", "awaiting", "waiting", "ausstehend", "offen", "folgt",
    "tba", "tbd", "result", "results", "ergebnis", "steht", "noch", "aus", "unknown", "unbekannt",
    "not", "yet", "done", "known",
})  # fmt: skip
"""Words of a result that has not come."""

GENETIC_RESULTS = frozenset({"n n", "carrier", "trager", "clear", "homozygous", "heterozygous"})

NORMAL_WORDS = frozenset({
    "normal", "normale", "normaler", "normales", "unremarkable", "unauffallig", "unauffallige",
    "unauffalliges", "ob", "good", "gut", "ok", "okay", "fine", "healthy", "gesund", "free", "frei",
    "clear", "symmetrical", "symmetric", "symmetrisch", "regelrecht", "physiologisch", "wnl", "nad",
    "passed", "bestanden", "unaffected", "excellent", "a", "a1", "a2", "b1", "b2", "0", "0/0",
    "ed0", "io",
})  # fmt: skip

NORMAL_PHRASES = frozenset({
    "o b", "ohne befund", "i o", "in ordnung", "within normal limits", "no abnormalities",
    "no abnormality", "no abnormalities detected", "nothing abnormal", "nothing abnormal detected",
    "no findings", "keine auffalligkeiten", "keine besonderheiten", "ohne besonderheiten",
    "within reference", "within reference range", "in range", "im normbereich",
    "im referenzbereich", "both present", "both descended", "beide vorhanden", "hd b",
    "fit for breeding", "zuchttauglich",
})  # fmt: skip

NEGATIONS = frozenset({"no", "not", "non", "without", "kein", "keine", "keinen", "ohne", "nicht"})

# Illness

ILLNESSES: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "orchitis": ("orchit", "hodenentz", "epididymit", "nebenhodenentz"),
    "fever": ("fever", "fieber", "febril", "pyrexi", "high temperature", "erhohte temperatur"),
    "mass": (
        "mass$", "masses$", "masse$", "tumor", "tumour", "lump", "knoten", "nodul", "neoplas",
        "umfangsvermehr", "geschwulst", "cancer", "krebs",
    ),
    "torsion": ("torsion", "hodendreh"),
    "prostatic disease": (
        "prostatic", "prostatit", "prostatahyper", "prostatazyst", "prostataabsz",
        "prostataproblem", "prostataerk", "bph", "prostate problem", "prostate trouble",
        "prostate disease", "prostate cyst", "prostate abscess",
    ),
    "swelling": ("swell", "swollen", "schwell", "geschwoll", "odem", "edema", "hydrocel"),
    "pyometra": ("pyometr", "endometrit", "metrit", "gebarmutterentz"),
    "discharge": ("discharge", "ausfluss", "vaginit", "pus", "eiter"),
    "blood": (
        "hematur", "hamatur", "hemosperm", "hamosperm", "blood in", "blut im", "blut in", "bloody",
        "blutig",
    ),
    "infection": (
        "infect", "infekt", "inflam", "entzund", "sepsis", "absces", "absz", "cystit", "zystit",
        "balanit", "balanopos", "pneumon", "leptospir", "leishman", "herpes",
    ),
    "pain": ("pain", "schmerz", "dolent"),
    "castration": ("castrat", "kastrat", "kastrier", "neuter", "vasectom", "vasektom", "spayed"),
    "injury": (
        "injur", "verletz", "trauma", "wound", "wunde", "bite", "biss", "fractur", "fraktur",
        "unfall", "accident",
    ),
    "heat stress": (
        "heat stress", "heat stroke", "heatstroke", "hitzschlag", "hitzestress", "uberhitz",
        "overheat", "hyperthermi", "sonnenstich",
    ),
    "anesthesia": (
        "anesthes", "anasthes", "narkose", "surgery", "operation", "operiert", "op", "sedat",
    ),
    "illness": (
        "ill", "illness", "sick", "unwell", "krank", "vomit", "erbrech", "diarrh", "durchfall",
        "poison", "vergift", "seizure", "krampf",
    ),
})  # fmt: skip
"""Kinds of illness, the more telling first."""

MOMENTARY = frozenset({"heat stress", "anesthesia"})
"""Kinds that are over the day they happen; every other one is open until its end is noted."""

OPEN_FOR_EVENTS = ("prostat",)
"""As an event the organ alone is its disease; as an examination it is what was looked at."""

STOPPING_FINDINGS: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "mass": ILLNESSES["mass"],
    "asymmetry": (
        "asymm", "uneven", "unequal", "ungleich", "twice the size", "doppelt so gross",
        "larger than", "bigger than", "smaller than", "grosser als", "kleiner als",
    ),
})  # fmt: skip
"""Findings after which nothing is planned before a veterinarian says so."""

EVENTS_WITHOUT_ALARM = (
    "travel", "reise", "trip", "show", "ausstell", "rest", "ruhe", "pause", "karenz", "season",
    "heat", "laufig", "hitze", "whelp", "wurf", "geworfen", "mated", "mating", "deck", "gedeckt",
    "bred", "birth", "geburt", "worm", "entwurm", "flea", "floh", "tick", "zecke", "diet", "futter",
    "food", "feed", "weight", "gewicht", "moved", "move$", "umzug", "sold", "verkauft", "retired",
    "retire", "rente", "deworm", "death", "dead", "died", "gestorben", "tot", "euthan", "training",
    "test",
    "insemin", "besam", "collect", "absam", "drug", "medik", "medicat", "medicine", "treatment",
    "behandl", "chip", "microchip", "tattoo", "tatow", "dental", "zahn", "teeth", "x ray", "xray",
    "rontgen", "groom", "trimm", "birthday", "geburtstag", "trial", "prufung", "haarwechsel",
    "import", "quarant", "vet visit", "tierarzt", "check", "untersuch", "dystoc", "schwergeburt",
    "casar", "cesar", "kaiserschn", "c section", "pseudopreg", "false preg", "scheintr", "walk",
    "exercise", "new home", "transport", "kennel", "boarding", "pension", "hips", "hip$", "eye",
    "eyes",
    "auge", "huft",
)  # fmt: skip
"""Events that say nothing of a dog's health now."""

CESAREANS = ("casar", "cesar", "kaiserschn", "c section")
"""Events that count as a cesarean."""

# Drugs

DRUG_CLASSES: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "GnRH agonist": (
        "gnrh", "deslorelin", "leuprorelin", "implant", "hormonchip", "kastrationschip",
        "chemical castration", "chemische kastration",
    ),
    "antiandrogen": (
        "antiandrogen", "finasterid", "osateron", "delmadinon", "cyproteron", "flutamid",
        "megestrol", "medroxyprog", "gestagen", "progestin", "chlormadinon",
    ),
    "androgen": ("androgen", "testosteron", "anabol", "miboleron", "nandrolon"),
    "estrogen": ("estrogen", "ostrogen", "estradiol", "ostradiol", "stilbestrol"),
    "corticosteroid": (
        "cortic", "kortik", "cortison", "kortison", "prednis", "dexameth", "glucocort",
        "glukokort", "triamcin", "steroid",
    ),
    "antifungal": (
        "antifung", "antimykot", "pilzmittel", "ketoconazol", "ketokonazol", "itraconazol",
        "fluconazol", "griseofulv",
    ),
    "cytostatic": ("chemother", "cytostat", "zytostat", "cyclophosph", "chlorambuc", "cisplatin"),
})  # fmt: skip
"""Classes that may lower a stud's numbers, the more telling first."""

HORMONE_WORDS = ("hormon",)
"""A drug class of only this word may be any of them, and is read as the longest-lasting."""

ANTIBIOTICS = (
    "antibiot", "doxycyc", "doxyzy", "enroflox", "gentami", "streptomyc", "amoxi", "penicill",
    "cephal", "cefal", "tetracycl", "tetrazykl", "rifamp", "marboflox", "trimethop", "sulfa",
    "clindamyc", "azithro", "metronid",
)  # fmt: skip

DRUGS_WITHOUT_ALARM = (
    "worm", "deworm", "wurm", "entwurm", "flea", "floh", "tick", "zecke", "vitamin",
    "pain relief", "nsaid", "carprof",
    "meloxic", "schmerzmittel", "analges", "vaccin", "impf", "antiparas", "sedat", "anesth",
    "anasth", "omega", "supplement", "erganz", "none", "keine",
)  # fmt: skip
"""Drug classes that no rule here asks about."""

# Examinations and releases

ORGANS: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "temperature": ("temperat",),
    "prostate": ("prostat",),
    "epididymis": ("epidid", "nebenhoden"),
    "testes": ("testis", "testes", "testic", "hoden", "scrot", "skrot"),
    "penis": ("penis", "prepuc", "vorhaut", "praput"),
    "breeding": (
        "androlog", "breeding", "bse", "zuchttaug", "gynakol", "gynecol", "reproduct", "fertilit",
        "fruchtbar", "genital", "vagina", "uterus", "gebarmutter", "ovar", "eierst",
    ),
    "skeleton": (
        "hip", "hips", "huft", "hd", "elbow", "ellbog", "ellenbog", "ed", "patell", "x ray", "xray",
        "rontgen", "radiograph", "spondyl", "ocd",
    ),
    "eyes": ("eye", "eyes", "auge", "ophthalm"),
    "heart": ("heart", "herz", "cardi", "kardi", "echo"),
    "teeth": ("teeth", "zahn", "gebiss", "dental"),
    "general": (
        "clinical", "klinisch", "general", "allgemein", "physical", "checkup", "check", "untersuch",
        "examin", "vet", "veterin", "tierarzt", "health", "ultraso", "ultraschall",
    ),
})  # fmt: skip
"""What is examined."""

ELSEWHERE = frozenset({"skeleton", "eyes", "heart", "teeth"})
"""Examinations whose findings are repeated as written and stop nothing here."""

REPRODUCTIVE = frozenset({"prostate", "epididymis", "testes", "penis", "breeding", "general"})
"""Examinations by which a veterinarian has looked at what a sign in the semen may come from."""

RELEASES: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "blood": ("blood", "blut", "hemosperm", "hamosperm"), "discharge": ("pus", "eiter"),
})  # fmt: skip
"""How a release names what was seen in a sample."""

WHOLE_RELEASES = (
    "breeding", "zucht", "deck", "use", "einsatz", "all", "alles", "collect", "absam", "stud",
    "soundness", "freigabe", "release",
)  # fmt: skip
"""What a veterinarian's release is called that speaks of use as a whole, but of no infection."""
