"""Words and tokens: how the text of an ingredient line is cut up, and the vocabulary it is read with.

A line becomes a list of :class:`Token`. Reading gives every token exactly one ``role``, so that
nothing that was written can be lost: the fields of a parsed line are the tokens of a role,
joined again.
"""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pandas as pd

FRACTIONS = "¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞"
_TOKENS = re.compile(
    rf"(?P<frac>[{FRACTIONS}])"
    r"|(?P<num>\d{1,3}(?:,\d{3})+(?:\.\d+)?(?!\d)|\d+(?:[.,·]\d+)?(?:[eE][+-]?\d+(?![^\W\d_]))?|(?<![\d.])\.\d+)"
    r"|(?P<word>[^\W\d_]+(?:['\-][^\W\d_]+)*(?:\(e?s\))?)"
    r"|(?P<open>[(\[{])|(?P<close>[)\]}])|(?P<punct>\S)"
)
_THOUSANDS = re.compile(r"^[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?$")
# A typewriter's "l" for "1": "1 l/2 cups".
_L_FOR_ONE = re.compile(r"(?<![^\W_])l/(?=[234]\b)")
_TAG = re.compile(r"</?[A-Za-z][^<>]{0,80}>")
_SAME = str.maketrans({
    "\u00a0": " ", "\u202f": " ", "\u2007": " ", "\u2009": " ", "\u2002": " ", "\u2003": " ", "\u200b": " ", "\ufeff": " ",
    "\u2013": "–", "\u2014": "–", "\u2015": "–", "\u2010": "-", "\u2011": "-", "\u00ad": " ",
    "×": "x", "✕": "x", "⨯": "x", "⁄": "/", "∕": "/", "’": "'", "‘": "'", "ʼ": "'", "“": '"', "”": '"', "″": '"', "ﬂ": "fl", "ﬁ": "fi",
})


class Token:
    """One word, number or mark. ``gap`` says that a space stood before it; a bracket at the
    top level is one token of kind ``group`` whose ``inner`` are the tokens inside it."""

    __slots__ = ("text", "low", "kind", "gap", "value", "role", "inner")

    def __init__(self, text: str, kind: str, gap: bool):
        self.text, self.kind, self.gap = text, kind, gap
        self.low = text.lower()
        self.value: float | None = None
        self.role = ""
        self.inner: list[Token] = []

    def __repr__(self) -> str:
        return f"Token({self.text!r}, {self.kind}, {self.role})"


def clean(text: str) -> str:
    """The text with entities, tags, odd spaces, dashes and quotes made ordinary."""
    if "&" in text:
        text = html.unescape(html.unescape(text))
    if "<" in text:
        text = _TAG.sub(" ", text)
    if "l/" in text:
        text = _L_FOR_ONE.sub("1/", text)
    if not text.isascii():
        text = unicodedata.normalize("NFC", text).translate(_SAME)
    return text


def tokenise(text: str) -> list[Token]:
    """Every token of a cleaned text, in order; spaces are not tokens."""
    tokens, end = [], 0
    for found in _TOKENS.finditer(text):
        kind = found.lastgroup
        token = Token(found.group(), kind, found.start() > end)
        if kind == "num":
            token.value = _number(token.text)
        elif kind == "frac":
            token.value = unicodedata.numeric(token.text)
        elif kind == "word" and token.low.endswith("s)"):
            token.low = token.low.replace("(", "").replace(")", "")
        elif token.text == "–":
            token.low = "-"
        tokens.append(token)
        end = found.end()
    return tokens


def _number(text: str) -> float:
    text = text.replace("·", ".")
    if "," in text:
        text = text.replace(",", "") if _THOUSANDS.match(text) else text.replace(",", ".", 1).replace(",", "")
    return float(text)


def grouped(tokens: list[Token]) -> list[Token]:
    """The tokens with each top-level bracket folded into one ``group`` token.

    An unclosed bracket runs to the end; a bracket inside a bracket is a plain mark.
    """
    top: list[Token] = []
    group: Token | None = None
    depth = 0
    for token in tokens:
        if token.kind == "open":
            depth += 1
            if depth == 1:
                token.role = "joint"
                group = Token("(", "group", token.gap)
                top.append(group)
                continue
        elif token.kind == "close" and depth:
            depth -= 1
            if depth == 0:
                token.role = "joint"
                group = None
                continue
        if token.kind in ("open", "close"):
            token.kind = "punct"
        (group.inner if group is not None else top).append(token)
    return top


def joined(tokens: Iterable[Token], lower: bool = False) -> str:
    """Tokens as text again, with the spaces they had."""
    parts: list[str] = []
    for token in tokens:
        if parts and (token.gap or token.kind == "word" and parts[-1][-1:].isalpha()):
            parts.append(" ")
        parts.append(token.low if lower else token.text)
    return "".join(parts)


class Phrasebook:
    """Phrases of one or more words, found at a position; the longest wins."""

    def __init__(self, rows: Iterable[tuple[str, tuple]]):
        self.by_first: dict[str, list[tuple[tuple[str, ...], tuple]]] = {}
        for phrase, meaning in rows:
            words = tuple(token.low for token in tokenise(clean(str(phrase))) if token.text != ".")
            if words:
                self.by_first.setdefault(words[0], []).append((words, meaning))
        for entries in self.by_first.values():
            entries.sort(key=lambda entry: -len(entry[0]))

    def at(self, tokens: Sequence[Token], position: int) -> tuple[tuple, int] | None:
        """(meaning, number of tokens) of the longest phrase that starts at ``position``."""
        for words, meaning in self.by_first.get(tokens[position].low, ()):
            length = len(words)
            if length == 1:
                return meaning, 1
            if position + length <= len(tokens) and all(
                tokens[position + step].low == words[step] for step in range(1, length)
            ):
                return meaning, length
        return None

    def exactly(self, words: Sequence[str]) -> tuple | None:
        """The meaning of a phrase that is exactly these words."""
        wanted = tuple(words)
        return next((meaning for known, meaning in self.by_first.get(wanted[0], ()) if known == wanted), None) if wanted else None


@dataclass(frozen=True)
class Vocabulary:
    """The compiled words: ``units`` -> (unit, kind), ``sizes`` -> (size,), ``states`` ->
    (state, kind), ``preparations`` -> (kind,), ``rules`` -> (kind,)."""

    units: Phrasebook
    sizes: Phrasebook
    states: Phrasebook
    preparations: Phrasebook
    rules: Phrasebook
    equipment: frozenset[str]
    not_food: frozenset[str]
    headings: frozenset[str]
    abbreviations: frozenset[str]


RULE_KINDS = frozenset({"to-taste", "to-serve", "for-cooking", "deep-frying", "optional", "note", "note-to-end", "extra"})
LINE_KINDS = frozenset({"equipment", "not-food", "heading"})
_ABBREVIATIONS = frozenset({"approx", "med", "lg", "lge", "sm", "c", "ca", "no", "opt", "tbsp", "tsp", "oz", "lb", "lbs", "doz", "g", "kg", "ml", "l", "fl"})


def vocabulary(unit_words: pd.DataFrame, sizes: pd.DataFrame, states: pd.DataFrame, preparations: pd.DataFrame) -> Vocabulary:
    """The vocabulary, compiled once, from the mapping tables.

    ``unit_words``: word, unit, kind; ``sizes``: word, size; ``states``: word, state, kind
    (``kept``: also stays in the food phrase when it stands before the food; ``taken``: does not;
    an empty state shields a phrase such as "dry white wine"); ``preparations``: word, kind:

    * participle (chopped), adverb (finely), shape (cubes), prep-to-end (cut into ...): preparation;
    * descriptor (skinless), kept (rolled, ground): phrase before the food, preparation behind it;
    * identity (semi-skimmed, red): phrase before the food and behind a comma;
    * to-taste, to-serve, for-cooking, deep-frying, optional: the amount rule; note, note-to-end, extra: a note;
    * equipment, not-food, heading: the whole line is that.
    """
    kinds = list(zip(preparations["word"], preparations["kind"]))
    lines = {kind: frozenset(word.lower() for word, its in kinds if its == kind) for kind in LINE_KINDS}
    dotted = {word.lower().rstrip(".") for word in unit_words["word"] if " " not in word and len(word) <= 7}
    return Vocabulary(
        units=Phrasebook((word, (unit, kind)) for word, unit, kind in zip(unit_words["word"], unit_words["unit"], unit_words["kind"])),
        sizes=Phrasebook((word, (size,)) for word, size in zip(sizes["word"], sizes["size"])),
        states=Phrasebook((word, (state, kind)) for word, state, kind in zip(states["word"], states["state"], states["kind"])),
        preparations=Phrasebook((word, (kind,)) for word, kind in kinds if kind not in RULE_KINDS and kind not in LINE_KINDS),
        rules=Phrasebook((word, (kind,)) for word, kind in kinds if kind in RULE_KINDS),
        equipment=lines["equipment"], not_food=lines["not-food"], headings=lines["heading"],
        abbreviations=frozenset(dotted) | _ABBREVIATIONS,
    )


def without_dots(tokens: list[Token], known: Vocabulary) -> list[Token]:
    """The tokens without the full stops that only end an abbreviation or the line."""
    kept: list[Token] = []
    for position, token in enumerate(tokens):
        if token.text == ".":
            before = kept[-1] if kept else None
            ends_line = position == len(tokens) - 1
            if before is not None and (ends_line or (not token.gap and before.kind == "word" and before.low in known.abbreviations)):
                token.role = "joint"
                continue
        kept.append(token)
    return kept
