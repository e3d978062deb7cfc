"""The part of a line that names the food: its phrase, and the alternatives to it."""

from __future__ import annotations

from pipeline.stages.parse_alternatives import find_or, shared_noun
from pipeline.stages.parse_amount import amount_at
from pipeline.stages.parse_measure import MEASURED, Amount, accept, comparable, conversion, low_at, measure_at, mixed
from pipeline.stages.parse_quantity import number_at
from pipeline.stages.parse_prepare import DIGITS, Reading, all_preparation, give, prep_kind, take_preparation
from pipeline.stages.parse_words import Token, Vocabulary, joined


def read_head(tokens: list[Token], reading: Reading, others: list[Token] | None = None) -> None:
    """Read the naming part, alternatives included; ``others`` are those of "ground beef, turkey or chicken"."""
    tokens = _or_fewer([token for token in tokens if token.kind != "group"], reading)
    if others:
        tokens, found = tokens + others, (len(tokens), len(tokens))
    else:
        found = find_or(tokens)
    known = reading.known
    while found and not others and all_preparation(tokens, found[1], known) and prep_kind(tokens, found[0] - 1, known)[0] in ("participle", "adverb", "shape"):
        found = None
    if found is None:
        scan_head(tokens, reading)
        return
    start, end = found
    left, right = tokens[:start], tokens[end:]
    prepared = prep_kind(left, len(left) - 1, known)[0] in ("participle", "adverb") and prep_kind(right, 0, known)[0] in ("participle", "adverb")
    if prepared and not any(t.kind == "word" and not prep_kind(left, i, known)[0] for i, t in enumerate(left)):
        scan_head(tokens, reading)
        return
    give(tokens[start:end], "joint")
    several = number_at(right, 0)
    if several and several.end == len(right) and reading.amount and reading.amount.low is not None:  # "a carrot or two"
        reading.amount.high = max(reading.amount.high, several.high)
        give(right, "quantity")
        scan_head(left, reading)
        return
    last = max((position for position, token in enumerate(right) if token.low == "or"), default=-1) + 1
    shared = 0 if right[last:] and right[last].low in ("other", "another", "any", "similar", "some") else shared_noun(left, right[last:], known)
    own = _own_words(left, right, reading) or (last + shared if shared else 0)
    words = [token for token in right if token.kind != "group"]
    reading.alternative.append(joined(words, lower=True))
    give(words[:own] if own else words, "alternative")
    scan_head(left + right[own:] if own else left, reading)


def _own_words(left: list[Token], right: list[Token], reading: Reading) -> int:
    """ "fresh | 1 tsp dried thyme": how many words of the right are not the shared food."""
    known = reading.known
    described = all(known.states.exactly([t.low]) or (known.preparations.exactly([t.low]) or ("",))[0] in ("descriptor", "identity") for t in left)
    amount = amount_at(right, 0, known) if described and right[0].kind in DIGITS else None
    if amount is None:
        return 0
    end = amount.end
    while end + 1 < len(right) and (known.states.exactly([right[end].low]) or (known.preparations.exactly([right[end].low]) or ("",))[0] in ("descriptor", "identity")):
        end += 1
    return end if end < len(right) else 0


def _or_fewer(tokens: list[Token], reading: Reading) -> list[Token]:
    """ "1 large or 2 small onions": the second count is the alternative, the food is shared."""
    amount = reading.amount
    if amount is None or not tokens or tokens[0].low != "or" or len(tokens) < 3:
        return tokens
    other = amount_at(tokens, 1, reading.known)
    if other is None or other.end >= len(tokens):
        return tokens
    reading.alternative.append(joined(tokens[1:], lower=True))
    give(tokens[:1], "joint")
    give(tokens[1:other.end], "alternative")
    return tokens[other.end:]


def scan_head(tokens: list[Token], reading: Reading) -> None:
    """Read the part that names the food: words before and after the noun, the rest is phrase."""
    known, position = reading.known, 0
    measured = reading.amount is not None and reading.amount.kind in MEASURED
    while position < len(tokens):
        token = tokens[position]
        if token.kind == "group":
            position += 1
            continue
        if token.kind in DIGITS and position + 1 < len(tokens) and (size := measure_at(tokens, position, known)) and size.kind == "length" and size.end < len(tokens):
            give(tokens[position:size.end], "preparation")  # "2 cups 1/2-inch diced potatoes"
            position = size.end
            continue
        after_noun = bool(reading.phrase) and reading.phrase[-1].role == "phrase" and _has_noun(reading)
        kind, length = prep_kind(tokens, position, known)
        state, size = known.states.at(tokens, position), known.sizes.at(tokens, position)
        if after_noun and (kind in ("participle", "adverb", "prep-to-end", "descriptor") or state) and all_preparation(tokens, position, known):
            take_preparation(tokens[position:], reading, "after")
            return
        if state and state[1] >= length:
            position = _take_state(tokens, position, state, reading)
        elif size and not after_noun and kind != "kept":
            position = _take_size(tokens, position, size, reading, measured)
        elif kind == "prep-to-end" or after_noun and token.low in ("in", "with") and position + 1 < len(tokens) and tokens[position + 1].kind in DIGITS:
            give(tokens[position:], "preparation")
            return
        elif kind == "kept" and low_at(tokens, position + length) in ("and", "&") and _leads_to_participle(tokens, position + length, known, strict=True):
            give(tokens[position:position + length + 1], "preparation")  # "seeded and minced chilli"
            position += length + 1
        elif kind == "participle" or kind == "adverb" and _leads_to_participle(tokens, position + length, known):
            position = _take_participle(tokens, position, length, reading)
        elif reading.phrase and (token.low in ("plus", "+") or _adds_an_amount(tokens, position, known)):
            give(tokens[position:position + 1], "joint")
            read_plus(tokens[position + 1:], reading)
            return
        else:
            position = _take_words(tokens, position, length if kind else 1, reading)


def _has_noun(reading: Reading) -> bool:
    """Whether the phrase already holds a word that is more than a description."""
    for token in reading.phrase:
        kind = reading.known.preparations.exactly([token.low])
        if token.kind == "word" and not (kind and kind[0] in ("descriptor", "kept", "identity")) and not reading.known.states.exactly([token.low]):
            return True
    return False


def _take_state(tokens, position, state, reading: Reading) -> int:
    ((name, kind), length) = state
    alone = position + length >= len(tokens)
    if name:
        reading.states.append((name, "before" if not reading.phrase else "middle"))
    role = "phrase" if kind == "kept" and not alone else "state"
    if not name:
        role = "phrase"
    for token in tokens[position:position + length]:
        token.role = token.role or role
        if role == "phrase":
            reading.phrase.append(token)
    return position + length


def _take_size(tokens, position, size, reading: Reading, measured: bool) -> int:
    ((name,), length) = size
    word = tokens[position].low
    gem = word == "little" and low_at(tokens, position + 1) == "gem"
    last = position + length >= len(tokens)
    keep = gem or name == "baby" or word == "jumbo" or last or measured and word in ("medium", "regular", "standard", "little", "average")
    reading.size = reading.size or ("" if gem else name)
    for token in tokens[position:position + length]:
        token.role = token.role or ("phrase" if keep else "size")
        if keep:
            reading.phrase.append(token)
    return position + length


def _leads_to_participle(tokens, position, known, strict: bool = False) -> bool:
    while position < len(tokens):
        kind, length = prep_kind(tokens, position, known)
        if kind == "participle" or not strict and kind == "kept" and tokens[position].low in ("ground", "flaked", "toasted", "roasted", "shelled"):
            return True
        if kind != "adverb" and tokens[position].low not in ("and", "&", "or", ","):
            return False
        position += length
    return False


def _take_participle(tokens, position, length, reading: Reading) -> int:
    """ "finely chopped and washed" before the noun; inside a tin "chopped tomatoes" is the food."""
    known = reading.known
    tin = reading.amount is not None and reading.amount.unit in ("tin", "carton", "jar") or any(s == "canned" for s, _ in reading.states)
    if tin and tokens[position].low in ("chopped", "crushed", "diced", "peeled", "sliced", "stewed") and position + length < len(tokens):
        return _take_words(tokens, position, length, reading)
    give(tokens[position:position + length], "preparation")
    end = position + length
    while end + 1 < len(tokens) and tokens[end].low in ("and", "&", "or", "-") and prep_kind(tokens, end + 1, known)[0] in ("participle", "adverb"):
        step = prep_kind(tokens, end + 1, known)[1]
        give(tokens[end:end + 1 + step], "preparation")
        end += 1 + step
    return end


def _take_words(tokens, position, length, reading: Reading) -> int:
    for token in tokens[position:position + length]:
        odd = token.kind == "punct" and token.low not in "%&'-/"
        if odd and token.low in ",.;:!?\"*_~^|=+<>#@`\\•·":
            token.role = token.role or "joint"
        elif odd:
            token.role = token.role or "leftover"
        elif not token.role:
            token.role = "phrase"
            reading.phrase.append(token)
    return position + length


def _adds_an_amount(tokens: list[Token], position: int, known: Vocabulary) -> bool:
    """ "2 bay leaves and a sprig of thyme": an amount after "and" is that of a second food."""
    if tokens[position].low not in ("and", "&") or position + 2 >= len(tokens):
        return False
    after = tokens[position + 1]
    if after.low == "some" or after.low == "a" and tokens[position + 2].low in ("little", "bit", "touch", "few"):
        return True
    return after.kind in DIGITS or after.low in ("a", "an", "half") and amount_at(tokens, position + 1, known) is not None


def add_to(reading: Reading, more: Amount | None) -> bool:
    """Add a further amount of the same food in the unit of the first; False when that is not possible."""
    amount = reading.amount
    if more is None or amount is None or amount.low is None or more.unit != amount.unit and not comparable(more.unit, amount.unit):
        return False
    factor = conversion(more.unit, amount.unit)
    if more.unit != amount.unit and mixed(more.unit, amount.unit):
        reading.doubt("mixed-measures")
    accept(more)
    amount.low, amount.high = amount.low + more.low * factor, amount.high + more.high * factor
    return True


def read_plus(tokens: list[Token], reading: Reading) -> None:
    """ "olive oil plus 1 tsp" adds; "1 egg plus 1 yolk" is a second food and stays in words."""
    more = measure_at(tokens, 0, reading.known) if tokens else None
    amount = reading.amount
    if more and more.end == len(tokens) and add_to(reading, more):
        return
    same = more and more.end < len(tokens) and reading.phrase and tokens[-1].low == reading.phrase[-1].low and len(tokens) - more.end <= len(reading.phrase) + 1
    if same and add_to(reading, more):  # "2 cups flour plus 2 tbsp flour"
        give(tokens, "note")
        return
    give(tokens, "leftover")
    reading.doubt("plus-food")
