"""Loads ``mappings/``: vocabularies, and what people decided.

A decision about a food (``foods.csv``) says of a line that it is an entry (``match``), that it is
not an entry or, without one, none at all (``no-match``), or that it is no food of its own but
a remark (``use-as-note``). It is about (``scope``) a phrase, a family of phrases
(``pattern``, see :mod:`pipeline.phrases`) or one line of one recipe (``line``: ``recipe_id``, and the
line in ``phrase``). The nearest one counts: line, then phrase, then pattern.

Each carries what it was decided on (``entry_name``). When the table no longer
has that entry under that name the decision has expired: it is not applied, the run
says so by row, and the lines it settled go back to the worklist.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import NamedTuple

import pandas as pd

from pipeline.phrases import line_key, pattern_fault, pattern_fits, patterns_meet, pattern_words, phrase_key
from pipeline.problems import NOTE, WARNING, InputError, Problem
from pipeline.remembered import remembered
from pipeline.sources import ROOT, file_sha256, read_csv
from pipeline.tables import STATES

DEFAULT_TABLE = "core"
DECISION_KINDS = ("match", "no-match", "use-as-note")
PHRASE, PATTERN, LINE = SCOPES = ("phrase", "pattern", "line")

FILES: dict[str, tuple[str, ...]] = {
    "words": ("word", "means", "kind", "region", "source_id", "note"),
    "unit_words": ("word", "unit", "kind", "note"),
    "sizes": ("word", "size"),
    "states": ("word", "state", "kind"),
    "preparations": ("word", "kind"),
    "cooking_verbs": ("phrase", "method", "liquid", "note"),
    "foods": ("decision_id", "kind", "phrase", "state", "table", "entry_id", "entry_name", "decided_by", "decided_on",
              "reason", "replaces", "scope", "recipe_id"),
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


def _malformed(path: Path, foods: pd.DataFrame) -> list[Problem]:
    """A problem for each row that cannot be a decision, whatever the composition table."""
    return [Problem(f"{path}:{row + 2}", f"{column} is {foods.at[row, column]!r}{because}", remedy, code)
            for broken, column, because, code, remedy in _rules(foods) for row in foods.index[broken.astype("bool")]]


def malformed(foods: pd.DataFrame, path: Path) -> list[Problem]:
    """A problem for each row of food decisions that is unsigned, has a taken id, or cannot be a decision."""
    return _unsigned(path, foods, SIGNED["foods"]) or _malformed(path, foods)


def _rules(foods: pd.DataFrame) -> list[tuple[pd.Series, str, str, str, str]]:
    """(which rows break it, column, why, code, remedy) for each rule about a row."""
    on_line, on_pattern = foods["scope"] == LINE, foods["scope"] == PATTERN
    fault = foods["phrase"].where(on_pattern, "").map(lambda pattern: pattern_fault(pattern) if pattern else "")
    marks = foods["phrase"].str.contains(r"[*|]") & ~on_line & ~on_pattern
    wordless = foods["phrase"].map(phrase_key).where(~on_line, foods["phrase"].map(line_key)) == ""
    note, match = foods["kind"] == "use-as-note", foods["kind"] == "match"
    return [
        (~foods["kind"].isin(DECISION_KINDS), "kind", "", "unknown-kind", f"Use one of: {', '.join(DECISION_KINDS)}"),
        (~foods["scope"].isin(("", *SCOPES)), "scope", "", "unknown-scope", f"Use one of: {', '.join(SCOPES)}; empty is phrase"),
        (~foods["state"].isin(STATES), "state", "", "unknown-state",
         f"Use one of: {', '.join(filter(None, STATES))}, or leave it empty"),
        (wordless & ~on_pattern, "phrase", "", "no-phrase", "Write the words of the line that it settles"),
        *((fault == why, "phrase", f", which {why}", "not-a-pattern",
           "* stands for any words or letters, | between words for a choice; a pattern needs one word that is written out")
          for why in sorted(set(fault) - {""})),
        (marks, "phrase", " and its scope is not pattern", "not-a-phrase", "Write pattern in the column scope, or the words alone"),
        (on_line & (foods["recipe_id"] == ""), "recipe_id", "", "no-recipe", "Name the recipe that has the line"),
        (~on_line & (foods["recipe_id"] != ""), "recipe_id", " and its scope is not line", "no-line",
         "Write line in the column scope, or leave the recipe out"),
        (on_line & (foods["state"] != ""), "state", " on one line", "state-on-line", "Leave it empty: the line says its own state"),
        (~foods["decided_on"].map(_is_day), "decided_on", "", "not-a-day", "Write the day as 2026-11-25"),
        (match & (foods["entry_id"] == ""), "entry_id", "", "no-entry", "Name the entry, or make it a no-match"),
        (note & (foods["entry_id"] + foods["entry_name"] != ""), "entry_id", " for a note", "note-with-entry",
         "Leave entry_id and entry_name empty: a note is no food"),
        ((foods["replaces"] != "") & (foods["replaces"] == foods["decision_id"]), "replaces", "", "replaces-itself",
         "Name the decision that it replaces"),
    ]


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


ENTRY = "ENTRY_ID"  # in a command, where a person must find the entry


def command(words: str, entry_id: str, state: str = "", table: str = "", recipe: str = "") -> str:
    """The command that decides on ``words`` (a phrase, or with ``recipe`` the line as it stands there), ready for a shell but for
    who decides and why; without ``entry_id`` that no entry stands for them."""
    quoted = shlex.quote(words) if set(words) & set('"$`\\!') else f'"{words}"'
    parts = ["potash decide", quoted, entry_id or "--never"]
    parts += [f"--recipe {recipe}"] if recipe else [f"--state {state}"] if state else []
    parts += [f"--table {table}"] if table not in ("", DEFAULT_TABLE) else []
    return " ".join([*parts, "--by NAME --reason WHY"])


# ---------------------------------------------------------------- which decisions hold

DISPUTED = "disputed"  # the kind of decisions that contradict each other; never written in the file
WHERE = "mappings/foods.csv"


def standing_decisions(
    foods: pd.DataFrame, table: str, entries: pd.DataFrame, disputed: bool = False,
) -> tuple[pd.DataFrame, list[Problem]]:
    """The food decisions that hold for ``table``, and a problem per expired or conflicting one.

    ``foods``: ``mappings/foods.csv``, whose column ``table`` names one table, several joined
    by ";", or none for all; ``entries``: model Entries of ``table``. A decision
    named in another one's ``replaces`` no longer counts. A decision expires when its entry
    is gone or has another name than the one it was decided on. Decisions of one scope that answer
    the same line and cannot both hold are all set aside: two matches, or a match beside a no-match of
    the same entry or of every entry, or a note beside either. With ``disputed`` they stay, with that
    kind, so that their lines go to a person.
    """
    here, problems = _in_force(foods, table, entries)
    against = conflicting(here)
    ids = foods["decision_id"]
    problems += [Problem(f"{WHERE}:{row + 2}",
                         f"decision {ids[row]} and {ids[other]} (row {other + 2}) both settle {foods.at[row, 'phrase']!r}",
                         "Keep one of them and name the other in `replaces`", "conflicting-decision", WARNING, "match")
                 for row, other in against.items()]
    if disputed:
        here.loc[list(against), "kind"] = DISPUTED
        return here, problems
    return here.drop(index=list(against)), problems


def _in_force(foods: pd.DataFrame, table: str, entries: pd.DataFrame) -> tuple[pd.DataFrame, list[Problem]]:
    """The decisions for ``table`` that are neither replaced nor expired, and a problem per expired one.

    A decision on an entry of another table serves too where this table has that entry by the same id and name (the curated
    table takes its entries from a published one), unless a decision for this table says otherwise.
    """
    names = entries.set_index("entry_id")["name"]
    serves = foods["table"].map(lambda tables: tables == "" or table in tables.split(";")).astype("bool")
    lent = ~serves & (foods["entry_id"] != "") & (foods["entry_id"].map(names).fillna("") == foods["entry_name"])
    here = foods[(serves | lent) & ~foods["decision_id"].isin(set(foods["replaces"]) - {""})].copy()
    if lent.any():
        here = _lent_in_place(here, lent[here.index])
    current = here["entry_id"].map(names).fillna("")
    expired = (current != here["entry_name"]) & (here["kind"] != DISPUTED)
    problems = [
        Problem(f"{WHERE}:{row + 2}",
                f"decision {here.at[row, 'decision_id']} was made on entry {here.at[row, 'entry_id']} "
                f"{here.at[row, 'entry_name']!r}, " + (f"which table {table} now calls {current[row]!r}" if current[row]
                                                       else f"which table {table} does not have"),
                "Decide again on the entry as it is now, or remove the row", "expired-decision", WARNING, "match")
        for row in here.index[expired]
    ]
    return here[~expired], problems


def _lent_in_place(here: pd.DataFrame, lent: pd.Series) -> pd.DataFrame:
    """The decisions without the lent ones that this table's own answer already, and with one of those that say the same."""
    said = here[["scope", "recipe_id", "state", "kind", "entry_id"]].assign(words=_compared(here))
    kept = here[~(lent & said[lent].duplicated().reindex(here.index, fill_value=False))]
    own_first = kept.loc[sorted(kept.index, key=lambda row: (lent[row], row))]  # what clashes with several is told by the first
    return kept.drop(index=[row for row, other in conflicting(own_first).items() if lent[row] and not lent[other]])


def _compared(rows: pd.DataFrame) -> pd.Series:
    """The words of decisions in the form in which they are compared."""
    return rows["phrase"].map(phrase_key).where(rows["scope"] != LINE, rows["phrase"].map(line_key)).where(rows["scope"] != PATTERN, rows["phrase"])


def beside(foods: pd.DataFrame, table: str, entries: pd.DataFrame, decision_id: str) -> pd.Series | None:
    """A decision in force for ``table`` that ``decision_id`` cannot stand beside, or None."""
    here, _ = _in_force(foods, table, entries)
    against = conflicting(here)
    number = next((number for number in against if foods.at[number, "decision_id"] == decision_id), None)
    return None if number is None else foods.loc[against[number]]


@remembered(most=8)
def conflicting(rows: pd.DataFrame) -> dict[int, int]:
    """Row -> another row of these decisions that it cannot stand beside."""
    found: dict[int, int] = {}
    keys = _compared(rows)
    exact = rows[rows["scope"] != PATTERN]
    scope = exact["scope"].where(exact["scope"] == LINE, PHRASE)
    for _, group in exact.groupby([scope, "recipe_id", keys[exact.index], "state"], sort=False):
        found |= _clashing(list(group.itertuples()), lambda one, other: True)
    for _, group in rows[rows["scope"] == PATTERN].groupby("state", sort=False):
        found |= _clashing(list(group.itertuples()), lambda one, other: _answer(one) != _answer(other) and patterns_meet(one.phrase, other.phrase))
    return dict(sorted(found.items()))


def _clashing(rows: list, same_line: Callable) -> dict[int, int]:
    found = {}
    for one in rows:
        other = next((other for other in rows if other.Index != one.Index and _clash(one, other) and same_line(one, other)), None)
        if other is not None:
            found[one.Index] = other.Index
    return found


def _answer(row) -> tuple[str, str]:
    return row.kind, row.entry_id


def _clash(one, other) -> bool:
    kinds = {one.kind, other.kind}
    if DISPUTED in kinds or kinds == {"no-match"}:
        return False
    if "no-match" not in kinds:
        return True
    refusal, said = (one, other) if one.kind == "no-match" else (other, one)
    return refusal.entry_id == "" or (said.kind == "match" and refusal.entry_id == said.entry_id)


# ---------------------------------------------------------------- which decision answers a line

class Ruling(NamedTuple):
    """What people decided about a line.

    ``decision``: the row that settles it (kind ``match``, ``use-as-note``, or ``no-match`` of every entry),
    or None; ``refused``: entries ruled out; ``disputed``: the decisions that contradict each other,
    "" if none: then a person must look; ``ids``: every decision that had a say.
    """

    decision: object | None = None
    refused: frozenset[str] = frozenset()
    disputed: str = ""
    ids: tuple[str, ...] = ()


class Standing:
    """The decisions that hold, ready to be asked; build once, ask often.

    ``rows``: what :func:`standing_decisions` gives; ``says_nothing``: whether a word tells nothing
    about a food ("organic"): a phrase is looked up as written and without such words.
    """

    def __init__(self, rows: pd.DataFrame, says_nothing: Callable[[str], bool] = lambda word: False):
        self.says_nothing = says_nothing
        self.lines: dict[str, list] = {}
        self.phrases: dict[tuple[str, str], list] = {}
        self.patterns: dict[str, list] = {}
        for row in rows.sort_values("decision_id", kind="stable").itertuples(index=False):
            if row.scope == LINE:
                self.lines.setdefault(f"{row.recipe_id}/{line_key(row.phrase)}", []).append(row)
            elif row.scope == PATTERN:
                self.patterns.setdefault(row.state, []).append((pattern_fits(row.phrase), row))
            else:
                self.phrases.setdefault((phrase_key(row.phrase), row.state), []).append(row)

    def line_key(self, line_id: str, text: str) -> str:
        """What names a line for :meth:`ruling`; "" where nobody decided on this one line of this recipe."""
        if not self.lines:
            return ""
        key = f"{line_id.split('/')[0]}/{line_key(text)}"
        return key if key in self.lines else ""

    def ruling(self, phrase: str, state: str = "", line: str = "") -> Ruling:
        """What was decided about a phrase in a state, on the line that ``line`` names (:meth:`line_key`).

        The nearest decision counts: on the line, on the phrase (first as written, first in this
        state), on a pattern. An entry that a nearer one refuses is not taken from a farther one.
        """
        refused: set[str] = set()
        ids: list[str] = []
        for rows in self._levels(phrase, state, line):
            ids += [row.decision_id for row in rows]
            if any(row.kind == DISPUTED for row in rows):
                return Ruling(None, frozenset(refused | {row.entry_id for row in rows if row.kind == "no-match"} - {""}),
                              ", ".join(row.decision_id for row in rows if row.kind == DISPUTED), tuple(ids))
            none = next((row for row in rows if row.kind == "no-match" and row.entry_id == ""), None)
            if none is not None:
                return Ruling(none, frozenset(refused), "", tuple(ids))
            said = next((row for row in rows if row.kind != "no-match" and row.entry_id not in refused), None)
            refused |= {row.entry_id for row in rows if row.kind == "no-match"}
            if said is not None:
                return Ruling(said, frozenset(refused), "", tuple(ids))
        return Ruling(None, frozenset(refused), "", tuple(ids))

    def _levels(self, phrase: str, state: str, line: str):
        """The decisions that answer, the nearest first."""
        yield self.lines.get(line, ())
        keys, states = self._keys(phrase), tuple(dict.fromkeys((state, "")))
        for said in states:
            for key in keys:
                yield self.phrases.get((key, said), ())
        for said in states:
            yield [row for fits, row in self.patterns.get(said, ()) if any(fits(key) for key in keys)]

    def _keys(self, phrase: str) -> tuple[str, ...]:
        """The forms in which a phrase is looked up: as written, and without words that say nothing."""
        written = phrase_key(phrase)
        kept = " ".join(word for word in written.split() if not self.says_nothing(word))
        return tuple(dict.fromkeys(key for key in (written, kept) if key))


def dead_rows(
    foods: pd.DataFrame, entries_by_table: Mapping[str, pd.DataFrame], parsed: pd.DataFrame,
    says_nothing: Callable[[str], bool] = lambda word: False,
) -> list[Problem]:
    """A problem per decision that no line of the collection asked for.

    ``entries_by_table``: model Entries by the name of each table of the run; ``parsed``: model Parsed, all lines.
    It is a note, for another collection may ask for it; a warning where the recipe is here and has no such line any more.
    Decisions that expired, contradict each other or were replaced are reported as that.
    """
    standing = [standing_decisions(foods, table, entries)[0] for table, entries in entries_by_table.items()]
    asked: set[str] = set()
    for rows in standing:
        books = Standing(rows, says_nothing)
        told = parsed.assign(line=[books.line_key(*pair) for pair in zip(parsed["line_id"], parsed["text"], strict=True)])
        once = told.drop_duplicates(["phrase", "state", "line"])
        for phrase, state, line in zip(once["phrase"], once["state"], once["line"], strict=True):
            asked.update(books.ruling(phrase, state, line).ids)
    recipes = set(parsed["line_id"].str.split("/").str[0])
    held = sorted({row for rows in standing for row in rows.index})
    return [_dead(foods.loc[row], row, recipes) for row in held if foods.at[row, "decision_id"] not in asked]


def _dead(row: pd.Series, number: int, recipes: set[str]) -> Problem:
    what = f"no line of this collection asks for decision {row['decision_id']} ({row['phrase']!r})"
    if row["scope"] == LINE and row["recipe_id"] in recipes:
        return Problem(f"{WHERE}:{number + 2}", f"recipe {row['recipe_id']} no longer has the line {row['phrase']!r} of decision {row['decision_id']}",
                       "Decide again on the line as it is now, or remove the row", "dead-decision", WARNING, "match")
    return Problem(f"{WHERE}:{number + 2}", what, "Keep it: another recipe or the next refresh may ask for it", "dead-decision", NOTE, "match")
