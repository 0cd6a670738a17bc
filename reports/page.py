"""A page as an immutable value, and the pure function that turns it into one HTML file.

The file is self-contained and asks nothing of any host: a content-security policy names its two
scripts by their digests and allows nothing else to run. Text from records is only ever text: the
template escapes it, and chart data travel as JSON with every ``<``, ``>`` and ``&`` spelled out.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence, Set
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

import vl_convert
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from studcurve.analytics.cautions import Caution
from studcurve.reports.words import Words, bound, visible, visible_parts

Audience = Literal["owner", "vet", "client"]
"""Who reads: the owner sees all, a vet no prices, a client nothing about others."""


@dataclass(frozen=True, slots=True)
class Reader:
    """For whom a page is made: in which language, and for whose eyes."""

    words: Words
    audience: Audience = "owner"


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
    """A table of finished texts; the first column names the row.

    Attributes
    ----------
    caption, columns, rows
        As shown.
    is_form
        Whether it is to be filled in by hand, and its rows leave room for that.
    """

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    is_form: bool = False


@dataclass(frozen=True, slots=True)
class Slider:
    """One thing the reader may move.

    Attributes
    ----------
    name, label
        Short and unique in its panel; as shown.
    """

    name: str
    label: str


@dataclass(frozen=True, slots=True)
class Panel:
    """Controls that read out numbers computed beforehand; nothing is calculated in the page.

    Attributes
    ----------
    legend
        What the controls are about.
    choice_label, choices
        Name of the list of choices, and its entries.
    sliders
        In the order of the grid's axes.
    reading
        What the read-out says first.
    data
        Everything the script needs: positions, values, texts.
    """

    legend: str
    choice_label: str
    choices: tuple[str, ...]
    sliders: tuple[Slider, ...]
    reading: str
    data: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with whatever stands below it, in this order.

    Attributes
    ----------
    name
        Short, unique on the page, a valid HTML id.
    heading, lead
        What it shows, and how to read it.
    paragraphs
        Running text.
    panel
        Controls above the pictures.
    charts
        Vega-Lite specifications by what each says to those who do not see it.
    table
        The numbers; behind a fold on screen where there is a picture.
    is_folded
        Whether all below the heading is behind a fold on screen: for those who like it.
    is_table_folded
        Whether the table is behind a fold on screen though no picture stands before it: the
        paragraphs say what matters of it.
    """

    name: str
    heading: str
    lead: str = ""
    paragraphs: tuple[str, ...] = ()
    panel: Panel | None = None
    charts: tuple[tuple[str, dict[str, Any]], ...] = ()
    table: Table | None = None
    is_folded: bool = False
    is_table_folded: bool = False


@dataclass(frozen=True, slots=True)
class Link:
    """A page of the same folder.

    Attributes
    ----------
    address, title, about
        File, what the link says, and the facts beside it.
    more
        Other pages on the same subject: file and what the link says.
    """

    address: str
    title: str
    about: str
    more: tuple[tuple[str, str], ...] = ()


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
    sections
        In reading order.
    links
        Pages this one leads to.
    method
        Paragraphs on how the numbers came about.
    sources
        Author, year, journal and mark; never an address.
    provenance
        One line: which records, which fit, which day.
    glossary
        Keys of the terms that the page explains on demand.
    reader
        For whom.
    annex
        Tables that stand with the method, each with its heading.
    """

    kind: str
    title: str
    subtitle: str
    cautions: tuple[Caution, ...]
    answer: tuple[str, ...]
    sections: tuple[Section, ...]
    links: tuple[Link, ...]
    method: tuple[str, ...]
    sources: tuple[str, ...]
    provenance: str
    glossary: tuple[str, ...]
    reader: Reader
    annex: tuple[Section, ...] = ()


def columns(words: Words, names: Sequence[str], *, texts_in: Set[str]) -> tuple[Column, ...]:
    """Head columns by the catalog.

    Parameters
    ----------
    words
        Of the reader.
    names
        Keys below ``column``, in order.
    texts_in
        Those that hold texts; the others hold numbers.
    """
    return tuple(Column(words[f"column.{name}"], name not in texts_in) for name in names)


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
    drawn = {
        f"{section.name}-{k}": spec
        for section in report.sections
        for k, (_, spec) in enumerate(section.charts)
    }
    panels = {section.name: section.panel.data for section in report.sections if section.panel}
    scripts = (_bundle(), _static("draw.js")) if drawn else ()
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            report=report,
            words=report.reader.words,
            style=_static("page.css"),
            scripts=scripts,
            policy=_policy(scripts),
            charts={name: _safe_json(spec) for name, spec in drawn.items()},
            panels={name: _safe_json(data) for name, data in panels.items()},
            locale=_safe_json(chart_locale(report.reader.words)) if drawn else "",
        )
    )


def fill(template: str, words: Words, **parts: object) -> str:
    """Render a page without scripts from a template of its own, in the common style.

    Parameters
    ----------
    template
        Name of the template.
    words
        Of the reader.
    parts
        What the template prints.
    """
    return (
        _environment()
        .get_template(template)
        .render(words=words, style=_static("page.css"), policy=_policy(()), **parts)
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


def _safe_json(data: dict[str, Any]) -> str:
    """JSON that cannot leave its script element."""
    text = json.dumps(visible_parts(data), ensure_ascii=False, allow_nan=False, sort_keys=True)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


def chart_locale(words: Words) -> dict[str, Any]:
    """How the chart engine prints numbers and days, in the form that it reads."""
    names = words.texts
    return {
        "number": {
            "decimal": words["format.decimal"],
            "thousands": words["format.thousands"],
            "grouping": [3],
            "currency": ["", ""],
            "minus": "−",
        },
        "time": {
            "dateTime": "%-d %b %Y, %H:%M",
            "date": "%-d %b %Y",
            "time": "%H:%M",
            "periods": ["AM", "PM"],
            "days": names["format.days"],
            "shortDays": names["format.short_days"],
            "months": names["format.months"],
            "shortMonths": names["format.short_months"],
        },
    }


@cache
def _bundle() -> str:
    """The chart engine, the same for every page."""
    bundle = str(vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;"))
    if "</script" in bundle.lower():
        raise ValueError("the chart engine would end its own script element")
    return bundle


@cache
def _static(name: str) -> str:
    return (files("studcurve.reports") / "static" / name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("studcurve.reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_held,
    )


def _held(value: object) -> object:
    """Every text that the template prints is visible, its numbers and units on one line."""
    return (
        bound(visible(value)) if isinstance(value, str) and not isinstance(value, Markup) else value
    )
