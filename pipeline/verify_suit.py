"""Second look at whom a dish suits and which allergens its lines show, from the words of lines and entries.

Read from ``reference/diets.csv`` and ``reference/allergens.csv``. Each line is read by itself; a dish is as grave as its gravest
line. Nothing is free from anything: what no line shows is not assessed.
"""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

from pipeline.verify_files import Rows, path_of, place
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project
from pipeline.verify_words import Names, Said, left_of

ALLERGEN_FILE, DIET_FILE = "reference/allergens.csv", "reference/diets.csv"
DIETS = ("vegetarian", "vegan")
# Regulation (EU) No 1169/2011, Annex II, from memory.
ALLERGENS = ("cereals-with-gluten", "crustaceans", "eggs", "fish", "peanuts", "soya", "milk", "nuts", "celery", "mustard", "sesame",
             "sulphites", "lupin", "molluscs")
YES, MAY, OPEN = "contains", "may-contain-through", "not-assessed"
NO, UNKNOWN, SUITS = "does-not-suit", "unknown", "suits"
GRAVITY = (NO, UNKNOWN, SUITS)
FOUND = (YES, MAY)
REASONS = 6
CAUSE = "suitability"


class Line(NamedTuple):
    """A food line: its words without the other choice, its phrase, that choice, its entry, and how it stands."""

    key: tuple[str, str, int, str]
    words: str
    phrase: str
    other: str
    entry: str
    group: str
    settled: bool
    counted: bool


class Told(NamedTuple):
    """What a line says of one subject, and through what."""

    answer: str
    through: str
    found_in: str
    source_id: str


def compare(tables: dict[str, Rows], project: Project, ledger: Ledger) -> None:
    """Reads every line again and compares suitability_evidence, suitability and allergens."""
    lines = _lines(tables, project)
    readers = {**{diet: _Diet(diet, project.listed(DIET_FILE)) for diet in DIETS},
               **{one: _Allergen(one, project.listed(ALLERGEN_FILE)) for one in ALLERGENS}}
    read: dict[tuple, list[Told]] = {}
    by_subject: dict[tuple[str, str, str], list[tuple[Line, Told]]] = defaultdict(list)
    expected = {}
    for line in lines:
        for subject, reader in readers.items():
            same = (subject, *line[1:])
            if same not in read:
                read[same] = list(dict.fromkeys(reader.told(line)))
            for told in read[same]:
                by_subject[*line.key[:2], subject].append((line, told))
                expected[" ".join((line.key[3], subject, told.answer, told.through, told.found_in))] = told
    _compare_evidence(tables["suitability_evidence"], expected, ledger)
    waiting = defaultdict(list)
    for line in lines:
        if line.counted and not line.settled:
            waiting[line.key[:2]].append(line.key[2])
    variants = [(row["recipe_id"], row["variant_id"]) for row in tables["variants"].values()]
    _compare(tables, "suitability", "verdict", {(*key, diet): _verdict(by_subject[*key, diet]) for key in variants for diet in DIETS}, ledger)
    _compare(tables, "allergens", "status",
             {(*key, one): _statement(by_subject[*key, one], waiting[key]) for key in variants for one in ALLERGENS}, ledger)


def _lines(tables: dict[str, Rows], project: Project) -> list[Line]:
    found = []
    for line_id, row in tables["lines"].items():
        if row["outcome"] == "not-food":
            continue
        other = tables["parsed"][line_id]["alternative"]
        entry = project.tables.entry(row["entry_id"]) or {}
        found.append(Line((row["recipe_id"], row["variant_id"], int(row["line_no"]), line_id), left_of(row["text"], other), row["phrase"], other,
                          row["entry_name"], entry.get("cooking_class", ""), row["outcome"] == "accepted", row["counted"] == "true"))
    return found


def _compare_evidence(written: Rows, expected: dict[str, Told], ledger: Ledger) -> None:
    origin = f"{DIET_FILE} and {ALLERGEN_FILE}"
    ledger.keys(CAUSE, path_of("suitability_evidence"), written, expected, origin)
    for key in written.keys() & expected.keys():
        ledger.same(place(CAUSE, "suitability_evidence", key), "source_id", written[key]["source_id"], expected[key].source_id, origin)


def _compare(tables: dict[str, Rows], table: str, column: str, expected: dict[tuple[str, str, str], tuple[str, str, str]], ledger: Ledger) -> None:
    written = tables[table]
    named = {" ".join(key): told for key, told in expected.items()}
    ledger.keys(CAUSE, path_of(table), written, named, path_of("variants"))
    for key in sorted(written.keys() & named.keys()):
        ledger.counts[table] += 1
        for name, told in zip((column, "lines", "reason"), named[key], strict=True):
            ledger.same(place(CAUSE, table, key), name, written[key][name], told, path_of("suitability_evidence"))


# ---------------------------------------------------------------- a dish

def _verdict(told: list[tuple[Line, Told]]) -> tuple[str, str, str]:
    here = [one for one in told if one[0].counted]
    aside = [one for one in told if not one[0].counted and one[1].answer != SUITS]
    spoken = f"without the optional {_reasons(aside)}" if aside else ""
    if not here:
        return UNKNOWN, "", "; ".join(filter(None, ("no line is counted", spoken)))
    answer = min((one.answer for _, one in here), key=GRAVITY.index)
    deciding = [one for one in here if one[1].answer == answer]
    shown = deciding if answer != SUITS else [one for one in deciding if "read the label" in one[1].through]
    return answer, "" if answer == SUITS else _numbers(deciding), "; ".join(filter(None, (_reasons(shown), spoken)))


def _statement(told: list[tuple[Line, Told]], waiting: list[int]) -> tuple[str, str, str]:
    open_lines = f"; not settled: line {', '.join(str(number) for number in sorted(waiting))}" if waiting else ""
    for status in FOUND:
        here = [one for one in told if one[1].answer == status]
        if here:
            return status, _numbers(here), _reasons(here) + open_lines
    return OPEN, "", f"no line names it; that does not mean that the dish is free of it{open_lines}"


def _numbers(told: list[tuple[Line, Told]]) -> str:
    return ", ".join(map(str, sorted({line.key[2] for line, _ in told})))


def _reasons(told: list[tuple[Line, Told]]) -> str:
    by_line: dict[int, str] = {}
    for line, one in told:
        by_line[line.key[2]] = min(by_line.get(line.key[2], one.through), one.through)
    ordered = sorted(by_line.items())
    named = [f"line {number}: {through}" for number, through in ordered[:REASONS]]
    return "; ".join([*named, *([f"and {len(ordered) - REASONS} more"] if len(ordered) > REASONS else [])])


# ---------------------------------------------------------------- a line and an allergen

class _Allergen:
    """The rows of one allergen."""

    def __init__(self, allergen: str, rows: list[dict[str, str]]):
        self._by_food, self._by_class = defaultdict(list), defaultdict(list)
        for row in rows:
            if row["allergen"] == allergen and row["scope"] != "label":
                (self._by_food if row["scope"] == "words" else self._by_class)[row["food"]].append(row)
        labels = [row for row in rows if row["scope"] == "label"]
        self._names, self._labels = Names(self._by_food), Names(row["food"] for row in labels)
        self._denying = {row["food"] for row in labels if row["allergen"] == allergen}

    def told(self, line: Line) -> list[Told]:
        hits = self._names.said(line.words, self._labels)
        found = [one for hit in hits for one in self._said(hit)]
        found += [_may(one, "only in the other choice of the line", "other choice")
                  for hit in self._names.said(line.other, self._labels) for one in self._said(hit)]
        by_entry = self._by_entry(line)
        if hits:
            by_entry = [one for one in by_entry if one.answer == YES or one.found_in == "entry"]
        if any(hit.label in self._denying or any(row["level"] == "not" for row in self._by_food[hit.food]) for hit in hits):
            by_entry = [_may(one, "the line's words name another food than its entry") for one in by_entry]
        elif not line.settled:
            by_entry = [_may(one, "by the nearest entry; the line is not settled") for one in by_entry]
        found += by_entry
        return found if line.counted else [_may(one, "optional, and left out here") for one in found]

    def _said(self, hit: Said) -> list[Told]:
        found = [_row(row, hit.food, "words") for row in self._by_food[hit.food] if row["level"] in FOUND]
        if hit.label in self._denying or hit.denied and hit.label:
            return [_may(one, f'the line says "{hit.label}": read the label') for one in found]
        return [_may(one, 'the line says "without"') for one in found] if hit.denied else found

    def _by_entry(self, line: Line) -> list[Told]:
        rows = [(food, row) for food in self._names.named(line.entry) for row in self._by_food[food]]
        by_class = self._by_class[line.group] if line.group else []
        if rows:
            by_class = [] if any(row["level"] == "not" for _, row in rows) else [row for row in by_class if row["level"] == YES]
        return [*(_row(row, f"{food} (entry {line.entry})", "entry") for food, row in rows if row["level"] in FOUND),
                *(_row(row, f"{line.group} (class of {line.entry})", "class") for row in by_class)]


def _row(row: dict[str, str], food: str, found_in: str) -> Told:
    law = f" = {row['named']}" if row["named"] and row["named"] not in food else ""
    note = f": {row['note']}" if row["note"] and row["level"] == MAY else ""
    return Told(row["level"], food + law + note, found_in, row["source_id"])


def _may(one: Told, why: str, found_in: str = "") -> Told:
    return one._replace(answer=MAY, through=f"{one.through} ({why})", found_in=found_in or one.found_in)


# ---------------------------------------------------------------- a line and a diet

class _Diet:
    """The rows of one diet."""

    def __init__(self, diet: str, rows: list[dict[str, str]]):
        self._diet = diet
        self._foods, self._classes, self._label_rows = (
            {row["food"]: row for row in rows if row["scope"] == scope} for scope in ("words", "class", "label"))
        self._names, self._labels = Names(self._foods), Names(self._label_rows)

    def told(self, line: Line) -> list[Told]:
        return [self._one(line)]

    def _one(self, line: Line) -> Told:
        written = [self._said(hit) for hit in self._names.said(line.words, self._labels)]
        first = _gravest(written)
        if first and first.answer == NO:
            return first
        if not line.settled:
            return Told(UNKNOWN, "the line is not settled", "line", "")
        listed = self._by_entry(line)
        answer = self._both(first, listed, line) if first else listed
        choice = _gravest([self._said(hit) for hit in self._names.said(line.other, self._labels)])
        if answer.answer == SUITS and choice and choice.answer != SUITS:
            return Told(UNKNOWN, f"{choice.through}, in the other choice of the line", "other choice", choice.source_id)
        return answer

    def _both(self, first: Told, listed: Told, line: Line) -> Told:
        if listed.answer == NO:
            return first._replace(answer=UNKNOWN, through=f"{first.through}, but counted as {line.entry}", found_in="words")
        if (listed.found_in, listed.answer) == ("class", UNKNOWN):
            whole = first.answer != SUITS or self._names.ends_a_part(line.phrase or line.words)
            return first if whole else listed
        return _gravest([first, listed])

    def _said(self, hit: Said) -> Told:
        row = self._foods[hit.food]
        answer, by_label = row[self._diet], self._label_rows[hit.label][self._diet] if hit.label else ""
        if answer != SUITS and by_label:
            return Told(by_label, f'{hit.food}, "{hit.label}" by its wording: read the label', "words", row["source_id"])
        if answer != SUITS and hit.denied:
            return Told(UNKNOWN, f'{hit.food}, "without" before it: read the line', "words", row["source_id"])
        return Told(answer, self._through(row), "words", row["source_id"])

    def _by_entry(self, line: Line) -> Told:
        named = _gravest([self._listed(self._foods[food], line, "entry") for food in self._names.named(line.entry)])
        if line.group not in self._classes:
            return named or Told(UNKNOWN, f"nothing is known of the class of {line.entry}", "class", "")
        by_class = self._listed(self._classes[line.group], line, "class")
        if named and by_class.answer == UNKNOWN:
            return named if named.answer != SUITS or self._names.covers_the_head(line.entry) else by_class
        return _gravest([by_class, *([named] if named else [])])

    def _listed(self, row: dict[str, str], line: Line, found_in: str) -> Told:
        return Told(row[self._diet], f"{self._through(row)} (entry {line.entry})", found_in, row["source_id"])

    def _through(self, row: dict[str, str]) -> str:
        """A note is shown where it bears on this diet: that of a cheese is on its rennet, and a vegan needs none."""
        origin = "" if row["origin"] in ("plant", row["food"]) else f" ({row['origin']})"
        answers = [row[diet] for diet in DIETS]
        for_all = row[self._diet] == NO and set(answers) == {NO}
        bears = row["note"] and (row[self._diet] == UNKNOWN or for_all)
        return row["food"] + origin + (f": {row['note']}" if bears else "")


def _gravest(told: list[Told]) -> Told | None:
    return min(told, key=lambda one: GRAVITY.index(one.answer), default=None)
