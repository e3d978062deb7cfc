"""The keys of a profile and what may stand under each; the meaning is in :mod:`pipeline.composition.profile`."""

from __future__ import annotations

import math
import re

from pipeline.problems import Problem
from pipeline.sources import STANDINGS
from pipeline.tables import STATES

TAGNAME = re.compile(r"(?:[A-Za-z]+:[A-Za-z0-9_.-]+|[A-Z][A-Z0-9_]*-?[A-Z0-9]*)")
NUMBER_TYPES = ("analysed", "calculated", "imputed", "borrowed")
CLASSES = (
    "leafy-greens", "roots", "potatoes", "sweet-potatoes", "tomatoes", "other-vegetables", "mushrooms", "legumes-dried", "legumes-cooked",
    "pasta", "noodles", "rice", "grains", "flour", "bread", "beef", "lamb", "pork", "bacon-ham", "sausage", "chicken", "turkey", "liver",
    "lean-fish", "oily-fish", "shellfish", "eggs", "milk", "cheese", "cream-yogurt", "fruit", "citrus", "dried-fruit", "nuts-seeds",
    "fats-oils", "sugars", "alcohol", "stock-sauce", "herbs-spices", "salt", "drinks", "water", "other",
)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _is_texts(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def _is_heading(value: object) -> bool:
    texts = [value] if isinstance(value, str) else value
    return bool(texts) and _is_texts(texts) and all(text.strip() for text in texts)


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 1000


def _one_of(*allowed: str):
    return lambda value: isinstance(value, str) and value in allowed


def _map_of(test):
    return lambda value: isinstance(value, dict) and all(test(item) for item in value.values())


# kind -> (test, what it is called in a message)
KINDS = {
    "text": (lambda value: isinstance(value, str) and bool(value.strip()), "a text that is not empty"),
    "note": (lambda value: isinstance(value, str), "a text"),
    "texts": (_is_texts, "a list of texts"),
    "heading": (_is_heading, "a heading, or a list of spellings of it"),
    "headings": (lambda value: isinstance(value, list) and all(_is_heading(item) for item in value), "a list of headings"),
    "number": (_is_number, "a number"),
    "positive": (lambda value: _is_number(value) and value > 0, "a number above 0"),
    "count": (_is_count, "a whole number from 0 to 1000"),
    "switch": (lambda value: isinstance(value, bool), "true or false"),
    "mark": (lambda value: value in (".", ","), '"." or ","'),
    "grouping": (lambda value: value in ("", ".", ",", " ", "'", "\u2019"), '"", ".", ",", " " or "\'"'),
    "letter": (lambda value: isinstance(value, str) and len(value) == 1 and not value.isalnum() and value not in '"\r\n', "one mark, such as , or ;"),
    "tagname": (lambda value: isinstance(value, str) and bool(TAGNAME.fullmatch(value)), "an INFOODS tagname, or PREFIX:code where there is none"),
    "number type": (_one_of(*NUMBER_TYPES), f"one of: {', '.join(NUMBER_TYPES)}"),
    "estimate": (_one_of("imputed", "borrowed", "calculated"), "one of: imputed, borrowed, calculated"),
    "standing": (_one_of(*STANDINGS), f"one of: {', '.join(STANDINGS)}"),
    "per": (_one_of("100 g", "100 ml"), '"100 g" or "100 ml": other denominators are not read'),
    "state": (_one_of(*STATES[1:]), f"one of: {', '.join(STATES[1:])}"),
    "numbers": (_map_of(_is_number), "a table of numbers"),
    "names": (_map_of(lambda value: isinstance(value, str)), "a table of texts"),
    "classes": (_map_of(_one_of(*CLASSES)), f"a table of cooking classes ({', '.join(CLASSES[:4])} ...)"),
}

# table -> (required keys, other keys), each key with its kind
TABLES = {
    "table": ({"source_id": "text", "source_name": "text", "standing": "standing"}, {"note": "note"}),
    "file": ({}, {"decimal": "mark", "thousands": "grouping", "encoding": "text", "delimiter": "letter", "sheets": "texts"}),
    "values": ({"number": "number type", "missing": "texts"}, {
        "trace": "texts", "present_unknown": "texts", "below_detection": "texts", "zero": "texts", "less_than": "texts",
        "footnote_marks": "texts", "brackets": "texts", "estimate": "estimate"}),
    "basis": ({"per": "per"}, {
        "per_100_g_words": "texts", "per_100_ml_words": "texts", "per_100_ml_groups": "texts", "as_purchased_names": "texts",
        "density_g_per_ml": "number", "densities": "numbers", "density_source": "text"}),
    "food": ({"code": "heading", "name": "heading"}, {
        "scientific_name": "heading", "group": "heading", "other_names": "headings", "density": "heading"}),
}
WHOLE = {"trace_limits": "numbers", "detection_limits": "numbers", "group_names": "names", "cooking_classes": "classes"}
SHEET = ({"code": "heading"}, {
    "sheet": "heading", "header_row": "count", "rows_below_header": "count", "name": "heading", "other_names": "headings",
    "scientific_name": "heading", "group": "heading", "density": "heading", "per": "heading", "edible_fraction": "heading",
    "edible_percent": "heading", "refuse_fraction": "heading", "refuse_percent": "heading", "ignored": "texts",
    "group_rows": "switch", "columns": "rows"})
COLUMN = ({"heading": "heading", "component": "tagname", "unit": "text"}, {
    "value_type": "number type", "trace_limit": "positive", "detection_limit": "positive", "n": "heading", "standard_error": "heading",
    "minimum": "heading", "maximum": "heading", "bracket_component": "tagname", "unit_confirmed": "switch"})
ROWS = {
    "sheet": SHEET,
    "calculated": ({"component": "tagname", "unit": "text", "terms": "numbers", "reason": "text"}, {}),
    "state": ({"state": "state", "words": "texts"}, {}),
}
REQUIRED = ("table", "values", "basis")


def key_problems(path: str, content: dict) -> list[Problem]:
    """Every key that is missing, unknown or holds the wrong kind of thing."""
    known = [*TABLES, *WHOLE, *ROWS]
    found = [_wrong(path, key, "is not a table of a profile", f"Use: {', '.join(known)}") for key in content if key not in known]
    found += [_wrong(path, key, "is not given", f"Add [{key}]") for key in REQUIRED if key not in content]
    for key, (required, other) in TABLES.items():
        if key in content:
            found += _table_problems(path, key, content[key], required, other)
    found += [_wrong(path, key, f"is not {KINDS[kind][1]}", "Correct it")
              for key, kind in WHOLE.items() if key in content and not KINDS[kind][0](content[key])]
    for key, (required, other) in ROWS.items():
        found += _rows_problems(path, key, content.get(key, []), required, other)
    return found


def _rows_problems(path: str, key: str, rows: object, required: dict, other: dict) -> list[Problem]:
    if not isinstance(rows, list):
        return [_wrong(path, key, "is not a list of tables", f"Write each as [[{key}]]")]
    found = []
    for number, row in enumerate(rows, 1):
        found += _table_problems(path, f"{key} {number}", row, required, other)
        if key == "sheet" and isinstance(row, dict) and "columns" in row:
            found += _rows_problems(path, f"sheet {number} column", row["columns"], *COLUMN)
    return found


def _table_problems(path: str, key: str, table: object, required: dict, other: dict) -> list[Problem]:
    if not isinstance(table, dict):
        return [_wrong(path, key, "is not a table", "Write its keys below its name")]
    kinds = {**required, **other}
    found = [_wrong(path, f"{key}.{name}", "is not given", f"Give {KINDS[required[name]][1]}") for name in required if name not in table]
    found += [_wrong(path, f"{key}.{name}", "is not a key", f"Use: {', '.join(kinds)}") for name in table if name not in kinds]
    for name, value in table.items():
        kind = kinds.get(name)
        if kind and kind != "rows" and not KINDS[kind][0](value):
            found.append(_wrong(path, f"{key}.{name}", f"{value!r} is not {KINDS[kind][1]}", "Correct it"))
    return found


def _wrong(path: str, key: str, what: str, remedy: str) -> Problem:
    return Problem(f"{path}: {key}", what, remedy, "profile", stage="tables")
