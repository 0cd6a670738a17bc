"""A model says at the fixed records what its version has always said."""

import ast
import importlib.util
from pathlib import Path

import pytest
from tests.analytics.golden_density import agree, checks_agree, checks_of, sets, values_of
from tests.changed_program import changed

from studcurve.pipelines.fits import guard
from studcurve.pipelines.fits import registry as models

NAMES = [model.name for model in models.MODELS]
TOTAL, MOTILITY, MORPHOLOGY = (model.name for model in models.STUD_OVER_TIME)

SILENT = {
    "studcurve.analytics.models.conception.bred": "reads kept draws; of a check whose it is",
    "studcurve.analytics.outcomes.counted": "counts for pages; of a model's checks only outcomes",
    "studcurve.analytics.outcomes.contrast": "asks the records anew, in a sample of its own",
    "studcurve.analytics.outcomes.needed": "a simulation beside the fit",
    "studcurve.analytics.trust.refit": "fits the records again",
    "studcurve.analytics.trust.forgotten": "fits the records again",
    "studcurve.analytics.trust.prior_width": "fits the records again",
    "studcurve.analytics.models.density": "how a density is asked, not what it is",
    "studcurve.analytics.errors": "refusals",
    "studcurve.analytics.models.arrays": "names for type checkers",
    "studcurve.analytics.models.fingerprint": "compares data; enters no density",
    "studcurve.analytics.vocabulary": "words; a check of 1,000 outcomes reads one list",
    "studcurve.analytics.models.litter.sizes": "reads kept draws and makes none",
    "studcurve.analytics.models.storage.curve": "reads kept draws and makes none",
    "studcurve.analytics.sentences": "how a reason is written down, not which it is",
}
"""Modules that a model imports and that have no say in its density, and why."""

# Module, what stands in it, what stands there instead, and a model that must notice.
MUTATIONS = [
    ("studcurve.analytics.measures.moments", "- earliest) / 2", "- earliest) / 3", "conception"),
    (
        "studcurve.analytics.models.breedings.exposures",
        '"chilled": 36.0',
        '"chilled": 50.0',
        "conception",
    ),
    ("studcurve.analytics.models.breedings.exposures", "<= DAY_SD_LIMIT", "< 0.1", "conception"),
    (
        "studcurve.analytics.models.conception.response",
        '"frozen": 3.0}',
        '"frozen": 3.5}',
        "conception",
    ),
    (
        "studcurve.analytics.outcomes.regressing",
        "N_INNER_KNOTS = 1",
        "N_INNER_KNOTS = 2",
        "conception",
    ),
    (
        "studcurve.analytics.outcomes.regressions",
        "data.n_alive + data.n_stillborn, np.nan",
        "data.n_alive, np.nan",
        "litter",
    ),
    (
        "studcurve.analytics.outcomes.standardised",
        '{"fresh": 1.0, "chilled": 24.0}',
        '{"fresh": 1.0, "chilled": 30.0}',
        "conception",
    ),
    ("studcurve.analytics.trust.estimating", "[m * (1.0 - m) if", "[m if", "conception"),
    (
        "studcurve.analytics.trust.estimating",
        "0.5 + INTERVAL_PROB",
        "0.4 + INTERVAL_PROB",
        "litter",
    ),
    ("studcurve.analytics.trust.second_opinion", '"c14", "c15")', '"c14")', "conception"),
    (
        "studcurve.analytics.models.breedings.inputs",
        "DAY_WEIGHTS = normal_nodes(7)",
        "DAY_WEIGHTS = normal_nodes(3)",
        "conception",
    ),
    (
        "studcurve.analytics.models.breedings.inputs",
        "DOSE_WEIGHTS = normal_nodes(2)",
        "DOSE_WEIGHTS = normal_nodes(1)",
        "litter",
    ),
    (
        "studcurve.analytics.models.breedings.inputs",
        "DOSE_LOG2_SD = 0.35",
        "DOSE_LOG2_SD = 0.36",
        "conception",
    ),
    (
        "studcurve.analytics.models.breedings.inputs",
        '"chilled": (2.0, 1.5)',
        '"chilled": (2.1, 1.5)',
        "conception",
    ),
    (
        "studcurve.analytics.models.breedings.records",
        'rows["breed"].fillna("unknown")',
        'rows["stud"]',
        "litter",
    ),
    (
        "studcurve.analytics.models.breedings.records",
        "storage_days=bred.hours / 24.0",
        "storage_days=bred.hours / 12.0",
        "conception",
    ),
    (
        "studcurve.analytics.models.breedings.semen",
        "SHORT_BY_PCT = 10.0",
        "SHORT_BY_PCT = 10.1",
        "conception",
    ),
    (
        "studcurve.analytics.models.breedings.semen",
        '"chilled": (65.0, 13.0)',
        '"chilled": (65.0, 13.1)',
        "litter",
    ),
    (
        "studcurve.analytics.models.breedings.semen",
        "np.hypot(self.of_reading_pct, self.of_curve_pct)",
        "self.of_reading_pct",
        "conception",
    ),
    (
        "studcurve.analytics.models.breedings.terms",
        "HINGE_WIDTH = 0.25",
        "HINGE_WIDTH = 0.26",
        "litter",
    ),
    (
        "studcurve.analytics.models.breedings.terms",
        "PEAK_DAY, PEAK_SD_DAYS = 3.3",
        "PEAK_DAY, PEAK_SD_DAYS = 3.4",
        "conception",
    ),
    ("studcurve.analytics.trust.checking", "normal_nodes(9)", "normal_nodes(7)", "conception"),
    ("studcurve.analytics.models.stud.inputs", "RESTED_DAYS = 30.0", "RESTED_DAYS = 31.0", TOTAL),
    (
        "studcurve.analytics.models.stud.inputs",
        "EPISODE_GAP_DAYS = 14",
        "EPISODE_GAP_DAYS = 4",
        MOTILITY,
    ),
    (
        "studcurve.analytics.models.stud.inputs",
        "SHAPES_CHECKED = 100.0",
        "SHAPES_CHECKED = 99.0",
        MORPHOLOGY,
    ),
    ("studcurve.analytics.models.stud.inputs", "SMALL_COUNT = 20", "SMALL_COUNT = 8", TOTAL),
    (
        "studcurve.analytics.measures.counting",
        "LEAST_SHARE_VARIANCE = 0.002",
        "LEAST_SHARE_VARIANCE = 0.003",
        "storage",
    ),
    ("studcurve.analytics.estimate", "hermegauss(n_nodes)", "hermegauss(n_nodes + 1)", "litter"),
    (
        "studcurve.analytics.measures.motility_kept",
        "return -((hours / eta_h) ** kappa)",
        "return -((hours / eta_h) ** (1.001 * kappa))",
        "storage",
    ),
    (
        "studcurve.analytics.measures.motility_kept",
        '("cream", "cream")',
        '("cream", "milk")',
        "storage",
    ),
    (
        "studcurve.analytics.models.likelihoods",
        "(nu - 1.0) / (2.0 * nu)",
        "(nu - 1.0) / (3.0 * nu)",
        "litter",
    ),
    (
        "studcurve.analytics.models.likelihoods",
        "log_product(q, n_trials - n_success)",
        "log_product(q, n_trials)",
        "litter",
    ),
    (
        "studcurve.analytics.models.conception.chance",
        "normal_nodes(15)",
        "normal_nodes(3)",
        "conception",
    ),
    (
        "studcurve.analytics.models.conception.model",
        "[sensitivity, 1.0 - sensitivity], 1.0)",
        "[sensitivity, 1.0 - sensitivity], 0.9)",
        "conception",
    ),
    (
        "studcurve.analytics.models.conception.model",
        "timing.max(axis=1)",
        "timing.mean(axis=1)",
        "conception",
    ),
    (
        "studcurve.analytics.models.litter.model",
        "first + pups.lost_known * later",
        "first",
        "litter",
    ),
    (
        "studcurve.analytics.models.breedings.posterior",
        'values["coefficients"][:, k]',
        'values["coefficients"][:, k - 1]',
        "litter",
    ),
    ("studcurve.analytics.models.litter.model", "N_UNRECORDED = 5", "N_UNRECORDED = 4", "litter"),
    (
        "studcurve.analytics.models.ovulation.model",
        "LH_SURGE_SD_DAYS = 0.5",
        "LH_SURGE_SD_DAYS = 0.6",
        "conception",
    ),
    (
        "studcurve.analytics.models.storage.model",
        "guess * shape * -log_kept",
        "guess * -log_kept",
        "storage",
    ),
    (
        "studcurve.analytics.models.storage.model",
        'np.exp(values["log_scales"][:, k])',
        'values["log_scales"][:, k]',
        "storage",
    ),
    ("studcurve.analytics.models.stud.model", "MANY_STUDS = 20", "MANY_STUDS = 30", MORPHOLOGY),
    (
        "studcurve.analytics.models.stud.model",
        "centre[:, None] + own[:, :, 0]",
        "own[:, :, 0]",
        MOTILITY,
    ),
    (
        "studcurve.analytics.models.stud.model",
        "exp(priors.amplitude_stud_sd * z_amplitude)",
        "exp(z_amplitude)",
        MOTILITY,
    ),
    (
        "studcurve.analytics.models.stud.model",
        "within**2 + counts.reading_sd",
        "counts.reading_sd",
        TOTAL,
    ),
    (
        "studcurve.analytics.priors",
        'storage time between studs", 0.35',
        'storage time between studs", 0.36',
        "storage",
    ),
    (
        "studcurve.analytics.models.regression",
        "total + signed * z[",
        "total + jnp.abs(signed) * z[",
        "conception",
    ),
    ("studcurve.analytics.models.sampling", "SPREAD_BEND = 1.0", "SPREAD_BEND = 1.1", "storage"),
    (
        "studcurve.analytics.models.sampling",
        "2.0 * bent[0] + turning",
        "bent[0] + turning",
        MORPHOLOGY,
    ),
    ("studcurve.analytics.measures.semen", "PHOTOMETER_CV = 0.10", "PHOTOMETER_CV = 0.11", TOTAL),
    ("studcurve.analytics.models.stud.curves", "SMOOTHNESS = 1.5", "SMOOTHNESS = 2.5", MOTILITY),
    ("studcurve.analytics.models.stud.curves", "MOST_MISSING = 0.95", "MOST_MISSING = 0.01", TOTAL),
    (
        "studcurve.analytics.models.storage.inputs",
        "WARMED_MINUTES = 1.0",
        "WARMED_MINUTES = 4.0",
        "storage",
    ),
    ("studcurve.analytics.models.stud.arrays", "np.sqrt(2.0),", "2.0,", MOTILITY),
    (
        "studcurve.analytics.measures.counting",
        'PRIORS["r02_home"].centre',
        '2.0 * PRIORS["r02_home"].centre',
        TOTAL,
    ),
]


def set_of(model):
    """The set of a model's version of today."""
    found = [
        each for each in sets() if (each["model"], each["version"]) == (model.name, model.version)
    ]
    assert found, (
        f"version {model.version} of {model.name} has no set yet: "
        "python tests/analytics/golden_density.py appends it"
    )
    return found[0]


def model_named(name):
    return next(model for model in models.MODELS if model.name == name)


@pytest.mark.parametrize("name", NAMES)
def test_a_model_says_what_its_version_has_always_said(name):
    assert agree(guard, values_of(guard, models, name), set_of(model_named(name))), (
        f"What {name} says at the fixed records has moved, and kept fits were made by what it said "
        "before: raise its MODEL_VERSION, then append the new set with "
        "python tests/analytics/golden_density.py. No set of the file is ever edited."
    )


def test_every_version_that_there_ever_was_has_one_set():
    by_model = {name: [] for name in NAMES}
    for each in sets():
        by_model[each["model"]].append(each["version"])

    assert by_model == {model.name: list(range(1, model.version + 1)) for model in models.MODELS}


def imported_by(module, found):
    """Modules of analytics that a module imports, and those that these import."""
    if module not in found:
        found.add(module)
        text = Path(importlib.util.find_spec(module).origin).read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(
                "studcurve.analytics"
            ):
                names = [f"{node.module}.{alias.name}" for alias in node.names]
                for name in names if is_package(node.module) else [node.module]:
                    imported_by(name, found)
    return found


def is_package(module):
    return importlib.util.find_spec(module).submodule_search_locations is not None


def test_every_module_that_a_model_imports_is_mutated_or_has_no_say():
    found = imported_by("studcurve.pipelines.fits.registry", set()) - {
        "studcurve.pipelines.fits.registry"
    }

    assert {
        "studcurve.analytics.models.conception.model",
        "studcurve.analytics.models.breedings.inputs",
    } <= found
    mutated = {module for module, *_ in MUTATIONS}
    assert found - mutated == set(SILENT)
    assert not mutated & set(SILENT)


@pytest.mark.slow
@pytest.mark.sampled
@pytest.mark.parametrize(("module", "old", "new", "name"), MUTATIONS)
def test_a_change_of_what_a_model_means_is_noticed(module, old, new, name):
    known = set_of(model_named(name))
    with changed(module, old, new) as load:
        density = load("studcurve.pipelines.fits.guard").fixed_density(name)
        # Checks are dear, and read only where nothing else has moved.
        moved = not guard.densities_agree(density, known) or not checks_agree(
            guard, checks_of(load("studcurve.pipelines.fits.registry"), name), known["checks"]
        )

    assert moved


@pytest.mark.slow
def test_a_copy_without_a_change_says_the_same():
    with changed(
        "studcurve.analytics.models.breedings.inputs", "normal_nodes(7)", "normal_nodes( 7 )"
    ) as load:
        found = values_of(
            load("studcurve.pipelines.fits.guard"),
            load("studcurve.pipelines.fits.registry"),
            "conception",
        )

    assert agree(guard, found, set_of(models.CONCEPTION))
