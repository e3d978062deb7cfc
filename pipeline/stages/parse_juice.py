"""Juice and zest that are written as a piece of fruit: "juice of half a lemon", "1 lime, zested"."""

from __future__ import annotations

from pipeline.stages.parse_prepare import Reading, give
from pipeline.stages.parse_measure import Amount
from pipeline.stages.parse_words import Token

_SINGULAR = {
    "lemons": "lemon", "limes": "lime", "oranges": "orange", "grapefruits": "grapefruit", "clementines": "clementine", "satsumas": "satsuma",
    "tangerines": "tangerine", "mandarins": "mandarin", "apples": "apple", "tomatoes": "tomato", "pomegranates": "pomegranate",
}
_EGG_PARTS = {"white": "white", "whites": "whites", "yolk": "yolk", "yolks": "yolks"}
_FRUIT = frozenset(_SINGULAR) | frozenset(_SINGULAR.values())
_JUICE = frozenset({"juice", "juiced", "squeezed"})
_ZEST = frozenset({"zest", "zested", "rind", "peel"})
_WITH = frozenset({"grated", "finely", "pared", "and", "&", "freshly", "squeezed", "strained", "the", "a", "of", "only", "from", "fresh", "thinly", "strip", "strips", "plus", "coarsely", "its", "reserved", "removed", "all", "+"})


def citrus(words: str) -> str:
    """The phrase with its last word singular ("lemons" gives "lemon")."""
    *before, last = words.split(" ") if words else [""]
    return " ".join([*before, "egg" if last == "eggs" else _SINGULAR.get(last, last)]).strip()


def opens_with_juice(top: list[Token], reading: Reading) -> tuple[str, int]:
    """("juice" or "zest", position after it) when the line opens so, else ("", 0).

    "Juice of 1 lemon", "finely grated zest and juice of 2 limes", "juice ½ lemon".
    """
    position, kinds = 0, set()
    named = [token.low for token in top[:3]]
    if len(named) == 3 and named[0] in _FRUIT and named[1] in _JUICE | _ZEST and named[2] in ("of", "from") and any(token.low in _FRUIT for token in top[3:6]):
        position = 1  # "lemon juice from 1 lemon"
    while position < len(top) and (top[position].low in _JUICE | _ZEST or top[position].low in _WITH):
        low = top[position].low
        kinds.add("juice" if low == "juice" else "zest" if low in _ZEST else "")
        position += 1
        if low in ("of", "from"):
            break
    kinds.discard("")
    ends_well = position and position < len(top) and (top[position - 1].low in ("of", "from") or top[position].kind in ("num", "frac"))
    if not kinds or not ends_well or top[0].low in ("a", "of", "from", "and"):
        return "", 0
    if kinds == {"juice", "zest"}:
        reading.doubt("zest-also")
    for token in top[:position]:
        token.role = "unit" if token.low in _JUICE | _ZEST else "preparation" if token.low in ("grated", "finely", "pared", "freshly", "strained") else "joint"
    return ("juice" if "juice" in kinds else "zest"), position


def opens_with_egg_part(top: list[Token], reading: Reading) -> list[Token]:
    """The tokens after "whites of" in "whites of 2 eggs"; the phrase is then "egg whites"."""
    lows = [token.low for token in top]
    start = 1 if lows[:1] == ["the"] else 0
    at = start + 2
    if len(lows) <= at or lows[start] not in _EGG_PARTS or lows[start + 1] not in ("of", "from") or not {"egg", "eggs"} & set(lows[at:at + 4]):
        return top
    give(top[:start], "joint")
    top[start].role, top[start + 1].role = "unit", "joint"
    reading.suffix = _EGG_PARTS[lows[start]]
    return top[at:]


def juiced_after(part: list[Token], reading: Reading) -> bool:
    """Whether a part behind a counted fruit says its juice or zest is meant; reads it if so."""
    words = [token for token in part if token.kind != "group"]
    fruit = reading.phrase and reading.phrase[-1].low in _FRUIT
    amount = reading.amount
    if not words or not fruit or amount is None or amount.unit not in ("", "piece", "half") or reading.suffix:
        return False
    kinds = {"juice" if token.low in _JUICE else "zest" for token in words if token.low in _JUICE | _ZEST}
    if not kinds or any(token.low not in _JUICE | _ZEST | _WITH for token in words):
        return False
    if kinds == {"juice", "zest"}:
        reading.doubt("zest-also")
    give(words, "preparation")
    juice_phrase("juice" if "juice" in kinds else "zest", reading)
    return True


def juice_phrase(part: str, reading: Reading) -> None:
    """The phrase "lemon juice" or "lemon zest"; of counted fruit the preparation says that one is juiced or zested."""
    if reading.amount is None:
        reading.amount = Amount(low=1.0, high=1.0)
        reading.doubt("implied-one")
    if reading.amount.unit in ("", "piece", "half"):
        reading.amount.unit, reading.amount.kind = "", "piece"
        reading.taken = {"juice": "juiced", "zest": "zested"}[part]
    reading.suffix = part
