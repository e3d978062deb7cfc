"""How much one of another size weighs, where only one size of a food is known.

A step from the size that is known to the one that was asked for is a row of ``reference/amount_spread.csv``:
by "large-from-medium" one large one is so many medium ones, and no better known than that. ``usual`` is a row that
does not say of which size it is. A curated row of a piece without a size is made to reach over every size, and
needs no step, nor does one of a head; one of a leaf, a slice or a handful is of the usual one. An imported table's row without a size is of
one that nobody named. A baby vegetable is no small one: no step leads to it or from it.
"""

from __future__ import annotations

import re

from pipeline.stages.weigh_names import Food

USUAL, BABY = "usual", "baby"
SIZES = (USUAL, "small", "medium", "large")
# Sizes whose rows answer, best first, by the size that was asked for; an imported row without a size says less than one of the next size.
NEAREST = {
    "baby": ("baby", "small", "", "medium", "large"), "small": ("small", "", "medium", "large", "baby"),
    "medium": ("medium", "", "large", "small", "baby"), "large": ("large", "", "medium", "small", "baby"),
    "": ("", "medium", "large", "small", "baby"),
}
NEAREST_OF_TABLE = {**NEAREST, "small": ("small", "medium", "", "large", "baby"), "large": ("large", "medium", "", "small", "baby")}
WHOLE = frozenset({"piece", "head", "ear"})
# A slice of which the thickness is said, where only a slice is known.
THICKNESS = {"thin slice": "thin", "thick slice": "thick"}
THICK = frozenset(THICKNESS.values())
EXTRA = "extra-from-large"
_EXTRA_LARGE = re.compile(r"\b(?:(?:extra|very|really)[ -]large|x-?large|jumbo|huge|enormous)\b", re.I)
STEPS = frozenset(f"{asked}-from-{known}" for asked in SIZES for known in SIZES if asked != known) | {
    f"{asked}-from-{USUAL}" for asked in THICK} | {EXTRA}


def beyond(known: str, size: str, text: str) -> str:
    """The step to an extra large one, which reading calls large too; "" where the line asks for none."""
    return EXTRA if known == size == "large" and _EXTRA_LARGE.search(text) else ""


def slice_of(measure: str, preparation: str) -> str:
    """A slice with the thickness that is said behind the food: "1 slice of onion, thin"."""
    said = THICK.intersection(preparation.casefold().replace(",", " ").replace(";", " ").split()) if measure == "slice" else ()
    return f"{min(said)} slice" if len(said) == 1 else measure


def step(known: str, size: str, measure: str, imported: bool) -> str:
    """The kind of row that leads from the size of a row (``known``) to the ``size`` asked for; "" where none is needed."""
    if size == BABY and measure != "piece":
        return ""  # a bag of baby spinach is no baby bag
    if imported or size in THICK:
        kind = f"{size or USUAL}-from-{known or USUAL}"
    elif measure in WHOLE:
        kind = f"{size or USUAL}-from-{known}"
    else:
        kind = f"{size or 'medium'}-from-{known or USUAL}".replace("medium-from-usual", "")
    return kind if kind in STEPS else ""


def note(known: str, size: str, kind: str, sized: bool) -> str:
    """What was assumed of the size; ``sized``: rows of other sizes are there."""
    if size and known != size:
        return f"no weight for {size}: {'reckoned from ' if kind else ''}{known or 'the usual size'}{'' if kind else ' taken'}"
    if not size and (known or sized):
        return f"{known or 'medium'} size assumed"
    return ""


def of_age(rows: list, scope: str, name: str, food: Food, size: str) -> list:
    """The rows of a baby vegetable where one was asked for, and of a grown one where not."""
    young = BABY in food.entry_name.casefold().replace(",", " ").split()
    if (young and scope == "entry") or (scope == "name" and BABY in name.split(" ")):
        return rows
    return [row for row in rows if (row.size == BABY) == (young or size == BABY or BABY in food.phrase.split())]
