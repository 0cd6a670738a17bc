"""How SQL asks what a Health line says: the readers of analytics, as functions of a connection."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import duckdb
from duckdb.func import SPECIAL

from studcurve.analytics.cautions import questions, words

FUNCTIONS: dict[str, tuple[Callable[..., str | bool], int, Any]] = {
    "health_question": (questions.question_of, 6, "varchar"),
    "health_alarm": (questions.is_alarming, 4, "boolean"),
    "names_brucella": (words.names_brucella, 1, "boolean"),
}
"""Function, how many texts it takes, and the type of its answer, by its name in SQL."""


def add_health_functions(connection: duckdb.DuckDBPyConnection) -> None:
    """Let rules call the readers; a blank cell is read as an empty text.

    Parameters
    ----------
    connection
        Of the load; the functions go with it. They are added once: the engine takes no second
        function of a name, and to ask it for those it has takes longer than all else here.
    """
    for name, (reads, n_texts, answers) in FUNCTIONS.items():
        given: Any = ["varchar"] * n_texts
        connection.create_function(name, _of_blanks(reads), given, answers, null_handling=SPECIAL)


def _of_blanks(reads: Callable[..., str | bool]) -> Callable[..., str | bool]:
    @wraps(reads)
    def read(*cells: str | None) -> str | bool:
        return reads(*("" if cell is None else cell for cell in cells))

    return read
