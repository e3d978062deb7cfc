"""Which reference row answers for a food: measures, densities, edible portions, rules.

A row of the composition entry beats a row of the food's name, that beats a row of its
cooking class, and that one for any food; which names are tried is said in
:mod:`pipeline.stages.weigh_names`. A row that only answers for a like food ("mushroom" for
straw mushrooms), or for another size, says so and widens the amount. A part ("peach halves") is never
weighed as the whole, and a baby vegetable never as a grown one.

Household measures of an imported table are of its publisher's kitchen: an American thigh,
chilli or egg is not a British one. So, for a recipe:

- a curated row that names the entry or the food goes before the table's row, unless the
  recipe's units are those of the table's kitchen (``units: us``) and the curated row is not
  of that very kitchen, or a size was written
  that only the table's row has, or a preparation of a measured cup or spoon;
- the table's row goes before curated ones for a class or for any food;
- the row that comes second widens: where its middle lies outside the interval of the
  first, the interval reaches over both. Only where the two speak of one thing: no size was
  written (a "medium" egg is one of its own country) and the preparation is the same.
"""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

import pandas as pd

from pipeline.problems import ERROR, InputError, Problem
from pipeline.remembered import remembered
from pipeline.stages import weigh_sizes
from pipeline.stages.weigh_names import Food, food_key, is_called, names, part_of

SCOPES = ("entry", "name", "class", "any")
# The kinds of amount_spread.csv that weighing needs; a missing one would hide an uncertainty.
SPREAD_KINDS = ("weighed-mass", "measured-volume", "spoon", "cup", "counted", "counted-part", "stated-size", "one-assumed",
                "drained-or-not", "like-food", "filled-scant", "filled-generous", "filled-heaped", "filled-level", "like-density",
                *sorted(weigh_sizes.STEPS))


class Measure(NamedTuple):
    """Grams or millilitres (``unit``) in one measure, with its 90 % interval.

    ``table`` is the imported table that gives it, ``kitchen`` whose measure that is (``uk``,
    ``us``); both "" for a curated row that is of no kitchen in particular.
    """

    measure_id: str
    low: float
    middle: float
    high: float
    unit: str
    basis: str
    size: str = ""
    preparation: str = ""
    scope: str = "any"
    table: str = ""
    kitchen: str = ""


class Found(NamedTuple):
    """The measure that answers, what was assumed about it, a row of another kitchen for the same thing, and the
    kind of ``amount_spread.csv`` that the assumption calls for ("" when none does)."""

    measure: Measure
    note: str
    other: Measure | None = None
    doubt: str = ""


class Density(NamedTuple):
    """Grams in one millilitre, with its 90 % interval; ``name`` is the key of a row that is of a name."""

    density_id: str
    low: float
    middle: float
    high: float
    name: str = ""


class Edible(NamedTuple):
    edible_id: str
    low: float
    middle: float
    high: float
    refuse: str


class Rule(NamedTuple):
    """What a phrase without a number stands for, in ``unit`` per portion or recipe."""

    rule_id: str
    low: float
    middle: float
    high: float
    unit: str
    per: str


# Kitchens whose eggs and tomatoes are graded otherwise: a curated row of the name "us egg" is theirs alone.
KITCHENS = frozenset({"us"})


ODD_SIZES = ("large", "small", "baby")  # of a table's rows: not the one that a cook means who says no size


class Spread(NamedTuple):
    """Factors on the number that is written: what it stands for, with the 90 % interval."""

    low: float = 1.0
    middle: float = 1.0
    high: float = 1.0


class Books(NamedTuple):
    """The reference tables of this stage, indexed by scope and key."""

    measures: dict[tuple[str, str, str], list[Measure]]
    densities: dict[tuple[str, str], Density]
    edible: dict[tuple[str, str], Edible]
    rules: dict[tuple[str, str], Rule]
    spread: dict[str, Spread]
    measure_words: frozenset[str]


def _key(scope: str, key: str) -> str:
    return food_key(key) if scope == "name" else key


@remembered(most=4)
def open_books(measures, edible_portions, densities, amount_spread, amount_rules) -> tuple[Books, list[Problem]]:
    """Index the five reference tables (columns as in ``reference/``).

    Returns the index and a problem for each row that cannot be used: an interval out of
    order, a value below zero, an unknown scope, or a second row for the same thing.
    Raises :class:`InputError` when a kind of spread is missing.
    """
    problems: list[Problem] = []
    by_measure: dict[tuple[str, str, str], list[Measure]] = defaultdict(list)
    seen: set[tuple] = set()
    for row in _usable(measures, "measures", "measure_id", ("low", "middle", "high"), problems):
        key = (row.scope, _key(row.scope, row.scope_key), row.measure)
        table = getattr(row, "table", "")  # only where imported tables are in use
        if _is_second((*key, row.size, row.preparation, table), seen, "measures", row.measure_id, problems):
            continue
        by_measure[key].append(Measure(row.measure_id, row.low, row.middle, row.high, row.unit, row.basis, row.size,
                                       row.preparation, row.scope, table, getattr(row, "kitchen", "")))
    seen.clear()
    by_density = {}
    for row in _usable(densities, "densities", "density_id", ("low", "density_g_per_ml", "high"), problems):
        key = (row.scope, _key(row.scope, row.scope_key))
        if not _is_second(key, seen, "densities", row.density_id, problems):
            by_density[key] = Density(row.density_id, row.low, row.density_g_per_ml, row.high, key[1] if row.scope == "name" else "")
    seen.clear()
    by_edible = {}
    for row in _usable(edible_portions, "edible_portions", "edible_id", ("low", "edible_fraction", "high"), problems, top=1.0):
        key = (row.scope, _key(row.scope, row.scope_key))
        if not _is_second(key, seen, "edible_portions", row.edible_id, problems):
            by_edible[key] = Edible(row.edible_id, row.low, row.edible_fraction, row.high, row.refuse)
    seen.clear()
    rules = {}
    for row in _usable(amount_rules, "amount_rules", "rule_id", ("low", "middle", "high"), problems):
        key = (row.amount_rule, row.cooking_class)
        if not _is_second(key, seen, "amount_rules", row.rule_id, problems):
            rules[key] = Rule(row.rule_id, row.low, row.middle, row.high, row.unit, row.per)
    spread = {row.kind: Spread(row.relative_low, row.relative_middle, row.relative_high)
              for row in _usable(amount_spread, "amount_spread", "spread_id", ("relative_low", "relative_middle", "relative_high"), problems)}
    missing = sorted(set(SPREAD_KINDS) - set(spread))
    if missing:
        raise InputError(Problem("reference/amount_spread.csv", f"has no row of the kind {', '.join(missing)}",
                                 "Add the row: without it an uncertainty would be lost", "reference-row", ERROR, "weigh"))
    words = frozenset(measure for _, _, measure in by_measure)
    return Books(dict(by_measure), by_density, by_edible, rules, spread, words), problems


def _usable(table: pd.DataFrame, name: str, key: str, ordered: tuple[str, str, str], problems: list[Problem], top=None):
    """Rows with low <= middle <= high, all above zero (low may be 0), and an id of their own; the others become problems."""
    low, middle, high = ordered
    ids: set[str] = set()
    for row in table.rename(columns={"class": "cooking_class"}).itertuples(index=False):
        least, value, most = getattr(row, low), getattr(row, middle), getattr(row, high)
        fault = ""
        if not 0 <= least <= value <= most or not value > 0:
            fault = f"the interval {least} / {value} / {most} is not 0 <= low <= middle <= high with a middle above 0"
        elif top is not None and most > top:
            fault = f"the high end {most} is above {top}"
        elif getattr(row, "scope", "any") not in SCOPES:
            fault = f"the scope {row.scope!r} is not one of {', '.join(SCOPES)}"
        elif getattr(row, key) in ids:
            fault = "another row has this id"
        ids.add(getattr(row, key))
        if fault:
            problems.append(Problem(f"reference/{name}.csv: {getattr(row, key)}", fault, "Correct the row; it is not used",
                                    "reference-row", ERROR, "weigh"))
            continue
        yield row


def _is_second(key: tuple, seen: set, table: str, row_id: str, problems: list[Problem]) -> bool:
    if key not in seen:
        seen.add(key)
        return False
    problems.append(Problem(f"reference/{table}.csv: {row_id}", f"is a second row for {' / '.join(filter(None, key))}",
                            "Keep one of the two; the first is used", "reference-row", ERROR, "weigh"))
    return True


def _scoped(food: Food):
    """(scope, key) pairs to try, best first, without ``any``."""
    if food.entry_id:
        yield "entry", food.entry_id
    for name in names(food):
        yield "name", name
    if food.cooking_class:
        yield "class", food.cooking_class


def find_edible(books: Books, food: Food, bone_in: bool = False) -> Edible | None:
    """The edible portion of a food, None when no row answers for it.

    ``bone_in``: the line says that the bone is there. A row that knows of no bone, or counts skin with it, then
    gives way to that of the class ("lamb, bone-in"): a thigh with its skin on still has its bone.
    """
    found = next((books.edible[key] for key in _scoped(food) if key in books.edible), None)
    with_bone = books.edible.get(("class", f"{food.cooking_class}, bone-in")) if bone_in else None
    if with_bone and (found is None or found.middle > with_bone.high or "skin" in found.refuse):
        return with_bone
    return found


def find_rule(books: Books, amount_rule: str, cooking_class: str) -> Rule | None:
    """What ``amount_rule`` means for a class without a number; None when nobody should guess."""
    return books.rules.get((amount_rule, cooking_class))


def find_measure(
    books: Books, food: Food, measure: str, size: str, preparation: str, scopes: tuple[str, ...] = SCOPES, basis: str = "",
    units_system: str = "uk", measured: bool = False,
) -> Found | None:
    """The measure row for one ``measure`` of a food, and what was assumed about its size.

    ``preparation`` is the words said about it besides its phrase ("chopped", "juice",
    "drained"). With ``basis`` only rows of that basis answer. ``units_system`` is the
    recipe's, ``measured`` says that it is a cup or spoon; which of a curated row and one of
    an imported table goes first is said at the head of this module. None when no row answers.
    """
    kitchen = f"{units_system} " if units_system in KITCHENS else ""
    measure = weigh_sizes.slice_of(measure, preparation)
    curated = _nearest(books, food, measure, size, preparation, scopes, basis, kitchen, imported=False)
    of_table = _nearest(books, food, measure, size, preparation, scopes, basis, kitchen, imported=True)
    if curated is None or of_table is None:
        return curated or of_table
    if not _table_first(of_table.measure, curated.measure, size, units_system, measured):
        return curated._replace(other=of_table.measure if _of_one_thing(curated.measure, of_table.measure, size) else None)
    return of_table._replace(other=curated.measure if _of_one_thing(of_table.measure, curated.measure, size) else None)


def _nearest(
    books: Books, food: Food, measure: str, size: str, preparation: str, scopes: tuple[str, ...], basis: str, kitchen: str,
    imported: bool,
) -> Found | None:
    """The nearest row among the curated ones, or among those of imported tables."""
    for scope, key in (*_of_kitchen(_scoped(food), kitchen), ("any", "")):
        if scope not in scopes:
            continue
        for name, word in _ways(scope, key, measure, food.phrase, books.measure_words):
            rows = [row for row in books.measures.get((scope, name, word), ()) if basis in ("", row.basis) and bool(row.table) == imported]
            if word == "piece":
                rows = weigh_sizes.of_age(rows, scope, name, food, size)
            chosen = _choose(rows, size, f"{preparation} {food.phrase}")
            if chosen:
                chosen = chosen._replace(kitchen=kitchen.strip()) if kitchen and not imported and key.startswith(kitchen) else chosen
                like = scope == "name" and not is_called(food, key.removeprefix(kitchen))
                thickness = weigh_sizes.THICKNESS.get(measure, "") if word == "slice" else ""
                return _assumed(chosen, rows, word, thickness or size, key if like else "")
    return None


def _of_kitchen(scoped, kitchen: str):
    """The same keys, and before each name that name in this kitchen: a "us egg" is no British egg."""
    for scope, key in scoped:
        if kitchen and scope == "name":
            yield scope, kitchen + key
        yield scope, key


def _assumed(row: Measure, rows: list[Measure], measure: str, size: str, like: str) -> Found:
    """Says that the row is of a food ``like`` the one written, or of another size than was asked for."""
    kind = weigh_sizes.step(row.size, size, measure, imported=bool(row.table))
    note = weigh_sizes.note(row.size, size, kind, any(other.size for other in rows))
    if like and row.unit == "g":
        return Found(row, "; ".join(filter(None, (f"weighed as {like}", note))), doubt="like-food")
    return Found(row, note, doubt=kind)


def _table_first(of_table: Measure, curated: Measure, size: str, units_system: str, measured: bool) -> bool:
    if curated.scope == "entry":
        return False  # somebody wrote it for this very food
    if curated.kitchen == units_system and not measured:
        return bool(size) and of_table.size == size  # written for this kitchen: an American egg of no size is a large one
    if curated.scope == "name" and not size and of_table.size in ODD_SIZES and not curated.size:
        return False  # a step from a large slice alone to the usual one says less than a slice that somebody weighed
    if curated.scope != "name" or of_table.kitchen == units_system:
        return True
    sized = bool(size) and of_table.size == size != curated.size
    return sized or (measured and bool(of_table.preparation) and not curated.preparation)


def _of_one_thing(first: Measure, second: Measure, size: str) -> bool:
    """Whether the second row says something about what the first one weighs."""
    usual = {first.size, second.size} <= {"", "medium"} or first.size == second.size
    named = second.scope in ("entry", "name")
    return named and usual and not size and not (first.kitchen and not first.table) and (first.preparation, first.unit) == (second.preparation, second.unit)


def _ways(scope: str, key: str, measure: str, phrase: str, measure_words: frozenset[str]):
    """One name and measure, and the same said otherwise: a breast of "chicken", one "chicken breast".

    For a class or any food a counted "basil leaf" is a leaf before it is a piece. A part of the
    food is that part, whatever the row is called.
    """
    written = food_key(phrase)
    last_written = written.rpartition(" ")[2]
    part = part_of(phrase) if measure == "piece" else ""
    if part and scope != "name":
        yield key, part
        return
    if part:
        yield (key, "piece") if key.endswith(f" {part}") else (key, part)
        yield key.removesuffix(f" {part}"), part
        return
    if scope in ("class", "any") and measure == "piece" and last_written in measure_words:
        yield key, last_written
    yield key, measure
    if measure in weigh_sizes.THICKNESS:
        yield key, "slice"
    if scope != "name":
        return
    head, _, last = key.rpartition(" ")
    if measure != "piece":
        if head and last == measure:
            yield head, measure
            yield key, "piece"
        yield f"{key} {measure}", "piece"
        return
    if head and last in measure_words and last == last_written:
        yield head, last


def _choose(rows: list[Measure], size: str, preparation: str) -> Measure | None:
    """The row whose preparation was said, then whose size was said; None if none fits."""
    said = preparation.casefold().replace("bone in", "bone-in").replace(",", " ").replace(";", " ").split()
    fitting = [row for row in rows if not row.preparation or any(word.startswith(row.preparation) for word in said)]
    if not fitting:
        return None
    order = weigh_sizes.NEAREST_OF_TABLE if rows[0].table else weigh_sizes.NEAREST
    return min(fitting, key=lambda row: (not row.preparation, order[size].index(row.size)))
