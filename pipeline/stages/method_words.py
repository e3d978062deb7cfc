"""What a method does that no ingredient line may tell: salt in the water, oil or butter at the end.

Which line is cooked how, and whether its water is poured away, is in the lines themselves (stage cook).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

SALTED_WATER, FAT_AT_THE_END = "salted-water", "fat-at-the-end"
_SENTENCE = re.compile(r"(?<=[.;!])\s+|\n")
_SALTED = re.compile(
    r"\bsalted\b(?:\s+\w+){0,3}\s+water\b|\bsalt(?:ing)? (?:the|its|their|your) (?:\w+ ){0,2}water\b|"
    r"\bsalt (?:to|in|into) (?:the |its |their )?(?:\w+ ){0,2}water\b|\bwater (?:with|and) (?:\w+ ){0,3}salt\b|"
    r"\bwater\b[^,.;]*\b(?:is|has been|been) salted\b", re.I)
_FAT = re.compile(
    r"\b(?:drizzl\w+|trickl\w+|finish\w*|dot\w*|top\w*|anoint\w*|glaz\w+|stir in|swirl\w*(?: in)?|melt\w*(?: over)?)\b[^.;]*"
    r"\b(?:oil|butter|ghee|margarine)\b", re.I)
_NOT = re.compile(r"\b(?:not|never|no|without|instead of|don'?t|don\u2019t|leave out|skip)\b", re.I)
# Cooking that still comes: what went on before it is no finish.
_HEAT = re.compile(r"\b(?:bak|roast|grill|fry|fri|boil|simmer|cook|oven|brown|saut|steam|poach|toast|stew)\w*", re.I)


def features(steps: Iterable[str]) -> frozenset[str]:
    """Which of ``salted-water`` and ``fat-at-the-end`` the method has, from its steps in their order."""
    sentences = [one.strip() for step in steps for one in _SENTENCE.split(step) if one.strip()]
    found = {SALTED_WATER for one in sentences if _says(_SALTED, one)}
    for place, one in enumerate(sentences):
        if _says(_FAT, one) and not any(_HEAT.search(later) for later in (_after_fat(one), *sentences[place + 1:])):
            found.add(FAT_AT_THE_END)
    return frozenset(found)


def _after_fat(sentence: str) -> str:
    """What a sentence says behind its oil or butter."""
    return sentence[list(_FAT.finditer(sentence))[-1].end():]


def _says(pattern: re.Pattern[str], sentence: str) -> bool:
    return any(not _NOT.search(sentence[:found.start()]) and not _NOT.search(found.group()) for found in pattern.finditer(sentence))
