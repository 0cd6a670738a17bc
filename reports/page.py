"""A page as an immutable value, and the pure function that turns it into one HTML file.

The file is self-contained and asks nothing of any host: a content-security policy names its two
scripts by their digests and allows nothing else to run. Text from records is only ever text: the
template escapes it, and chart data travel as JSON with every ``<``, ``>`` and ``&`` spelled out.
"""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import vl_convert
from jinja2 import Environment, PackageLoader, StrictUndefined

from analytics.cautions import Caution
from reports.catalog import texts


@dataclass(frozen=True, slots=True)
class Column:
    """Heading of a table's column.

    Attributes
    ----------
    heading
        As shown.
    is_number
        Whether the cells are set flush right.
    """

    heading: str
    is_number: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table of finished texts; the first column names the row."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture and the numbers behind it.

    Attributes
    ----------
    name
        Short, unique on the page, a valid HTML id.
    heading, lead
        What it shows, and how to read it.
    chart
        Vega-Lite specification, or None for a table alone.
    spoken
        What the picture says, for those who do not see it.
    table
        The numbers.
    """

    name: str
    heading: str
    lead: str
    chart: dict[str, Any] | None
    spoken: str
    table: Table


@dataclass(frozen=True, slots=True)
class Link:
    """A page of the same folder."""

    address: str
    title: str
    about: str


@dataclass(frozen=True, slots=True)
class Report:
    """One page.

    Attributes
    ----------
    kind, title, subtitle
        What kind of page, about whom, and the facts in one line.
    cautions
        What must be said first.
    answer
        The answer in sentences, at most two or three.
    figures
        Pictures with their tables, in reading order.
    links
        Pages this one leads to.
    method
        Paragraphs on how the numbers came about.
    sources
        Author, year, journal and mark; never an address.
    provenance
        One line: which records, which fit, which day.
    language
        Of the fixed texts.
    """

    kind: str
    title: str
    subtitle: str
    cautions: tuple[Caution, ...]
    answer: tuple[str, ...]
    figures: tuple[Figure, ...]
    links: tuple[Link, ...]
    method: tuple[str, ...]
    sources: tuple[str, ...]
    provenance: str
    language: str = "en"


def render(report: Report) -> str:
    """Render a page.

    Parameters
    ----------
    report
        The page.

    Returns
    -------
    str
        One HTML file; the same report gives the same bytes.
    """
    drawn = [figure for figure in report.figures if figure.chart is not None]
    scripts = (_bundle(), _static("draw.js")) if drawn else ()
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            report=report,
            t=texts(report.language),
            style=_static("page.css"),
            scripts=scripts,
            policy=_policy(scripts),
            specs={figure.name: _safe_json(figure.chart) for figure in drawn},
        )
    )


def _policy(scripts: tuple[str, ...]) -> str:
    """Content-security policy: these scripts and inline styles, nothing from anywhere."""
    digests = " ".join(
        "'sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() + "'"
        for script in scripts
    )
    return (
        f"default-src 'none'; script-src {digests or chr(39) + 'none' + chr(39)}; "
        "style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
    )


def _safe_json(spec: dict[str, Any] | None) -> str:
    """JSON that cannot leave its script element."""
    text = json.dumps(spec, ensure_ascii=False, allow_nan=False, sort_keys=True)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


@cache
def _bundle() -> str:
    """The chart engine, the same for every page."""
    bundle = str(vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;"))
    if "</script" in bundle.lower():
        raise ValueError("the chart engine would end its own script element")
    return bundle


@cache
def _static(name: str) -> str:
    return (files("reports") / "static" / name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
