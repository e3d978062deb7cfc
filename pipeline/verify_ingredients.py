"""Second look at the ingredients: which lines bring salt or sugars of their own, from ``reference/added_substances.csv``."""

from __future__ import annotations

import math
import unicodedata

from pipeline.verify_figures import Figure
from pipeline.verify_files import Rows, number
from pipeline.verify_sources import Project

FILE = "reference/added_substances.csv"
INGREDIENTS = "ingredients"
ORDER = ("no", "may", "yes")


def counted(tables: dict[str, Rows], project: Project, manifest: dict) -> dict[tuple[str, str, str, str, str], Figure]:
    """How many lines bring each substance (value and low), and how many may (high), by the key of a figure.

    Empty for a release that was made without the file: its claims on ingredients were not assessed.
    """
    if FILE not in {row["path"] for row in manifest["inputs"]}:
        return {}
    by_substance: dict[str, list[dict[str, str]]] = {}
    for row in project.listed(FILE):
        by_substance.setdefault(row["substance"], []).append(row)
    held = {(row["line_id"], row["component"]): number(row["value_per_100g"]) for row in tables["contributions"].values()}
    found = {}
    for variant in tables["variants"].values():
        key = (variant["recipe_id"], variant["variant_id"])
        lines = [(row, plain_words(row["entry_name"])) for row in tables["lines"].values()
                 if (row["recipe_id"], row["variant_id"]) == key and row["outcome"] != "not-food"]
        for substance, rules in by_substance.items():
            told = [_of_line(line, words, rules, held) for line, words in lines]
            certain, possible = told.count("yes"), told.count("may")
            found[*key, substance, INGREDIENTS, INGREDIENTS] = Figure(certain, certain, certain + possible, 1.0, 1.0, "ready")
    return found


def _of_line(line: dict[str, str], words: list[str], rules: list[dict[str, str]], held: dict[tuple[str, str], float]) -> str:
    counts = line["counted"] == "true"
    if line["outcome"] != "accepted":
        return "may" if counts else "no"
    best = (-1, "no")
    for rule in rules:
        asked = rule["words"].split()
        if asked and asked[0] not in words or not any(words[start:start + len(asked)] == asked for start in range(len(words) + 1)):
            continue
        above, amount = number(rule["above_per_100g"]), held.get((line["line_id"], rule["component"]), math.nan)
        if not math.isnan(above) and not math.isnan(amount) and amount <= above:
            continue
        best = max(best, (len(asked), rule["brings"]), key=lambda one: (one[0], ORDER.index(one[1])))
    return "may" if best[1] == "yes" and not counts else best[1]


def plain_words(name: str) -> list[str]:
    """The words of a name in lower case, without accents and marks; "&" is a word, and a genitive's s is none."""
    letters = "".join(one for one in unicodedata.normalize("NFKD", name.casefold()) if not unicodedata.combining(one))
    letters = letters.replace("&", " and ").replace("\u2019", "'").replace("'s", "")
    return "".join(one if one.isascii() and one.isalnum() or one == "%" else " " for one in letters).split()
