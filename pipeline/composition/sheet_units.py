"""Units and headings of a composition sheet: "Potassium (mg)", "Eau (g/100 g)", "K(mg)"."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

from pipeline import units

# A unit as tables write it (lower case) -> (the project's word, the registry's unit). The calorie
# is left out on purpose: in nutrition the word means two things a thousand apart.
UNIT_WORDS = {
    **dict.fromkeys(("kg",), ("kg", "kilogram")),
    **dict.fromkeys(("g", "gram", "grams", "grammes"), ("g", "gram")),
    **dict.fromkeys(("mg", "milligram", "milligrams"), ("mg", "milligram")),
    **dict.fromkeys(("ug", "μg", "mcg", "microgram", "micrograms"), ("ug", "microgram")),
    **dict.fromkeys(("ng",), ("ng", "nanogram")),
    **dict.fromkeys(("kj",), ("kJ", "kilojoule")),
    **dict.fromkeys(("mj",), ("MJ", "megajoule")),
    **dict.fromkeys(("kcal",), ("kcal", "kilocalorie")),
    **dict.fromkeys(("iu", "ui"), ("IU", "")),  # its size depends on the substance: converts to nothing
    **dict.fromkeys(("1", "factor", "ratio"), ("1", "")),
}
PER = {"100g": "100 g", "100gramme": "100 g", "100ml": "100 ml"}
BRACKET = re.compile(r"[(\[]([^()\[\]]*)[)\]]\s*$")


def folded(text: str) -> str:
    """A heading or word for comparison: without white space, case and look-alike letters."""
    return "".join(unicodedata.normalize("NFKC", text).split()).casefold()


def unit_word(text: str) -> str:
    """The project's word for a unit as written; "" where it is none that is known here."""
    return UNIT_WORDS.get(folded(text), ("", ""))[0]


def heading_unit(heading: str) -> tuple[str, str]:
    """What a heading says in its last brackets: (unit, "100 g" or "100 ml"), each "" where not said.

    "Eau (g/100 g)" gives ("g", "100 g"); "Potassium (mg)" gives ("mg", "").
    """
    found = BRACKET.search(heading)
    if not found:
        return "", ""
    unit, _, per = folded(found[1]).partition("/")
    if not _ and "per" in unit:
        unit, _, per = unit.partition("per")
    return unit_word(unit), PER.get(per, "")


@lru_cache(maxsize=256)
def factor(unit: str, target: str) -> float | None:
    """What a value in ``unit`` is multiplied by to be in ``target`` (both words of ``UNIT_WORDS``);
    None where the one cannot be converted to the other."""
    if unit == target:
        return 1.0
    names = {word: name for word, name in UNIT_WORDS.values()}
    if not names.get(unit) or not names.get(target):
        return None
    source, wanted = (units.registry().Unit(names[word]) for word in (unit, target))
    if source.dimensionality != wanted.dimensionality:
        return None
    return float(f"{units.registry().Quantity(1, source).to(wanted).magnitude:.15g}")
