"""Numbers as cooks write them: digits, fractions, mixed numbers, words, dozens and ranges."""

from __future__ import annotations

from typing import NamedTuple

from pipeline.stages.parse_words import Token

# "a few" and "several" have no number; these ranges are common practice, no source.
FEW = {"few": (2.0, 4.0), "several": (3.0, 5.0)}
NUMBER_WORDS = {
    "zero": 0.0, "one": 1.0, "two": 2.0, "three": 3.0, "four": 4.0, "five": 5.0, "six": 6.0, "seven": 7.0, "eight": 8.0,
    "nine": 9.0, "ten": 10.0, "eleven": 11.0, "twelve": 12.0, "fifteen": 15.0, "twenty": 20.0, "thirty": 30.0,
}
PARTS = {
    "half": 0.5, "halves": 0.5, "third": 1 / 3, "thirds": 1 / 3, "quarter": 0.25, "quarters": 0.25,
    "eighth": 0.125, "eighths": 0.125, "fifth": 0.2, "sixth": 1 / 6,
}
WHOLE_WORDS = {
    "one-half": 0.5, "half-a": 0.5, "three-quarters": 0.75, "three-quarter": 0.75, "two-thirds": 2 / 3, "one-third": 1 / 3,
    "one-quarter": 0.25, "one-fourth": 0.25, "half-dozen": 6.0,
}
# How many a counting word stands for: a brace is two birds, a pair two of what is sold singly.
COUNTED = {"dozen": 12.0, "doz": 12.0, "pair": 2.0, "pairs": 2.0, "brace": 2.0}
# "quarter teaspoon" needs no "of"; "quarter pounder" and "quarter chicken" are not numbers.
_PART_OF = frozenset("of a an teaspoon tsp tablespoon tbsp cup pint pound lb litre liter kilo ounce oz".split())
RANGE_WORDS = frozenset({"-", "to", "or"})


class Number(NamedTuple):
    """A number or range read from tokens up to ``end`` (exclusive); ``reason`` is a parse code or ""."""

    low: float
    high: float
    end: int
    reason: str = ""


def _word(tokens: list[Token], position: int) -> str:
    return tokens[position].low if 0 <= position < len(tokens) else ""


def _whole(token: Token) -> bool:
    return token.kind == "num" and token.text.isdigit()


def _written_fraction(tokens: list[Token], position: int) -> tuple[float, int] | None:
    """A fraction at ``position``: "½" or "1/2". 1/0 gives infinity, which is absurd later."""
    if position >= len(tokens):
        return None
    token = tokens[position]
    if token.kind == "frac":
        return token.value, position + 1
    if position + 2 < len(tokens) and _whole(token) and tokens[position + 1].text == "/" and _whole(tokens[position + 2]):
        below = tokens[position + 2].value
        return (token.value / below if below else float("inf")), position + 3
    return None


def digits_at(tokens: list[Token], position: int) -> tuple[float, int] | None:
    """A number in digits at ``position``: (value, end)."""
    fraction = _written_fraction(tokens, position)
    if fraction:
        return fraction
    if position >= len(tokens) or tokens[position].kind != "num":
        return None
    value, end = tokens[position].value, position + 1
    if _word(tokens, end) == "%":
        return None
    if not _whole(tokens[position]):
        return value, end
    step = end + 1 if _word(tokens, end) in ("-", "and", "&", "+") else end
    part = _written_fraction(tokens, step)
    if part and part[0] < 1:
        return value + part[0], part[1]
    if step > end and _word(tokens, end) not in "-+":
        word = word_part(tokens, step)
        if word:
            return value + word[0], word[1]
    return value, end


def word_part(tokens: list[Token], position: int) -> tuple[float, int] | None:
    """ "half", "a quarter", "three quarters" at ``position``."""
    first, second = _word(tokens, position), _word(tokens, position + 1)
    if first in PARTS and first not in ("halves", "quarters", "thirds", "eighths"):
        return PARTS[first], position + 1
    if first in ("a", "an") and second in PARTS:
        return PARTS[second], position + 2
    if first in NUMBER_WORDS and second in PARTS and NUMBER_WORDS[first] * PARTS[second] < 1:
        return NUMBER_WORDS[first] * PARTS[second], position + 2
    return None


def words_at(tokens: list[Token], position: int) -> Number | None:
    """A number in words at ``position``."""
    first, second = _word(tokens, position), _word(tokens, position + 1)
    if first == "half" and second in ("and", "&") and _word(tokens, position + 2) == "half":
        return None  # the American "half and half" is a food
    part = word_part(tokens, position)
    if part and not (first in ("quarter", "third", "fifth", "sixth", "eighth") and second not in _PART_OF):
        value, end = part
        if _word(tokens, end) == "of":
            end += 1
        if _word(tokens, end) in ("a", "an", "the"):
            end += 1
        if (count := COUNTED.get(_word(tokens, end))):
            return Number(value * count, value * count, end + 1)
        return Number(value, value, end)
    if first in WHOLE_WORDS:
        end = position + 1
        end += _word(tokens, end) == "of"
        end += _word(tokens, end) in ("a", "an")
        return Number(WHOLE_WORDS[first], WHOLE_WORDS[first], end)
    if first in ("a", "an"):
        return _after_article(tokens, position + 1)
    if first in FEW:
        return Number(*FEW[first], position + 1, "few")
    if first == "couple" or first in COUNTED:
        value = COUNTED.get(first, 2.0)
        return Number(value, value, position + 1)
    if first in NUMBER_WORDS:
        value, end = NUMBER_WORDS[first], position + 1
        if _word(tokens, end) == "and":
            more = word_part(tokens, end + 1)
            if more:
                return Number(value + more[0], value + more[0], more[1])
        if (count := COUNTED.get(_word(tokens, end))):
            return Number(value * count, value * count, end + 1)
        return Number(value, value, end)
    return None


def _after_article(tokens: list[Token], position: int) -> Number | None:
    word = _word(tokens, position)
    if word == "good" and _word(tokens, position + 1) in ("few", "couple"):
        position, word = position + 1, _word(tokens, position + 1)
    if word in ("little", "lot", "bit", "touch", "hint", "") or word == "small" and _word(tokens, position + 1) == "amount":
        return None
    if word == "couple":
        return Number(2.0, 2.0, position + 1)
    if word in FEW:
        return Number(*FEW[word], position + 1, "few")
    if word in COUNTED:
        return Number(COUNTED[word], COUNTED[word], position + 1)
    return Number(1.0, 1.0, position)


def one_number(tokens: list[Token], position: int) -> Number | None:
    """One number, in digits or words, with "dozen" or "pair" multiplied in."""
    digits = digits_at(tokens, position)
    found = Number(digits[0], digits[0], digits[1]) if digits else words_at(tokens, position)
    if found and digits and _word(tokens, found.end) == "+" and not tokens[found.end].gap and found.end + 1 < len(tokens) and tokens[found.end + 1].kind == "word":
        found = found._replace(end=found.end + 1)  # "2+ cups"
    if found and digits and (count := COUNTED.get(_word(tokens, found.end))):
        return Number(found.low * count, found.high * count, found.end + 1)
    return found


def number_at(tokens: list[Token], position: int) -> Number | None:
    """A number or a range at ``position``; a range written downwards is turned round.

    "2-3", "2 to 3", "2 or 3", "between 2 and 3", "1-1 1/2"; but "1-1/2" is one and a half.
    """
    if position >= len(tokens):
        return None
    between = tokens[position].low == "between"
    first = one_number(tokens, position + between)
    if first is None:
        return None
    if _word(tokens, first.end) == "-" and _word(tokens, first.end + 1) in ("to", "or"):  # "2- to 3-pound"
        first = first._replace(end=first.end + 1)
    joins = RANGE_WORDS | {"and"} if between else RANGE_WORDS
    if _word(tokens, first.end) not in joins:
        return first
    second = digits_at(tokens, first.end + 1)
    if second is None and _word(tokens, first.end) != "-":
        word = NUMBER_WORDS.get(_word(tokens, first.end + 1))
        second = (word, first.end + 2) if word else None
    if second is None and _word(tokens, first.end - 1) == "-":
        return first._replace(end=first.end - 1)
    if second is None or _word(tokens, first.end) == "-" and tokens[first.end].gap and _word(tokens, position) in ("a", "an"):
        return first
    low, high = sorted((first.low, second[0]))
    if _word(tokens, second[1]) in COUNTED:  # "1-2 dozen"
        count = COUNTED[_word(tokens, second[1])]
        return Number(low * count, high * count, second[1] + 1, first.reason)
    return Number(low, high, second[1], first.reason)
