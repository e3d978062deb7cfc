"""What would make a verdict hold again, what would bring more protein, and where versions of a recipe differ: each where the release has it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable
from itertools import groupby
from typing import NamedTuple

from pipeline.page_frame import Datum, shown
from pipeline.reason_words import in_words, lower
from pipeline.stages.page_words import BASE, COMPARED, VERDICT_WORDS, Dish, Record, by_harm, number
from pipeline.stages.release_files import format_number
from pipeline.swaps_form import REACHES, RESTORED

SWAP_WORDS = {"not-restored": "nothing that was tried restores it", "not-searched": "nothing was looked for"}
ADDITION_WORDS = {
    "reaches": "enough protein, and every other limit holds", "falls-short": "the most that the other limits or the list allow; protein stays short",
    "cannot": "another limit does not hold even with the least amount",
    "not-searched": "nothing was looked for: another limit does not hold as it is"}
# So many additions that do not bring enough are shown for a group of people.
BEST = 3
# The additions that do come first, then those that bring most protein.
USEFUL = tuple(ADDITION_WORDS)
EFFECTS = (("potassium_mg", "potassium", "mg"), ("phosphorus_mg", "phosphorus", "mg"), ("sodium_mg", "sodium", "mg"), ("protein_g", "protein", "g"))


class Result(NamedTuple):
    """One claim of the changed dish; numbers are None where they are not known."""

    claim: str
    word: Datum
    numbers: list[Datum] | None
    unit: str


class Change(NamedTuple):
    """One change of a dish for one group of people: what to do (or why nothing), and what the claims then are."""

    name: Datum | str
    audience: str
    do: Datum | str
    results: list[Result]


def swaps(dish: Dish) -> list[Change]:
    """For each variant that breaks a verdict, the smallest change that restores it."""
    def named(row: Record) -> str:
        return dish.variant_name(row["variant_id"])

    found = []
    for (variant_id, audience), rows in _grouped(dish.evidence.records("swaps", recipe_id=dish.recipe_id), "variant_id", "audience"):
        first, key, people = rows[0], f"swaps {variant_id} {audience}", dish.names.of("audience", audience)
        found.append(Change(named(first), people, _to_do(first, key) or _why_not(first, rows, people),
                            [_result(dish, row, key) for row in sorted(rows, key=by_harm)] if first["outcome"] == "restored" else []))
    return found


def restoring(dish: Dish, variant_id: str, audience: str) -> Datum | None:
    """What to leave out or reduce in a variant so that its verdicts for a group of people are those of the recipe as written again."""
    rows = dish.evidence.records("swaps", recipe_id=dish.recipe_id, variant_id=variant_id, audience=audience)
    return _to_do(rows[0], f"swaps {variant_id} {audience}") if rows and rows[0]["outcome"] == RESTORED else None


def _to_do(first: Record, key: str) -> Datum | None:
    return Datum(first["change"], first["change"], f"{key} {first['claim']} change") if first["change"] else None


def _why_not(first: Record, rows: list[Record], people: str) -> str:
    """The outcome, with the words on the verdicts that became worse; the group of people stands beside them."""
    worse = [row["words"].partition(": ")[2].replace(f" for {lower(people)}", "") for row in rows if row["verdict_written"] != row["verdict_base"]]
    return f"{SWAP_WORDS[first['outcome']]}: {in_words('; '.join(worse))}"


def protein_additions(dish: Dish) -> list[Change]:
    """What brings more protein, for each group of people that has a least amount: every addition that does, and of the others
    the ``BEST`` that bring most; the rest is in the table."""
    found, short = [], Counter()
    rows = _by_use(dish.evidence.records("protein_additions", recipe_id=dish.recipe_id))
    for (audience, addition), of_addition in _grouped(rows, "audience", "addition_id"):
        first, key = of_addition[0], f"protein_additions {audience} {addition}"
        short[audience] += first["outcome"] != REACHES
        if first["outcome"] != REACHES and short[audience] > BEST:
            continue
        found.append(Change(_addition(first, key), dish.names.of("audience", audience), ADDITION_WORDS[first["outcome"]],
                            [_result(dish, row, key) for row in sorted(of_addition, key=by_harm)]))
    return found


def reaching(dish: Dish, audience: str) -> list[Datum]:
    """The additions that bring enough protein for a group of people while every other limit holds."""
    rows = dish.evidence.records("protein_additions", recipe_id=dish.recipe_id, audience=audience, outcome=REACHES)
    return [_addition(of_addition[0], f"protein_additions {audience} {addition}") for (addition,), of_addition in _grouped(rows, "addition_id")]


def _addition(first: Record, key: str) -> Datum:
    return Datum(first["line"], first["line"], f"{key} {first['claim']} line")


def _by_use(rows: list[Record]) -> list[Record]:
    """The rows by group of people, the additions of each in the order of their use."""
    protein = {(row["audience"], row["addition_id"]): row["value"] for row in rows if row["component"] == "PROCNT"}
    return sorted(rows, key=lambda row: (row["audience"], USEFUL.index(row["outcome"]),
                                         -protein.get((row["audience"], row["addition_id"]), 0.0), row["addition_id"]))


def _result(dish: Dish, row: Record, key: str) -> Result:
    cell = f"{key} {row['claim']}"
    numbers = None if math.isnan(row["value"]) else [number(row[end], f"{cell} {end}") for end in ("value", "low", "high")]
    return Result(dish.names.of("claim", row["claim"]), Datum(VERDICT_WORDS[row["verdict"]], row["verdict"], f"{cell} verdict"), numbers, row["unit"])


class Difference(NamedTuple):
    """One difference of a version from the recipe as analysed, with what it does to a portion."""

    version: str
    beside: str
    what: str
    effects: list[tuple[str, Datum, str]]


def versions(dish: Dish) -> list[Difference]:
    """Where versions differ, line by line."""
    found = []
    for row in dish.evidence.records("versions", recipe_id=dish.recipe_id):
        key = f"versions {row['variant_id']} {row['from_variant']} {row['difference_no']}"
        effects = [(name, signed(row[column], f"{key} {column}"), unit) for column, name, unit in EFFECTS if not math.isnan(row[column])]
        found.append(Difference(dish.variant_name(row["variant_id"]), _beside(dish, row), row["what"], effects))
    return found


def _beside(dish: Dish, row: Record) -> str:
    return "" if row["from_variant"] == BASE else dish.variant_name(row["from_variant"])


class Moved(NamedTuple):
    """A figure of a version beside that of the recipe as analysed."""

    version: str
    component: str
    unit: str
    before: list[Datum] | None
    after: list[Datum] | None
    difference: Datum | None
    apart: bool
    verdicts: str


def version_figures(dish: Dish) -> list[Moved]:
    """The figures per portion by which variants are compared, of each version."""
    found = []
    for row in dish.evidence.records("version_figures", recipe_id=dish.recipe_id, basis="portion"):
        if (row["component"], row["unit"]) not in COMPARED:
            continue
        key = f"version_figures {row['variant_id']} {row['from_variant']} {row['component']} {row['unit']} {row['basis']}"
        before, after = (None if math.isnan(row[columns[0]]) else [number(row[column], f"{key} {column}") for column in columns] for columns in (
            ("from_value", "from_low", "from_high"), ("value", "low", "high")))
        difference = None if math.isnan(row["difference"]) else signed(row["difference"], f"{key} difference")
        found.append(Moved(dish.variant_name(row["variant_id"]), dish.names.of("component", row["component"]), row["unit"], before, after,
                           difference, bool(row["beyond_intervals"]), dish.names.flips(row["verdicts"])))
    return sorted(found, key=lambda one: one.version)


def signed(value: float, cell: str) -> Datum:
    """A released difference, with its sign."""
    return Datum(("+" if value > 0 else "") + shown(value), format_number(value), cell)


def _grouped(rows: Iterable[Record], *names: str) -> Iterable[tuple[tuple[str, ...], list[Record]]]:
    """The rows by these columns, in their order."""
    key: Callable[[Record], tuple[str, ...]] = lambda row: tuple(row[name] for name in names)  # noqa: E731
    return [(found, list(group)) for found, group in groupby(rows, key=key)]
