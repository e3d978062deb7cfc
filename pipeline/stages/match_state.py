"""States in matching: how well an entry's state answers the state a line asks for.

A line that says nothing means raw for produce and dry for what is sold dry; "fresh"
rules the dried food out; a name may say the state itself ("smoked paprika"). Common
practice, no source.
"""

from __future__ import annotations

from pipeline.stages.match_words import Way

COOKED = "cooked"
DRY_STATES = frozenset({"", "dried"})
# 1 yes, 0 open, -1 no; a state that is not listed is a no.
AGREEMENT: dict[str, dict[str, float]] = {
    "": {"": 1, "raw": 1, "dried": -1, "smoked": -0.75, "frozen": -0.6, "pickled": -0.75, "canned": -0.7, "drained": -0.7,
         "cooked": -1},
    "fresh": {"raw": 1, "": 1, "frozen": -0.5},
    "raw": {"raw": 1, "": 0.8, "frozen": -0.5},
    "dried": {"dried": 1, "": 0.2},
    "canned": {"canned": 1, "drained": 0.7, "": 0.2},
    "drained": {"drained": 1, "canned": 0, "": 0.2},
    "frozen": {"frozen": 1, "raw": -0.3, "": 0.4},
    "cooked": {"cooked": 1, "": 0},
    "smoked": {"smoked": 1},
    "pickled": {"pickled": 1, "canned": 0.2},
}
# What is sold dry, so that a line that says nothing means the dry food, and "uncooked" does too.
DRY_BY_DEFAULT = frozenset("pasta noodles rice grains flour legumes-dried nuts-seeds sugars bread stock-sauce drinks".split())
# What is sold raw too, whatever the table has: where it has a name for the cooked food only, nothing said does not mean cooked.
SOLD_RAW = frozenset("beef pork lamb chicken turkey liver lean-fish oily-fish eggs potatoes sweet-potatoes roots leafy-greens other-vegetables "
                     "mushrooms tomatoes".split())
# An entry that says no state is a food as it is bought. A line that names one of these states means such an entry only in these
# cooking classes, where the food is bought so or the word is about the packing ("cooked ham", "can of cola"); elsewhere the food in
# that state is another one ("dried tofu", "canned milk", "cooked polenta").
BOUGHT_SO = {
    "dried": frozenset("alcohol bacon-ham bread dried-fruit flour grains herbs-spices noodles nuts-seeds other pasta rice salt sausage sugars".split()),
    "cooked": frozenset("bacon-ham bread sausage shellfish".split()),
    "canned": frozenset("alcohol bacon-ham citrus drinks fats-oils fruit lean-fish nuts-seeds oily-fish other sausage shellfish stock-sauce sugars "
                        "tomatoes water".split()),
}
# How a fresh herb is counted and cut, and how a dried one is measured.
FRESH_UNITS = frozenset("sprig bunch handful stalk stem".split())
FRESH_CUTS = ("chop", "minced", "torn", "snip", "picked")
DRIED_UNITS = frozenset("teaspoon pinch dash".split())
FRESH, DRY = "fresh", "dry"
# Where a line asks for one of these, "raw" or "unprepared" in a name is no other state.
RAW_BY_ITSELF = frozenset({"", "fresh", "frozen"})
# The only state in which a food is sold needs no saying; a state that nobody asked for weighs against.
ONLY_STATE, UNASKED_STATE = 0.8, 0.8


def hint(unit: str, preparation: str) -> str:
    """What unit and cut say about a herb: a sprig or something to chop is fresh, a teaspoon is dried."""
    if unit in FRESH_UNITS or any(cut in preparation for cut in FRESH_CUTS):
        return FRESH
    return DRY if unit in DRIED_UNITS else ""


def agreement(asked: str, hinted: str, state: str, cooking_class: str, said: frozenset[str] = frozenset()) -> float:
    """How well an entry's state answers a line, from 1 (yes) to -1 (no).

    ``asked`` is the state in words ("fresh" among them), ``hinted`` what the measure says,
    ``said`` the states in the words of the entry's name.
    """
    if asked in RAW_BY_ITSELF:
        said -= {"raw"}  # "frozen, unprepared" is what a line about frozen peas means
    if asked in said and state not in (said | AGREEMENT[asked].keys()) - {asked, ""}:
        return 1.0 - UNASKED_STATE * len(said - {asked, state})
    if state == "" and cooking_class not in BOUGHT_SO.get(asked, (cooking_class,)):
        return -1.0
    if asked in ("", "raw") and state == "dried" and cooking_class in DRY_BY_DEFAULT:
        return 1.0
    if asked == "" and cooking_class == "herbs-spices" and state == "dried" and not said:
        return {DRY: 1.0, FRESH: -1.0}.get(hinted, 0.0)
    if asked == "" and cooking_class == "herbs-spices" and state == "raw" and hinted == DRY:
        return 0.0
    return AGREEMENT[asked].get(state, -1) - UNASKED_STATE * len(said - {asked, state})


def made_agreement(asked: str, hinted: str, made: tuple[Way, ...], state: str, cooking_class: str, said: frozenset[str], ways: frozenset[str]) -> float:
    """How well an entry answers a line with ways of cooking behind the food ("carrots, roasted"), from 1 (yes) to -1 (no).

    A cooked entry answers where it names no way or each of them (``ways``: those of its name); another one only where they
    leave its class as it is and it is dry ("pine nuts, toasted", but not a raw coconut).
    """
    if all(way.says & ways or (way.says and state == COOKED and not ways) for way in made):
        return 1.0
    if state in DRY_STATES and all(cooking_class in way.keeps for way in made):
        return agreement("" if asked == COOKED else asked, hinted, state, cooking_class, said)
    return -1.0
