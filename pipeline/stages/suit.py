"""Suitability: vegetarian and vegan, and the 14 allergens, per recipe and variant, from its lines.

A dish suits a diet only where every counted line does; one that is not settled makes it unknown. An allergen is
contained, may be contained through a made-up food, or is not assessed: nothing is ever said to be free of it.
"""

from __future__ import annotations

from collections import defaultdict

import pandas as pd

from pipeline import schema
from pipeline.stages import suit_allergens, suit_diets
from pipeline.stages.suit_allergens import CONTAINS, MAY, NOT_ASSESSED, Line
from pipeline.stages.suit_diets import NO, SUITS, UNKNOWN
from pipeline.stages.suit_words import without
from pipeline.suitability_form import ALLERGENS, DIETS, AllergenStatements, DietVerdicts, SuitabilityEvidence

KEY = ["recipe_id", "variant_id"]
REASONS_NAMED = 6
FREE_FROM_NOTHING = "no line names it; that does not mean that the dish is free of it"


def suit(
    settled: pd.DataFrame, parsed: pd.DataFrame, entries: pd.DataFrame, variants: pd.DataFrame,
    allergen_rows: pd.DataFrame, diet_rows: pd.DataFrame,
) -> dict[str, pd.DataFrame]:
    """The tables ``suitability_evidence``, ``suitability`` and ``allergens`` (models of
    :mod:`pipeline.suitability_form`).

    ``settled``, ``parsed``, ``entries`` and ``variants`` as their models (of ``parsed`` the line's ``kind`` and other
    choice are used, of ``entries`` the cooking class); ``allergen_rows`` and ``diet_rows`` are ``reference/allergens.csv``
    and ``reference/diets.csv``. Raises :class:`pipeline.problems.InputError` for a faulty reference row.
    """
    lines = _lines(settled, parsed, entries)
    found = _evidence(lines, suit_allergens.allergens(allergen_rows), suit_diets.diets(diet_rows))
    counted = set(lines.loc[lines["counted"], "line_id"])
    waiting = defaultdict(list)
    for row in lines[lines["counted"] & (lines["outcome"] != "accepted")].itertuples(index=False):
        waiting[(row.recipe_id, row.variant_id)].append(row.line_no)
    by_subject = defaultdict(list)
    for row in found.itertuples(index=False):
        by_subject[(row.recipe_id, row.variant_id, row.subject)].append(row)
    verdicts, statements = [], []
    for key in zip(variants["recipe_id"], variants["variant_id"], strict=True):
        verdicts += [(*key, diet, *_verdict(by_subject[(*key, diet)], counted)) for diet in DIETS]
        statements += [(*key, one, *_statement(by_subject[(*key, one)], waiting[key])) for one in ALLERGENS]
    return {
        "suitability_evidence": found,
        "suitability": _table(DietVerdicts, verdicts),
        "allergens": _table(AllergenStatements, statements),
    }


def _table(model, rows: list[tuple]) -> pd.DataFrame:
    if not rows:
        return schema.empty(model)
    return schema.checked(model, pd.DataFrame(rows, columns=schema.columns(model)), "suit")


def _lines(settled: pd.DataFrame, parsed: pd.DataFrame, entries: pd.DataFrame) -> pd.DataFrame:
    """The food lines with what each needs: the other choice from the reading, the cooking class from the entry."""
    food = settled[settled["outcome"] != "not-food"]
    frame = food.merge(parsed[["line_id", "alternative"]], on="line_id", how="left", validate="1:1").fillna({"alternative": ""})
    classes = dict(zip(entries["entry_id"], entries["cooking_class"], strict=True))
    return frame.assign(cooking_class=[classes.get(entry_id, "") for entry_id in frame["entry_id"]])


def _evidence(lines: pd.DataFrame, allergens, diets) -> pd.DataFrame:
    rows, known = [], {}
    for row in lines.itertuples(index=False):
        line = Line(without(row.text, row.alternative), row.phrase, row.alternative, row.entry_name, row.cooking_class,
                    row.outcome == "accepted", row.counted)
        if line not in known:  # the lines of a recipe come back in each of its variants
            said = [suit_diets.of_line(line, diet, diets) for diet in DIETS] + suit_allergens.of_line(line, allergens)
            known[line] = list(dict.fromkeys(said))
        rows += [(row.recipe_id, row.variant_id, row.line_no, row.line_id, one.subject, one.answer, one.through, one.found_in,
                  one.source_id) for one in known[line]]
    table = _table(SuitabilityEvidence, rows)
    return table.sort_values([*KEY, "line_no", "subject", "answer", "through"], kind="stable", ignore_index=True)


def _verdict(found: list, counted: set[str]) -> tuple[str, str, str]:
    """Verdict, deciding lines and reason of one variant and diet, from one row of evidence per line."""
    here = [row for row in found if row.line_id in counted]
    optional = [row for row in found if row.line_id not in counted and row.answer != SUITS]
    aside = f"without the optional {_reasons(optional)}" if optional else ""
    if not here:
        return UNKNOWN, "", "; ".join(part for part in ("no line is counted", aside) if part)
    answer = next(one for one in (NO, UNKNOWN, SUITS) if any(row.answer == one for row in here))
    deciding = [row for row in here if row.answer == answer]
    doubts = [row for row in here if "read the label" in row.through] if answer == SUITS else deciding
    reasons = [_reasons(doubts) if doubts else "", aside]
    return answer, "" if answer == SUITS else _numbers(deciding), "; ".join(part for part in reasons if part)


def _statement(found: list, unread: list[int]) -> tuple[str, str, str]:
    """Status, lines and reason of one variant and allergen."""
    status = next((one for one in (CONTAINS, MAY) if any(row.answer == one for row in found)), NOT_ASSESSED)
    waiting = f"; not settled: line {', '.join(map(str, sorted(unread)))}" if unread else ""
    if status == NOT_ASSESSED:
        return status, "", FREE_FROM_NOTHING + waiting
    here = [row for row in found if row.answer == status]
    return status, _numbers(here), _reasons(here) + waiting


def _numbers(rows: list) -> str:
    return ", ".join(str(number) for number in sorted({row.line_no for row in rows}))


def _reasons(rows: list) -> str:
    """The reasons by line, one per line, the first lines named and the others counted."""
    first: dict[int, str] = {}
    for row in sorted(rows, key=lambda row: (row.line_no, row.through)):
        first.setdefault(row.line_no, row.through)
    named = [f"line {number}: {through}" for number, through in list(first.items())[:REASONS_NAMED]]
    more = len(first) - len(named)
    return "; ".join(named) + (f"; and {more} more" if more else "")
