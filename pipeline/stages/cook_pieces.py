"""Whether food is cut small, in the words of its line or of the method: small pieces lose more to water."""

from __future__ import annotations

import re

# Pieces up to this size are small (common practice, no source); "3 cm chunks" are not.
SMALL_UP_TO_CM = 2.0
SMALL_BY_NATURE = ("leafy-greens",)
SIZE = re.compile(r"(\d+(?:\.\d+)?|½)(?:\s*(?:-|–|to)\s*(\d+(?:\.\d+)?))?\s*-?\s*(cm|mm|inch(?:es)?)\b")
CM_IN = {"cm": 1.0, "mm": 0.1, "in": 2.54}
CUT_SMALL = re.compile(r"\b(?:diced?|dicing|cubed?|cubes|grated?|shredded|shred|julienned?|matchsticks|finely|(?:cut|chopped|chop|sliced?) (?:up )?(?:very )?(?:small|thin|fine)(?:ly)?|"
                       r"thin(?:ly)? (?:sliced?|slices|strips|rounds)|slices? (?:it |them )?thinly|small(?:er)? (?:pieces|chunks|dice|cubes|florets|bits|strips))\b")
# "small dice" of a later use, and what stays whole.
WHOLE = re.compile(r"\b(?:whole|unpeeled|large (?:pieces|chunks|cubes|dice))\b")


def in_small_pieces(words: str, cooking_class: str) -> bool:
    """Whether the words say that the food is in small pieces; a stated size counts for more than "cubes"."""
    if cooking_class in SMALL_BY_NATURE:
        return True
    text = words.lower()
    if WHOLE.search(text):
        return False
    sizes = [float((largest or first).replace("½", "0.5")) * CM_IN[unit[:2]] for first, largest, unit in SIZE.findall(text)]
    if sizes:
        return max(sizes) <= SMALL_UP_TO_CM
    return bool(CUT_SMALL.search(text))
