"""Parts of a page that a release may carry: print figures, phosphorus by kind, suitability, allergens, additives, swaps, versions.

Each is None, or empty, where the release has no such table, and the page then leaves the part out.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from pipeline.page_frame import Datum
from pipeline.reason_words import in_words
from pipeline.stages.page_words import BASE, Dish, Record, number

KIND_WORDS = {
    "plant": "from plants", "animal": "from animals", "additive": "from additives", "plant-or-animal": "from plants or animals",
    "plant-or-additive": "from plants or additives", "animal-or-additive": "from animals or additives", "not-told": "cannot be told",
    "all": "all of it"}
DIET_WORDS = {"suits": "suits", "does-not-suit": "does not suit", "unknown": "unknown"}
ALLERGEN_WORDS = {"contains": "contains", "may-contain-through": "may contain", "not-assessed": "not assessed"}


def for_print(dish: Dish) -> dict[str, Record]:
    """The rounded texts by figure, named as on the page (``base/K/portion``); none where the release has no table ``for_print``."""
    rows = dish.evidence.records("for_print", recipe_id=dish.recipe_id, variant_id=BASE, basis="portion")
    return {row["figure_id"].partition("/")[2]: row for row in rows}


class Kind(NamedTuple):
    """Phosphorus of one kind in a portion, and what of it is absorbed; None where it is withheld."""

    words: str
    amounts: list[Datum] | None
    absorbed: list[Datum] | None
    status: str
    lines: str


def phosphorus_kinds(dish: Dish) -> list[Kind]:
    """Phosphorus by kind in one portion of the recipe as written."""
    rows = dish.evidence.records("phosphorus_kinds", recipe_id=dish.recipe_id, variant_id=BASE, basis="portion")
    return [Kind(KIND_WORDS[row["kind"]], _three(row, ""), _three(row, "absorbed"), in_words(row["reason"]) or row["status"], row["lines"]) for row in rows]


def _three(row: Record, what: str) -> list[Datum] | None:
    columns = ("absorbed_mg", "absorbed_low_mg", "absorbed_high_mg") if what else ("phosphorus_mg", "low_mg", "high_mg")
    key = f"phosphorus_kinds {row['variant_id']} {row['basis']} {row['kind']}"
    return None if math.isnan(row[columns[0]]) else [number(row[column], f"{key} {column}") for column in columns]


def phosphorus_to_protein(dish: Dish) -> Record | None:
    """Phosphorus per gram of protein: three numbers, or None where it is not known, and the reason."""
    row = dish.evidence.row("phosphorus_to_protein", recipe_id=dish.recipe_id, variant_id=BASE) if dish.evidence.has("phosphorus_to_protein") else None
    if row is None:
        return None
    key, known = f"phosphorus_to_protein {BASE}", not math.isnan(row["mg_per_g"])
    return {"amounts": [number(row[column], f"{key} {column}") for column in ("mg_per_g", "low_mg_per_g", "high_mg_per_g")] if known else None,
            "reason": in_words(row["reason"])}


class Suits(NamedTuple):
    """A diet or allergen: a word for each variant, and the reason in the recipe as written."""

    name: str
    words: list[Datum]
    reason: str


def diets(dish: Dish) -> list[Suits]:
    """Whether the dish suits a vegetarian or a vegan, by variant."""
    return _by_variant(dish, "suitability", "diet", "verdict", DIET_WORDS)


def allergens(dish: Dish) -> tuple[list[Suits], list[str]]:
    """The allergens that some variant contains or may contain; and the names of those that were not assessed in any."""
    found = _by_variant(dish, "allergens", "allergen", "status", ALLERGEN_WORDS)
    named = [one for one in found if any(word.value != "not-assessed" for word in one.words)]
    return named, [one.name for one in found if one not in named]


def _by_variant(dish: Dish, table: str, subject: str, answer: str, words: dict[str, str]) -> list[Suits]:
    rows = {(row[subject], row["variant_id"]): row for row in dish.evidence.records(table, recipe_id=dish.recipe_id)}
    found = []
    for one in dict.fromkeys(name for name, _ in rows):
        of_variants = [rows[one, variant["variant_id"]] for variant in dish.variants]
        data = [Datum(words[row[answer]], row[answer], f"{table} {row['variant_id']} {one} {answer}") for row in of_variants]
        told = [row["reason"] for row in of_variants if row[answer] not in ("suits", "not-assessed")]
        reasons = dict.fromkeys(part for reason in told for part in reason.split("; ") if part)
        found.append(Suits(one.replace("-", " "), data, "; ".join(reasons)))
    return found


def additives(dish: Dish) -> list[Record]:
    """Lines likely to bring phosphate or potassium additives; the gravest first, each line once, with the variant where it stands."""
    rows = dish.evidence.records("additives", recipe_id=dish.recipe_id)
    order = ("error", "warning", "note")
    ranked = sorted(rows, key=lambda row: (order.index(row["severity"]), row["variant_id"] != BASE, row["line_no"]))
    once = {(row["what"], row["remedy"]): row for row in reversed(ranked)}
    return [{**row, "variant": "" if row["variant_id"] == BASE else dish.variant_name(row["variant_id"])}
            for row in ranked if once[row["what"], row["remedy"]] is row]


def print_changes(dish: Dish) -> list[dict[str, Any]]:
    """The corrections of what is in print of the dish, with the name of their variant; the words are data of the release."""
    return [{**row, **{column: Datum(row[column], row[column], f"print_changes {row['rank']} {column}") for column in ("says", "today", "correction")},
             "dish": dish, "variant": dish.variant_name(row["variant_id"])} for row in dish.evidence.records("print_changes", recipe_id=dish.recipe_id)]
