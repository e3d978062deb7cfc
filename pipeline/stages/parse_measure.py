"""Measured amounts: mass, volume, spoons, cups and lengths, with sums and dual measures.

An :class:`Amount` is read from a position and claims tokens with a role; nothing is
marked before the caller accepts it (:func:`accept`).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

from rapidfuzz.distance import OSA

from pipeline.stages.parse_quantity import number_at, word_part
from pipeline.stages.parse_words import Token, Vocabulary

# Only to compare two measures of one line and to add "2 tbsp plus 1 tsp"; the conversions that reach a
# figure are made when the line is weighed. Each unit: (dimension, smallest, largest) over the UK, US and
# metric meanings. Sources: NIST Special Publication 811 (2008), appendix B (avoirdupois, US liquid
# measures), UK Weights and Measures Act 1985, schedule 1 (imperial); spoons of 15, 10 and 5 ml are common practice.
SIZES = {
    "mg": ("mass", 0.001, 0.001), "g": ("mass", 1.0, 1.0), "kg": ("mass", 1000.0, 1000.0),
    "oz": ("mass", 28.349523, 28.349523), "lb": ("mass", 453.59237, 453.59237), "stone": ("mass", 6350.29318, 6350.29318),
    "ml": ("volume", 1.0, 1.0), "cl": ("volume", 10.0, 10.0), "dl": ("volume", 100.0, 100.0), "l": ("volume", 1000.0, 1000.0),
    "fl oz": ("volume", 28.4130625, 29.57352956), "gill": ("volume", 118.294118, 142.0653125),
    "pint": ("volume", 473.176473, 568.26125), "quart": ("volume", 946.352946, 1136.5225), "gallon": ("volume", 3785.411784, 4546.09),
    "cup": ("volume", 236.588236, 284.130625), "tablespoon": ("volume", 14.786765, 17.7581640625),
    "dessertspoon": ("volume", 9.857843, 11.8387760), "teaspoon": ("volume", 4.928922, 5.9193880),
    "cm": ("length", 1.0, 1.0), "inch": ("length", 2.54, 2.54),
}
# What British recipe editors round to ("25 g / 1 oz", "450 g / 1 lb"); common practice, no source.
ROUNDED = {"oz": (25.0, 30.0), "lb": (450.0, 460.0), "fl oz": (25.0, 30.0), "pint": (473.0, 600.0), "inch": (2.5, 2.54), "tablespoon": (14.7, 20.0)}
METRIC = {"g": 0, "kg": 0, "mg": 0, "ml": 1, "l": 1, "cl": 1, "dl": 1, "cm": 1}
MEASURED = frozenset({"mass", "volume", "spoon", "cup"})
MOST_GRAMS = 100_000.0  # above this a written amount is a slip of the pen; common practice, no source
DISAGREE = 0.10  # relative difference of two measures of one line above which it is reported
LENGTHS = frozenset({"cm", "inch"})
APPROXIMATE = frozenset({
    "about", "approx", "approximately", "around", "roughly", "circa", "ca", "~", "nearly", "almost", "just", "over", "under",
    "at", "least", "up", "to", "another", "additional", "further", "minimum", "maximum", "max", "min", "only", "scant", "generous", "c",
})
STARTS_APPROXIMATE = APPROXIMATE - {"to", "least", "c"}
MODIFIERS = frozenset({
    "heaped", "heaping", "rounded", "level", "scant", "generous", "good", "packed", "overflowing", "full", "slightly", "lightly",
    "firmly", "fat", "thick", "thin", "nice", "healthy", "hearty", "loosely", "well", "whole", "big", "flat", "brimming",
})


@dataclass
class Amount:
    """What was read: ``claims`` are (token, role) pairs, ``end`` the position after it."""

    low: float | None = None
    high: float | None = None
    unit: str = ""
    kind: str = ""
    each: float | None = None
    each_unit: str = ""
    size: str = ""
    end: int = 0
    claims: list[tuple[Token, str]] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    unit_words: list[Token] = field(default_factory=list)

    def take(self, tokens: list[Token], start: int, end: int, role: str) -> None:
        self.claims.extend((token, role) for token in tokens[start:end])
        self.end = end


def accept(amount: Amount) -> None:
    """Give the tokens of an amount their roles."""
    for token, role in amount.claims:
        token.role = role


def low_at(tokens: list[Token], position: int) -> str:
    return tokens[position].low if 0 <= position < len(tokens) else ""


def unit_at(tokens: list[Token], position: int, known: Vocabulary) -> tuple[str, str, int] | None:
    """(unit, kind, end) of the unit word at ``position``; a hyphen may stand before it ("14-oz")."""
    if low_at(tokens, position) == "-" and position + 1 < len(tokens) and not tokens[position + 1].gap:
        position += 1
    if position >= len(tokens):
        return None
    token = tokens[position]
    if token.low == "in" and not token.gap and not (found := known.units.at(tokens, position)):
        return "inch", "piece", position + 1
    if token.text == "#" and position and tokens[position - 1].kind in ("num", "frac") and not (position + 1 < len(tokens) and tokens[position + 1].kind == "num"):
        return "lb", "mass", position + 1  # American shops' sign for a pound; "1 #10 can" is a number
    if token.text in ("t", "T"):
        return ("tablespoon" if token.text == "T" else "teaspoon"), "spoon", position + 1
    if token.kind == "punct" and token.gap:
        return None
    found = known.units.at(tokens, position)
    if found is None:
        return None
    (unit, kind), length = found
    return unit, kind, position + length


# The long spellings that cooks mistype; short ones are too close to foods ("pints", "pinto").
_SPELLED = ("tablespoon", "tablespoons", "teaspoon", "teaspoons", "ounces", "ounce", "pounds", "quarts", "gallon", "gallons", "litres", "liters",
            "kilogram", "kilograms", "millilitres", "milliliters", "milliliter", "millilitre")


@lru_cache(maxsize=4096)
def _meant(word: str) -> str:
    """The unit that a mistyped word of five letters or more stands for, or ""."""
    slips = 2 if len(word) > 8 else 1
    near = [(OSA.distance(word, right, score_cutoff=slips), right) for right in _SPELLED if word[0] == right[0] and abs(len(word) - len(right)) <= slips]
    best = min(near, default=(9, ""))
    return best[1] if best[0] <= slips else ""


def misspelt_unit(tokens: list[Token], position: int, known: Vocabulary) -> tuple[str, str, int] | None:
    """A measured unit with a slip of the pen ("tablespon") between a number and a food."""
    if position + 1 >= len(tokens) or tokens[position].kind != "word" or tokens[position + 1].kind not in ("word", "group"):
        return None
    low = tokens[position].low
    if not 5 <= len(low) <= 14 or known.preparations.exactly([low]) or known.states.exactly([low]) or known.sizes.exactly([low]):
        return None
    right = _meant(low)
    found = known.units.exactly([right]) if right else None
    return (*found, position + 1) if found else None


def modifiers(tokens: list[Token], position: int, amount: Amount, known: Vocabulary) -> int:
    """Sizes and words such as "heaped" between the number and the unit."""
    while position < len(tokens):
        whole = unit_at(tokens, position, known)
        if whole and whole[2] > position + 1 or low_at(tokens, position) == "little" and low_at(tokens, position + 1) == "gem":
            break  # "heaped tablespoon" and "thick slices" are units of their own
        size = known.sizes.at(tokens, position)
        if size and size[0][0] != "baby":  # "baby" names the food too: left for the phrase
            (word,), length = size
            amount.size = amount.size or word
            amount.take(tokens, position, position + length, "size")
            position += length
            if low_at(tokens, position) in ("-", "to") and position + 1 < len(tokens) and known.sizes.at(tokens, position + 1):
                amount.take(tokens, position, position + 1, "size")
                position += 1
        elif "-" in tokens[position].low and (name := _two_sizes(tokens[position].low, known)):
            amount.size = amount.size or name
            amount.take(tokens, position, position + 1, "size")
            position += 1
        elif tokens[position].low.endswith(("-size", "-sized")) and _unit_soon(tokens, position + 1, known):
            amount.take(tokens, position, position + 1, "note")  # "3 quarter-sized slices"
            position += 1
        elif tokens[position].low in MODIFIERS and _unit_soon(tokens, position + 1, known):
            role = "preparation" if tokens[position].low in ("packed", "firmly", "lightly", "loosely") else "note"
            amount.take(tokens, position, position + 1, role)
            position += 1
        else:
            break
    return position


def _two_sizes(word: str, known: Vocabulary) -> str:
    """The first size of "small-medium" or "medium-large", else ""."""
    sizes = [known.sizes.exactly([part]) for part in word.split("-") if part not in ("size", "sized")]
    return sizes[0][0] if sizes and all(sizes) and sizes[0][0] != "baby" else ""


def _unit_soon(tokens: list[Token], position: int, known: Vocabulary) -> bool:
    for step in range(position, min(position + 3, len(tokens))):
        if unit_at(tokens, step, known):
            return True
        if tokens[step].low not in MODIFIERS and not known.sizes.at(tokens, step):
            return False
    return False


def measure_at(tokens: list[Token], position: int, known: Vocabulary) -> Amount | None:
    """A measured amount (mass, volume, spoon, cup or length) at ``position``, sums included.

    "1 lb 2 oz", "2 tbsp plus 1 tsp" and "150g-200g" are one measure.
    """
    start = position
    while low_at(tokens, position) in STARTS_APPROXIMATE or position > start and low_at(tokens, position) in APPROXIMATE:
        position += 1
    number = number_at(tokens, position)
    if number is None:
        return None
    amount = Amount(low=number.low, high=number.high, reasons=[number.reason] if number.reason else [])
    amount.take(tokens, start, position, "note")
    amount.take(tokens, position, number.end, "quantity")
    after = modifiers(tokens, number.end, amount, known)
    found = unit_at(tokens, after, known)
    if found is None and (found := misspelt_unit(tokens, after, known)):
        amount.reasons.append("misspelt-unit")
    if found is None or found[1] not in MEASURED and found[0] not in LENGTHS:
        return None
    amount.unit, amount.kind = found[0], "length" if found[0] in LENGTHS else found[1]
    amount.take(tokens, after, found[2], "unit")
    _extend_part(tokens, amount)
    _extend_range(tokens, amount, known)
    _extend_sum(tokens, amount, known)
    return amount


def _extend_part(tokens: list[Token], amount: Amount) -> None:
    """ "one cup and a half of flour": the part is of the unit just named."""
    part = word_part(tokens, amount.end + 1) if low_at(tokens, amount.end) in ("and", "&") else None
    if part is None or part[0] >= 1 or low_at(tokens, amount.end + 1) not in ("a", "one") or low_at(tokens, part[1]) not in ("of", ""):
        return
    amount.low, amount.high = amount.low + part[0], amount.high + part[0]
    amount.take(tokens, amount.end, part[1], "quantity")


def _extend_range(tokens: list[Token], amount: Amount, known: Vocabulary) -> None:
    if low_at(tokens, amount.end) not in ("-", "to") or amount.low != amount.high:
        return
    number = number_at(tokens, amount.end + 1)
    found = number and unit_at(tokens, number.end, known)
    if not found or not comparable(amount.unit, found[0]):
        return
    factor = conversion(found[0], amount.unit)
    amount.low, amount.high = sorted((amount.low, number.low * factor))
    amount.take(tokens, amount.end, number.end, "quantity")
    amount.take(tokens, number.end, found[2], "unit")


def _extend_sum(tokens: list[Token], amount: Amount, known: Vocabulary) -> None:
    """ "1 lb 2 oz", "1 cup plus 2 tbsp": added in the first unit; another kind is left alone."""
    for _ in range(3):
        less = low_at(tokens, amount.end) in ("minus", "less")  # "1 cup minus 2 tbsp"
        joint = less or low_at(tokens, amount.end) in ("plus", "+", "and", "&")
        at = amount.end + joint
        number = number_at(tokens, at) if at < len(tokens) and tokens[at].kind in ("num", "frac") else None
        found = number and unit_at(tokens, number.end, known)
        if not found or found[0] == amount.unit or not comparable(amount.unit, found[0]) or amount.kind == "length":
            return
        if not joint and SIZES[found[0]][1] >= SIZES[amount.unit][1]:
            return
        if low_at(tokens, found[2]) in ("extra", "more", "for", "to"):
            return
        factor = -conversion(found[0], amount.unit) if less else conversion(found[0], amount.unit)
        if amount.low + number.high * min(factor, 0) < 0:
            return
        amount.low, amount.high = sorted((amount.low + number.low * factor, amount.high + number.high * factor))
        amount.reasons += ["mixed-measures"] if mixed(amount.unit, found[0]) else []
        amount.take(tokens, amount.end, at, "joint")
        amount.take(tokens, at, number.end, "quantity")
        amount.take(tokens, number.end, found[2], "unit")


def comparable(unit: str, other: str) -> bool:
    """Whether two units measure the same dimension."""
    return unit in SIZES and other in SIZES and SIZES[unit][0] == SIZES[other][0]


def conversion(unit: str, into: str) -> float:
    """How many ``into`` are one ``unit``, both in their smallest meaning."""
    return 1.0 if unit == into else round(SIZES[unit][1] / SIZES[into][1], 4)


def mixed(unit: str, other: str) -> bool:
    """Whether one of two units differs between the UK and the US and the other does not."""
    return (SIZES[unit][1] == SIZES[unit][2]) != (SIZES[other][1] == SIZES[other][2])


def agree(first: Amount, second: Amount) -> bool:
    """Whether two measures of one thing agree within ``DISAGREE`` under any regional meaning.

    Mass against volume cannot be compared without a density: that counts as agreeing here.
    """
    if not comparable(first.unit, second.unit) or not first.high or not second.high:
        return True
    low_a, high_a = ROUNDED.get(first.unit, SIZES[first.unit][1:])
    low_b, high_b = ROUNDED.get(second.unit, SIZES[second.unit][1:])
    lowest = first.low * low_a / (second.high * high_b)
    highest = first.high * high_a / (second.low * low_b) if second.low else float("inf")
    return lowest <= 1 + DISAGREE and highest >= 1 - DISAGREE


def prefer(first: Amount, second: Amount) -> Amount:
    """Of two measures of one thing the metric one (mass before volume), else the first.

    Of two masses, and of a spoon and its millilitres, the first: it is the author's own and the
    other its rounded conversion. A cup or a pint differs between countries: millilitres say more.
    """
    if first.kind == second.kind == "mass" or first.kind == "spoon" and second.kind == "volume" and agree(first, second) and second.unit in ("ml", "fl oz"):
        return first
    return second if METRIC.get(second.unit, 9) < METRIC.get(first.unit, 9) else first


def with_duals(tokens: list[Token], amount: Amount, known: Vocabulary, as_written: bool = False) -> Amount:
    """The preferred one of "115 g / 4 oz / ½ cup" or "1 cup (240 ml)"; the others become notes.

    ``as_written``: the first one stays the quantity, and a preferred other one is the size of one of it:
    "2 cups (240 g)" are two cups of 120 g each.
    """
    for _ in range(3):
        at = amount.end
        if at >= len(tokens):
            break
        if tokens[at].kind == "group":
            other = whole_measure(tokens[at].inner, known)
            end = at + 1
        elif tokens[at].text in ("/", "|", ",", "or", "="):
            other = measure_at(tokens, at + 1, known)
            end = other.end if other else at
            if tokens[at].low in ("or", ",") and other and not (comparable(other.unit, amount.unit) and agree(amount, other)):
                other = None
        elif tokens[at].kind in ("num", "frac") and amount.unit in METRIC:
            other = measure_at(tokens, at, known)
            end = other.end if other else at
            if other and not (comparable(other.unit, amount.unit) and agree(amount, other)):
                other = None
        else:
            break
        if other is None or (other.kind == "length") != (amount.kind == "length"):
            break
        chosen = prefer(amount, other)
        if as_written and chosen is other and amount.low:
            amount = _sized_by(amount, other, tokens[at:end])
            continue
        claims = amount.claims + other.claims
        losing = {id(token) for token, _ in (other if chosen is amount else amount).claims}
        claims = [(token, "note" if id(token) in losing and role != "joint" else role) for token, role in claims]
        inside = {id(token) for token, _ in claims}
        claims += [(token, "joint") for token in tokens[at:end] if id(token) not in inside]
        reasons = amount.reasons + ([] if agree(amount, other) else ["measures-disagree"])
        amount = Amount(chosen.low, chosen.high, chosen.unit, chosen.kind, size=amount.size, end=end, claims=claims, reasons=reasons,
                        each=amount.each, each_unit=amount.each_unit)
    return amount


def _sized_by(amount: Amount, other: Amount, span: list[Token]) -> Amount:
    """``amount`` as written, of which one measures what ``other`` says of all."""
    claims = amount.claims + [(token, "each" if role in ("quantity", "unit") else role) for token, role in other.claims]
    inside = {id(token) for token, _ in claims}
    claims += [(token, "joint") for token in span if id(token) not in inside]
    reasons = amount.reasons + ([] if agree(amount, other) else ["measures-disagree"])
    each = round((other.low + other.high) / (amount.low + amount.high), 6)
    return replace(amount, end=other.end if span and span[0].kind != "group" else amount.end + 1, claims=claims, reasons=reasons,
                   each=each or None, each_unit=other.unit if each else "")


MEASURE_ENDS = frozenset({"each", "total", "in", "approx", "approximately", "per", "size", "sized", "weight", "net", "about", "a", "drained", "or", "so", "piece", "apiece"})
_CONTAINERS = frozenset("can cans tin tins package packages pkg jar bag box bottle container carton packet".split())


def whole_measure(inner: list[Token], known: Vocabulary, inside: bool = True) -> Amount | None:
    """The measure that a bracket holds and nothing else ("(about 400 g each)"), or None.

    ``end`` is the number of tokens inside that belong to it; "each" adds the reason ``each``
    for the caller, who removes it. ``inside`` a bracket a container may be named again ("(14.5 oz can)").
    """
    measure = measure_at(inner, 0, known)
    if measure is None:
        return None
    measure = with_duals(inner, measure, known)
    position = measure.end
    while position < len(inner) and (inner[position].low in MEASURE_ENDS or inside and inner[position].low in _CONTAINERS):
        role = "state" if inner[position].low == "drained" else "note"
        if inner[position].low in ("each", "apiece", "per"):
            measure.reasons.append("each")
        measure.take(inner, position, position + 1, role)
        position += 1
    return measure if position == len(inner) or inner[position].text in (",", ";") else None
