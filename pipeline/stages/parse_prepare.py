"""The words around the food: parts of a line, notes, rules such as "to taste", and preparation."""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.stages.parse_measure import Amount, low_at
from pipeline.stages.parse_words import Token, Vocabulary

_FUNCTION = frozenset({
    "and", "&", "or", "then", "but", "into", "in", "to", "of", "the", "a", "an", "on", "off", "with", "at", "by", "from", "about", "approx",
    "as", "not", "if", "only", "each", "both", "all", "any", "its", "their", "for", "x", "-", "/", "until", "over", "is", "out", "away", "too",
    "through", "across", "against", "cm", "mm", "inch", "inches", "in", "cms", "g", "ml", "minutes", "hour", "hours", '"', "'", ".", "+", "no", "overnight", "water",
})
DIGITS = ("num", "frac")


@dataclass
class Stated:
    """A weight that is said of a state ("drained weight 240 g"); ``state`` may be a cut ("peeled") or "net"."""

    amount: Amount
    state: str


@dataclass
class Reading:
    """What has been read so far. Token roles hold the words; the rest is here."""

    known: Vocabulary
    amount: Amount | None = None
    phrase: list[Token] = field(default_factory=list)
    before: list[Token] = field(default_factory=list)
    states: list[tuple[str, str]] = field(default_factory=list)  # (state, "before" | "after")
    size: str = ""
    optional: bool = False
    rules: list[str] = field(default_factory=list)
    alternative: list[str] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    suffix: str = ""
    taken: str = ""  # "juiced" or "zested": a fruit is counted and this is what is taken of it; "drained weight"
    other_food: bool = False  # an alternative with an amount of its own was read
    listed: bool = False  # several foods in a row: "1 tsp each cumin, coriander and turmeric"
    stated: list[Stated] = field(default_factory=list)
    more: list[list[Token]] = field(default_factory=list)  # the foods of a list after the first

    def doubt(self, reason: str) -> None:
        if reason not in self.reasons:
            self.reasons.append(reason)


def give(tokens: list[Token], role: str) -> None:
    """Give every token without a role this one."""
    for token in tokens:
        token.role = token.role or role


def parts_of(tokens: list[Token]) -> list[list[Token]]:
    """The tokens cut at commas, semicolons, colons, dashes with spaces and full stops; brackets apart."""
    parts: list[list[Token]] = [[]]
    for position, token in enumerate(tokens):
        spaced = position + 1 == len(tokens) or tokens[position + 1].gap or position == 0 or token.text == "–"
        cuts = token.kind == "punct" and (token.low in ",;:|•" or token.low == "-" and token.gap and spaced or token.text in ".!" and spaced)
        if cuts:
            token.role = "joint"
            parts.append([])
        else:
            parts[-1].append(token)
    return [part for part in parts if part]


def carve(tokens: list[Token], reading: Reading) -> list[Token]:
    """The tokens without the phrases that say to taste, to serve, optional, for frying or a note."""
    left: list[Token] = []
    position, known = 0, reading.known
    while position < len(tokens):
        found = known.rules.at(tokens, position)
        if found is None:
            whole = [found for book in (known.preparations, known.states) if (found := book.at(tokens, position))]
            length = max((length for _, length in whole), default=1)
            left.extend(tokens[position:position + length])
            position += length
            continue
        ((kind,), length) = found
        state = known.states.at(tokens, position)
        prep = known.preparations.at(tokens, position)
        if state and state[1] > length or prep and prep[1] > length or kind == "note" and length == 1 and left and not _may_end(tokens, position):
            left.append(tokens[position])
            position += 1
            continue
        end = len(tokens) if kind in ("note-to-end", "extra", "for-cooking", "deep-frying") else position + length
        if kind == "optional" and tokens[position].low == "if" and end < len(tokens) and tokens[end].kind == "word":
            kind, end = "note-to-end", len(tokens)  # "more if you like it hot"
        if kind == "to-serve" and low_at(tokens, end) in ("with", "alongside", "on", "over", "if"):
            end = len(tokens)
        if left and left[-1].low in ("and", "&", "or", "-", "plus", "+") and kind != "note":
            left.pop().role = "note"
        give(tokens[position:end], "note")
        if kind == "optional":
            reading.optional = True
        elif kind not in ("note", "note-to-end", "extra"):
            reading.rules.append(kind)
        optional_inside = kind == "note-to-end" and any(token.low == "optional" for token in tokens[position:end])
        reading.optional = reading.optional or optional_inside
        position = end
    return left


def _may_end(tokens: list[Token], position: int) -> bool:
    return position + 1 == len(tokens) or tokens[position].low in ("each", "divided", "total", "undrained", "approx", "approximately")


def prep_kind(tokens: list[Token], position: int, known: Vocabulary) -> tuple[str, int]:
    found = known.preparations.at(tokens, position)
    if found:
        return found[0][0], found[1]
    low = tokens[position].low
    if low.endswith("ly") and len(low) > 5 and position + 1 < len(tokens) and prep_kind(tokens, position + 1, known)[0] == "participle":
        return "adverb", 1
    return "", 1


def all_preparation(tokens: list[Token], start: int, known: Vocabulary, must_have: bool = True) -> bool:
    """Whether everything from ``start`` says how the food is prepared (and at least one word does)."""
    position, says = start, not must_have
    while position < len(tokens):
        token = tokens[position]
        kind, length = prep_kind(tokens, position, known)
        state = known.states.at(tokens, position)
        if kind == "prep-to-end":
            return True
        if state and state[1] >= length:
            says, position = True, position + state[1]
        elif kind in ("participle", "descriptor", "shape", "kept") or kind == "adverb":
            says = says or kind in ("participle", "descriptor", "kept")
            position += length
        elif token.low in _FUNCTION or token.kind in DIGITS or token.kind == "group" or token.kind == "punct":
            position += 1
        elif known.sizes.at(tokens, position):
            position += known.sizes.at(tokens, position)[1]
        elif says and position > start and token.low.endswith("ed") and len(token.low) > 4:
            position += 1
        else:
            return False
    return says


def take_preparation(tokens: list[Token], reading: Reading, where: str) -> None:
    """Mark tokens as preparation, taking the states out of them."""
    position = 0
    while position < len(tokens):
        state = reading.known.states.at(tokens, position)
        if state and (prep_kind(tokens, position, reading.known)[1] <= state[1]):
            ((name, _), length) = state
            if name == "dried" and where == "after" and position > 0:
                name = ""  # "patted dry", "washed and dried": not a dried food
            if name:
                said = "before" if tokens[position + length - 1].low == "weight" else where  # "cooked weight" is plain
                reading.states.append((name, said))
            give(tokens[position:position + length], "state" if name else "preparation")
            position += length
        else:
            give(tokens[position:position + 1], "preparation")
            position += 1


def unruled(tokens: list[Token], known: Vocabulary) -> list[Token]:
    """The tokens that no rule phrase covers, nothing marked."""
    left, position = [], 0
    while position < len(tokens):
        found = known.rules.at(tokens, position)
        if found is None:
            left.append(tokens[position])
        position += found[1] if found else 1
    return left
