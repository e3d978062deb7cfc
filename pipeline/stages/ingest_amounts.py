"""Numbers in a recipe's head: portions, the mass of the finished dish, figures in print.

Ingredient amounts are not read here; they stay words until the parse stage.
"""

from __future__ import annotations

import math
import re

from pipeline.stages.ingest_written import Notes, Place, shown

MOST_PORTIONS = 1000
LONGEST_TEXT = 200  # characters that state portions or a printed figure
HEAVIEST_G = 1_000_000
_WORDS = {
    word: number for number, word in enumerate(
        "one two three four five six seven eight nine ten eleven twelve".split(), start=1)
} | {"a dozen": 12, "dozen": 12}
_NUMBER = r"\d+(?:\.\d+)?"
_RANGE = rf"(?P<low>{_NUMBER})(?:\s*(?:-|–|—|to|or)\s*(?P<high>{_NUMBER}))?"
_PEOPLE = r"(?:servings?|serves|portions?|people|persons?|helpings?|diners?)\b"
_SAID = (
    re.compile(rf"(?:serv(?:es|ings?|ing)|portions?|feeds|enough for)\b\s*[:=]?\s*(?:about|around|approx\.?|approximately|up to)?\s*{_RANGE}", re.I),
    re.compile(rf"{_RANGE}\s+(?:\w+\s+)?{_PEOPLE}", re.I),
)
_MEASURE = re.compile(
    rf"{_NUMBER}\s*(?:g|kg|ml|cl|l|oz|lb|pints?|cups?|quarts?|litres?|liters?|grams?|ounces?|pounds?|millilitres?)\b", re.I)
_ALONE = re.compile(rf"^(?P<low>-?{_NUMBER})$")
_MASS = re.compile(rf"^(?:about\s+)?({_NUMBER})\s*(kg|g)$", re.I)
_FIGURE = re.compile(rf"^({_NUMBER})\s*(g|mg|ug|µg|μg|mcg|kJ|kcal|cal|calories|Cal|grams?|milligrams?|micrograms?)?$", re.I)
_UNITS = {
    "g": "g", "gram": "g", "grams": "g", "mg": "mg", "milligram": "mg", "milligrams": "mg", "ug": "ug", "µg": "ug",
    "μg": "ug", "mcg": "ug", "microgram": "ug", "micrograms": "ug", "kj": "kJ", "kcal": "kcal", "cal": "kcal", "calories": "kcal",
}
# "850,5 g"; three figures behind a comma may be thousands, and are not read.
_DECIMAL_COMMA = re.compile(r"^((?:about\s+)?\d+),(\d{1,2})(?!\d)", re.I)
UNCERTAIN = "portions-uncertain"  # the code of a warning that the figures per portion carry on
_REMEDY = "Write the number of portions, for example 4"


def portions_of(text: str, place: Place, notes: Notes) -> float | None:
    """The number of portions that ``text`` states; None, with an error noted, if it states none.

    "4", "Serves 4", "about 4", "makes 12 muffins", "serves four". Of a range the low number counts, with a
    warning: fewer portions make larger ones, which is the careful side of a limit. A yield in cups or grams, or
    several numbers that are no range, is no number of portions.
    """
    read = _with_digits(text) if len(text) <= LONGEST_TEXT else ""
    said = _said(read)
    if said is None:
        notes.error(place, f"the portions cannot be read from {shown(text)!r}", _REMEDY, "portions-unreadable")
        return None
    number = float(said["low"])
    if not 0 < number <= MOST_PORTIONS:
        notes.error(
            place, f"{shown(text)!r} is no number of portions; it must be above 0 and at most {MOST_PORTIONS}",
            _REMEDY, "portions-absurd",
        )
        return None
    if not _simple(read, said):
        notes.warning(
            place, f"{number:g} portions were read from {shown(text)!r}",
            f"{_REMEDY}, if that is not meant", UNCERTAIN if _is_vague(read, said) else "portions-from-text",
        )
    return number


def _is_vague(read: str, said: re.Match) -> bool:
    """Whether the text gives a range or says about: then figures per portion rest on a guess."""
    return said.groupdict().get("high") is not None or re.search(r"\b(about|around|approx\w*|up to|or so)\b", read, re.I) is not None


def _said(read: str) -> re.Match | None:
    """The match whose ``low`` is the number of portions, or None where none or several are stated."""
    alone = _ALONE.match(read)
    if alone:
        return alone
    named = [found for pattern in _SAID for found in pattern.finditer(read)]
    if named:
        return named[0] if len({found["low"] for found in named}) == 1 else None
    return _only_range(read)


def _with_digits(text: str) -> str:
    read = " ".join(text.split())
    for word, number in sorted(_WORDS.items(), key=lambda item: -len(item[0])):
        read = re.sub(rf"\b{word}\b", str(number), read, flags=re.I)
    return read.strip().rstrip(".")


def _only_range(read: str) -> re.Match | None:
    """The one number or range in ``read``, if it has no other and is not a volume or a mass."""
    if _MEASURE.search(read) or re.search(r"(?:^|\s)-\s*\d|\d\s*/\s*\d|\d,\d", read):
        return None
    found = list(re.finditer(_RANGE, read, re.I))
    return found[0] if len(found) == 1 else None


def _simple(read: str, said: re.Match) -> bool:
    """Whether the text says nothing but the number and that it means portions."""
    around = (read[: said.start("low")] + read[said.end("low"):]).strip(" :")
    return re.fullmatch(rf"(?:serves|servings?:?|{_PEOPLE})?", around, re.I) is not None


def mass_of(text: str, place: Place, notes: Notes) -> float:
    """A finished mass in grams from "1.2 kg" or "850 g"; NaN, with an error noted, otherwise."""
    found = _MASS.match(_DECIMAL_COMMA.sub(r"\1.\2", text.strip()))
    grams = float(found[1]) * (1000 if found[2].lower() == "kg" else 1) if found else 0.0
    if 0 < grams <= HEAVIEST_G:
        return grams
    notes.error(place, f"the finished mass is {shown(text)!r}", "Write it in g or kg, for example 1.2 kg", "finished-mass")
    return math.nan


def printed_amounts(text: str, place: Place, notes: Notes, component: str, default_unit: str = "") -> list[tuple[float, str]]:
    """Value and unit (g, mg, ug, kJ, kcal) of a figure in print; "920 kJ / 220 kcal" gives two.

    A part that cannot be read is left out with a warning: figures in print are compared with, never built on.
    """
    found = []
    for part in re.split(r"[/;|]", text[:LONGEST_TEXT]):
        amount = _FIGURE.match(_DECIMAL_COMMA.sub(r"\1.\2", part.replace("\u00a0", " ").strip()))
        unit = _UNITS.get((amount[2] or "").lower(), default_unit) if amount else ""
        is_energy = unit in ("kJ", "kcal")
        if not unit or len(text) > LONGEST_TEXT or math.isinf(float(amount[1])) or is_energy != (component == "ENERC"):
            notes.warning(
                place, f"the printed figure {component} {shown(text)!r} cannot be read and was left out",
                "Write a number and its unit, for example 210 mg, or 180 kcal for ENERC", "printed-figure",
            )
            continue
        found.append((float(amount[1]), unit))
    return found
