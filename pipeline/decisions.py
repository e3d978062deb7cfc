"""Loads ``mappings/``: vocabularies, and what people decided.

A decision carries what it was decided on (``entry_name``). When the table no longer
has that entry under that name the decision has expired: it is not applied, the run
says so by row, and the lines it settled go back to the worklist.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from pipeline.problems import WARNING, InputError, Problem
from pipeline.sources import ROOT, file_sha256, read_csv
from pipeline.tables import STATES

DECISION_KINDS = ("match", "no-match")
_GAPS = re.compile(r"[^a-z0-9%]+")

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
    "same_foods": ("decision_id", "table_a", "entry_a", "name_a", "table_b", "entry_b", "name_b", "why", "decided_by",
                   "decided_on"),
}
SIGNED = {"foods": ("decided_by", "decided_on", "reason"), "methods": ("decided_by", "decided_on", "reason"),
          "same_foods": ("decided_by", "decided_on", "why")}


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
        problems = [*_malformed(folder / "foods.csv", frames["foods"]),
                    *_malformed_same(folder / "same_foods.csv", frames["same_foods"])]
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


def phrase_key(phrase: str) -> str:
    """The form in which phrases are compared: lower case, no accents, single spaces, no marks."""
    plain = unicodedata.normalize("NFKD", phrase.casefold())
    letters = "".join(mark for mark in plain if not unicodedata.combining(mark))
    letters = letters.replace("&", " and ").replace("’", "'").replace("'s", "")
    return _GAPS.sub(" ", letters).strip()


def _malformed(path: Path, foods: pd.DataFrame) -> list[Problem]:
    """A problem for each row that cannot be a decision, whatever the composition table."""
    rules = [
        (~foods["kind"].isin(DECISION_KINDS), "kind", "unknown-kind", f"Use one of: {', '.join(DECISION_KINDS)}"),
        (~foods["state"].isin(STATES), "state", "unknown-state", f"Use one of: {', '.join(filter(None, STATES))}, or leave it empty"),
        (foods["phrase"].map(phrase_key) == "", "phrase", "no-phrase", "Write the words of the line that it settles"),
        (~foods["decided_on"].map(_is_day), "decided_on", "not-a-day", "Write the day as 2026-11-25"),
        ((foods["kind"] == "match") & (foods["entry_id"] == ""), "entry_id", "no-entry", "Name the entry, or make it a no-match"),
        ((foods["replaces"] != "") & (foods["replaces"] == foods["decision_id"]), "replaces", "replaces-itself",
         "Name the decision that it replaces"),
    ]
    return [Problem(f"{path}:{row + 2}", f"{column} is {foods.at[row, column]!r}", remedy, code)
            for broken, column, code, remedy in rules for row in foods.index[broken]]


def _malformed_same(path: Path, same: pd.DataFrame) -> list[Problem]:
    """A problem for each row that cannot say that two entries are the same food, whatever the tables."""
    rules = [(same[column] == "", column, "no-entry", "Name the table, the entry and the entry's name there")
             for column in ("table_a", "entry_a", "name_a", "table_b", "entry_b", "name_b")]
    rules += [
        (same["table_a"] == same["table_b"], "table_b", "one-table", "Name two tables: one table has a food once"),
        (~same["decided_on"].map(_is_day), "decided_on", "not-a-day", "Write the day as 2026-11-25"),
    ]
    return [Problem(f"{path}:{row + 2}", f"{column} is {same.at[row, column]!r}", remedy, code)
            for broken, column, code, remedy in rules for row in same.index[broken.astype("bool")]]


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def standing_decisions(foods: pd.DataFrame, table: str, entries: pd.DataFrame) -> tuple[pd.DataFrame, list[Problem]]:
    """The food decisions that hold for ``table``, and a problem per expired or conflicting one.

    ``foods``: ``mappings/foods.csv``, whose column ``table`` names one table, several joined
    by ";", or none for all; ``entries``: model Entries of ``table``. A decision
    named in another one's ``replaces`` no longer counts. A decision expires when its entry
    is gone or has another name than the one it was decided on. Decisions on one phrase and
    state that cannot both hold are all set aside: two matches, or a match beside a no-match
    of the same entry or of every entry.
    """
    serves = foods["table"].map(lambda names: names == "" or table in names.split(";")).astype("bool")
    here = foods[serves & ~foods["decision_id"].isin(set(foods["replaces"]) - {""})].copy()
    current = here["entry_id"].map(entries.set_index("entry_id")["name"]).fillna("")
    expired = current != here["entry_name"]
    problems = [
        Problem(f"mappings/foods.csv:{row + 2}",
                f"decision {here.at[row, 'decision_id']} was made on entry {here.at[row, 'entry_id']} "
                f"{here.at[row, 'entry_name']!r}, " + (f"which table {table} now calls {current[row]!r}" if current[row]
                                                       else f"which table {table} does not have"),
                "Decide again on the entry as it is now, or remove the row", "expired-decision", WARNING, "match")
        for row in here.index[expired]
    ]
    here = here[~expired]
    against = _conflicting(here)
    for row, other in against.items():
        problems.append(Problem(f"mappings/foods.csv:{row + 2}",
                                f"decision {here.at[row, 'decision_id']} and {other} both settle {here.at[row, 'phrase']!r}",
                                "Keep one of them and name the other in `replaces`", "conflicting-decision", WARNING, "match"))
    return here.drop(index=list(against)), problems


def _conflicting(decisions: pd.DataFrame) -> dict[int, str]:
    """Row -> the id of another decision that it cannot stand beside."""
    found: dict[int, str] = {}
    for _, group in decisions.groupby([decisions["phrase"].map(phrase_key), "state"], sort=False):
        rows = list(group[["kind", "entry_id", "decision_id"]].itertuples())
        for first in rows:
            other = next((second for second in rows if second.Index != first.Index and _clash(first, second)), None)
            if other is not None:
                found[first.Index] = other.decision_id
    return dict(sorted(found.items()))


def _clash(first, second) -> bool:
    if first.kind == second.kind:
        return first.kind == "match"
    refusal, match = (first, second) if first.kind == "no-match" else (second, first)
    return refusal.entry_id in ("", match.entry_id)
