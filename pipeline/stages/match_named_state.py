"""The state of a food as the words of its name say it.

Tables that record a state of every entry are believed. One that does not say any ("Carrot, boiled,
drained" without more) is read: the words between the commas say raw, canned, dried, smoked. Common
practice of published tables, no source.
"""

from __future__ import annotations

import re

import pandas as pd

from pipeline.stages import match_words as words
from pipeline.stages.match_naming import KIND_OF_WORD

# Words of a name that say its state; the state is compared on its own.
STATE_OF_WORD = {
    "raw": "raw", "fresh": "fresh", "uncooked": "raw", "canned": "canned", "tinned": "canned", "tin": "canned", "can": "canned",
    "dried": "dried", "dry": "dried", "frozen": "frozen", "cooked": "cooked", "boiled": "cooked", "drained": "drained",
    "smoked": "smoked", "pickled": "pickled",
    "unprepared": "raw",
}
STATE_WORDS = frozenset(STATE_OF_WORD)
# "Cooked, boiled, drained" is cooked; "canned, drained" is drained.
MAIN_STATES = ("cooked", "smoked", "pickled", "drained", "canned", "dried", "frozen", "raw")
# A table that leaves the state of more than this share of the names that say one unsaid does not record states.
UNRECORDED = 0.5
# Ways of cooking that are a state of the whole food in a name; "prepared" and "breaded" are not.
MADE = frozenset("fried baked roasted braised grilled broiled stewed simmered steamed mashed poached scrambled toasted sauteed microwaved "
                 "barbecued rotisserie dryheat moistheat".split())
_WAY = re.compile(r"\b(?:" + "|".join(sorted(MADE | {"boiled", "dry heat", "moist heat"})) + r")\b")
# What the word says of these is no state: a nut is roasted or dried as it is sold, a dry wine is not dried, and a ham is cured and boiled.
NO_STATE = frozenset(
    "nut almond hazelnut walnut peanut cashew pistachio pecan macadamia wine sherry vermouth cider beer cheese butter ham sausage bread mustard".split())
# Cooking classes by words of a name, where the table gives none: what is sold dry, and herbs.
CLASS_OF_WORD = {
    **dict.fromkeys("pasta macaroni spaghetti noodle".split(), "pasta"), **dict.fromkeys("rice barley oat bulgur couscous millet semolina".split(), "grains"),
    **dict.fromkeys("bean chickpea lentil".split(), "legumes-dried"), **dict.fromkeys("flour starch".split(), "flour"),
    **dict.fromkeys("breadcrumb bread crispbread".split(), "bread"), **dict.fromkeys("prune raisin currant sultana gelatine gelatin".split(), "sugars"),
    **dict.fromkeys("thyme oregano basil rosemary sage marjoram dill parsley tarragon mint bay paprika".split(), "herbs-spices"),
}


def states_said(tokens) -> frozenset[str]:
    """The states that the words say."""
    return frozenset(STATE_OF_WORD[word] for word in tokens if word in STATE_OF_WORD)


def ways_said(name: str) -> frozenset[str]:
    """The ways of cooking that a published name says."""
    return frozenset(found.replace(" ", "") for found in _WAY.findall(name.lower()))


def main_state(states: frozenset[str]) -> str:
    """The state that tells most about the food, of several that are said."""
    return next((state for state in MAIN_STATES if state in states), "")


def states(entries: pd.DataFrame) -> list[tuple[str, str]]:
    """(state, cooking class) of every entry (model Entries); by its name where its table records none."""
    recorded = list(zip(entries["state"], entries["cooking_class"], strict=True))
    by_name = [_by_name(name) for name in entries["name"]]
    saying = [state == "" for (state, _), (said, _) in zip(recorded, by_name, strict=True) if said]
    if not saying or sum(saying) <= UNRECORDED * len(saying):
        return recorded
    return [(state or said, known or guessed) for (state, known), (said, guessed) in zip(recorded, by_name, strict=True)]


def _by_name(name: str) -> tuple[str, str]:
    plain = re.sub(r"\bin dry matter\b|\bdry matter\b", "", words.plain(name))
    found = words.tokens(plain)
    first = words.tokens(plain.split(",", maxsplit=1)[0])
    food = next((CLASS_OF_WORD[word] for word in first if word in CLASS_OF_WORD), "")
    if not NO_STATE.isdisjoint(first):
        return "", food
    said = states_said(found) | ({"cooked"} if any(word in MADE and KIND_OF_WORD.get(word) == "cooked" for word in found) else set())
    state = main_state(frozenset("raw" if one == "fresh" else one for one in said))
    if "canned" in said and state == "drained":
        state = "canned"
    return state, food
