"""Phrases as decisions name them: one form to compare in, and patterns for families of phrases.

A pattern is words with gaps, and always means the whole phrase:

- ``*`` between words stands for any words, or none: ``salt substitute *``;
- ``*`` in a word stands for any letters, or none: ``tomato*``;
- ``low|less|reduced`` stands for one of these words.

Capitals, accents, hyphens and other marks do not count, as in a phrase. A pattern needs one
word that is written out (three letters or more, four beside a gap), so that none can mean every food.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from functools import lru_cache

ANY = "*"
# More gaps than this say nothing that a person could foresee, and would make comparing slow.
MOST_GAPS = 3
WRITTEN_OUT = 3

_GAPS = re.compile(r"[^a-z0-9%]+")
_PATTERN_GAPS = re.compile(r"[^a-z0-9%*|]+")
_GAP_IN_ALTERNATIVES = re.compile(r"[^\s\w%*|'’]")


def _plain(text: str) -> str:
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(mark for mark in decomposed if not unicodedata.combining(mark))
    return letters.replace("&", " and ").replace("’", "'").replace("'s", "")


def phrase_key(phrase: str) -> str:
    """The form in which phrases are compared: lower case, no accents, single spaces, no marks."""
    return _GAPS.sub(" ", _plain(phrase)).strip()


def line_key(text: str) -> str:
    """The form in which whole lines are compared: numbers and marks count, capitals and spacing do not."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def pattern_words(pattern: str) -> list[str]:
    """The words of a pattern in the form in which phrases are compared, ``*`` among them."""
    return _PATTERN_GAPS.sub(" ", _plain(pattern)).split()


def pattern_fault(pattern: str) -> str:
    """Why a text cannot be a pattern, or "" when it can."""
    words = pattern_words(pattern)
    if not any(ANY in word or "|" in word for word in words):
        return "has no gap (*) and no choice of words (|)"
    if any("|" in part and _GAP_IN_ALTERNATIVES.search(part) for part in pattern.split()) or any(
            "" in word.split("|") for word in words):
        return "has a choice (|) that is not between single words"
    if sum(word.count(ANY) for word in words) > MOST_GAPS:
        return f"has more than {MOST_GAPS} gaps"
    if not any(all(_written_out(choice) for choice in word.split("|")) for word in words):
        return f"has no word of {WRITTEN_OUT} letters or more that is written out ({WRITTEN_OUT + 1} beside a gap)"
    return ""


def _written_out(choice: str) -> bool:
    return max(map(len, choice.split(ANY))) >= WRITTEN_OUT + (ANY in choice)


@lru_cache(maxsize=4096)
def pattern_fits(pattern: str) -> Callable[[str], bool]:
    """Whether a phrase, as :func:`phrase_key` gives it, is one that ``pattern`` means."""
    parts = []
    for word in pattern_words(pattern):
        choices = "|".join(re.escape(choice).replace(r"\*", "[^ ]*") for choice in word.split("|"))
        parts.append("(?:[^ ]+ )*" if word == ANY else f"(?:{choices}) ")
    whole = re.compile("".join(parts))
    return lambda key: whole.fullmatch(f"{key} ") is not None


def patterns_meet(one: str, other: str) -> bool:
    """Whether some phrase is meant by both patterns."""
    return _meet(pattern_words(one), pattern_words(other), _words_meet)


def _words_meet(one: str, other: str) -> bool:
    return any(_meet(a, b, str.__eq__) for a in one.split("|") for b in other.split("|"))


def _meet(one: Sequence[str], other: Sequence[str], same: Callable[[str, str], bool]) -> bool:
    @lru_cache(maxsize=None)
    def rest(here: int, there: int) -> bool:
        if here < len(one) and one[here] == ANY:
            return rest(here + 1, there) or (there < len(other) and rest(here, there + 1))
        if there < len(other) and other[there] == ANY:
            return rest(here, there + 1) or (here < len(one) and rest(here + 1, there))
        if here == len(one) or there == len(other):
            return here == len(one) and there == len(other)
        return same(one[here], other[there]) and rest(here + 1, there + 1)

    return rest(0, 0)
