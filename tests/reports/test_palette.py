"""Colors keep apart for every common color vision, texts are read, and color is never alone.

Simulations and differences are those of the library coloraide: dichromats after Machado, Oliveira &
Fernandes 2009, IEEE Trans Vis Comput Graph 15:1291-1298, and after Viénot, Brettel & Mollon 1999,
Color Res Appl 24:243-252 (protan, deutan) and Brettel, Viénot & Mollon 1997, J Opt Soc Am A
14:2647-2655 (tritan); differences by CIEDE2000 (Sharma, Wu & Dalal 2005, Color Res Appl 30:21-30);
contrast by WCAG 2.1.
"""

import itertools
import re
from importlib.resources import files

import pytest
from coloraide import Color

from studcurve.reports.theme import FILLS, PAPER_COLORS, SERIES
from tests.reports.samples import every_report

APART = 10.0
"""CIEDE2000 between two series; 2 to 3 is what is just seen side by side (M), marks lie apart."""

FILLS_APART = 5.0
"""The same between two fills, which touch and carry their label."""

TEXT, LARGE_TEXT_OR_MARK = 4.5, 3.0
"""Least contrast, WCAG 2.1, 1.4.3 and 1.4.11."""

VISIONS = [
    (None, None, 0.0),
    *[(kind, "machado", severity) for kind in ("protan", "deutan", "tritan")
      for severity in (0.6, 1.0)],
    ("protan", "vienot", 1.0),
    ("deutan", "vienot", 1.0),
    ("tritan", "brettel", 1.0),
]  # fmt: skip


def schemes():
    """Roles of the stylesheet: on light, on dark, and in ink."""
    style = (files("studcurve.reports") / "static" / "page.css").read_text(encoding="utf-8")
    found = [
        dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6})", block))
        for block in re.findall(r":root \{(.*?)\}", style, re.DOTALL)
    ]
    return {"light": found[0], "dark": found[1], "paper": PAPER_COLORS}


SCHEMES = schemes()
SERIES_ROLES = [re.search(r"--([a-z0-9-]+)", series)[1] for series in SERIES]
FILL_ROLES = [re.search(r"--([a-z0-9-]+)", fill)[1] for fill in FILLS]


def seen(color, kind, method, severity):
    return Color(color) if kind is None else Color(color).filter(kind, severity, method=method)


def test_the_simulations_are_the_published_ones():
    # Machado et al. 2009, table 1: severity 1.0, protan: the first row of the matrix in linear
    # sRGB turns pure red into 0.152286 red, -0.003882 blue channel as printed (from memory).
    red = Color("srgb-linear", [1, 0, 0]).filter(
        "protan", 1.0, method="machado", space="srgb-linear"
    )
    assert red.convert("srgb-linear")[:3] == pytest.approx(
        [0.152286, 0.114503, -0.003882], abs=2e-6
    )
    # Sharma et al. 2005, table 1, pair 1: 2.0425.
    first = Color("lab-d65", [50.0, 2.6772, -79.7751])
    second = Color("lab-d65", [50.0, 0.0, -82.7485])
    assert first.delta_e(second, method="2000") == pytest.approx(2.0425, abs=5e-5)
    assert Color("white").contrast(Color("black"), method="wcag21") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("vision", VISIONS, ids=lambda v: f"{v[0]} {v[1]} {v[2]}")
def test_series_and_fills_keep_apart_for_every_common_color_vision(scheme, vision):
    roles = SCHEMES[scheme]
    for names, least in ((SERIES_ROLES, APART), (FILL_ROLES, FILLS_APART)):
        near = {
            (one, other): round(distance, 1)
            for one, other in itertools.combinations(names, 2)
            if (distance := seen(roles[one], *vision).delta_e(
                seen(roles[other], *vision), method="2000")) < least
        }  # fmt: skip
        assert near == {}


@pytest.mark.parametrize("scheme", SCHEMES)
def test_texts_are_read_and_marks_are_seen_on_every_ground(scheme):
    roles = SCHEMES[scheme]
    grounds = {"paper": roles["paper"], "wash": roles.get("wash", roles["paper"])}

    def faint(names, grounds, least):
        return {
            (name, ground): round(ratio, 2)
            for name in names
            for ground, color in grounds.items()
            if (ratio := Color(roles[name]).contrast(Color(color), method="wcag21")) < least
        }

    # Links and the focus ring wear the first series, a stop its own color.
    texts = [name for name in ("ink", "muted", "series-1", "stop") if name in roles]
    assert faint(texts, grounds, TEXT) == {}
    assert faint(["ink"], {name: roles[name] for name in FILL_ROLES}, TEXT) == {}
    assert faint(SERIES_ROLES, grounds, LARGE_TEXT_OR_MARK) == {}


def layers(spec):
    yield spec
    for layer in spec.get("layer", ()):
        yield from layers(layer)


@pytest.fixture(scope="module")
def specs():
    """Every picture of every page."""
    return {
        f"{kind} {section.name} {k}": spec
        for kind, report in every_report().items()
        for section in report.sections
        for k, (_, spec) in enumerate(section.charts)
    }


def fields(spec, *channels):
    """Fields that the layers of a picture show by these channels."""
    return {
        layer["encoding"][channel]["field"]
        for layer in layers(spec)
        for channel in channels
        if "field" in layer.get("encoding", {}).get(channel, {})
    }


def test_color_never_carries_a_meaning_alone(specs):
    # Whatever a field says by color, the same picture says by shape, place or label too.
    alone = {
        name: colored
        for name, spec in specs.items()
        if (colored := fields(spec, "color", "fill", "stroke")
            - fields(spec, "shape", "strokeDash", "y", "yOffset", "row"))
        and not fields(spec, "text")
    }  # fmt: skip

    assert len(specs) >= 10
    assert alone == {}


def test_every_color_of_a_picture_is_a_role(specs):
    # A color that is no role would neither turn dark on a dark screen nor into ink on paper.
    for name, spec in specs.items():
        text = str({key: value for key, value in spec.items() if key not in ("data", "datasets")})
        assert not re.search(r"#[0-9a-fA-F]{3,8}\b|rgb\(", text), name
