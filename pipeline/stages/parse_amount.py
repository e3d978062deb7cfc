"""Amounts: a number with its unit, and the size of one unit.

"2 x 400 g tins", "1 (14 ounce) can", "a large handful of", "a 5 cm piece of", "pinch of".
"""

from __future__ import annotations

from pipeline.stages.parse_measure import (
    APPROXIMATE, LENGTHS, MEASURED, SIZES, STARTS_APPROXIMATE, Amount, low_at, measure_at, modifiers, unit_at, whole_measure, with_duals,
)
from pipeline.stages.parse_quantity import digits_at, number_at
from pipeline.stages.parse_words import Token, Vocabulary

# Also the name of a cut or a shape: a unit before the food only with "of" after it.
NEEDS_OF = frozenset({
    "round", "bean", "ring", "roll", "heart", "finger", "kernel", "stone", "loin", "leg", "rib", "wing", "breast", "steak", "chop",
    "thigh", "drumstick", "crown", "turn", "half", "quarter", "spear", "joint", "cutlet", "escalope", "carcass", "grind", "tea", "side",
})
# Cut off by the length, or before a word that says the cut; other foods have a diameter. Common practice, no source.
_SOLD_BY_LENGTH = frozenset("piece pieces knob chunk length slice stick sticks strip section segment ginger gingerroot galangal turmeric cinnamon cassia lemongrass horseradish "
                            "cucumber daikon mooli kombu wasabi vanilla root".split())
BEFORE_NUMBERS = frozenset({"heaping", "heaped", "rounded", "level", "packed", "loosely", "lightly", "firmly", "full", "good", "scant", "generous"})
BLOCKS = frozenset({"piece", "block", "ball", "chunk", "bunch", "loaf", "joint", "stick", "slice"})


def amount_at(tokens: list[Token], position: int, known: Vocabulary) -> Amount | None:
    """The amount at ``position``: a number with or without a unit, or a bare "pinch of"."""
    start = position
    while position < len(tokens) and (low_at(tokens, position) in STARTS_APPROXIMATE or position > start and low_at(tokens, position) in APPROXIMATE):
        position += 1
    while low_at(tokens, position) in BEFORE_NUMBERS and position + 1 < len(tokens) and (tokens[position + 1].kind in ("num", "frac") or low_at(tokens, position + 1) in BEFORE_NUMBERS):
        position += 1  # "heaping 1/2 cup"
    if low_at(tokens, position) in ("c", "ca") and position == 0 and position + 1 < len(tokens) and tokens[1].kind in ("num", "frac"):
        position += 1  # "c. 300 g"
    number = number_at(tokens, position)
    if number is None:
        return _implied_one(tokens, position, start, known)
    amount = Amount(low=number.low, high=number.high, reasons=[number.reason] if number.reason else [])
    amount.take(tokens, start, position, "note")
    amount.take(tokens, position, number.end, "quantity")
    if low_at(tokens, amount.end) == "or" and low_at(tokens, amount.end + 1) in ("more", "so"):  # "2 or more cloves"
        amount.take(tokens, amount.end, amount.end + 2, "note")
    _range_in_bracket(tokens, amount)
    _tin_number(tokens, amount, known)
    times = low_at(tokens, amount.end) in ("x", "*") and amount.end + 1 < len(tokens)
    if times:
        amount.take(tokens, amount.end, amount.end + 1, "joint")
    elif low_at(tokens, amount.end) == "of" and tokens[amount.end - 1].kind == "word":
        amount.take(tokens, amount.end, amount.end + 1, "joint")
    elif amount.low < 1:  # "1/2 a 410 g tin", "½ of a cucumber"
        at = amount.end + (low_at(tokens, amount.end) == "of")
        if low_at(tokens, at) in ("a", "an", "the"):
            amount.take(tokens, amount.end, at + 1, "joint")
    if amount.end < len(tokens) and tokens[amount.end].kind == "group":
        _size_in_bracket(tokens, amount, known, each=True)
    if not amount.each and (end := _counted_inside(tokens, amount.end)) and (found := unit_at(tokens, end, known)) and found[1] == "container":
        amount.each, amount.each_unit = tokens[amount.end].value, "piece"  # "1 8-count tube biscuits"
        amount.take(tokens, amount.end, end, "each")
    after = modifiers(tokens, amount.end, amount, known)
    amount.end = after
    single = _one_measure(tokens, position, amount, times, known)
    if single:
        return _finished(tokens, single, known)
    found = unit_at(tokens, after, known)
    if found and _is_unit(tokens, found, known):
        amount.unit, amount.kind = found[0], found[1]
        amount.unit_words = tokens[after:found[2]]
        amount.take(tokens, after, found[2], "unit")
        _unit_range(tokens, amount, known)
    _size_after_unit(tokens, amount, known)
    if amount.kind == "container" and not amount.each:
        _count_inside(tokens, amount, known)
    return _finished(tokens, amount, known)


def _range_in_bracket(tokens, amount: Amount) -> None:
    """ "3 (to 4) tablespoons", "2 (or 3) eggs"."""
    inner = tokens[amount.end].inner if amount.end < len(tokens) and tokens[amount.end].kind == "group" else []
    number = number_at(inner, 1) if len(inner) > 1 and inner[0].low in ("to", "or", "-") else None
    if number is None or number.end != len(inner) or amount.low != amount.high or amount.low is None:
        return
    amount.low, amount.high = sorted((amount.low, number.high))
    amount.claims += [(token, "quantity") for token in inner] + [(tokens[amount.end], "joint")]
    amount.end += 1


def _tin_number(tokens, amount: Amount, known) -> None:
    """ "1 #10 can", "1 No. 2 can": the trade number of a tin is a note, not a count."""
    at = amount.end
    if low_at(tokens, at) not in ("#", "no", "number", "size") or at + 1 >= len(tokens) or tokens[at + 1].kind != "num":
        return
    end = at + 2 + (at + 2 < len(tokens) and tokens[at + 2].kind == "frac")
    number = digits_at(tokens, at + 1)
    end = number[1] if number else end
    found = unit_at(tokens, end, known)
    if found and found[1] == "container":
        amount.take(tokens, at, end, "note")


def _one_measure(tokens, position, amount, times, known) -> Amount | None:
    """The number is of a measure ("400 g"), or counts measures ("2 x 400 g tins", "a 5 cm piece")."""
    if not times and not amount.each and not any(role == "note" for _, role in amount.claims[1:]) and tokens[amount.end - 1].kind != "group":
        plain = measure_at(tokens, position, known)
        if plain:
            plain.claims = amount.claims[:0] + [(t, r) for t, r in amount.claims if r == "note"] + plain.claims
            plain.size = amount.size
            plain = with_duals(tokens, plain, known, as_written=True)
            return _size_of_one(tokens, _container_after(tokens, plain, known), known)
    if amount.end >= len(tokens) or tokens[amount.end].kind not in ("num", "frac") and low_at(tokens, amount.end) not in STARTS_APPROXIMATE:
        return None
    size = measure_at(tokens, amount.end, known)
    if size is None or amount.each:
        return None
    size = with_duals(tokens, size, known)
    amount.claims += [(t, "each" if r in ("quantity", "unit") else r) for t, r in size.claims]
    amount.end, amount.reasons = size.end, amount.reasons + size.reasons
    if size.kind == "length" and any(t.low.endswith(("piece", "pieces", "knob", "length", "lengths")) for t, _ in size.claims):
        amount.low, amount.high = amount.low * size.low, amount.high * size.high
        amount.unit, amount.kind = size.unit, "length"
        return amount
    if amount.low == amount.high == 1 and size.kind in ("spoon", "cup") and not times and tokens[amount.end - 1].kind == "word":
        amount.low, amount.high, amount.unit, amount.kind = size.low, size.high, size.unit, size.kind
        amount.claims = [(t, {"each": "unit" if t.kind == "word" else "quantity"}.get(r, r)) for t, r in amount.claims]
        return amount  # "1 scant 1/2 cup" is a half cup
    amount.each, amount.each_unit = (size.low + size.high) / 2, size.unit
    if low_at(tokens, amount.end) == "-":
        amount.take(tokens, amount.end, amount.end + 1, "joint")
    after = modifiers(tokens, amount.end, amount, known)
    found = unit_at(tokens, after, known)
    if found and found[1] in ("spoon", "cup"):  # "2 x 15 ml tablespoons" says the spoon, not a size
        amount.each, amount.each_unit = None, ""
    if found and (_is_unit(tokens, found, known) or found[1] in ("spoon", "cup")):
        amount.unit, amount.kind, amount.unit_words = found[0], found[1], tokens[after:found[2]]
        amount.take(tokens, after, found[2], "unit")
    return amount


def _size_of_one(tokens, amount: Amount, known) -> Amount:
    """ "7-inch tortilla" is one tortilla; "2-inch ginger" and "5 cm piece" are lengths."""
    hyphen = any(token.text == "-" and not token.gap for token, role in amount.claims if role == "unit") or any(
        low_at(tokens, at) == "-" and not tokens[at].gap for at in range(amount.end) if tokens[at].kind == "punct")
    piece = any(token.low.endswith(("piece", "pieces", "knob", "length", "stick")) for token, _ in amount.claims)
    at = amount.end + (low_at(tokens, amount.end) == "-")
    follows = at < len(tokens) and tokens[at].kind == "word" and low_at(tokens, at) != "of"
    thick = any(token.low.endswith(("thick", "long", "wide")) for token, role in amount.claims if role == "unit")
    if amount.kind == "length" and thick and follows:
        return _sized(tokens, amount, at, known)
    if amount.kind != "length" or not hyphen or piece or not follows or any(token.low in _SOLD_BY_LENGTH for token in tokens[at:at + 3]):
        return amount
    return _sized(tokens, amount, at, known)


def _sized(tokens, amount: Amount, at: int, known) -> Amount:
    """One piece of the length that was read; no number of them where the word is plural."""
    amount.claims = [(token, "each" if role in ("quantity", "unit") else role) for token, role in amount.claims]
    amount.each, amount.each_unit = (amount.low + amount.high) / 2, amount.unit
    amount.low = amount.high = 1.0
    amount.unit = amount.kind = ""
    found = unit_at(tokens, at, known)
    if found and found[1] == "piece" and _is_unit(tokens, found, known):
        amount.unit, amount.kind, amount.unit_words = found[0], found[1], tokens[at:found[2]]
        amount.take(tokens, amount.end, at, "joint")
        amount.take(tokens, at, found[2], "unit")
        if tokens[found[2] - 1].low.endswith("s"):
            amount.low = amount.high = amount.each = None
            amount.each_unit = ""
            return amount
    amount.reasons.append("implied-one")
    return amount


def _container_after(tokens, amount: Amount, known) -> Amount:
    """ "400 g tin tomatoes" is one tin of 400 g; "200 g block of feta" one block."""
    hyphen = low_at(tokens, amount.end) == "-"
    after = modifiers(tokens, amount.end + hyphen, amount, known)
    found = unit_at(tokens, after, known)
    container = found and _is_unit(tokens, found, known) and (found[1] == "container" or found[0] in BLOCKS and low_at(tokens, found[2]) == "of" or found[0] in ("block", "ball"))
    if not container or amount.kind not in ("mass", "volume") or found[0] in ("teabag", "bar") and low_at(tokens, found[2]) != "of":
        return amount
    count = amount.low if amount.low >= 1 and amount.low == int(amount.low) and amount.high >= 2 * amount.low else 0
    first = amount.claims[0][0] if amount.claims else None
    amount.claims = [(t, "each" if r in ("quantity", "unit") and not (count and t is first) else r) for t, r in amount.claims]
    amount.each, amount.each_unit = amount.high if count else (amount.low + amount.high) / 2, amount.unit
    amount.low = amount.high = count or 1.0  # "1-15 oz can" is one tin of 15 oz and no range
    amount.unit, amount.kind, amount.unit_words = found[0], found[1], tokens[after:found[2]]
    amount.take(tokens, amount.end, after, "joint")
    amount.take(tokens, after, found[2], "unit")
    return amount


def _unit_range(tokens, amount: Amount, known) -> None:
    """ "1 tin to 2 tins": the same unit written twice."""
    if amount.low != amount.high or low_at(tokens, amount.end) not in ("-", "to", "or"):
        return
    if low_at(tokens, amount.end + 1) in ("two", "three") and low_at(tokens, amount.end + 2) == "of":  # "a handful or two of"
        amount.high = max(amount.high, 2.0 if low_at(tokens, amount.end + 1) == "two" else 3.0)
        amount.take(tokens, amount.end, amount.end + 2, "quantity")
        return
    number = number_at(tokens, amount.end + 1)
    found = number and unit_at(tokens, number.end, known)
    if found and found[0] == amount.unit:
        amount.low, amount.high = sorted((amount.low, number.high))
        amount.take(tokens, amount.end, number.end, "quantity")
        amount.take(tokens, number.end, found[2], "unit")


def _is_unit(tokens, found: tuple[str, str, int], known) -> bool:
    """Whether a unit word is the unit here, and not a part of the food's name."""
    unit, kind, end = found
    if kind in MEASURED and unit != "stone":
        return True
    word, after = tokens[end - 1].low, low_at(tokens, end)
    if after == "of":
        return True
    if word == "pot" and after in ("barley", "roast", "noodle") or word in ("can", "bar") and after in ("",):
        return after != "barley" and word != "pot"
    if after in ("mignon", "steak", "steaks") or unit == "rack" and after == "of":
        return False
    if unit == "cake":
        return after in ("yeast", "compressed", "tofu", "fresh")
    if unit == "crown" and after == "broccoli" or unit == "rib" and after == "celery":
        return True
    if unit in NEEDS_OF or word == "tray":
        return word.endswith("s") and word != "breasts" and unit not in ("bean", "roll", "finger", "stone", "half", "quarter") and after.isalpha() and end < len(tokens) and not known.preparations.at(tokens, end)
    return True


def _size_after_unit(tokens, amount: Amount, known) -> None:
    """ "1 can (400 g), drained", "1 tin 400 g tomatoes", "2 (6 oz) salmon fillets"."""
    if amount.each or amount.end >= len(tokens):
        return
    if tokens[amount.end].kind == "group":
        _size_in_bracket(tokens, amount, known, each=amount.kind == "container")
    elif amount.kind == "container":
        joint = low_at(tokens, amount.end) in ("/", "-") and tokens[amount.end - 1].kind == "word"  # "1 tub/250 g"
        at = amount.end + joint
        size = measure_at(tokens, at, known) if at < len(tokens) and tokens[at].kind == "num" else None
        if size:
            amount.take(tokens, amount.end, at, "joint")
            size = with_duals(tokens, size, known)
            amount.claims += [(t, "each" if r in ("quantity", "unit") else r) for t, r in size.claims]
            amount.each, amount.each_unit, amount.end = (size.low + size.high) / 2, size.unit, size.end


def _count_inside(tokens, amount: Amount, known) -> None:
    """ "1 pack of 4 crumpets": the size of one pack is four pieces."""
    at = amount.end + (low_at(tokens, amount.end) == "of")
    if at + 1 < len(tokens) and tokens[at].text.isdigit() and tokens[at + 1].kind == "word" and not unit_at(tokens, at + 1, known):
        amount.each, amount.each_unit = tokens[at].value or None, "piece"
        amount.take(tokens, amount.end, at, "joint")
        amount.take(tokens, at, at + 1, "each")


def _size_in_bracket(tokens, amount: Amount, known, each: bool) -> None:
    inner = tokens[amount.end].inner
    size = whole_measure(inner, known)
    if size is None:
        found = unit_at(tokens, amount.end + 1, known)
        if (amount.kind == "container" or found and found[1] == "container") and (end := _counted_inside(inner, 0)) == len(inner) and end:
            amount.each, amount.each_unit = inner[0].value, "piece"
            amount.claims += [(token, "each") for token in inner] + [(tokens[amount.end], "joint")]
            amount.end += 1
        return
    set_size(amount, size, each)
    amount.claims.append((tokens[amount.end], "joint"))
    amount.end += 1


def _counted_inside(tokens, position: int) -> int:
    """The end of "8 count", "12-ct" or "6 pack", how many a packet holds; 0 when it is not that."""
    at = position + 1
    at += low_at(tokens, at) == "-"
    number = position < len(tokens) and tokens[position].kind == "num" and (tokens[position].value or 0) > 0
    return at + 1 if number and low_at(tokens, at) in ("count", "ct", "pack", "pk", "pieces", "pcs") else 0


def set_size(amount: Amount, size: Amount, each: bool) -> None:
    """Take a written measure as the size of one unit, or, when several are counted without
    "each", as the size of all of them."""
    amount.claims += [(t, "each" if r in ("quantity", "unit") else r) for t, r in size.claims]
    value = (size.low + size.high) / 2
    words = {token.low for token, _ in size.claims}
    several = amount.low is not None and amount.high > 1
    about = words & {"about", "approx", "approximately", "around", "roughly"} and "each" not in size.reasons and amount.kind != "container"
    if several and ("total" in words or about and (amount.low >= 5 or size.low * SIZES.get(size.unit, ("", 0.0))[1] >= 450)):
        each = False  # "8 to 10 (about 2 pounds) chicken thighs"
    shared = not (each or size.kind == "length" or "each" in size.reasons or amount.low is None or (amount.low <= 1 and amount.high <= 1))
    if shared:
        value /= (amount.low + amount.high) / 2
        amount.reasons.append("size-may-be-total")
    amount.reasons += [reason for reason in size.reasons if reason != "each"]
    amount.each, amount.each_unit = (value or None), size.unit if value else ""


def _implied_one(tokens, position, start, known) -> Amount | None:
    """ "Pinch of salt", "large handful of rocket": one is meant."""
    amount = Amount(low=1.0, high=1.0, reasons=["implied-one"])
    amount.take(tokens, start, position, "note")
    after = modifiers(tokens, position, amount, known)
    found = unit_at(tokens, after, known) if after < len(tokens) else None
    if found is None or found[1] in ("mass", "volume") or found[0] in LENGTHS or after == position and tokens[position].kind == "punct":
        return None
    unit, kind, end = found
    of = low_at(tokens, end) == "of"
    spoon = kind in ("spoon", "cup") and end < len(tokens) and len(tokens[end - 1].low) > 1 and tokens[end].kind == "word"
    if not of and not (low_at(tokens, end) == "or" and low_at(tokens, end + 1) == "two" or spoon or kind == "vague" and end < len(tokens) or unit in ("thumb", "bunch", "sprig") and tokens[end - 1].low.isascii() and end < len(tokens) and end < len(tokens) or kind == "container" and end < len(tokens) and tokens[end].kind == "word" and unit != "bar"):
        return None
    if tokens[end - 1].low.endswith("s") and tokens[end - 1].low not in ("glass", "wineglass", "tbs", "ts"):
        amount.low = amount.high = None
        amount.reasons = []
    amount.unit, amount.kind, amount.unit_words = unit, kind, tokens[after:end]
    amount.take(tokens, after, end, "unit")
    if amount.low is not None:
        _unit_range(tokens, amount, known)
    if kind == "container":
        _count_inside(tokens, amount, known)
    return _finished(tokens, amount, known)


def _second_measure(tokens, amount: Amount, known) -> None:
    """ "1 stick + 2 tbsp butter": a second measure that cannot be added stays in words, before the food."""
    if not amount.unit or low_at(tokens, amount.end) not in ("+", "plus") or amount.end + 2 >= len(tokens):
        return
    more = measure_at(tokens, amount.end + 1, known) if tokens[amount.end + 1].kind in ("num", "frac") else None
    if more is None and low_at(tokens, amount.end + 1) in ("extra", "more", "some"):  # "1 cup + extra flour"
        amount.take(tokens, amount.end, amount.end + 2, "note")
    if more and more.end < len(tokens) and tokens[more.end].kind == "word" and low_at(tokens, more.end) not in ("extra", "more", "for", "to"):
        amount.take(tokens, amount.end, more.end, "leftover")
        amount.reasons.append("plus-food")


def _finished(tokens, amount: Amount, known) -> Amount:
    """Take the "of" that follows, sort out the size words, and a late "each"."""
    if amount.unit == "piece" and amount.each_unit in LENGTHS:
        amount.low, amount.high, amount.unit, amount.kind = amount.low * amount.each, amount.high * amount.each, amount.each_unit, "length"
        amount.each, amount.each_unit = None, ""
    if amount.kind == "length" and (found := unit_at(tokens, amount.end, known)):
        if low_at(tokens, found[2]) == "of" or found[0] in ("piece", "knob"):
            amount.take(tokens, amount.end, found[2], "unit")
    if amount.kind in MEASURED or amount.kind == "length":
        amount.claims = [(t, "note" if r == "size" else r) for t, r in amount.claims]
        amount.size = ""
    _second_measure(tokens, amount, known)
    for word in ("each", "of", "the", "a", "an"):
        if low_at(tokens, amount.end) == word and (word != "a" or low_at(tokens, amount.end - 1) == "of"):
            amount.take(tokens, amount.end, amount.end + 1, "note" if word == "each" else "joint")
    return amount
