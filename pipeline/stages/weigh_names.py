"""Which names a food is looked for by when it is weighed, best first.

As the cook wrote it; without leading words, down to two ("bone-in chicken thigh" -> "chicken thigh"); as the entry
is called; by its last word ("large field mushroom" -> "mushroom"), which in English is the food. A row found by
dropping words is of a like food only (:func:`is_called`), unless the entry is called so.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from pipeline.stages.match_words import tokens

# A dried or pickled food weighs nothing like the fresh one of the same name ("2 dried apricots", "1 large
# pickled cucumber"), so it is never given the fresh food's row: only a row that says so, or its class.
APART = frozenset({"dried", "pickled"})
STATE_WORDS = ("dried", "canned", "frozen", "smoked", "cooked", "pickled")
# Parts that a food is counted by: "2 peach halves" are no peaches, and no thigh weighs what a chicken does.
PARTS = frozenset((
    "half quarter spear ring strip slice wedge floret segment leaf clove sprig skin stalk "
    "breast cutlet drumstick escalope fillet leg loin rib shank steak thigh wing").split())
# Parts that stand before the food as well: "1 half peach".
BEFORE = frozenset({"half", "quarter", "ring"})
# A part of a published name that tells about the food and does not name it.
_ABOUT = re.compile(r"with|without|in |no |not |raw\b|cooked|canned|frozen|dried|dry\b|fresh|all |year|unprepared|prepared|salted|unsalted|\d", re.I)


class Food(NamedTuple):
    """What is known of a line's food: the phrase, its state, and the accepted entry."""

    phrase: str
    state: str
    entry_id: str = ""
    entry_name: str = ""
    common_names: str = ""
    cooking_class: str = ""
    entry_state: str = ""
    refuse_fraction: float | None = None
    refuse: str = ""


@lru_cache(maxsize=65536)
def food_key(name: str) -> str:
    """A food name in the form that keys are compared in: lower case, singular words."""
    return " ".join(tokens(name))


@lru_cache(maxsize=65536)
def names(food: Food) -> tuple[str, ...]:
    """Name keys to try for a food, best first."""
    written, endings = food_key(food.phrase), _endings(food.phrase)
    own = _own_names(food)
    called = [food_key(name) for name in own]
    state = food.state or food.entry_state
    as_stated, as_called = ([f"{state} {name}" for name in some if state in STATE_WORDS] for some in ((written, *endings), called))
    if food.state in APART:
        apart = [name for name in (written, *called) if APART & set(name.split(" "))]
        return _once([*as_stated, *apart, *as_called])
    longer = [name for name in endings if " " in name]
    plain = [written, *longer, *called, *endings, *(end for name in own for end in _endings(name))]
    # A state that only the entry has says less than the cook's own words ("cornichons" are no pickled gherkins, "medjool dates" no dried dates).
    return _once([*as_stated, *as_called, *plain] if food.state else [*as_stated[:1], written, *as_stated, *as_called, *plain])


@lru_cache(maxsize=65536)
def is_called(food: Food, key: str) -> bool:
    """Whether a key names the food itself and not a like one: it is written so, or the entry is called so.

    The first part of a published name says of what kind the food is ("Egg, goose"), and names it only where
    nothing more does ("Leeks, raw"). Without an entry nobody knows, and the words are believed.
    """
    if not food.entry_id:
        return True
    first, second = _parts(food.entry_name)
    called = {food_key(name) for name in (food.phrase, *food.common_names.split(";"), f"{second} {first}") if name.strip()}
    state, _, plain = key.partition(" ")
    bare = plain if plain and state in STATE_WORDS else key
    within = any(set(name.split(" ")) < set(bare.split(" ")) for name in called)  # "chicken thigh" of a "chicken"
    return within or bool({key, bare} & called)


def part_of(phrase: str) -> str:
    """The part that a phrase names: "half" of "peach halves"; "" of a phrase that names a whole food."""
    words = food_key(phrase).split(" ")
    if len(words) == 1:
        return ""
    return words[-1] if words[-1] in PARTS else words[0] if words[0] in BEFORE else ""


def _parts(entry_name: str) -> tuple[str, str]:
    """The first part of a published name, and the second one where it names the food too."""
    first, *others = [part.split("(")[0].strip() for part in entry_name.split(",")]
    return first, others[0] if others and not _ABOUT.match(others[0]) else ""


def _own_names(food: Food) -> list[str]:
    """What the entry is called: its common names, and its name's first two parts as a cook says them.

    Of a published name only these parts name the food: "Margarine-like spread, with salt" is no salt.
    """
    first, second = _parts(food.entry_name)
    named = [*food.common_names.split(";"), f"{second} {first}" if second else "", first]
    return [name.strip() for name in named if name.strip()]


def _endings(name: str) -> list[str]:
    """Keys of a name without its leading words; "balsam-pear" is one word, and no pear."""
    words = name.split()
    return [food_key(" ".join(words[start:])) for start in range(1, len(words))]


def _once(keys: list[str]) -> tuple[str, ...]:
    return tuple(key for key in dict.fromkeys(keys) if key)
