"""How a line opens and what it looks like: headings, equipment, bullets, "to serve:", "a little"."""

from __future__ import annotations

import re

from pipeline.stages.parse_amount import amount_at
from pipeline.stages.parse_prepare import Reading, all_preparation, carve, give
from pipeline.stages.parse_words import Token, Vocabulary

_BULLETS = frozenset("-–•*·‣▪▫●○◦+>☐☑□■✓✔→►#~_=")
_URL = re.compile(r"https?://|www\.\w|\w\.(?:com|org|net|co\.uk)\b", re.IGNORECASE)
_SIDE_NOTE = re.compile(
    r"^\W*(?:serves|makes|yields?|servings?|prep(?:aration)?(?: time)?|cook(?:ing)? time|total time|ready in|difficulty|calories|per (?:serving|portion))\b[\s:]*[\d~]",
    re.IGNORECASE)
_EQUIPMENT_LIST = re.compile(r"^\W*(?:you(?:'ll| will)(?: also)? need|equipment|special equipment|to make this you need)\b\s*:?\s*\S", re.IGNORECASE)
_OPENERS = (
    ("a", "little"), ("a", "bit", "of"), ("a", "touch", "of"), ("a", "hint", "of"), ("a", "lot", "of"), ("a", "small", "amount", "of"), ("some",), ("lots", "of"),
    ("plenty", "of"), ("any",), ("little",), ("enough",), ("the",), ("of",), ("your", "favourite"), ("your", "favorite"), ("good",), ("x",),
)


def kind_by_look(text: str, tokens: list[Token], known: Vocabulary) -> str:
    """The kind of a line that plainly holds no food, or ""."""
    words = [token.low for token in tokens if token.kind == "word"]
    if not words:
        return "unreadable" if any(token.kind in ("num", "frac") or not token.text.isascii() and token.low not in _BULLETS for token in tokens) else "not-food"
    if _URL.search(text) or _SIDE_NOTE.match(text) or _EQUIPMENT_LIST.match(text.replace("’", "'")):
        return "not-food"
    phrase = " ".join(words[1:] if words[0] in ("a", "an", "the", "some") and len(words) > 1 else words)
    numbers = any(token.kind in ("num", "frac") for token in tokens)
    if phrase in known.not_food and not numbers:
        return "not-food"
    if words[0] in ("note", "notes", "tip", "tips", "nb") and len(tokens) > 1 and tokens[1].text in ":*-":
        return "not-food"
    if phrase in known.equipment or any(" ".join(words[-size:]) in known.equipment and (not numbers or len(words) - size <= 1) for size in (1, 2, 3)):
        return "not-food"
    marked = tokens[0].text in "#=" and tokens[0].low != words[0] or text.strip()[:2] in ("**", "__") and text.strip()[-2:] in ("**", "__")
    if not numbers and (tokens[-1].text == ":" or marked or phrase in known.headings or (known.rules.exactly(words) or ("",))[0] in ("to-serve", "optional")):
        return "heading"
    if not numbers and words[:2] == ["for", "the"] and len(words) <= 6 and tokens[-1].kind == "word":
        return "heading"
    if tokens[-1].text == ":" and numbers and words[0] in ("for", "day", "step", "part"):
        return "heading"
    return ""


def without_bullet(top: list[Token]) -> list[Token]:
    position = 0
    while position < len(top) - 1:
        token, after = top[position], top[position + 1]
        numbering = position == 0 and token.kind == "num" and token.text.isdigit() and after.text in ".)" and not after.gap
        numbering = numbering and len(top) > 2 and top[2].gap
        if numbering:
            token.role = after.role = "joint"
            position = 2
        elif token.kind == "punct" and not token.text.isascii() and token.text not in _BULLETS:
            token.role = "leftover"  # a picture character
            position += 1
        elif token.text in _BULLETS or token.kind == "group" and not any(inner.kind != "punct" for inner in token.inner) and position == 0:
            give([token, *token.inner], "joint")
            position += 1
        else:
            break
    return top[position:]


def without_prefix(top: list[Token], reading: Reading) -> list[Token]:
    """ "To serve: lemon wedges", "Optional: ...", "Sauce: 200 ml cream"; but "Butter: 50 g" is a food."""
    at = next((position for position, token in enumerate(top[:7]) if token.text == ":"), 0)
    if not at or at + 1 >= len(top) or any(token.kind in ("num", "frac") for token in top[:at]):
        return top
    words, known = " ".join(token.low for token in top[:at]), reading.known
    rest = top[at + 1:]
    if not (known.rules.at(top, 0) or words in known.headings or top[0].low == "for"):
        amount = amount_at(rest, 0, known)
        if amount is None or amount.end >= len(rest) or all_preparation(rest, amount.end, known) or rest[amount.end].text in ",(":
            return top
    carve(top[:at], reading)
    if words.removeprefix("for ").removeprefix("optional ") in ("garnish", "garnishes", "topping", "toppings") and "to-serve" not in reading.rules:
        reading.rules.append("to-serve")
    reading.optional = reading.optional or "optional" in words
    give(top[:at + 1], "note")
    return rest


def opened(top: list[Token], reading: Reading) -> list[Token]:
    """The tokens without words such as "a little", "some" or "season with" at the start."""
    lows = [token.low for token in top[:5]]
    if lows[:1] and lows[0] in ("leaves", "kernels", "flesh", "seeds", "pulp", "meat") and len(top) > 2:  # "leaves from 1 small bunch of mint"
        at = 2 if lows[1] in ("from", "of") else 3 if lows[2:3] in (["from"], ["of"]) and lows[1] in ("only", "picked", "stripped") else 0
        if at and amount_at(top, at, reading.known):
            give(top[:at], "preparation")
            return top[at:]
    if lows[:1] == ["each"] and len(top) > 1:  # "1/2 tsp of each: salt, pepper"
        give(top[:1], "note")
        return opened(top[2:] if top[1].text == ":" else top[1:], reading)
    if lows[:2] == ["season", "with"]:
        give(top[:2], "note")
        reading.rules.append("to-taste")
        return top[2:]
    for words in _OPENERS:
        if tuple(lows[:len(words)]) == words and len(top) > len(words) and not (words == ("little",) and lows[1:2] == ["gem"]):
            if words == ("good",) and (lows[1] == "quality" or amount_at(top, 0, reading.known)):
                return top
            give(top[:len(words)], "joint" if words[-1] in ("the", "of", "x") and len(words) == 1 else "note")
            return opened(top[len(words):], reading)
    return top
