"""Weights that are said of a state: "1 tin (400 g, drained weight 240 g)", "200 g chicken (raw weight 260 g)".

Such a weight is of the food in that state, whatever other weight the line gives: it is taken as the
amount in that state, and the other one is a note. They are taken out of the line first, and counted when
the rest of it is read.
"""

from __future__ import annotations

from dataclasses import replace

from pipeline.stages.parse_amount import set_size
from pipeline.stages.parse_measure import DISAGREE, MEASURED, SIZES, Amount, accept, comparable, low_at, measure_at, with_duals
from pipeline.stages.parse_prepare import Reading, Stated, give
from pipeline.stages.parse_words import Token, Vocabulary

NET = "net"
# Stands in the preparation where such a weight counts, however the line put it ("240 g when drained"): weighing reads it.
DRAINED_WEIGHT = "drained weight"
# Said with "weight": the food without its refuse. The same words as weigh_edible reads.
_CUTS = frozenset("peeled trimmed prepared shelled podded stoned pitted edible boned cleaned deseeded".split())
_MEANS = {"draining": "drained", "cooking": "cooked"}
_WEIGHT = frozenset({"weight", "weights", "wt"})
_WHEN = frozenset({"when", "once", "after", "being", "if", "net", "before"})
_GIVES = frozenset({"give", "gives", "giving", "yielding", "makes"})
_BETWEEN = frozenset({":", "=", "-", "of", "is", "about", ".", "to", *_GIVES})
_PARTS = frozenset({",", ";", "/"})
_ALL_OF_IT = frozenset({"total", "altogether", "combined"})


def without_stated(tokens: list[Token], reading: Reading) -> list[Token]:
    """The tokens without the weights that are said of a state, which are now in ``reading.stated``.

    A measure that opens the line ("240 g drained weight chickpeas") is the amount itself and stays.
    """
    left = _spans_taken(tokens, reading, opens=True)
    for token in list(left):
        if token.kind == "group":
            token.inner = _spans_taken(token.inner, reading, opens=False)
            if not token.inner and reading.stated:
                left.remove(token)
    return left


def _spans_taken(tokens: list[Token], reading: Reading, opens: bool) -> list[Token]:
    left: list[Token] = []
    position = 0
    while position < len(tokens):
        counted = left and left[-1].low in ("x", "*")
        read = _state_first if opens and not left else _stated_at
        found = None if counted else read(tokens, position, reading.known)
        if found is None:
            left.append(tokens[position])
            position += 1
            continue
        reading.stated.append(found)
        position = found.amount.end
        if left and left[-1].low in ("-", *_PARTS):
            give([left.pop()], "joint")
    if left and left[0].low in _PARTS and not opens:
        give([left.pop(0)], "joint")
    return left


def _stated_at(tokens: list[Token], position: int, known: Vocabulary) -> Stated | None:
    return _state_first(tokens, position, known) or _measure_first(tokens, position, known)


def _state_first(tokens: list[Token], position: int, known: Vocabulary) -> Stated | None:
    """ "drained weight 240 g", "net wt: 400 g", "weight when drained 240 g", and as all of a bracket or part "drained 240 g"."""
    start = position + (low_at(tokens, position) in _ALL_OF_IT)
    turned = low_at(tokens, start) in _WEIGHT
    start += turned
    while turned and low_at(tokens, start) in _WHEN - {NET}:
        start += 1
    state, end = _state_at(tokens, start, known)
    if not state or turned and low_at(tokens, start - 1) in _WEIGHT:
        return None
    weight = low_at(tokens, end) in _WEIGHT
    at = end + weight
    while low_at(tokens, at) in _BETWEEN:
        at += 1
    measure = _mass_at(tokens, at, known)
    if measure is None or not (turned or weight or state not in _CUTS and _alone(tokens, position, measure.end)):
        return None
    return _stated(tokens, measure, state, position, at, measure.end)


def _measure_first(tokens: list[Token], position: int, known: Vocabulary) -> Stated | None:
    """ "240 g drained weight", "240 g when drained", and as all that a bracket or part holds "240 g drained"."""
    if position and tokens[position - 1].kind in ("num", "frac") or low_at(tokens, position - 1) in ("x", "-"):
        return None
    measure = _mass_at(tokens, position, known)
    if measure is None:
        return None
    at = measure.end
    said = False
    while low_at(tokens, at) in _WHEN:
        said = True
        at += 1
    state, end = _state_at(tokens, at, known)
    if not state and said and low_at(tokens, at - 1) == NET:
        state, end = NET, at
    elif low_at(tokens, at - 1) == "before" and state == "cooked":
        state = "raw"
    if not state:
        return None
    weight = low_at(tokens, end) in _WEIGHT
    if not weight and (state in _CUTS or not (said or _alone(tokens, position, end))):
        return None
    return _stated(tokens, measure, state, measure.end, end + weight, end + weight)


def _alone(tokens: list[Token], start: int, end: int) -> bool:
    """Whether the tokens are a whole part of the line or of a bracket."""
    return (start == 0 or low_at(tokens, start - 1) in _PARTS | _GIVES) and (end >= len(tokens) or low_at(tokens, end) in _PARTS)


def _stated(tokens: list[Token], measure: Amount, state: str, start: int, end: int, stop: int) -> Stated:
    """The stated weight, its words claimed; ``start`` and ``end`` hold the words of the state, ``stop`` is where all of it ends."""
    measure = replace(measure, claims=list(measure.claims))
    role = "preparation" if state in _CUTS else "note" if state == NET else "state"
    measure.claims += [(token, "joint" if token.kind == "punct" else role) for token in tokens[start:end]]
    share = _share_at(tokens, stop)
    if low_at(tokens, stop) in ("each", "per"):
        measure.reasons.append("each")
    measure.claims += [(token, "note") for token in tokens[stop:share]]
    measure.end = share
    accept(measure)
    return Stated(measure, state)


def _share_at(tokens: list[Token], position: int) -> int:
    """The end of the words that say of how many the weight is: "each", "per tin", "in total"; ``position`` where none stand."""
    if low_at(tokens, position) == "each" or low_at(tokens, position) in _ALL_OF_IT:
        return position + 1
    if low_at(tokens, position) == "per" or low_at(tokens, position) == "in" and low_at(tokens, position + 1) in _ALL_OF_IT:
        return min(position + 2, len(tokens))
    return position


def _mass_at(tokens: list[Token], position: int, known: Vocabulary) -> Amount | None:
    measure = measure_at(tokens, position, known) if position < len(tokens) else None
    if measure is None or measure.kind != "mass":
        return None
    measure = with_duals(tokens, measure, known)
    return None if "measures-disagree" in measure.reasons else measure  # "400 g/240 g drained"


def _state_at(tokens: list[Token], position: int, known: Vocabulary) -> tuple[str, int]:
    """(state, end) of the words of a state at ``position``: a state, a cut or "net"; ("", position) where there is none."""
    found, end = "", position
    while end < len(tokens):
        word = tokens[end].low
        state = known.states.exactly([word])
        name = _MEANS.get(word) or state and state[0] or (word if word in _CUTS or word == NET else "")
        if name and name not in (found, "canned"):
            found = name if found in ("", NET) else found  # "drained and cooked weight": the first
        elif not (found and (word in ("and", "&", "then", "rinsed", "well") or name)):
            break
        end += 1
    return found, end


# ---------------------------------------------------------------- counting them

def count_stated(reading: Reading) -> None:
    """Take the weights that were said of a state as the amount in that state; a net weight is the last to count."""
    taken = False
    for stated in sorted(reading.stated, key=lambda one: one.state == NET):
        amount = reading.amount
        if taken or amount is not None and not _counts(stated, amount, reading):
            _as_note(stated)
            continue
        taken = True
        if amount is None or amount.low is None:
            reading.amount = stated.amount
        elif amount.kind in MEASURED or amount.kind == "length":
            _replace(reading, stated)
        else:
            _size(reading, stated)
        for reason in stated.amount.reasons:
            if reason != "each":
                reading.doubt(reason)
        if stated.state not in _CUTS and stated.state != NET:
            reading.states.append((stated.state, "before"))
        if stated.state == "drained":
            reading.taken = DRAINED_WEIGHT


def _counts(stated: Stated, amount: Amount, reading: Reading) -> bool:
    """Whether the weight says more than the amount: "200 g cooked chicken (260 g raw weight)" is already of a state."""
    if stated.state == NET and amount.kind == "container":
        return amount.each is None
    if amount.kind not in MEASURED:
        return True
    if stated.state == NET:
        return comparable(stated.amount.unit, amount.unit) and _grams(stated.amount) < _grams(amount)
    return not any(where != "after" and state not in (stated.state, "canned") for state, where in reading.states)


def _replace(reading: Reading, stated: Stated) -> None:
    """The weight in the state instead of the amount that was written first."""
    first = reading.amount
    _turn(first, ("quantity", "unit", "each"))
    drained_or_cut = stated.state == "drained" or stated.state in _CUTS
    if drained_or_cut and comparable(first.unit, stated.amount.unit) and _grams(stated.amount) > _grams(first) * (1 + DISAGREE):
        reading.doubt("measures-disagree")
    reading.amount = stated.amount
    reading.doubt("weight-of-state")


def _size(reading: Reading, stated: Stated) -> None:
    """The weight as the size of one of what is counted, in place of another size."""
    amount = reading.amount
    before = _grams_of_one(amount)
    _turn(amount, ("each",))
    amount.each, amount.each_unit = None, ""
    reading.reasons[:] = [reason for reason in reading.reasons if reason != "size-may-be-total"]
    amount.reasons = []
    container = amount.kind == "container"
    several = container and amount.high > 1 and "each" not in stated.amount.reasons
    total = several and (before is not None and _grams(stated.amount) > before or any(token.low in _ALL_OF_IT for token, _ in stated.amount.claims))
    set_size(amount, stated.amount, each=container and not total)
    if several and not total and before is None:
        amount.reasons.append("each-or-all")
    if total:
        amount.reasons = [reason for reason in amount.reasons if reason != "size-may-be-total"]
    accept(amount)
    for reason in amount.reasons:
        reading.doubt(reason)


def _grams(amount: Amount) -> float:
    return amount.high * SIZES[amount.unit][1]


def _grams_of_one(amount: Amount) -> float | None:
    return amount.each * SIZES[amount.each_unit][1] if amount.each and amount.each_unit in SIZES else None


def _turn(amount: Amount, roles: tuple[str, ...]) -> None:
    """Make a note of the tokens of an amount that have one of these roles."""
    amount.claims = [(token, "note" if role in roles else role) for token, role in amount.claims]
    for token, role in amount.claims:
        if token.role in roles:
            token.role = role


def _as_note(stated: Stated) -> None:
    for token, role in stated.amount.claims:
        token.role = "joint" if role == "joint" else "note"
