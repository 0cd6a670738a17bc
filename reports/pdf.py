"""A report on paper: tagged PDF with vector charts, set by Typst.

The text travels as JSON and is never read as markup. Without the extra ``pdf`` there is no
typesetter, and the page's own print style serves.
"""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from importlib.util import find_spec
from typing import Any, Literal

import vl_convert

from studcurve.reports.page import Report, Table, chart_locale
from studcurve.reports.theme import PAPER_COLORS, PAPER_FONT
from studcurve.reports.words import Words, bound, visible, visible_parts

Paper = Literal["a4", "us-letter"]
"""Size of a sheet."""

CHART_SIZE = (640, 150)
"""Width and height at which a chart is drawn for paper. [px]"""


SCALES = (1.0, 0.95, 0.9)
"""How much smaller letters are set where the text would not fit otherwise; the first is plain."""

PAPER_CONFIG: dict[str, Any] = {
    "axisY": {
        "titleAngle": 0, "titleAlign": "left", "titleBaseline": "bottom", "titleAnchor": "end",
        "titleX": 0, "titleY": -6,
    }
}  # fmt: skip
"""A low picture has its axis title above the axis: upright it would be longer than the axis."""


def can_set_type() -> bool:
    """Whether the extra ``pdf`` is installed."""
    return find_spec("typst") is not None


def pdf(report: Report, paper: Paper, *, at_most: int | None = None) -> bytes:
    """Set a report on paper.

    Parameters
    ----------
    report
        The page.
    paper
        Size of the sheets.
    at_most
        Sheets that it may take: with more, its letters are set smaller, by a tenth at most.

    Returns
    -------
    bytes
        A PDF that conforms to PDF/UA-1; the same report gives the same bytes.
    """
    import typst

    texts = _texts(report, paper)
    if at_most is not None:
        fits = (scale for scale in SCALES if _n_sheets({**texts, "scale": scale}) <= at_most)
        texts["scale"] = next(fits, SCALES[-1])
    set_type: bytes = typst.compile(
        _template(), sys_inputs={"data": _as_json(texts)}, pdf_standards=["ua-1"]
    )
    return set_type


def _n_sheets(texts: dict[str, Any]) -> int:
    import typst

    drawn = typst.compile(_template(), sys_inputs={"data": _as_json(texts)}, format="svg")
    return len(drawn) if isinstance(drawn, list) else 1


def _as_json(texts: dict[str, Any]) -> str:
    return json.dumps(texts, ensure_ascii=False)


def _texts(report: Report, paper: Paper) -> dict[str, Any]:
    """Everything the template prints; numbers keep their units on the line."""
    words = report.reader.words
    texts: dict[str, Any] = {
        "paper": paper,
        "scale": SCALES[0],
        "language": words.language,
        "kind": report.kind,
        "title": report.title,
        "subtitle": report.subtitle,
        "vet_note": words["page.vet_note"],
        "cautions_heading": words["page.cautions"],
        "cautions": [
            {
                "label": words[f"severity.{caution.severity}"],
                "text": words.tell(caution.sentence),
                "source": words.source(caution.source),
            }
            for caution in report.cautions
        ],
        "answer_heading": words["page.answer"],
        "answer": list(report.answer),
        "sections": [
            {
                "heading": section.heading,
                "lead": section.lead,
                "paragraphs": list(section.paragraphs),
                "charts": [
                    {"spoken": spoken, "svg": drawing(spec, words)}
                    for spoken, spec in section.charts
                ],
                "table": _table(section.table),
            }
            for section in report.sections
        ],
        "method_heading": words["page.how_we_know"],
        "method": list(report.method),
        "sources_heading": words["page.sources"],
        "sources_note": words["page.sources_note"],
        "sources": list(report.sources),
        "provenance": report.provenance,
        "page_of": words["page.page_of"],
    }
    held: dict[str, Any] = _held(texts)
    return held


def _table(table: Table | None) -> dict[str, Any] | None:
    if table is None:
        return None
    return {
        "caption": table.caption,
        "headings": [column.heading for column in table.columns],
        "numbers": [column.is_number for column in table.columns],
        "rows": [list(row) for row in table.rows],
    }


def _held(value: Any) -> Any:  # noqa: ANN401
    """Every text with its numbers held to their units; a drawing stays as it is."""
    if isinstance(value, dict):
        return {key: part if key == "svg" else _held(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_held(part) for part in value]
    return bound(visible(value)) if isinstance(value, str) else value


def drawing(spec: dict[str, Any], words: Words) -> str:
    """A chart as a drawing in ink: its roles of color become those of paper; as SVG."""
    width, height = CHART_SIZE
    fixed = {**visible_parts(spec), "width": width, "height": height, "autosize": "pad"}
    fixed["config"] = {**fixed["config"], **PAPER_CONFIG}
    fixed["config"]["legend"] = {**spec["config"]["legend"], "titleOrient": "left", "offset": 4}
    text = json.dumps(fixed, ensure_ascii=False)
    for role, color in PAPER_COLORS.items():
        text = text.replace(f"var(--{role})", color)
    text = text.replace(json.dumps(spec["config"]["font"], ensure_ascii=False)[1:-1], PAPER_FONT)
    locale = chart_locale(words)
    drawn: str = vl_convert.vegalite_to_svg(
        json.loads(text), format_locale=locale["number"], time_format_locale=locale["time"]
    )
    return drawn


@cache
def _template() -> bytes:
    return (files("studcurve.reports") / "templates" / "report.typ").read_bytes()
