"""The temporary relations by which the steps of a load hand on what they found.

Those that one place alone makes and reads are explained there. In the order of their making; each
stands for one sheet and is made anew for the next, but for those of the whole load.
"""

from __future__ import annotations

from typing import NamedTuple


class Relation(NamedTuple):
    """A temporary table, view or macro of a load.

    Attributes
    ----------
    name
        As statements call it.
    holds
        What a row of it is, or what the macro gives.
    made_by
        Where it is made: a script of ``sql/``, or a module.
    read_by
        Where else it is read.
    """

    name: str
    holds: str
    made_by: tuple[str, ...]
    read_by: tuple[str, ...]


_LOADING, _LINES, _RULES = "loading.py", "line_sql.py", "rules.py"
_ANSWERS, _ANSWERED, _ACCEPT = "answers.sql", "answered.sql", "accept.sql"
_MOVED, _STANDING = "moved.sql", "standing.sql"
_WRITE, _FINDINGS, _NAMES, _LOAD = "write.sql", "findings.sql", "names.sql", "load/*.sql"

RELATIONS = (
    # Of the whole load
    Relation("load_day", "the day of the load", (_LOADING,), (_RULES,)),
    Relation("this_load", "number of the load", (_LOADING,), (_WRITE,)),
    Relation("touched", "a finding that this load is about", (_LOADING,), (_WRITE, _FINDINGS)),
    Relation("made", "a finding that this load made", (_LOADING,), (_FINDINGS,)),
    # What is staged
    Relation(
        "this_sheet",
        "name of the sheet",
        (_LOADING,),
        (_ANSWERS, _ACCEPT, _MOVED, _STANDING, _WRITE),
    ),
    Relation("without_day", "cells of a line without its day", (_LOADING,), (_MOVED,)),
    Relation("staged_file", "a file of the sheet", (_LOADING,), (_ACCEPT, _MOVED, _WRITE)),
    Relation("dog_name", "a name, and the dog that it finds", (_NAMES,), (_LINES,)),
    Relation(
        "lines",
        "a staged line: n, its cells as typed, its number in its file",
        (_LOADING,),
        (_LINES, _ANSWERS, _MOVED, _STANDING, _ANSWERED, _WRITE),
    ),
    Relation(
        "cells_of", "cells of the lines of a relation", (_LOADING,), (_ACCEPT, _STANDING, _WRITE)
    ),
    # What cells say
    Relation("text_of", "a distinct text of a looked-up column", (_LOADING,), (_LINES,)),
    Relation("day_of", "a text and the day that it is", (_LOADING,), (_LINES,)),
    Relation("clock_of", "a text and the time that it is", (_LOADING,), (_LINES,)),
    Relation("number_of", "a text and the number that it is", (_LOADING,), (_LINES,)),
    Relation("word_of", "a word of a column's list", (_LOADING,), (_LINES,)),
    Relation("has_decimal_comma", "whether a number has a decimal comma", (_LOADING,), (_RULES,)),
    Relation(
        "identified",
        "a staged line: subject, day and mark",
        (_LOADING,),
        (_ACCEPT, _MOVED, _STANDING, _WRITE),
    ),
    # What is wrong
    Relation(
        "rule_row",
        "a rule, by the number that found carries",
        (_LOADING,),
        (_ACCEPT, _WRITE),
    ),
    Relation("bad_cell", "a text that breaks a rule of its cell", (_LOADING,), (_LINES,)),
    Relation("found", "a line and a rule that it breaks", (_LOADING,), (_ACCEPT, _WRITE)),
    Relation(
        "answering",
        "a line given as the correction of a kept one",
        (_ANSWERS, _LOADING),
        (_ACCEPT, _STANDING, _ANSWERED),
    ),
    # What becomes of the lines
    Relation("doomed", "a line that is refused", (_ACCEPT,), (_STANDING,)),
    Relation("repeated", "a line that says again what another says", (_ACCEPT,), (_STANDING,)),
    Relation(
        "sound",
        "a line that is neither refused nor a repeat",
        (_ACCEPT,),
        (_MOVED, _STANDING, _ANSWERED),
    ),
    Relation(
        "known", "a line that counts already", (_ACCEPT,), (_LOADING, _MOVED, _STANDING, _WRITE)
    ),
    Relation(
        "matched",
        "a line about the same as a known one",
        (_ACCEPT,),
        (_LOADING, _MOVED, _STANDING, _ANSWERED, _WRITE),
    ),
    Relation("renewed", "a file that comes anew", (_ACCEPT,), (_STANDING,)),
    Relation(
        "corrected",
        "a line that corrects a known one's mark",
        (_ACCEPT,),
        (_MOVED, _STANDING, _WRITE),
    ),
    Relation("gone", "a known line that its renewed file lacks", (_ACCEPT,), (_MOVED, _WRITE)),
    Relation("moved", "a known line whose day seems corrected", (_MOVED, _LOADING), (_WRITE,)),
    Relation("refused", "a refused line, and where it is kept", (_STANDING,), (_WRITE,)),
    Relation("apart", "a line that is not simply new", (_STANDING,), (_LOADING,)),
    Relation("outcome", "the counts of the sheet", (_STANDING,), (_LOADING,)),
    Relation(
        "numbered",
        "the lines of a relation that are written, with their ids",
        (_STANDING,),
        (_ANSWERED, _WRITE, _LOADING),
    ),
    Relation("settled", "a kept line that this load settles", (_STANDING,), (_ANSWERED,)),
    Relation("raised", "a finding to be, about a written line", (_WRITE, _LOADING), (_FINDINGS,)),
    # What is written
    Relation("accepted", "a written line that counts, typed", (_LOADING,), (_LOAD,)),
    Relation(
        "asked_", "of the sheet that ends the name: an accepted line", (_LOADING,), (_LINES, _RULES)
    ),
)
"""Every relation that passes from one script or module to another."""
