"""One line: what kind of line it is, its amount, its food, and the fields that come of them."""

from __future__ import annotations

import math

from pipeline.stages.parse_amount import amount_at
from pipeline.stages.parse_food import read_head
from pipeline.stages.parse_juice import citrus, juice_phrase, juiced_after, opens_with_egg_part, opens_with_juice
from pipeline.stages.parse_look import kind_by_look, opened, without_bullet, without_prefix
from pipeline.stages.parse_measure import LENGTHS, MEASURED, MOST_GRAMS, SIZES, Amount, accept, low_at, measure_at, whole_measure
from pipeline.stages.parse_prepare import Reading, all_preparation, carve, give, parts_of, prep_kind, unruled
from pipeline.stages.parse_salt import take_alternatives_of_salt, without_unsalted
from pipeline.stages.parse_stated import count_stated, without_stated
from pipeline.stages.parse_tail import is_two_foods, read_tail, state_of
from pipeline.stages.parse_thousands import may_be_a_thousand, read_absurd_commas
from pipeline.stages.parse_words import Token, Vocabulary, clean, grouped, joined, tokenise, without_dots

LONGEST_LINE = 1000  # characters; a longer "line" is a paragraph that was not split
MOST_COUNTED = 1_000.0  # above this a written number is a slip of the pen; common practice, no source
# Reason code -> (factor on the confidence, meaning). The confidence of a line is the product.
REASONS: dict[str, tuple[float, str]] = {
    "few": (0.85, "a few or several, read as a range"),
    "implied-one": (0.95, "a unit without a number: one is meant"),
    "implied-to-taste": (0.9, "salt, pepper or seasoning without an amount"),
    "misspelt-unit": (0.95, "a unit with a slip of the pen"),
    "no-quantity": (0.7, "no amount is written"),
    "two-foods": (0.6, "one amount for two foods"),
    "alternatives": (0.9, "the first of two foods is taken"),
    "salt-alternative": (0.5, "what may stand for the salt may hold potassium"),
    "thousand-or-decimal": (0.5, "three digits behind a dot or comma: a thousand times as much may be meant"),
    "weight-of-state": (0.9, "of two weights the one that is said of a state is taken"),
    "for-each": (0.4, "each of those who eat, perhaps: the amount is then of one portion"),
    "each-or-all": (0.6, "a weight behind several packs, of each or of all of them"),
    "measures-disagree": (0.5, "two measures of one line differ by more than 10 %"),
    "mixed-measures": (0.8, "a sum of a unit that differs between the UK and the US and one that does not"),
    "size-may-be-total": (0.85, "a measure behind several pieces, taken as that of all of them"),
    "plus-food": (0.4, "a second food stands behind a plus sign"),
    "zest-also": (0.85, "juice and zest of one fruit: the juice is counted"),
    "cooked-after": (0.7, "cooked is said behind the food: the amount may be of the raw food"),
    "deep-frying": (0.9, "an amount to fry in, not to eat"),
    "second-amount": (0.8, "another amount stands in the preparation"),
    "number-in-phrase": (0.4, "a number among the food words"),
    "leftover-words": (0.6, "words that could not be placed"),
    "unit-or-food": (0.8, "a unit word that is also the food"),
    "absurd-quantity": (0.0, "no cook means this amount"),
    "negative-quantity": (0.0, "the amount is below zero"),
    "no-food-words": (0.0, "no word that could be a food"),
    "too-long": (0.0, f"longer than {LONGEST_LINE} characters"),
}
_SEASONINGS = frozenset("salt pepper sea black white kosher fresh / coarsely pink ground freshly and & seasoning table rock cracked fine coarse flaky flakes peppercorns".split())
_PHRASE_ENDS = frozenset({"and", "&", "of", "with", "the", "a", "an", "or", "-", "'", "/", "x", "in", "for", "to", "plus", "from"})
# A trailing unit word that only counts ("3 garlic cloves") leaves the phrase; other ones are part of the name and stay.
_ONLY_COUNTS = frozenset({"clove", "stick", "sprig", "slice", "rasher", "stalk", "head", "bulb", "wedge", "tin", "jar", "packet", "bunch", "strip", "knob", "sheet",
                          "handful", "pinch", "segment", "thin slice", "thick slice", "square", "nest", "sachet", "tub", "carton", "punnet", "ball", "block", "ear"})
_NAMES_WITH_UNIT = frozenset({"cinnamon", "french", "cocktail", "bread"})  # sticks and slices that are foods
_NEVER_TRAILS = frozenset({"piece", "half", "quarter", "round", "bean", "roll", "ring", "kernel", "spoonful", "cake", "part", "recipe", "log", "slab", "rack", "shot", "side", "case", "glass", "plate", "mug", "drop", "dash", "splash", "pod",
                           "heart", "grind", "bar", "tube", "bottle", "stone", "cm", "inch", "loaf", "batch", "bag", "teabag", "portion", "finger"})


# Behind the food these are part of its name and it is counted: "4 chicken thighs", "2 pork chops".
_COUNTED_CUTS = frozenset({"thigh", "breast", "chop", "leg", "steak", "drumstick", "wing", "cutlet", "rib", "escalope"})
_ONE_WHEN_BARE = frozenset({"clove", "leaf", "stick", "sprig", "stalk", "cube"})
_CUTS = frozenset({"rack", "leg", "loin", "rib", "breast", "steak", "chop", "thigh", "drumstick", "crown", "joint", "heart", "wing", "cutlet", "escalope", "fillet"})


def read_line(text: str, known: Vocabulary) -> tuple[str, Reading, list[Token]]:
    """(kind, reading, every token with its role) of one line."""
    reading = Reading(known)
    if len(text) > LONGEST_LINE:
        reading.doubt("too-long")
        return "unreadable", reading, []
    tokens = tokenise(clean(text))
    read_absurd_commas(tokens, known)
    kind = kind_by_look(text, tokens, known)
    if kind:
        give(tokens, "leftover" if kind == "unreadable" else "note")
        if kind == "unreadable":
            reading.doubt("no-food-words")
        return kind, reading, tokens
    top = grouped(without_dots(tokens, known))
    negative = len(tokens) > 1 and tokens[0].text in "-−" and not tokens[1].gap and tokens[1].kind in ("num", "frac")
    top = without_bullet(top)
    top = without_prefix(top, reading)
    _read(top, reading)
    words = [token.low for token in tokens if token.kind == "word"]
    if words and words[-1] == "each" and reading.amount is not None and reading.amount.each is None:
        reading.doubt("for-each")
    kind = _settle(reading, tokens, negative)
    return kind, reading, tokens


def _read(top: list[Token], reading: Reading) -> None:
    known = reading.known
    top = without_unsalted(without_stated(top, reading), reading)
    top = opens_with_egg_part(opened(top, reading), reading)
    juice, position = opens_with_juice(top, reading)
    amount = amount_at(top, position, known) if position < len(top) else None
    if amount:
        accept(amount)
        reading.amount, reading.size = amount, amount.size
        reading.reasons.extend(amount.reasons)
        position = amount.end
        if amount.unit in _CUTS and low_at(top, position - 1) == "of":
            reading.before.extend([*amount.unit_words, top[position - 1]])  # "leg of lamb" is the food
    rest = [token for token in top[position:] if not token.role]
    if amount is not None:
        rest = opened(rest, reading)
    each = any(token.low == "each" for token in top if token.role == "note") or bool(rest) and rest[0].low == "each"
    parts = parts_of(rest)
    last = parts[-1] if parts else []
    reading.listed = each or amount is None and len(parts) > 1 and (
        len(parts) > 2 or any(token.low in ("and", "&") for token in last) or all(token.low in _SEASONINGS for token in last))
    if amount is None:
        parts = _amount_behind(parts, reading)
    _read_parts(parts, reading)
    for token in top:
        if token.kind == "group":
            for part in parts_of(token.inner):
                if not juiced_after(part, reading):
                    read_tail(part, reading, bracket=True)
    count_stated(reading)
    _unit_behind(reading)
    if reading.amount and reading.amount.unit == "squeeze" and reading.phrase and citrus(reading.phrase[-1].low) in ("lemon", "lime", "orange"):
        reading.suffix = "juice"
    if juice:
        juice_phrase(juice, reading)


def _amount_behind(parts: list[list[Token]], reading: Reading) -> list[list[Token]]:
    """The parts without an amount that stands behind the food: "Butter 50 g", "eggs x 2"."""
    if not parts:
        return parts
    first, known = parts[0], reading.known
    for position in range(1, len(first)):
        token = first[position]
        spelled = token.low in ("a", "an", "half", "one", "two", "three", "four")
        if token.kind not in ("num", "frac") and not spelled:
            continue
        if first[position - 1].kind in ("num", "frac") or first[position - 1].text == "/" and not spelled:
            continue  # the second number of "1/4" or "1 1/2"
        amount = amount_at(first, position, known)
        if amount is None or spelled and not amount.unit:
            continue
        after = first[amount.end:]
        if all(left.kind == "group" or left.role for left in after) or all_preparation(first, amount.end, known) or len(unruled(after, known)) == 0:
            accept(amount)
            reading.amount, reading.size = amount, amount.size
            reading.reasons.extend(amount.reasons)
            if first[position - 1].low in ("x", ":"):
                position -= 1
                first[position].role = "joint"
            return [first[:position], *([after] if after else []), *parts[1:]] if position else parts
    return parts


def _read_parts(parts: list[list[Token]], reading: Reading) -> None:
    """The first part that names a food is the head; those before it only describe it."""
    named = False
    for position, part in enumerate(parts):
        if named:
            if not juiced_after(part, reading):
                read_tail(part, reading)
            continue
        part = carve(part, reading)
        words = [token for token in part if token.kind == "word" and not token.role]
        if not words:
            give([token for token in part if token.kind not in ("group",)], "leftover")
            continue
        more = any(_may_name(later, reading.known) for later in parts[position + 1:])
        if more and reading.amount is not None and (size := whole_measure(part, reading.known, inside=False)) and size.end == len(part):
            read_tail(part, reading)  # "1 package, 8 ounces, cream cheese"
            continue
        if more and all_preparation(part, 0, reading.known):
            _describes(part, reading)
            continue
        others = _other_foods(parts[position + 1], reading) if position + 1 < len(parts) else []
        read_head(_without_size_behind(part, reading), reading, others)
        named = bool(reading.phrase)


def _other_foods(part: list[Token], reading: Reading) -> list[Token]:
    """A part such as "turkey or chicken", that lists further alternatives; else nothing."""
    words = [token for token in part if token.kind != "group"]
    at = next((position for position, token in enumerate(words) if token.low == "or"), 0)
    if not 0 < at <= 3 or len(words) > at + 5 or any(token.kind != "word" or token.role for token in words) or words[0].low in ("and", "or", "plus", "with", "to", "for", "if", "in"):
        return []
    known = reading.known
    if all_preparation(words, 0, known, must_have=False) or any(known.rules.at(words, position) for position in range(len(words))):
        return []
    named = [token for token in words if not (prep_kind([token], 0, known)[0] or known.states.exactly([token.low]) or known.sizes.exactly([token.low]))]
    before = [token for token in named if token in words[:at]]
    first = prep_kind(words, 0, known)[0]
    return words if len(named) > 1 and (before or first == "identity") and first not in ("participle", "adverb", "prep-to-end") else []


def _may_name(part: list[Token], known: Vocabulary) -> bool:
    """Whether a part may name the food: it is not preparation, a rule or a bare amount ("300 g")."""
    words = unruled(part, known)
    if not any(token.kind == "word" for token in words) or all_preparation(part, 0, known):
        return False
    amount = amount_at(part, 0, known) if part[0].kind in ("num", "frac") else None
    return amount is None or any(token.kind == "word" and token.low != "each" for token in part[amount.end:])


def _without_size_behind(part: list[Token], reading: Reading) -> list[Token]:
    """The naming part without a measure at its end: "1 medium onion 150g" is one onion of 150 g."""
    start = next((position for position, token in enumerate(part) if position and token.kind in ("num", "frac")), 0)
    measure = measure_at(part, start, reading.known) if start and reading.amount is not None else None
    if measure is None or measure.end != len(part) or measure.kind not in ("mass", "volume") or part[start - 1].kind != "word":
        return part
    if part[start - 1].low in ("in", "with", "into", "and", "plus", "to", "or"):
        return part
    read_tail(part[start:], reading)
    return part[:start]


def _describes(part: list[Token], reading: Reading) -> None:
    """A part before the food that only describes it: "boneless, skinless chicken breasts"."""
    for token in part:
        kind = reading.known.preparations.exactly([token.low])
        keep = kind and kind[0] in ("descriptor", "kept") or reading.known.states.exactly([token.low])
        state = reading.known.states.exactly([token.low])
        if state and state[0]:
            reading.states.append((state[0], "before"))
        if keep and not token.role:
            token.role = "phrase"
            reading.before.append(token)
        elif reading.known.sizes.exactly([token.low]) and not token.role:
            token.role, reading.size = "size", reading.known.sizes.exactly([token.low])[0]
    give([token for token in part if token.kind != "group"], "preparation")


def _unit_behind(reading: Reading) -> None:
    """The unit of "3 garlic cloves", behind the food; and a "unit" that was the food itself."""
    amount, known = reading.amount, reading.known
    words = [token for token in reading.phrase if token.role == "phrase"]
    if amount and not words and not reading.before and amount.unit_words and amount.kind in ("piece", "container", "vague") and amount.unit not in LENGTHS | {"piece", "tin", "pinch"}:
        reading.phrase = list(amount.unit_words)
        for token in amount.unit_words:
            token.role = "phrase"
        amount.unit = amount.kind = ""
        reading.doubt("unit-or-food")
        return
    if amount is None and len(words) > 1 and not reading.rules and words[-1].low in _ONE_WHEN_BARE:
        amount = reading.amount = Amount(low=1.0, high=1.0)  # "bay leaf", "garlic clove, crushed"
        reading.doubt("implied-one")
    if amount is None or amount.unit or amount.low is None or len(words) < 2 or any(token.low == "of" for token in words) or is_two_foods(words):
        return
    found = known.units.at(words, len(words) - 1)
    if not found or found[0][1] not in ("piece", "container", "vague") or found[0][0] in _NEVER_TRAILS or words[-2].low == "the":
        return
    unit, kind = found[0]
    if unit in _COUNTED_CUTS and words[-2].low != "celery":
        return
    only_counts = unit in _ONLY_COUNTS and words[-2].low not in _NAMES_WITH_UNIT
    if kind == "piece" and not only_counts and unit != "rib":  # a rib of celery is a stalk
        return  # part of the name: "4 salmon fillets", "2 bay leaves", "1 cinnamon stick"
    amount.unit, amount.kind = unit, kind
    if only_counts:
        words[-1].role = "unit"
        reading.phrase = [token for token in reading.phrase if token.role == "phrase"]


def _settle(reading: Reading, tokens: list[Token], negative: bool) -> str:
    """Place what is left, judge the numbers, and say what kind of line it is."""
    phrase = [token for token in reading.phrase if token.role == "phrase"]
    while phrase and phrase[-1].low in _PHRASE_ENDS | {"each"}:
        last = phrase.pop()
        last.role = "note" if last.low == "each" else "joint"
    while phrase and phrase[0].low in _PHRASE_ENDS:
        phrase.pop(0).role = "joint"
    reading.phrase = phrase
    for token in tokens:
        if token.role:
            continue
        mark = token.kind == "punct"
        token.role = "joint" if mark and token.text.isascii() and token.text not in "£$" else "leftover"
        if not mark:
            reading.doubt("leftover-words")
    if negative:
        reading.doubt("negative-quantity")
    if _absurd(reading):
        reading.doubt("absurd-quantity")
    if not any(token.kind == "word" for token in reading.phrase + reading.before) and not reading.suffix:
        reading.doubt("no-food-words")
    _doubts(reading, tokens)
    return "unreadable" if set(reading.reasons) & {"negative-quantity", "absurd-quantity", "no-food-words"} else "food"


def _absurd(reading: Reading) -> bool:
    amount = reading.amount
    if amount is None or amount.low is None:
        return False
    sizes = [amount.low, amount.high] + ([amount.each] if amount.each is not None else [])
    if any(not math.isfinite(value) or value < 0 for value in sizes) or amount.high == 0 or amount.each == 0:
        return True
    scale = SIZES.get(amount.unit, ("", 1.0, 1.0))[1] if amount.kind in MEASURED else None
    if scale is not None:
        return amount.high * scale > MOST_GRAMS
    each = (amount.each or 0) * SIZES.get(amount.each_unit, ("", 1.0, 1.0))[1]
    return amount.high > MOST_COUNTED or each * amount.high > MOST_GRAMS


def _doubts(reading: Reading, tokens: list[Token]) -> None:
    amount = reading.amount
    if is_two_foods(reading.phrase):
        reading.doubt("two-foods")
    take_alternatives_of_salt(tokens, reading)
    if reading.alternative:
        reading.doubt("alternatives")
    if may_be_a_thousand(tokens, amount):
        reading.doubt("thousand-or-decimal")
    for position, token in enumerate(reading.phrase):
        after = low_at(reading.phrase, position + 1)
        if token.kind in ("num", "frac") and after != "%" and token.text not in ("00", "0") or token.text == "£":
            reading.doubt("number-in-phrase")
    if "deep-frying" in reading.rules and amount is not None:
        reading.doubt("deep-frying")
    if amount is None and not reading.rules:
        seasoning = reading.phrase and all(token.low in _SEASONINGS for token in reading.phrase)
        reading.rules.extend(["to-taste"] if seasoning else [])
        reading.doubt("implied-to-taste" if seasoning else "no-quantity")
    elif amount is not None and amount.low is None and not reading.rules:
        reading.doubt("no-quantity")
    if _second_amount(tokens, reading.known):
        reading.doubt("second-amount")


def _second_amount(tokens: list[Token], known: Vocabulary) -> bool:
    """Whether the preparation holds an amount of another food (water apart)."""
    said = [token for token in tokens if token.role == "preparation"]
    for position, token in enumerate(said):
        if token.kind in ("num", "frac"):
            found = amount_at(said, position, known)
            if found and found.kind in MEASURED and found.end < len(said) and low_at(said, found.end) not in ("water", "cold", "boiling", "warm", "hot", "weight"):
                return said[found.end].kind == "word"
    return False


def fields(text: str, known: Vocabulary) -> dict:
    """The columns of ``Parsed`` (without ``line_id``) for one line."""
    kind, reading, tokens = read_line(text, known)
    amount = reading.amount
    readable = kind == "food" and amount is not None and amount.low is not None
    number = float("nan")
    food = kind == "food"
    deep = "deep-frying" in reading.rules
    state = state_of(reading, tokens) if food else ""
    rule = "for-cooking" if deep else "stated" if readable else {"deep-frying": "for-cooking"}.get(reading.rules[0], reading.rules[0]) if food and reading.rules else "none"
    each = readable and amount.each is not None
    confidence = math.prod(REASONS[reason][0] for reason in reading.reasons)
    return {
        "text": text, "kind": kind,
        "quantity_low": float(amount.low) if readable else number, "quantity_high": float(amount.high) if readable else number,
        "unit": amount.unit if food and amount is not None else "",
        "each_quantity": float(amount.each) if each else number, "each_unit": amount.each_unit if each else "",
        "size": reading.size if food else "", "phrase": _phrase(reading) if food else "",
        "state": state, "preparation": _preparation(tokens, reading),
        "optional": bool(food and reading.optional), "amount_rule": rule,
        "alternative": "; ".join(reading.alternative), "note": said(tokens, "note") if kind != "unreadable" else "",
        "leftover": _leftover(tokens, reading) if kind != "unreadable" else text,
        "parse_confidence": round(confidence, 4), "parse_reason": ";".join(reading.reasons),
    }


def _leftover(tokens: list[Token], reading: Reading) -> str:
    """The words left over, and the alternatives of salt that nobody may overlook."""
    open_choice = reading.alternative if "salt-alternative" in reading.reasons else []
    return "; ".join(filter(None, (said(tokens, "leftover"), *open_choice)))


def _preparation(tokens: list[Token], reading: Reading) -> str:
    written = said(tokens, "preparation")
    return written if reading.taken in written.split() else "; ".join(filter(None, (written, reading.taken)))


def _phrase(reading: Reading) -> str:
    words = joined(reading.before + reading.phrase, lower=True)
    words = " and ".join([words, *(joined(food, lower=True) for food in reading.more)])
    return f"{citrus(words)} {reading.suffix}".strip() if reading.suffix else words


def said(tokens: list[Token], role: str) -> str:
    """The words of a role, as written; "; " parts those that did not stand together."""
    pieces, current = [], []
    for token in tokens:
        if token.role == role:
            current.append(token)
        elif current:
            pieces.append(joined(current))
            current = []
    if current:
        pieces.append(joined(current))
    return "; ".join(pieces)
