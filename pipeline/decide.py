"""Adds one decision about a food to ``mappings/foods.csv``: checked, with its effect shown first, the file written whole."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd
from rapidfuzz import fuzz, process

from pipeline import batch, decisions
from pipeline.composition import combine
from pipeline.decide_cautions import cautions
from pipeline.decide_effect import OUTCOME_WORDS, Effect, effect
from pipeline.match_bench import AT_STAKE, CALLED, Bench, open_bench, parsed_texts
from pipeline.phrases import line_key, pattern_fault, phrase_key
from pipeline.problems import InputError, Problem
from pipeline.root import ROOT
from pipeline.sources import file_sha256
from pipeline.stages.ingest import Collection, ingest
from pipeline.stages.match import Asked as Question
from pipeline.tables import STATES

MATCH, NEVER, NOTE = decisions.DECISION_KINDS
DEMO = "reference/demo"
ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
LONGEST_ID = 60
KIND_WORDS = {MATCH: "is", NEVER: "is never", NOTE: "is a note: no food of its own"}


@dataclass(frozen=True)
class Asked:
    """What a person asks to be decided, as they wrote it; ``table`` names one table or several ("core,usda-sr26")."""

    kind: str
    scope: str
    words: str
    entry_id: str = ""
    state: str = ""
    recipe: str = ""
    table: str = ""
    by: str = ""
    reason: str = ""
    on: str = ""
    decision_id: str = ""
    replaces: str = ""


@dataclass(frozen=True)
class Proposed:
    """A decision that passed its checks: its row, the whole file with it, and what it changes."""

    row: dict[str, str]
    foods: pd.DataFrame
    path: Path
    before: str
    amounts: str
    effects: Sequence[Effect]
    answers: int
    collection: str
    cautions: tuple[str, ...] = ()

    def text(self) -> str:
        """What is about to be decided, for a terminal."""
        return "\n".join([*self._said(), *self.cautions, *self._changes(), "The row for mappings/foods.csv:", f"  {self.line()}"])

    def line(self) -> str:
        """The row as it stands in the file."""
        return pd.DataFrame([self.row]).to_csv(index=False, header=False, lineterminator="\n").strip()

    def _said(self) -> list[str]:
        row = self.row
        about = {decisions.PHRASE: "the phrase", decisions.PATTERN: "every phrase like",
                 decisions.LINE: f"in {row['recipe_id']}, the line"}[row["scope"]]
        state = f" ({row['state']})" if row["state"] else ""
        entry = f" {row['entry_id']} {row['entry_name']}" if row["entry_id"] else " any entry" if row["kind"] == NEVER else ""
        tables = f" in {row['table'].replace(';', ' and ')}" if row["table"] else " in every table"
        told = [f"{row['decision_id']}: {about} \"{row['phrase']}\"{state} {KIND_WORDS[row['kind']]}{entry}{tables}"]
        told += [f"  per 100 g: {self.amounts}"] if self.amounts else []
        told += [f"  in place of {row['replaces']}"] if row["replaces"] else []
        return [*told, f"  {row['decided_by']}, {row['decided_on']}: {row['reason']}"]

    def _changes(self) -> list[str]:
        if not self.effects:
            already = f"; it answers {_lines(self.answers)} that end so already" if self.answers else "; no line of it asks for this"
            return [f"Changes nothing in {self.collection}{already}"]
        told = [f"Changes {_lines(len(self.effects))} of {self.collection}:"]
        return told + [row for one in self.effects for row in one.text()]


def _lines(count: int) -> str:
    return f"{count} {'line' if count == 1 else 'lines'}"


def kind_of(never: bool, note: bool) -> str:
    """The kind of decision that the options ask for."""
    if never and note:
        raise _wrong("--never and --note exclude each other", "Say that it is never an entry, or that it is a note")
    return NEVER if never else NOTE if note else MATCH


def scope_of(pattern: bool, recipe: str) -> str:
    """What kind of thing the decision is about."""
    if pattern and recipe:
        raise _wrong("--pattern and --recipe exclude each other", "Decide on a family of phrases, or on one line of one recipe")
    return decisions.PATTERN if pattern else decisions.LINE if recipe else decisions.PHRASE


def propose(asked: Asked, collection: Path | None = None, root: Path | None = None) -> Proposed:
    """Checks a decision and works out what it changes in ``collection`` (the demo by default).

    Raises InputError, with every fault found, when it cannot stand; nothing is written here.
    """
    home = root or ROOT
    path = home / "mappings" / "foods.csv"
    faults = _faults(asked)
    if faults:
        raise InputError(faults)
    bench = open_bench(asked.table or "core", root=root)
    before = file_sha256(path)
    foods = bench.mappings.foods
    read = ingest(collection or home / DEMO)
    lines = parsed_texts(read.lines["text"].tolist(), bench.mappings).assign(line_id=read.lines["line_id"].tolist())
    row = _row(asked, foods, _entry(asked, bench))
    faults = [*_word_faults(asked, bench, read, lines), *_id_faults(row, foods)]
    if faults:
        raise InputError(faults)
    whole = pd.concat([foods, pd.DataFrame([row])], ignore_index=True).sort_values("decision_id", ignore_index=True)
    faults = [*decisions.malformed(whole, path), *_conflicts(row, whole, bench)]
    if faults:
        raise InputError(faults)
    changed, answers = effect(bench, whole, row["decision_id"], lines, read)
    faults = _note_faults(asked, bench, changed)
    if faults:
        raise InputError(faults)
    return Proposed(row, whole, path, before, _amounts(row["entry_id"], bench), changed, answers, read.name,
                    cautions(row, bench, lines))


def write(proposed: Proposed) -> str:
    """Writes the file with the decision in it, sorted, whole or not at all; returns what to say."""
    if file_sha256(proposed.path) != proposed.before:
        raise InputError(Problem("mappings/foods.csv", "was changed by somebody else in the meantime", "Decide again", "changed-meanwhile"))
    batch.write(proposed.foods[list(decisions.FILES["foods"])], proposed.path)
    number = proposed.foods.index[proposed.foods["decision_id"] == proposed.row["decision_id"]][0] + 2
    return f"Written: mappings/foods.csv:{number}. The next `potash run` uses it; the change shows in version control for review."


# ---------------------------------------------------------------- checks

def _wrong(what: str, remedy: str, code: str = "wrong-decision") -> InputError:
    return InputError(_fault(what, remedy, code))


def _fault(what: str, remedy: str, code: str) -> Problem:
    return Problem("decide", what, remedy, code)


def _faults(asked: Asked) -> list[Problem]:
    """What is wrong with the question itself."""
    faults = []
    if not asked.by.strip():
        faults.append(_fault("nobody signs it", "Say who decides: --by \"renal dietitian\"", "unsigned-decision"))
    if not asked.reason.strip():
        faults.append(_fault("it has no reason", "Say why, so that the next person can judge it again: --reason \"...\"", "unsigned-decision"))
    if asked.kind == MATCH and not asked.entry_id:
        faults.append(_fault("it names no entry", "Name the entry after the words; --never says that none stands, --note that the line is no food",
                             "no-entry"))
    if asked.kind == NOTE and asked.entry_id:
        faults.append(_fault(f"a note names the entry {asked.entry_id!r}", "Leave the entry out: a note is no food", "note-with-entry"))
    if asked.state not in STATES:
        faults.append(_fault(f"--state is {asked.state!r}", f"Use one of: {', '.join(filter(None, STATES))}", "unknown-state"))
    if asked.state and asked.scope == decisions.LINE:
        faults.append(_fault("--state beside --recipe", "Leave the state out: the line says its own", "state-on-line"))
    fault = pattern_fault(asked.words) if asked.scope == decisions.PATTERN else ""
    if fault:
        faults.append(_fault(f"the pattern {asked.words!r} {fault}", "* stands for any words or letters, low|less for a choice of words, and one word "
                             "must be written out", "not-a-pattern"))
    if asked.scope == decisions.PHRASE and re.search(r"[*|]", asked.words):
        faults.append(_fault(f"{asked.words!r} has the marks of a pattern", "Add --pattern, or write the words alone", "not-a-phrase"))
    if asked.on and not _is_past_day(asked.on):
        faults.append(_fault(f"--on is {asked.on!r}", "Write a day that has been, as 2026-11-25", "not-a-day"))
    return faults


def _is_past_day(text: str) -> bool:
    try:
        return date.fromisoformat(text) <= date.today()
    except ValueError:
        return False


def _entry(asked: Asked, bench: Bench) -> str:
    """The name of the entry in the tables asked for; "" where no entry is asked for."""
    if not asked.entry_id:
        return ""
    found = {}
    for table in bench.loaded:
        names = table.entries.set_index("entry_id")["name"]
        if asked.entry_id not in names.index:
            padded = asked.entry_id.zfill(5)
            if padded in names.index:
                raise _wrong(f"table {table.name} has no entry {asked.entry_id!r}", f"Write {padded} ({names[padded]}): the leading zero is part of the id",
                             "no-entry")
            near = process.extract(asked.words, names.to_dict(), scorer=fuzz.token_set_ratio, limit=3)
            raise _wrong(f"table {table.name} has no entry {asked.entry_id!r}",
                         f"Nearest to {asked.words!r}: " + "; ".join(f"{entry} {name}" for name, _, entry in near), "no-entry")
        found[table.name] = names[asked.entry_id]
    if len(set(found.values())) > 1:
        raise _wrong(f"entry {asked.entry_id} is another food in each table: " + "; ".join(f"{table}: {name}" for table, name in found.items()),
                     "Decide for one table at a time", "no-entry")
    return next(iter(found.values()))


def _word_faults(asked: Asked, bench: Bench, read: Collection, lines: pd.DataFrame) -> list[Problem]:
    """Whether lines can be what the words say: a phrase as reading gives it, a line that the recipe has."""
    if asked.scope == decisions.LINE:
        return _line_faults(asked, read, lines)
    if asked.scope == decisions.PATTERN:
        return []
    key = phrase_key(asked.words)
    if not key:
        return [_fault("it has no words", "Write the words of the line that name the food", "no-phrase")]
    if key in set(lines["phrase"].map(phrase_key)):
        return []
    one = parsed_texts([asked.words], bench.mappings).iloc[0]
    if asked.kind == NOTE and one["kind"] in ("heading", "not-food"):
        return [_fault(f"{asked.words!r} is read as no food already", "No decision is needed", "needless")]
    if one["kind"] == "unreadable":
        return [_fault(f"{asked.words!r} has no words that can name a food", "Decide on the one line, as its recipe has it, with --recipe", "not-as-read")]
    if phrase_key(one["phrase"]) == key:
        return []
    state = f" --state {one['state']}" if one["state"] else ""
    rest = ", ".join(f"{what} {one[what]!r}" for what in ("state", "preparation", "unit", "note", "leftover") if one[what])
    return [_fault(f"a line with {asked.words!r} is read as the phrase {one['phrase']!r}" + (f" ({rest})" if rest else ""),
                   f"Decide on \"{one['phrase']}\"{state}, or on one line alone with --recipe", "not-as-read")]


def _line_faults(asked: Asked, read: Collection, lines: pd.DataFrame) -> list[Problem]:
    own = read.lines[read.lines["recipe_id"] == asked.recipe]
    if own.empty:
        near = process.extract(asked.recipe, read.recipes["recipe_id"].tolist(), limit=3)
        return [_fault(f"{read.name} has no recipe {asked.recipe!r}", "Nearest: " + ", ".join(name for name, _, _ in near)
                       + "; --collection names another collection", "no-recipe")]
    here = own["text"].map(line_key) == line_key(asked.words)
    if not here.any():
        near = process.extract(asked.words, own["text"].tolist(), limit=3)
        return [_fault(f"{asked.recipe} has no line {asked.words!r}", "Write the line as the recipe has it; nearest: "
                       + "; ".join(f"\"{text}\"" for text, _, _ in near), "no-line")]
    kind = lines.set_index("line_id").at[own.loc[here, "line_id"].iloc[0], "kind"]
    if asked.kind == MATCH and kind != "food":
        return [_fault(f"the line {asked.words!r} is read as {kind}", "Rewrite the line in the recipe so that it names a food", "not-as-read")]
    return []


def _note_faults(asked: Asked, bench: Bench, changed: Sequence[Effect]) -> list[Problem]:
    """A note may not take a food out of every recipe: it would be weighed no more, and its potassium would be gone."""
    if asked.kind != NOTE or asked.scope == decisions.LINE:
        return []
    remedy = "If one line is no food, decide on it alone: the line as it stands, with --recipe RECIPE"
    weighed = [one for one in changed if OUTCOME_WORDS["accepted"] in one.before]
    if weighed:
        first = weighed[0]
        return [_fault(f"{_lines(len(weighed))} that count today would be no food, the first: {first.recipe_id}, line {first.line_no}: "
                       f"\"{first.text_as_written}\"", remedy, "note-on-food")]
    if asked.scope == decisions.PATTERN:
        return []
    found = bench.matchers[0].answer(Question(phrase_key(asked.words), asked.state))[0]
    if found["match_outcome"] != "accepted":
        return []
    return [_fault(f"{asked.words!r} is a food of the table: {found['entry_id']} {found['entry_name']}", remedy, "note-on-food")]


def _row(asked: Asked, foods: pd.DataFrame, entry_name: str) -> dict[str, str]:
    serves = asked.table or ("core" if asked.entry_id else "")
    return {
        "decision_id": asked.decision_id or _new_id(asked, set(foods["decision_id"])), "kind": asked.kind, "phrase": " ".join(asked.words.split()),
        "state": asked.state, "table": ";".join(combine.table_names(serves)) if serves else "", "entry_id": asked.entry_id,
        "entry_name": entry_name, "decided_by": asked.by.strip(), "decided_on": asked.on or date.today().isoformat(),
        "reason": " ".join(asked.reason.split()), "replaces": asked.replaces, "scope": asked.scope, "recipe_id": asked.recipe}


def _new_id(asked: Asked, taken: set[str]) -> str:
    words = phrase_key(f"{asked.recipe} {asked.words} {asked.state}").replace("%", " percent ").split()
    base = "-".join(words)[:LONGEST_ID].strip("-") or "decision"
    numbers = (f"{base}-{number}" for number in range(2, len(taken) + 3))
    return base if base not in taken else next(one for one in numbers if one not in taken)


def _id_faults(row: dict[str, str], foods: pd.DataFrame) -> list[Problem]:
    faults = []
    if not ID.fullmatch(row["decision_id"]):
        faults.append(_fault(f"--id is {row['decision_id']!r}", "Use lower-case letters, digits and hyphens", "duplicate-decision"))
    if row["decision_id"] in set(foods["decision_id"]):
        faults.append(_fault(f"the id {row['decision_id']} is taken", "Give it another --id, or leave --id out", "duplicate-decision"))
    if row["replaces"] and row["replaces"] not in set(foods["decision_id"]):
        near = process.extract(row["replaces"], foods["decision_id"].tolist(), limit=3)
        faults.append(_fault(f"there is no decision {row['replaces']!r} to replace", "Nearest: " + ", ".join(name for name, _, _ in near), "replaces"))
    elif row["replaces"] and row["replaces"] in set(foods["replaces"]):
        by = foods.loc[foods["replaces"] == row["replaces"], "decision_id"].iloc[0]
        faults.append(_fault(f"{row['replaces']} was replaced by {by} before", f"Replace that one: --replaces {by}", "replaces"))
    elif row["replaces"]:
        old = foods.loc[foods["decision_id"] == row["replaces"]].iloc[0]
        if old["kind"] == NEVER and row["kind"] != NEVER and old["decided_by"] != row["decided_by"]:
            faults.append(_fault(f"{old['decision_id']} keeps a food out: {old['decided_by']}, {old['decided_on']}: {old['reason']}",
                                 f"Who ruled it out may let it in again: --by \"{old['decided_by']}\", with the reason why that no longer holds",
                                 "never-overturned"))
    return faults


def _conflicts(row: dict[str, str], foods: pd.DataFrame, bench: Bench) -> list[Problem]:
    """Decisions that hold today and answer the same thing otherwise (or as well)."""
    faults = []
    for table in bench.loaded:
        other = decisions.beside(foods, table.name, table.entries, row["decision_id"])
        if other is not None:
            said = f"{other['kind']} {other['entry_id']} {other['entry_name']}".strip()
            faults.append(_fault(f"decision {other['decision_id']} settles {other['phrase']!r} already: {said}, by {other['decided_by']}, "
                                 f"{other['decided_on']}: {other['reason']}",
                                 f"If this one is to count instead, add --replaces {other['decision_id']}", "conflicting-decision"))
    return list(dict.fromkeys(faults))


def _amounts(entry_id: str, bench: Bench) -> str:
    if not entry_id:
        return ""
    amounts = bench.per_100g.reindex([entry_id]).iloc[0]
    return ", ".join(f"{CALLED[component]} " + ("not known" if pd.isna(amounts[component]) else f"{amounts[component]:g} {unit}")
                     for component, unit in AT_STAKE.items())
