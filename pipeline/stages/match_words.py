"""Words for matching: phrases and entry names brought to one form.

Both sides become sets of singular, lower-case, unaccented words with regional words
replaced (``mappings/words.csv``), so that "2 Courgettes" and "Squash, summer, zucchini"
can meet. Words that say nothing about the food ("good-quality") fall away.

The kinds of ``mappings/words.csv``: ``synonym``, ``plural``, ``misspelling`` and ``region``
replace a word; ``ignore`` drops it; ``cut`` names a piece of a food and decides nothing
("florets"); ``class`` is the class of a food, or
its plainest name, for a table that has no name with the food's own words ("spaghetti": pasta), and is never accepted
by itself; ``known`` is a food that must not be taken for a typing error of another;
``ambiguous`` is a phrase that cooks use for different foods: ``means`` says when
(``always``, ``counted``, ``uncounted``, ``spooned``; ``ever``: even where a state is said), and such a
phrase is never accepted; ``telling`` changes what the food is, wherever in the line it stands ("salt,
potassium-based"); where its ``means`` names a food, only of that food ("water, reserved"; "from" tells where
something else is named after it: "water from the potatoes", not "water from the kettle").
``state-open`` leaves open whether its ``means``, a food, is raw or cooked where no state is said ("cold rice" is cooked, "cold milk"
is milk). ``salt-plain`` is a word of a salt that is sodium chloride all the same ("flaky sea salt"): no other word may stand in a salt
that only a pattern decides on.
``made`` is a way of cooking that makes another food of it where it is said behind the food ("carrots, roasted"): ``means`` are the
words of entry names that say the same; ``made-keeps`` names a cooking class whose dry foods it leaves as they are (toasted nuts), ``made-of`` a food of which
alone it is one (mashed potatoes, but not mashed bananas).
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from functools import lru_cache

import pandas as pd

from pipeline.decisions import phrase_key
from pipeline.remembered import remembered
from pipeline.stages.match_naming import PIECES, one_wording

STOP = frozenset("a an and or of the in with for to from your some other any all".split())
# Words of a published entry name that say what a plain food is by default: they need not be asked for.
PLAIN = frozenset(
    "raw fresh mature seed commercially prepared regular plain unenriched enriched nfs common variety "
    "includes type types year round average all commercial ready-to-serve fluid food distribution program".split())

_SPLIT = re.compile(r"[^a-z0-9%]+")
_BESIDE = re.compile(r"\b(?:in|with)\b")
_SES = re.compile(r"(ch|sh|ss|x|z)es$")


def plain(text: str) -> str:
    """Lower case, single spaces, without accents and typographic marks."""
    folded = " ".join(text.casefold().split())
    if not folded.isascii():
        decomposed = unicodedata.normalize("NFKD", folded)
        folded = "".join(mark for mark in decomposed if not unicodedata.combining(mark)).replace("’", "'")
    return folded.replace("'s", "")


@lru_cache(maxsize=65536)
def singular(word: str) -> str:
    """The singular of an English kitchen word by rule; irregular ones are in words.csv."""
    if len(word) <= 3 or word.endswith(("ss", "us", "is")):
        return word
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith("oes"):
        return word[:-2]
    if word.endswith("ves") and word not in ("chives", "olives", "cloves", "endives"):
        return word[:-3] + "f"
    if _SES.search(word):
        return word[:-2]
    return word[:-1] if word.endswith("s") else word


def tokens(text: str) -> tuple[str, ...]:
    """The words of a text in order, singular, without stop words."""
    return tuple(singular(word) for word in _SPLIT.split(plain(text)) if word and word not in STOP)


def told_tokens(text: str) -> tuple[str, ...]:
    """The words of a text in order, with wordings of one meaning brought to one word first."""
    return tuple(singular(word) for word in _SPLIT.split(one_wording(plain(text))) if word and word not in STOP)


# Source and target words of replacements, by the first word of the source.
Replacements = dict[str, tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]]


@dataclass(frozen=True)
class Way:
    """A way of cooking said behind a food: the words of names that say the same, the cooking classes whose dry foods
    it leaves as they are, and the foods of which alone it is one (empty: of all)."""

    word: str
    says: frozenset[str]
    keeps: frozenset[str]
    foods: frozenset[str]


@dataclass(frozen=True)
class Vocabulary:
    """Replacements by their first word, longest first, and the words of the other kinds."""

    replacements: Replacements
    ignored: frozenset[str]
    cuts: frozenset[str] = frozenset()
    known: frozenset[str] = frozenset()
    telling: frozenset[str] = frozenset()
    ambiguous: dict[str, str] = field(default_factory=dict)
    telling_of: dict[str, frozenset[str]] = field(default_factory=dict)
    open_of: dict[str, frozenset[str]] = field(default_factory=dict)
    plain_salt: frozenset[str] = frozenset()
    classes: Replacements = field(default_factory=dict)  # the last resort: the class of a food
    ways: dict[str, Way] = field(default_factory=dict)
    beside: frozenset[tuple[str, ...]] = frozenset()  # replaced only where the line says "in" or "with" too ("chickpeas in water")


REPLACING = ("synonym", "plural", "misspelling", "region")


@remembered(most=4)
def vocabulary(words: pd.DataFrame) -> Vocabulary:
    """Compiles ``mappings/words.csv`` (columns word, means, kind)."""
    of_food = words[(words["kind"] == "telling") & (words["means"] != "")]
    of_kind = {kind: rows for kind, rows in words.drop(index=of_food.index).groupby("kind")}
    listed = {kind: frozenset(token for word in of_kind[kind]["word"] for token in tokens(word))
              for kind in ("ignore", "cut", "known", "telling", "salt-plain") if kind in of_kind}
    ambiguous = of_kind.get("ambiguous", words.iloc[:0])
    replacements = _replacements(words[words["kind"].isin(REPLACING)])
    return Vocabulary(
        replacements, listed.get("ignore", frozenset()), listed.get("cut", frozenset()) | PIECES,
        listed.get("known", frozenset()), listed.get("telling", frozenset()),
        _ambiguous(ambiguous),
        _by_food(of_food),
        _by_food(words[words["kind"] == "state-open"]),
        listed.get("salt-plain", frozenset()),
        _replacements(words[words["kind"] == "class"]),
        _ways(words),
        frozenset(told_tokens(word) for word in words.loc[words["kind"].isin(REPLACING), "word"] if _BESIDE.search(plain(word))))


def _by_food(rows: pd.DataFrame) -> dict[str, frozenset[str]]:
    return {food: frozenset(singular(word) for word in told["word"]) for food, told in rows.groupby("means")}


def _ways(rows: pd.DataFrame) -> dict[str, Way]:
    keeps, foods = (rows[rows["kind"] == kind].groupby("word")["means"].agg(frozenset).to_dict() for kind in ("made-keeps", "made-of"))
    made = rows[rows["kind"] == "made"]
    return {word: Way(word, frozenset(means.split()), keeps.get(word, frozenset()), foods.get(word, frozenset()))
            for word, means in zip(made["word"], made["means"], strict=True)}


def _ambiguous(rows: pd.DataFrame) -> dict[str, str]:
    """When a phrase is ambiguous, by its forms; what is written of a form itself counts ("pepper" beside "peppers")."""
    forms = {" ".join(tokens(row.word)): row.means for row in rows.itertuples(index=False)}
    return {**forms, **{phrase_key(row.word): row.means for row in rows.itertuples(index=False)}}


def _written_forms(phrase: str) -> tuple[str, ...]:
    """A phrase as written, and with its words in the singular."""
    return tuple(dict.fromkeys((phrase_key(phrase), " ".join(tokens(phrase)))))


def phrase_forms(phrase: str, vocabulary: Vocabulary) -> tuple[str, ...]:
    """The forms in which an ambiguous phrase is looked up: also without spelling errors and regional words."""
    known = essential(tokens(phrase), vocabulary)
    return tuple(dict.fromkeys((*_written_forms(phrase), " ".join(known), " ".join(translated(known, vocabulary)))))


def told_of(food: str, text: str, telling_of: dict[str, frozenset[str]], vocabulary: Vocabulary) -> set[str]:
    """The words of ``text`` that tell, of the food ``food`` (its head word), what ``telling_of`` lists for it: that it is another
    one, or that its state is open."""
    telling = telling_of.get(food, frozenset())
    if not telling:
        return set()
    told = set(tokens(text)) & telling
    origin = re.search(r"\bfrom\b(.*)", plain(text))
    if origin and "from" in telling and set(tokens(origin.group(1))) - vocabulary.ignored:
        told.add("from")
    return told


def _replacements(words: pd.DataFrame) -> dict:
    table: dict[str, set[tuple[tuple[str, ...], tuple[str, ...]]]] = {}
    for row in words.itertuples():
        source, target = told_tokens(row.word), told_tokens(row.means)
        if source and source != target:
            table.setdefault(source[0], set()).add((source, target))
    return {first: tuple(sorted(pairs, key=lambda pair: (-len(pair[0]), pair))) for first, pairs in table.items()}


def essential(words: tuple[str, ...], vocabulary: Vocabulary) -> tuple[str, ...]:
    """``words`` without the ignored ones (unless nothing would be left)."""
    kept = tuple(word for word in words if word not in vocabulary.ignored)
    return kept or words


def replaced_whole(words: tuple[str, ...], vocabulary: Vocabulary) -> bool:
    """Whether a row replaces just these words, all of them at once."""
    return bool(words) and any(source == words for source, _ in vocabulary.replacements.get(words[0], ()))


def translated(words: tuple[str, ...], vocabulary: Vocabulary) -> tuple[str, ...]:
    """``words`` with regional words and synonyms replaced, longest first, one pass."""
    result: list[str] = []
    position = 0
    while position < len(words):
        for source, target in vocabulary.replacements.get(words[position], ()):
            if words[position:position + len(source)] == source:
                result.extend(target)
                position += len(source)
                break
        else:
            result.append(words[position])
            position += 1
    return tuple(dict.fromkeys(result))
