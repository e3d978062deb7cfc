"""Loads ``mappings/``: vocabularies, and what people decided.

A decision carries what it was decided on (``entry_name``). When the table no longer
has that entry under that name the decision has expired: it is not applied, the run
says so by row, and the lines it settled go back to the worklist.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.problems import WARNING, InputError, Problem
from pipeline.sources import ROOT, file_sha256, read_csv

DECISION_KINDS = ("match", "no-match")

FILES: dict[str, tuple[str, ...]] = {
    "words": ("word", "means", "kind", "region", "source_id", "note"),
    "unit_words": ("word", "unit", "kind", "note"),
    "sizes": ("word", "size"),
    "states": ("word", "state", "kind"),
    "preparations": ("word", "kind"),
    "cooking_verbs": ("phrase", "method", "liquid", "note"),
    "foods": ("decision_id", "kind", "phrase", "state", "table", "entry_id", "entry_name", "decided_by", "decided_on",
              "reason", "replaces"),
    "methods": ("decision_id", "recipe_id", "line_text", "method", "liquid", "decided_by", "decided_on", "reason"),
}
SIGNED = {"foods": ("decided_by", "decided_on", "reason"), "methods": ("decided_by", "decided_on", "reason")}


@dataclass(frozen=True)
class Mappings:
    """The mapping files as data frames by name, and the SHA-256 of each file read."""

    frames: dict[str, pd.DataFrame]
    hashes: dict[str, str]

    def __getattr__(self, name: str) -> pd.DataFrame:
        if name == "frames" or name not in self.frames:
            raise AttributeError(name)  # "frames" itself is asked for while unpickling
        return self.frames[name]


def load(root: Path | None = None) -> Mappings:
    """Everything in ``mappings/``.

    Raises :class:`InputError` for a missing file or column, an unsigned decision, a
    decision of unknown kind, or two decisions with one id.
    """
    folder = (root or ROOT) / "mappings"
    frames, hashes, problems = {}, {}, []
    for name, columns in FILES.items():
        path = folder / f"{name}.csv"
        try:
            frames[name] = read_csv(path, columns, ())
            hashes[f"mappings/{name}.csv"] = file_sha256(path)
            problems.extend(_unsigned(path, frames[name], SIGNED.get(name, ())))
        except InputError as error:
            problems.extend(error.problems)
    if not problems:
        problems = _wrong_kinds(folder / "foods.csv", frames["foods"])
    if problems:
        raise InputError(problems)
    return Mappings(frames, hashes)


def _unsigned(path: Path, frame: pd.DataFrame, signed: tuple[str, ...]) -> list[Problem]:
    problems = []
    for column in signed:
        for row in frame.index[frame[column].str.strip() == ""]:
            problems.append(Problem(f"{path}:{row + 2}", f"the decision has no {column}",
                                    "Say who decided, when and why", "unsigned-decision"))
    if signed:
        for row in frame.index[frame["decision_id"].duplicated() | (frame["decision_id"] == "")]:
            problems.append(Problem(f"{path}:{row + 2}", f"decision_id {frame.at[row, 'decision_id']!r} is empty or taken",
                                    "Give each decision its own id", "duplicate-decision"))
    return problems


def _wrong_kinds(path: Path, foods: pd.DataFrame) -> list[Problem]:
    return [Problem(f"{path}:{row + 2}", f"kind is {kind!r}", f"Use one of: {', '.join(DECISION_KINDS)}", "unknown-kind")
            for row, kind in foods.loc[~foods["kind"].isin(DECISION_KINDS), "kind"].items()]


def standing_decisions(foods: pd.DataFrame, table: str, entries: pd.DataFrame) -> tuple[pd.DataFrame, list[Problem]]:
    """The food decisions that hold for ``table``, and a problem per expired or conflicting one.

    A decision expires when its entry is gone or has another name than the one it was
    decided on. Two ``match`` decisions on one phrase and state are both set aside.
    """
    here = foods[foods["table"].isin(["", table])].copy()
    names = entries.set_index("entry_id")["name"]
    current = here["entry_id"].map(names).fillna("")
    expired = current != here["entry_name"]
    problems = [
        Problem(f"mappings/foods.csv:{row + 2}",
                f"decision {here.at[row, 'decision_id']} was made on entry {here.at[row, 'entry_id']} "
                f"{here.at[row, 'entry_name']!r}, which table {table} now calls {current[row]!r}",
                "Decide again on the entry as it is now, or remove the row", "expired-decision", WARNING, "match")
        for row in here.index[expired]
    ]
    here = here[~expired]
    matches = here[here["kind"] == "match"]
    twice = matches.duplicated(["phrase", "state"], keep=False)
    for row in matches.index[twice]:
        problems.append(Problem(f"mappings/foods.csv:{row + 2}",
                                f"decision {here.at[row, 'decision_id']} and another one settle {here.at[row, 'phrase']!r}",
                                "Keep one of them and name the other in `replaces`", "conflicting-decision", WARNING, "match"))
    return here.drop(index=matches.index[twice]), problems
