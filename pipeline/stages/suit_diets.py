"""Whether a line suits a vegetarian or a vegan, and why.

The words of the line come first, the name of its entry second, the entry's cooking class last. A line that
is not settled suits nobody for certain: its words can show that it does not suit, never that it does.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from pipeline.problems import InputError, Problem
from pipeline.remembered import remembered
from pipeline.stages.suit_allergens import Evidence, Line
from pipeline.stages.suit_words import Hit, Lexicon, headed, led, named, said
from pipeline.suitability_form import DIET_ANSWERS, DIETS

NO, UNKNOWN, SUITS = DIET_ANSWERS
WHERE = "reference/diets.csv"


@dataclass(frozen=True)
class Row:
    """A row of the reference file: where the food comes from, and its answer for each diet ("" : says nothing)."""

    food: str
    origin: str
    answers: dict[str, str]
    source_id: str
    note: str


@dataclass(frozen=True)
class Diets:
    """``reference/diets.csv`` by food, by cooking class and by label word."""

    lexicon: Lexicon
    labels: Lexicon
    foods: dict[str, Row]
    classes: dict[str, Row]
    label_rows: dict[str, Row]


@remembered(most=2)
def diets(rows: pd.DataFrame) -> Diets:
    """The file made ready. Raises :class:`InputError` for a row with an unknown scope or answer, or given twice."""
    allowed = {"words": DIET_ANSWERS, "class": DIET_ANSWERS, "label": (SUITS, "")}
    sound = pd.Series(False, index=rows.index)
    for scope, answers in allowed.items():
        sound |= (rows["scope"] == scope) & rows["vegetarian"].isin(answers) & rows["vegan"].isin(answers)
    wrong = list(rows.index[~sound])
    wrong += list(rows.index[rows.duplicated(["food", "scope"])])
    if wrong:
        raise InputError([Problem(f"{WHERE}:{row + 2}", "has an unknown scope or answer, or is given twice",
                                  f"Scope: words, class, label; answers: {', '.join(DIET_ANSWERS)}; each food once", "wrong-diet-row")
                          for row in sorted(set(wrong))])
    foods, classes, labels = (_rows(rows[rows["scope"] == scope]) for scope in allowed)
    return Diets(Lexicon.of(foods), Lexicon.of(labels), foods, classes, labels)


def _rows(rows: pd.DataFrame) -> dict[str, Row]:
    return {row["food"]: Row(row["food"], row["origin"], {diet: row[diet] for diet in DIETS}, row["source_id"], row["note"])
            for row in rows.to_dict("records")}


def gravest(answers: list[Evidence]) -> Evidence:
    """The evidence that decides: the gravest answer, the first of several."""
    return min(answers, key=lambda one: DIET_ANSWERS.index(one.answer))


def of_line(line: Line, diet: str, known: Diets) -> Evidence:
    """What a line says of one diet; the same line always says the same, whatever stands beside it."""
    written = [_by_words(hit, diet, known) for hit in said(line.words, known.lexicon, known.labels)]
    first = gravest(written) if written else None
    if first is not None and first.answer == NO:
        return first
    if not line.settled:
        return Evidence(diet, UNKNOWN, "the line is not settled", "line", "")
    listed = _by_entry(line, diet, known)
    answer = listed if first is None else _together(first, listed, line, known)
    other = [_by_words(hit, diet, known) for hit in said(line.other, known.lexicon, known.labels)]
    if answer.answer == SUITS and other and gravest(other).answer != SUITS:
        doubt = gravest(other)
        return Evidence(diet, UNKNOWN, f"{doubt.through}, in the other choice of the line", "other choice", doubt.source_id)
    return answer


def _together(first: Evidence, listed: Evidence, line: Line, known: Diets) -> Evidence:
    """The words of a line and its entry, where the words do not rule it out by themselves."""
    if listed.answer == NO:
        return Evidence(first.subject, UNKNOWN, f"{first.through}, but counted as {line.entry_name}", "words", first.source_id)
    if listed.found_in == "class" and listed.answer == UNKNOWN:
        # The class holds foods of every kind; the words settle it where they name one, not where they name a part of one.
        return first if first.answer != SUITS or headed(line.phrase or line.words, known.lexicon) else listed
    return gravest([first, listed])


def _by_words(hit: Hit, diet: str, known: Diets) -> Evidence:
    row = known.foods[hit.food]
    answer = row.answers[diet]
    by_label = known.label_rows[hit.label].answers[diet] if hit.label else ""
    if by_label and answer != SUITS:
        return Evidence(diet, by_label, f'{hit.food}, "{hit.label}" by its wording: read the label', "words", row.source_id)
    if hit.negated and answer != SUITS:
        return Evidence(diet, UNKNOWN, f'{hit.food}, "without" before it: read the line', "words", row.source_id)
    return Evidence(diet, answer, _through(row, diet), "words", row.source_id)


def _by_entry(line: Line, diet: str, known: Diets) -> Evidence:
    by_name = [_evidence(known.foods[food], diet, line, "entry") for food in named(line.entry_name, known.lexicon)]
    row = known.classes.get(line.cooking_class)
    if row is None:
        unnamed = Evidence(diet, UNKNOWN, f"nothing is known of the class of {line.entry_name}", "class", "")
        return gravest(by_name) if by_name else unnamed
    by_class = _evidence(row, diet, line, "class")
    if by_name and by_class.answer == UNKNOWN:
        named_whole = gravest(by_name).answer != SUITS or led(line.entry_name, known.lexicon)
        return gravest(by_name) if named_whole else by_class
    return gravest([by_class, *by_name])


def _evidence(row: Row, diet: str, line: Line, found_in: str) -> Evidence:
    return Evidence(diet, row.answers[diet], f"{_through(row, diet)} (entry {line.entry_name})", found_in, row.source_id)


def _through(row: Row, diet: str) -> str:
    """The food, where it comes from, and the note where it bears on this diet (that of a cheese is on its rennet, not its milk)."""
    origin = f" ({row.origin})" if row.origin not in ("plant", row.food) else ""
    answer, others = row.answers[diet], set(row.answers.values())
    plain = answer == SUITS or (answer == NO and others != {NO})
    return f"{row.food}{origin}" + (f": {row.note}" if row.note and not plain else "")
