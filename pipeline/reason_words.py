"""The codes of a release in words that a person can act on: why a line is not settled (one for each reason code of
``schema.LINE_REASONS`` that asks for it), what the audit doubts, and the tagnames of components within a reason."""

from __future__ import annotations

import re
from collections.abc import Mapping

REASON_WORDS = {
    "no-candidate": "no food of the table fits", "words-not-covered": "the best entry does not cover all its words",
    "head-differs": "the best entry is another kind of food", "state-differs": "raw, dried, canned or cooked is unclear",
    "cooked-otherwise": "it says a way of cooking that the best entry is not made by",
    "level-differs": "the best entry has another level of fat, salt or sugar, or another cut, than it says",
    "class-only": "only the kind of food is named in the table, not the food", "word-guessed": "a word of it had to be guessed",
    "words-left-over": "words beside the food may change what it is", "ambiguous-words": "cooks use these words for different foods",
    "salt-in-doubt": "a salt that may hold potassium", "decisions-conflict": "people decided against each other",
    "alternative-refused": "it leaves a choice that a person ruled out",
    "much-at-stake": "fairly sure, but a likely other entry would change a portion by much",
    "close-call": "another entry could be meant as well", "not-sure": "not sure enough that the best entry is the food",
    "decided-none": "it was decided that no entry stands for it",
    "reading-in-doubt": "the line may say more than was read", "no-quantity": "it says no amount",
    "no-measure": "nothing says what this measure weighs", "no-density": "nothing says what this volume weighs",
    "no-entry": "it has no entry to weigh by", "absurd-quantity": "no cook means this amount",
    "negative-quantity": "the amount is below zero", "no-food-words": "no word in it names a food",
    "too-long": "it is a paragraph, not a line", "unreadable": "it cannot be read",
}

# What the audit found with a figure, by the ``check`` of the finding.
FINDING_WORDS = {
    "additive": "likely a phosphate or potassium additive", "coverage": "a part has no value", "energy-density": "energy for 100 g out of the ordinary",
    "mass-balance": "more comes out of a line than went in", "number": "no possible number", "part-above-whole": "a part is more than its whole",
    "portion-mass": "weight of a portion out of the ordinary", "proximates": "parts do not add up to 100 g", "salt-per-portion": "very much salt",
    "salted-water": "salted cooking water", "single-line": "nearly all from one line", "table-error": "an error in the composition table",
    "two-routes": "raw and cooked entries disagree",
}
LINE_CODE = re.compile(r"\(([a-z-]+): ")
DOUBTS = re.compile(r"(?<=the audit doubts it: )[a-z-]+(?:, [a-z-]+)*")
# Where a tagname stands in a released reason, so that the K of a vitamin in a cook's words is never taken for potassium.
BEHIND_TAGNAME = r"(?= is (?:withheld|known|still)\b| has no interval| of line \d| in [a-zµ]+ (?:per|of|among) )"


def in_words(reason: str, components: Mapping[str, str] | None = None) -> str:
    """A released reason without codes: "waits for line 3 (it says no amount: some flour)", "potassium is still to be checked".

    ``components`` has the name of each tagname; without it tagnames stay.
    """
    told = LINE_CODE.sub(lambda found: f"({REASON_WORDS.get(found[1], found[1])}: ", reason)
    told = DOUBTS.sub(lambda found: " and ".join(FINDING_WORDS.get(one, one) for one in found[0].split(", ")), told)
    if not components:
        return told
    return re.sub(rf"(?<![\w-])({'|'.join(sorted(components, key=len, reverse=True))}){BEHIND_TAGNAME}",
                  lambda found: lower(components[found[1]]), told)


def lower(name: str) -> str:
    """A name within a sentence."""
    return name[:1].lower() + name[1:]
