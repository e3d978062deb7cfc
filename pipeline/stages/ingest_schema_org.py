"""Recipes in schema.org Recipe JSON-LD (https://schema.org/Recipe), as a web page carries them.

The words stay as written; HTML entities are resolved and HTML mark-up, which is not words, is taken away.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import unquote, urlsplit

from pipeline.stages.ingest_amounts import portions_of, printed_amounts
from pipeline.stages.ingest_files import SourceFile, text_of, unreadable
from pipeline.stages.ingest_json import PlacedObject, PlacedText, read_json
from pipeline.stages.ingest_written import (
    Line, Notes, PrintedFigure, Words, Written, keeps_limits, sectioned, slug, steps_of, words,
)

# schema.org property -> INFOODS tagname and the unit its definition on schema.org gives to a bare number.
# Calories has the type Energy; a bare number is taken as kcal (common practice, no source).
NUTRITION = {
    "calories": ("ENERC", "kcal"), "fatContent": ("FAT", "g"), "saturatedFatContent": ("FASAT", "g"),
    "transFatContent": ("FATRN", "g"), "cholesterolContent": ("CHOLE", "mg"), "sodiumContent": ("NA", "mg"),
    "fiberContent": ("FIBTG", "g"), "sugarContent": ("SUGAR", "g"), "proteinContent": ("PROCNT", "g"),
    "potassiumContent": ("K", ""), "phosphorusContent": ("P", ""), "calciumContent": ("CA", ""),
}
_BLOCK = re.compile(r"<\s{0,3}/?\s{0,3}(?:br|p|li|ol|ul|div|h[1-6])\b[^<>]*>", re.I)
_MARK_UP = re.compile(
    r"</?(?:a|abbr|b|em|font|i|img|label|mark|small|span|strong|sub|sup|time|u)(?:\s[^<>]*)?/?>|<!--(?:(?!<!--).)*?-->", re.I | re.S)
_RAISED = re.compile(r"(?<=\d)(?=<sup\b)", re.I)  # a whole number before a fraction in small type
_PREFIX = re.compile(r"^(?:schema:|https?://schema\.org/)")
_PORTION_WORDS = re.compile(r"serv|portion|people|person", re.I)


def read_schema_org(file: SourceFile) -> tuple[list[Written], list[Notes]]:
    """The recipes of one JSON-LD file, and the notes of every recipe in it, broken ones too.

    Raises :class:`Unreadable` where the file cannot be read or holds no schema.org Recipe.
    """
    try:
        found = list(_recipes(read_json(text_of(file), file.name)))
    except RecursionError:
        raise unreadable(file.name, "is nested too deeply to be a recipe", "Take the file away", "json-nested") from None
    if not found:
        raise unreadable(
            file.name, "holds no schema.org Recipe", "Give its recipes the @type Recipe, or take the file away", "no-recipe",
        )
    read = [_recipe(item, file.name) for item in found]
    return [written for written, _ in read if written], [notes for _, notes in read]


def _recipes(value: Any) -> Iterator[PlacedObject]:
    if isinstance(value, list):
        for item in value:
            yield from _recipes(item)
    elif isinstance(value, dict):
        if "Recipe" in _types(value):
            yield value
            return
        for item in value.values():
            yield from _recipes(item)


def _types(value: Any) -> set[str]:
    kinds = _many(value.get("@type", value.get("type"))) if isinstance(value, dict) else []
    return {_PREFIX.sub("", kind) for kind in kinds if isinstance(kind, str)}


def _recipe(item: PlacedObject, source_file: str) -> tuple[Written | None, Notes]:
    recipe = {_PREFIX.sub("", key): value for key, value in item.items()}
    name = _first_text(recipe.get("name"))
    notes = Notes(source_file, _id(recipe, name))
    for key in item.twice:
        notes.error(item.line, f"the key {key!r} is written twice", "Keep the one that is meant", "key-twice")
    name = words(name, item.line, notes, "name") or "" if name else ""
    if not name and not notes.failed:
        notes.error(item.line, "the recipe has no name", "Give it a name", "no-name")
    lines = _lines(recipe.get("recipeIngredient", recipe.get("ingredients")), item.line, notes)
    steps = steps_of(_steps(recipe.get("recipeInstructions"), item.line, notes), notes)
    keeps_limits(lines, steps, item.line, notes)
    portions = _portions(recipe.get("recipeYield", recipe.get("yield")), item.line, notes)
    written = Written(
        recipe_id=notes.recipe_id, id_given=False, name=name, portions=portions or 1.0, source_file=source_file,
        source_line=item.line, lines=lines, steps=steps,
        course=_course(recipe.get("recipeCategory"), item.line, notes),
        units_system=_units(recipe.get("inLanguage")), figures=_figures(recipe, source_file, item.line, notes),
    )
    return (None if notes.failed else written), notes


def _course(value: Any, place: int, notes: Notes) -> str:
    parts = (words(_text(part), place, notes, "recipeCategory") for part in _many(value) if _text(part))
    return "; ".join(part for part in parts if part)


def _id(recipe: dict, name: str) -> str:
    """From identifier, @id or url (the last part of an address that names anything), else from the name."""
    for key in ("identifier", "@id", "url"):
        given = _first_text(recipe.get(key)).strip()
        if not given or given.startswith("_:"):
            continue
        if "/" not in given and ":" not in given and not given.startswith("#"):
            return slug(given)
        parts = [part for part in unquote(urlsplit(given).path).split("/") if part]
        if parts and re.search(r"[a-z0-9]", parts[-1], re.I):
            return slug(re.sub(r"\.(html?|php|json|jsonld)$", "", parts[-1], flags=re.I))
    return slug(name)


def _lines(value: Any, place: int, notes: Notes) -> tuple[Line, ...]:
    lines: list[Line] = []
    for heading, found in _ingredients(value, "", place, notes):
        section = heading or (lines[-1].section if lines else "")
        lines.extend(sectioned([found], notes, section))
    return tuple(lines)


def _ingredients(value: Any, heading: str, place: int, notes: Notes) -> Iterator[tuple[str, Words]]:
    """Heading and words of each line; schema.org allows Text, PropertyValue and ItemList."""
    for item in _many(value):
        text, line = _text(item), _place(item, place)
        if isinstance(item, dict) and "itemListElement" in item:
            yield from _ingredients(item["itemListElement"], _first_text(item.get("name")), line, notes)
        elif isinstance(item, dict) and _types(item) & {"ListItem"} and "item" in item:
            yield from _ingredients(item["item"], heading, line, notes)
        elif isinstance(item, dict) and not text and _first_text(item.get("name")):
            parts = (item.get("value"), item.get("unitText"), item.get("name"))
            composed = " ".join(str(part) for part in parts if isinstance(part, (str, int, float)) and str(part).strip())
            notes.warning(
                line, f"a line was put together from its parts: {composed!r}",
                "Write the ingredient as one text", "line-composed",
            )
            yield heading, Words(composed, line)
        elif isinstance(item, str) or text:
            for row in _rows(text) or [""]:
                yield heading, Words(row, line)
        elif item is not None:
            notes.error(line, f"one ingredient is {_kind(item)}, not text", "Write the ingredient as one text", "line-not-text")


def _steps(value: Any, place: int, notes: Notes) -> Iterator[Words]:
    """Steps in order: a text, texts, HowToStep, HowToSection, HowToDirection, HowToTip or ItemList."""
    for item in _many(value):
        line = _place(item, place)
        if isinstance(item, list):
            yield from _steps(item, line, notes)
        elif isinstance(item, dict) and item.get("itemListElement") and not _text(item):
            yield from _steps(item["itemListElement"], line, notes)
        elif isinstance(item, dict) and isinstance(item.get("item"), (dict, str)):
            yield from _steps(item["item"], line, notes)
        elif text := (_text(item) or (_first_text(item.get("name")) if isinstance(item, dict) else "")):
            yield from (Words(row, line) for row in _rows(text))
        elif item not in (None, ""):
            notes.warning(
                line, f"one method step is {_kind(item)} without text and was left out",
                "Write the step as a text", "step-not-text",
            )


def _portions(value: Any, place: int, notes: Notes) -> float | None:
    said = [(text, _place(item, place)) for item in _many(value) if (text := _yield_text(item).strip())]
    if not said:
        notes.error(
            place, "the recipe does not say how many portions it makes (recipeYield)",
            "Give recipeYield, for example \"4\"", "no-portions",
        )
        return None
    preferred = [pair for pair in said if _PORTION_WORDS.search(pair[0])] or [pair for pair in said if re.fullmatch(r"[\d.]+", pair[0])]
    if not preferred and len(said) > 1:
        notes.error(
            place, f"the portions cannot be read from {'; '.join(text for text, _ in said)!r}",
            "Give one recipeYield, for example \"4\"", "portions-unreadable",
        )
        return None
    text, line = (preferred or said)[0]
    number = portions_of(text, line, notes)
    others = [other for other, _ in said if number is not None and portions_of(other, line, Notes("")) != number]
    if others:
        notes.warning(
            line, f"{number:g} portions were read from {text!r}, beside {'; '.join(others)!r}",
            "Give one recipeYield, if that is not meant", "portions-several",
        )
    return number


def _yield_text(item: Any) -> str:
    if isinstance(item, dict) and not _text(item):
        amount = item.get("value", item.get("minValue", ""))
        return f"{_number(amount)} {_first_text(item.get('unitText'))}".strip()
    return _number(item) if isinstance(item, (int, float)) and not isinstance(item, bool) else _text(item)


def _number(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return _text(value)
    return f"{value:g}" if math.isfinite(value) and abs(value) < 1e6 else str(value)


def _figures(recipe: dict, source_file: str, place: int, notes: Notes) -> tuple[PrintedFigure, ...]:
    """Figures of NutritionInformation: per portion, or per 100 g where that is its serving size."""
    found = []
    units = _units(recipe.get("inLanguage"))
    for block in (item for item in _many(recipe.get("nutrition")) if isinstance(item, dict)):
        line = _place(block, place)
        basis = "100g" if re.fullmatch(r"(?:per\s+)?100\s*g(?:rams?)?", _first_text(block.get("servingSize")).strip(), re.I) else "portion"
        for key, value in block.items():
            key = _PREFIX.sub("", key)
            # Carbohydrate on a label is available carbohydrate in the EU and UK, total in the US.
            carbohydrate = ("CHOCDF" if units == "us" else "CHOAVLDF", "g") if key == "carbohydrateContent" else None
            component, unit = NUTRITION.get(key) or carbohydrate or ("", "")
            text = " ".join(re.sub(r"(?<=\d),(?=\d{3}\b)", "", _number(value)).split())
            if not text or key.startswith("@") or key in ("type", "servingSize", "name", "description"):
                continue
            if not component:
                notes.warning(
                    _place(value, line), f"the printed figure {key!r} has no tagname and was left out",
                    "Take it away, or compare it by hand", "printed-figure",
                )
                continue
            text = re.sub(r"(?<=\d)\s+(?:calories|fat|protein|carbohydrates?|fib(?:re|er)|sugars?|sodium)$", "", text, flags=re.I)
            text = re.sub(r"(?<=[a-z])\s+(?:fat|protein|carbohydrates?|fib(?:re|er)|sugars?|sodium)$", "", text, flags=re.I)
            amounts = printed_amounts(text, _place(value, line), notes, component, unit)
            found += [PrintedFigure("base", component, basis, amount, used, f"{source_file}, nutrition", line) for amount, used in amounts]
    return tuple(found)


def _units(language: Any) -> str:
    """Kitchen units from the language: a US cup for en-US, UK units for en-GB, else not said."""
    code = _first_text(language).replace("_", "-").lower()
    return {"en-us": "us", "en-gb": "uk"}.get(code, "")


def _many(value: Any) -> list:
    if value is None:
        return []
    return value if isinstance(value, list) else [value]


def _text(value: Any) -> str:
    """A text, or the ``text`` or ``@value`` of an object, with entities resolved and mark-up taken away."""
    if isinstance(value, dict):
        value = value.get("text", value.get("@value", ""))
    if not isinstance(value, str):
        return ""
    plain = html.unescape(html.unescape(str(value)))  # often escaped twice on web pages
    return _MARK_UP.sub("", _RAISED.sub(" ", _BLOCK.sub("\n", plain)))


def _first_text(value: Any) -> str:
    for item in _many(value):
        found = _text(item) or (_first_text(item.get("value") or item.get("name")) if isinstance(item, dict) else _number(item))
        if found:
            return found
    return ""


def _rows(text: str) -> list[str]:
    return [row for row in text.split("\n") if row.strip()]


def _place(item: Any, otherwise: int) -> int:
    return item.line if isinstance(item, (PlacedText, PlacedObject)) else otherwise


def _kind(item: Any) -> str:
    names = {bool: "a flag", int: "a number", float: "a number", list: "a list"}
    return names.get(type(item), "an object")
