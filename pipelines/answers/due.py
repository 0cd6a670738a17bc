"""What is due, in the lines of a terminal and for machines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from textwrap import wrap
from types import MappingProxyType

from studcurve.analytics.due.items import DueItem, together
from studcurve.pipelines.answers.answer import WIDTH
from studcurve.reports.words import Words

SECTIONS: Mapping[str, frozenset[str]] = MappingProxyType({
    "first": frozenset({
        "caution", "progesterone", "insemination", "scan", "radiograph", "temperature", "whelping",
    }),
    "open": frozenset({"shipment", "outcome"}),
    "again": frozenset({"test", "evaluation", "straws"}),
})  # fmt: skip
"""In which order the kinds are listed."""


def due_rows(items: Sequence[DueItem], words: Words) -> list[dict[str, object]]:
    """What is due for machines: every item with its sentence."""
    return [
        {
            "kind": item.kind,
            "dog": item.dog,
            "on": item.on,
            "until": item.until,
            "is_late": item.is_late,
            "what": words.tell(item.what),
        }
        for item in items
    ]


def due_lines(items: Sequence[DueItem], words: Words, *, today: date) -> Iterator[str]:
    """Tell what is due on a terminal: what cannot wait, what nobody entered, what is repeated."""
    if not items:
        yield words.say("due.nothing", on=today)
        return
    for section, kinds in SECTIONS.items():
        chosen = [item for item in items if item.kind in kinds]
        if not chosen:
            continue
        yield words[f"due.{section}"]
        for item, what in together(chosen):
            indent = " " * (len(item.on.isoformat()) + 4)
            yield from wrap(
                f"{item.on.isoformat()}  {words.tell(what)}",
                WIDTH,
                initial_indent="  ",
                subsequent_indent=indent,
                break_on_hyphens=False,
            )
        yield ""
    yield from wrap(words["page.vet_note"], WIDTH)
