"""How dense a food lies in a cup or spoon: by its name, its class, and the form it is in.

A cup of raw spinach holds a quarter of what a cup of cooked spinach does, and mashed squash lies
twice as dense as diced. So the form is asked for with the food: its state ("cooked", "canned") and its cut
("sliced"). In ``reference/densities.csv`` a row of a name says its form before the name ("cooked
spinach"), one of a class behind it ("leafy-greens, cooked, chopped"). In this order:

1. the composition entry itself;
2. a name with a form that was said ("grated cheese");
3. a name that has the form among its own words ("tomato purée");
4. the class in the state and cut that were said; in a cut that changes how anything lies (``CHANGING``); in the state;
5. the name; the class in a mere cut, because the named food says more than how it was cut; the class.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import chain

from pipeline.stages.match_words import tokens
from pipeline.stages.weigh_lookup import Books, Density
from pipeline.stages.weigh_names import Food, is_called, names

STATES = frozenset({"canned", "cooked", "dried", "drained", "frozen", "pickled"})
# What a cut does to how a food lies: words that do the same are one form. Common practice, no source.
CUTS = {
    "chopped": "chopped cut cubed cube diced dice piece chunk minced kernel segment section ball floret quartered",
    "halved": "halved half",
    "mashed": "mashed mash pureed puree pulp crushed",
    "melted": "melted",
    "packed": "packed",
    "shredded": "shredded grated julienned julienne",
    "sifted": "sifted",
    "sliced": "sliced slice ring strip stick",
    "whipped": "whipped",
    "whole": "whole",
}
_CUT = {word: cut for cut, words in CUTS.items() for word in words.split()}
# Forms that close the gaps between pieces, or open them: a row of the class in this form says more than the food's own in another.
CHANGING = frozenset({"mashed", "melted", "whipped"})

# Done to what was measured, where it stands in the preparation.
AFTERWARDS = frozenset({"whipped", "sifted"})
# A density whose interval is no wider than this (high over low) is that of a liquid or a fat. Common practice, no source.
LIQUID = 1.11


@lru_cache(maxsize=65536)
def form_of(phrase: str, preparation: str, state: str) -> tuple[str, str]:
    """(state, cut) of a food: its state and its cut as keys of ``reference/densities.csv``, "" where none was said.

    A cup of cream that is whipped later was measured before; only "whipped cream" was whipped.
    """
    later = [_CUT[word] for word in tokens(preparation) if word in _CUT and word not in AFTERWARDS]
    said = [*later, *(_CUT[word] for word in tokens(phrase) if word in _CUT)]
    return state if state in STATES else "", said[0] if said else ""


def find_density(books: Books, food: Food, preparation: str = "") -> Density | None:
    """The density of a food in the form that was said, None when no row answers for it."""
    form = form_of(food.phrase, preparation, food.state or food.entry_state)
    return next((books.densities[key] for key in _keys(food, form) if key in books.densities), None)


def of_like_food(food: Food, density: Density) -> bool:
    """Whether the density is that of a food of like name only: of rice, for wild rice. All oils lie alike, and all juices."""
    if not density.name or density.high <= LIQUID * density.low:
        return False
    first, _, plain = density.name.partition(" ")
    bare = plain if plain and (first in _CUT or first in STATES) else density.name
    return not (is_called(food, density.name) or is_called(food, bare))


def class_key(cooking_class: str, *form: str) -> str:
    """A class in a form, as ``reference/densities.csv`` calls it."""
    return ", ".join(part for part in (cooking_class, *form) if part)


def _keys(food: Food, form: tuple[str, str]):
    """(scope, key) pairs to try, best first."""
    state, cut = form
    called = names(food)
    own = [("entry", food.entry_id)] if food.entry_id else []
    formed = [("name", f"{said} {name}") for name in called for said in form if said]
    within = [("name", name) for name in called if cut and cut in {_CUT.get(word) for word in name.split(" ")}]
    both, stated, cuts = ([("class", class_key(food.cooking_class, *said))] for said in ((state, cut), (state,), (cut,)))
    plain = [("name", name) for name in called]
    first, last = (cuts, []) if cut in CHANGING else ([], cuts)
    return chain(own, formed, within, both if state and cut else [], first, stated if state else [], plain, last if cut else [],
                 [("class", food.cooking_class)])
