"""What stands behind the food or in brackets, and what all of it makes of the line."""

from __future__ import annotations

from pipeline.stages.parse_amount import amount_at, set_size
from pipeline.stages.parse_food import read_plus
from pipeline.stages.parse_measure import MEASURED, Amount, accept, low_at, whole_measure
from pipeline.stages.parse_prepare import DIGITS, Reading, all_preparation, carve, give, prep_kind, take_preparation
from pipeline.stages.parse_words import Token, Vocabulary, joined

# Drained, these are still what they were: the liquid is not a canning liquid. Common practice, no source.
_KEEPS_ITS_STATE = frozenset({"tofu", "mozzarella", "feta", "ricotta", "paneer", "yogurt", "yoghurt", "spinach", "pasta", "rice", "noodles", "potatoes", "burrata",
                               "beef", "turkey", "pork", "lamb", "chicken", "mince", "sausage", "sausages", "bacon", "meat"})  # drained of its fat
# Done with water at home: what is drained of it afterwards came from no tin, and a soaked bean is a dried one. Common practice, no source.
_OF_WATER = frozenset({"soak", "soaked", "soaking", "steeped", "blanched", "scalded", "simmered", "steamed", "poached", "parboiled", "par-boiled", "washed", "wash",
                       "salted", "rehydrated", "reconstituted", "sprouted"})
_DRIED_WHERE_SOAKED = frozenset({"mushroom", "mushrooms", "porcini", "shiitake", "ceps"})
# Words after which two foods joined by "and" are one; from the trade, no source.
_ONE_FOOD = frozenset({
    ("half", "half"), ("macaroni", "cheese"), ("pork", "beans"), ("sweet", "sour"), ("hot", "sour"), ("salt", "vinegar"), ("garlic", "herb"), ("sage", "onion"),
    ("black", "white"), ("red", "white"), ("red", "green"), ("skin", "bone"), ("skin", "bones"), ("lemon", "herb"), ("bread", "butter"),
    ("onion", "garlic"), ("cheese", "onion"), ("white", "green"), ("fruit", "nut"), ("sour", "cream"), ("beef", "vegetable"), ("yellow", "green"), ("pale", "green"),
})

# A kind of a food is named in so many words; a longer bracket is a remark.
KIND_WORDS = 2
# Words of remarks, none of which is part of a food's name; from the trade, no source.
_REMARKS = frozenset("a an and or of the in with without for to from your my our some other any all not no see if about approx approximately circa roughly each by at per "
                     "weight recipe recipes note notes below above optional more less part half plus only use i we it is".split())


def read_tail(tokens: list[Token], reading: Reading, bracket: bool = False) -> None:
    """Read a part after the naming one, or inside a bracket (where unknown words are only a note)."""
    tokens = carve([token for token in tokens if not token.role], reading)
    words = [token for token in tokens if token.kind != "group"]
    if not words:
        return
    known = reading.known
    if words[0].low in ("or", "and") and len(words) > 1 and (words[0].low == "or" or low_at(words, 1) == "/"):
        reading.alternative.append(joined(words[1:], lower=True))
        give(words[:1], "joint")
        give(words[1:], "alternative")
        return
    if words[0].low in ("plus", "+") and len(words) > 1:
        give(words[:1], "joint")
        read_plus(words[1:], reading)
        return
    if len(words) == 2 and words[0].low in ("yolk", "yolks", "white", "whites") and words[1].low == "only" and reading.phrase and reading.phrase[-1].low in ("egg", "eggs"):
        reading.suffix = words[0].low  # "2 eggs, yolks only"
        give(words, "preparation")
        return
    if _read_size_or_amount(words, reading, bracket):
        return
    if not bracket and (at := _other_measured(words, reading)):
        reading.alternative.append(joined(words[at + 1:], lower=True))
        give(words[at:at + 1], "joint")
        give(words[at + 1:], "alternative")
        reading.other_food = True
        words = words[:at]
    elif reading.other_food and not bracket and all_preparation(words, 0, known):
        give(words, "alternative")  # "or 1 can mushrooms, drained": said of the other food
        reading.alternative[-1] += ", " + joined(words, lower=True)
        return
    size = known.sizes.at(words, 0)
    if size and size[1] == len(words):
        reading.size = reading.size or size[0][0]
        give(words, "size")
        return
    if _identifies(words, known) and not (bracket and any(token.low in ("or", "and") or token.kind in DIGITS for token in words)):
        give(words, "phrase")
        reading.before.extend(words)
        return
    at = next((i for i, token in enumerate(words) if token.low == "or" and 0 < i < len(words) - 1), 0)
    if at and all(_says_state(words, i, known) for i in range(len(words)) if i != at):
        reading.alternative.append(joined(words[at + 1:], lower=True))
        give(words[at:at + 1], "joint")
        give(words[at + 1:], "alternative")
        words = words[:at]
    if all_preparation(words, 0, known) or _starts_preparation(words, known):
        take_preparation(words, reading, "after")
        return
    if words[0].text in "£$€" or words[0].low in ("p", "rrp"):
        give(words, "note")
        return
    if bracket:
        give(words, "leftover" if _may_be_a_kind(words) else "note")  # "milk (soya)", but not "sugar (see note)"
        return
    if reading.listed and reading.phrase and _read_listed(words, reading):
        return
    give(words, "leftover")
    if any(token.kind == "word" for token in words):
        reading.doubt("leftover-words")


def _may_be_a_kind(words: list[Token]) -> bool:
    """Whether unknown words in a bracket may say which kind of the food is meant: one or two, and none that joins a remark."""
    said = [token for token in words if token.text not in "'-"]
    return 1 <= len(said) <= KIND_WORDS and all(token.kind == "word" and token.low not in _REMARKS for token in said)


def _other_measured(words: list[Token], reading: Reading) -> int:
    """Where "or" parts preparation from another measured food: "chopped | or | 1 tsp dried parsley"; 0 if nowhere."""
    for at, token in enumerate(words[:-2]):
        if token.low == "or" and at and words[at + 1].kind in DIGITS and all_preparation(words[:at], 0, reading.known):
            amount = amount_at(words, at + 1, reading.known)
            if amount and amount.unit and amount.end < len(words) and words[amount.end].kind == "word":
                return at
    return 0


def _read_listed(words: list[Token], reading: Reading) -> bool:
    """Take the further foods of a list into the phrase; the line is then in doubt as one of two foods."""
    known = reading.known
    if any(token.kind not in ("word", "group") and token.text not in "'&-" for token in words) or len(words) > 8:
        return False
    start = 1 if words[0].low in ("and", "&") else 0
    give(words[:start], "joint")
    position = start
    while position < len(words):
        kind, length = prep_kind(words, position, known)
        prepared = kind in ("participle", "adverb", "prep-to-end")
        give(words[position:] if kind == "prep-to-end" else words[position:position + length], "preparation" if prepared else "phrase")
        position = len(words) if kind == "prep-to-end" else position + length
    foods = [token for token in words if token.role == "phrase"]
    if foods:
        reading.more.append(foods)
        reading.doubt("two-foods")
    return bool(foods)


def _says_state(words: list[Token], position: int, known: Vocabulary) -> bool:
    word = words[position].low
    return bool(known.states.exactly([word])) or (known.preparations.exactly([word]) or ("",))[0] == "descriptor"


def _starts_preparation(words: list[Token], known: Vocabulary) -> bool:
    kind, length = prep_kind(words, 0, known)
    if kind in ("participle", "adverb", "prep-to-end") and not (kind == "adverb" and length == len(words)):
        return True
    if any(prep_kind(words, position, known)[0] in ("participle", "prep-to-end") for position in range(len(words))):
        return True
    return words[0].low.endswith("ed") and len(words[0].low) > 4 or known.states.at(words, 0) is not None or _in_pieces(words, known)


def _in_pieces(words: list[Token], known: Vocabulary) -> bool:
    """ "In 2cm dice", "in 3/4-inch cubes": how big the pieces are."""
    return words[0].low == "in" and len(words) > 1 and prep_kind(words, len(words) - 1, known)[0] == "shape" and all_preparation(words, 0, known, must_have=False)


def _identifies(words: list[Token], known: Vocabulary) -> bool:
    position = 0
    while position < len(words):
        kind, length = prep_kind(words, position, known)
        if kind != "identity" and (length > 1 or words[position].low not in ("and", "or", "%", "fat")) and words[position].kind not in DIGITS:
            return False
        position += length
    return any(token.kind == "word" for token in words)


def _read_size_or_amount(words: list[Token], reading: Reading, bracket: bool) -> bool:
    """A measure that stands alone: the amount when none is known, else the size of one, else a note."""
    amount = reading.amount
    start = next((i for i, token in enumerate(words) if token.kind in DIGITS), 0)
    if amount is None and start and not bracket:  # "flour, plain 200g"
        later = amount_at(words, start, reading.known)
        if later and later.end == len(words) and later.unit:
            accept(later)
            reading.amount = later
            read_tail(words[:start], reading)
            return True
    measure = whole_measure(words, reading.known, inside=bracket)
    if measure and measure.end == len(words):
        accept(measure)
        if any(token.low == "drained" for token in words):
            reading.states.append(("drained", "after"))
        implied = amount is not None and "implied-one" in amount.reasons and amount.each is None and not bracket and "each" not in measure.reasons and measure.kind in MEASURED
        if amount is None or implied:  # "fillet of sole, 1 lb"
            reading.reasons[:] = [reason for reason in reading.reasons if not (implied and reason == "implied-one")]
            reading.amount = measure
            reading.reasons.extend(reason for reason in measure.reasons if reason != "each")
        elif amount.each is None and amount.kind not in MEASURED and amount.kind != "length" and amount.low and (amount.kind == "container" or measure.kind in ("mass", "length")):
            set_size(amount, measure, each=amount.kind == "container")
            accept(amount)
            for reason in amount.reasons:
                reading.doubt(reason)
        else:
            _give_again(measure, "note")
        return True
    if amount is not None:
        number = amount_at(words, 0, reading.known)
        if number and number.end == len(words) and words[-1].kind in DIGITS:  # "1 pound scallops, about 16"
            give(words, "note")
            return True
        return False
    counted = amount_at(words, 0, reading.known)
    if counted is None or counted.end < len(words) and bracket or counted.end < len(words) and not all_preparation(words, counted.end, reading.known):
        return False
    accept(counted)
    reading.amount = counted
    reading.size = reading.size or counted.size
    give(words, "preparation")
    return True


def _give_again(amount: Amount, role: str) -> None:
    """Turn the tokens of an amount that is not used into another role."""
    for token, _ in amount.claims:
        token.role = role


def state_of(reading: Reading, line: list[Token]) -> str:
    """The one state that counts, of all that are written and implied (a tin is canned). ``line`` is all of its tokens."""
    written = [state for state, _ in reading.states]
    tinned = reading.amount is not None and reading.amount.unit == "tin"
    if (tinned or "canned" in written):
        return "drained" if "drained" in written else "canned"
    after = {state for state, where in reading.states if where == "after"}
    first = next((state for state, where in reading.states if where != "after"), "")
    if first in ("dried", "raw") or first == "frozen" and "cooked" not in written:
        return first
    words = {token.low for token in reading.phrase}
    at_home = {token.low for token in line if token.role != "alternative"} & _OF_WATER
    if at_home & {"soak", "soaked", "rehydrated", "reconstituted"} and words & _DRIED_WHERE_SOAKED and not set(written) - {"drained"}:
        return "dried"
    if "drained" in written and "cooked" not in written and not at_home and not words & _KEEPS_ITS_STATE:
        return "drained"
    if "cooked" in after and not first:
        reading.doubt("cooked-after")
    for state in ("cooked", "frozen", "pickled", "smoked", "dried", "raw"):
        if state in written:
            return state
    return ""


def is_two_foods(phrase: list[Token]) -> bool:
    """Whether the phrase names two foods: "salt and pepper", but not "macaroni and cheese"."""
    for position, token in enumerate(phrase):
        if token.text == "/" and 0 < position < len(phrase) - 1 and {phrase[position - 1].low, phrase[position + 1].low} == {"salt", "pepper"}:
            return True
        if token.low in ("and", "&") and 0 < position < len(phrase) - 1:
            if (phrase[position - 1].low, phrase[position + 1].low) not in _ONE_FOOD:
                return True
    return False
