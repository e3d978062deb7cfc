"""What the words of a line say about how it is weighed, besides its number, unit and food.

How full the spoon was; whether the bone is there and the bird whole; whether a tin's liquid was poured away; and
what a food without an amount is for. ``line`` is a :class:`pipeline.stages.weigh.Line`.
"""

from __future__ import annotations

import re

from pipeline.stages.parse_stated import DRAINED_WEIGHT
from pipeline.stages.weigh_names import Food

CONTAINERS = frozenset({"tin", "jar", "carton", "pouch"})
BIRDS = frozenset({"chicken", "duck", "goose", "guinea fowl", "pheasant", "poussin", "turkey"})
# "1 x 1.5 kg chicken": what weighs as much in one piece is the whole bird. Common practice, no source.
WHOLE_BIRD_FROM = {"kg": 0.9, "g": 900.0, "lb": 2.0}

_BONE_IN = re.compile(r"\bbones?[- ]in\b|\bon the bone\b|\bwith (?:the |its |their )?bones?\b", re.I)
# "From a jar" says what kind of food it is, as "tinned" does; it is no container of the size that is written.
_FROM = r"from (?:a |an |the )?"
_CONTAINER = re.compile(r"(?<!from )(?<!from a )(?<!from an )(?<!from the )\b(tins?|cans?|jars?|pouch(es)?|cartons?)\b", re.I)
_TINNED = re.compile(rf"\b(tinned|canned|jarred|{_FROM}(?:tins?|cans?|jars?))\b", re.I)
_DRAINED = re.compile(r"\bdrained\b", re.I)
_DRAINED_WEIGHT = re.compile(r"\bdrained[ -]+(and[ -]+rinsed[ -]+)?weight\b|\bnet drained\b", re.I)
# What a tin holds beside the food is poured away when it is brine, water, oil or juice, and eaten when it is one of these (common practice, no source).
_EATEN_MEDIUM = re.compile(r"\bin (?:[a-zà-ÿ&-]+ ){0,4}?(?:sauce|gravy|jelly|aspic|marinade|dressing|mustard|mayonnaise|mayo|curry|cream|soup|broth|stock|"
                           r"passata|pur[eé]e|tomato(?:es)?)\b(?! (?:juice|water|brine|oil))", re.I)
_VESSEL = r"[ -]+(?:\w+[ -]+)?(?:cups?|tbsps?|tablespoons?|tsps?|teaspoons?|dessert ?spoons?|dsps?|spoonfuls?)\b"
_FILLED = tuple((f"filled-{kind}", re.compile(rf"\b(?:{words}){_VESSEL}", re.I)) for kind, words in (
    ("scant", "scant|barely|not quite"), ("generous", "generous|good|big|full|hearty"), ("heaped", "heaped|heaping|rounded|overflowing|brimming"),
    ("level", "level|flat|levelled|leveled")))
# What a food without an amount is for, more closely than the parser says: kinds of ``amount_rules.csv``.
_FINER = (("for-greasing", re.compile(r"\bgreas|\boil(?:ing)? the (?:tin|tray|dish|pan)|\bbrush(?:ing)? the (?:tin|tray|dish)", re.I)),
          ("for-coating", re.compile(r"\bcoat|\bdredg|\bdust(?:ing)? the (?:fish|meat|chicken|fillets|beef|lamb|pork|liver)", re.I)))
_DEEP = re.compile(r"\bdeep[ -]*fr", re.I)


def use_said(text: str) -> tuple[str, ...]:
    """What a food without an amount is for, as kinds of ``amount_rules.csv``; empty when nothing closer is said."""
    return tuple(kind for kind, words in _FINER if words.search(text))


def is_deep_frying(text: str) -> bool:
    """Whether the food is an oil to deep-fry in."""
    return _DEEP.search(text) is not None


def is_bone_in(text: str) -> bool:
    """Whether a line says that the bone is there."""
    return _BONE_IN.search(text) is not None


def as_bought(line) -> Food:
    """The food as it was bought: one chicken of a kilogram and a half is a whole bird."""
    one = line.quantity_low == line.quantity_high == 1 and line.each_unit in WHOLE_BIRD_FROM
    if one and line.food.phrase in BIRDS and line.each_quantity >= WHOLE_BIRD_FROM[line.each_unit]:
        return line.food._replace(phrase=f"whole {line.food.phrase}")
    return line.food


def how_filled(text: str) -> str:
    """How full a cup or spoon is said to be, as a kind of ``amount_spread.csv``; "" when nothing is said."""
    return next((kind for kind, words in _FILLED if words.search(text)), "")


def is_drained(line, container: str) -> tuple[bool, tuple[str, ...]]:
    """Whether the liquid of a tin is poured away, so that its stated size counts too much.

    A size counts as the tin's only where a container is written or so many of one size are
    ("2 x 400 g"): "240 g canned lentils, drained" is as often what is left as what was bought.
    """
    if _is_drained_weight(line):
        return False, ()
    from_tin = container in CONTAINERS
    if _says_drained(line):
        packed = line.each_quantity is not None and is_tinned_then_drained(line)
        return from_tin or packed or _says_after(line, _CONTAINER), ()
    if from_tin and line.food.entry_state == "drained" and _EATEN_MEDIUM.search(line.text):
        return False, ("eaten with the sauce of the tin; the matched entry is of the food alone",)
    if from_tin and line.food.entry_state == "drained":
        return True, ("drained contents assumed, as in the matched entry",)
    return False, ()


def _is_drained_weight(line) -> bool:
    """Whether the amount is what is left when drained; reading says so where it took such a weight for the amount."""
    return _DRAINED_WEIGHT.search(line.text) is not None or DRAINED_WEIGHT in line.preparation


def _says_drained(line) -> bool:
    return line.food.state == "drained" or "drained" in line.preparation.casefold()


def _says_after(line, packed: re.Pattern) -> bool:
    """Whether the line says "drained" after a word of ``packed``: before it ("200 g drained tinned
    lentils") it speaks of what is left, and so does "drained weight"."""
    tin, after = packed.search(line.text), _DRAINED.search(line.text)
    in_order = bool(tin and after and tin.start() < after.start())
    return in_order and _says_drained(line) and not _is_drained_weight(line)


def is_tinned_then_drained(line) -> bool:
    """Whether "drained" is said of a food that was called tinned before."""
    return _says_after(line, _TINNED)
