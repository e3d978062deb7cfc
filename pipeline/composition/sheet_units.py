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
    **dict.fromkeys(("g", "gram", "grams", "gramm", "gramme", "grammes", "gramo", "gramos"), ("g", "gram")),
    **dict.fromkeys(("mg", "milligram", "milligrams", "milligramm", "milligramme", "milligrammes", "miligramo", "miligramos"), ("mg", "milligram")),
    **dict.fromkeys(("ug", "μg", "mcg", "microgram", "micrograms", "mikrogramm", "microgramme", "microgrammes", "microgramo", "microgramos"), ("ug", "microgram")),
    **dict.fromkeys(("ng",), ("ng", "nanogram")),
    **dict.fromkeys(("kj",), ("kJ", "kilojoule")),
    **dict.fromkeys(("mj",), ("MJ", "megajoule")),
    **dict.fromkeys(("kcal",), ("kcal", "kilocalorie")),
    **dict.fromkeys(("iu", "ui"), ("IU", "")),  # its size depends on the substance: converts to nothing
    **dict.fromkeys(("1", "factor", "ratio"), ("1", "")),
}
PER = {"100g": "100 g", "100gramme": "100 g", "100ml": "100 ml"}
# What else a heading may say of its numbers, that they are no mass per 100 g.
AMOUNTS_OF_SUBSTANCE = ("mol", "mmol", "umol", "μmol", "meq", "mval")
OTHER_BASIS = re.compile(
    r"dry\s+matter|\bDM\b|dry\s+weight|per\s+100\s*g\s+(?:of\s+)?(?:total\s+)?fatty|per\s+(?:serving|portion)|per\s+kg|/\s*kg", re.IGNORECASE)
_OTHER_BASES = (
    OTHER_BASIS, re.compile(r"\b(?:portions?|servings?|rations?|raci[oó]n(?:es)?|por[cç][aã]o|portionen)\b", re.IGNORECASE),
    re.compile(r"\d[\d.,]*\s*(?:kcal|kj|mj)\b", re.IGNORECASE), re.compile(r"\bkg(?:\s*-1)?\b", re.IGNORECASE),
    re.compile(r"(?:/|\bper|\bpro|\bje|\bpar|\bpour|\bpor)\s*(?!100(?:[.,]0+)?\s*(?:g|ml))[\d.,]*\s*(?:g|mg|ml|l|dl|oz|lb|cups?)\b", re.IGNORECASE),
    re.compile(r"\b(?:NRVs?|NRI|RDA|RDI|GDA|VNR|AJR|CDR)\b", re.IGNORECASE), re.compile(r"%\s*(?:of\s+|des?\s+|der\s+)?(?:RI|DV|AR|daily|tages\w*)\b", re.IGNORECASE),
)
_EDIBLE_PORTION = re.compile(r"\bedible\s+portions?\b", re.IGNORECASE)
PER_100_ML = re.compile(r"(?:per|/)\s*100\s*ml", re.IGNORECASE)
_PER_100 = re.compile(r"100(?:[.,]0+)?\s*(?:grammes?|grams?|gr|g|ml)(?:\s*-1)?(?![^\W\d_])", re.IGNORECASE)
_PERCENT = re.compile(r"(?<![^\W\d_])(?:mg|g)?\s*%", re.IGNORECASE)
_WORDS = re.compile(r"[^\W\d_]+")
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


def heading_against(heading: str, unit: str) -> str:
    """What a heading says anywhere that contradicts values in ``unit`` (a word of ``UNIT_WORDS``) per 100 g or 100 ml; "" if nothing.

    "Natrium, in g" contradicts mg, "K (mg/kg)", "K (mmol)" and "Na % NRV" every unit; "mg/100 g" does not contradict mg, and "%" not g.
    """
    text = _EDIBLE_PORTION.sub(" ", unicodedata.normalize("NFKC", heading))
    for basis in _OTHER_BASES:
        if found := basis.search(text):
            return " ".join(found[0].split())
    rest = _PER_100.sub(" ", text)
    if (percent := _PERCENT.search(rest)) and folded(percent[0]) != f"{unit}%" and (unit != "g" or folded(percent[0]) != "%"):
        return percent[0].strip()
    for word in _WORDS.findall(_PERCENT.sub(" ", rest)):
        said = unit_word(word)
        if folded(word) in AMOUNTS_OF_SUBSTANCE or said not in ("", "1", unit):
            return word
    return ""


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
