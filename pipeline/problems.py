"""One way to say that something is wrong: where, what, and what to do about it.

A problem never replaces a result in silence. Stages return their problems beside
their tables; the command line prints them and turns them into an exit code.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass

import pandas as pd

ERROR, WARNING, NOTE = "error", "warning", "note"
SEVERITIES = (ERROR, WARNING, NOTE)  # the gravest first

COLUMNS = ("severity", "code", "stage", "recipe_id", "where", "what", "remedy")


@dataclass(frozen=True, order=True)
class Problem:
    """A finding that somebody has to act on.

    ``severity`` is ``error`` (the thing named in ``where`` gives no result) or
    ``warning`` (it gives one, with a doubt); a ``note`` does no harm. ``code`` is a closed, lower-case word
    with hyphens. ``where`` names a file with its line, or a recipe with its line.
    ``recipe_id`` is empty when the problem is not about one recipe.
    """

    where: str
    what: str
    remedy: str
    code: str
    severity: str = ERROR
    stage: str = ""
    recipe_id: str = ""

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.remedy}"


class InputError(Exception):
    """The input or the call is wrong: nothing was written, exit code 2.

    Carries one or more problems; ``str()`` gives one line each.
    """

    def __init__(self, problems: Problem | Iterable[Problem]):
        self.problems = [problems] if isinstance(problems, Problem) else list(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def to_table(problems: Iterable[Problem]) -> pd.DataFrame:
    """Problems as a table (one row each, the gravest first, duplicates removed); columns ``COLUMNS``."""
    rows = [asdict(problem) for problem in sorted(set(problems), key=_gravest_first)]
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype("str")


def _gravest_first(problem: Problem) -> tuple[int, Problem]:
    return SEVERITIES.index(problem.severity), problem


def from_table(table: pd.DataFrame) -> list[Problem]:
    """The inverse of :func:`to_table`."""
    return [Problem(**row) for row in table.to_dict("records")]
