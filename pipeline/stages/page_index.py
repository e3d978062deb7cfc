"""The first page of a release: for each group of people which dish may be called what, and what is wrong in print."""

from __future__ import annotations

from typing import Any, NamedTuple

from pipeline.page_frame import Datum, rendered
from pipeline.released import Evidence
from pipeline.stages import page_lines, page_more, page_swaps
from pipeline.stages.page_words import BASE, Dish, Names, Record, Verdict, verdict

HELD, WAITS = "holds", "waits"
# Every verdict but ``holds``, as the heading of the dishes that have it.
AS_WRITTEN = {
    WAITS: "is within its limit as written, but a person has to look at the figure first", "uncertain": "is uncertain as written",
    "fails": "fails as written", "not-assessable": "cannot be judged as written"}


class Row(NamedTuple):
    """A variant of a dish with its verdict on each claim (None: it is not judged on it); what puts a variant right again (None: nothing,
    or nothing is worse), and for the recipe as written the additions that bring enough protein."""

    name: str
    verdicts: list[Verdict | None]
    restoring: Datum | None
    reaching: list[Datum]


class Entry(NamedTuple):
    """A dish with its variants, the recipe as written first."""

    dish: Dish
    rows: list[Row]


class Shelf(NamedTuple):
    """Dishes of which the first claim is the same, so that a reader finds those that hold together."""

    title: str
    entries: list[Entry]


class Audience(NamedTuple):
    """One group of people: the claims, and the dishes by the first of them."""

    audience_id: str
    name: str
    claims: list[str]
    units: list[str]
    shelves: list[Shelf]

    @property
    def heads(self) -> list[tuple[str, bool]]:
        """The heads of its columns, none of which is a number alone."""
        return [(f"{claim}, {unit}", False) for claim, unit in zip(self.claims, self.units, strict=True)]


class Misprint(NamedTuple):
    """Something in print that no longer stands."""

    dish: Dish
    printed: page_lines.Printed


def index_page(evidence: Evidence, dishes: list[Dish], names: Names, title: str, release_id: str, cautions: list[str]) -> str:
    """The page as HTML."""
    return rendered(
        "index.html", title=title, release_id=release_id, cautions=cautions, policy=names.policy, dishes=dishes,
        audiences=[_audience(dishes, one, names) for one in names.audiences if any(dish.local(BASE, one) for dish in dishes)],
        misprints=_misprints(evidence, dishes), changes=_changes(dishes), waiting=_waiting(dishes),
        hazards=[(dish, one) for dish in dishes for one in page_more.additives(dish) if one["severity"] == "error"])


def _audience(dishes: list[Dish], audience: str, names: Names) -> Audience:
    # In the order of harm, as the rows of a dish are.
    claims = list(dict.fromkeys(row["claim"] for dish in dishes for row in dish.local(BASE, audience)))
    entries = [Entry(dish, [_row(dish, one, audience, claims) for one in dish.variants]) for dish in dishes]
    named = [names.of("claim", one) for one in claims]
    units = {row["claim"]: row["unit"] for dish in dishes for row in dish.local(BASE, audience) if row["unit"]}
    return Audience(audience, names.of("audience", audience), named, [units.get(one, "") for one in claims], _shelves(entries, named[0]) if named else [])


def _row(dish: Dish, variant: Record, audience: str, claims: list[str]) -> Row:
    variant_id = variant["variant_id"]
    return Row(dish.with_toppings(variant), _verdicts(dish, variant_id, audience, claims), page_swaps.restoring(dish, variant_id, audience),
               page_swaps.reaching(dish, audience) if variant_id == BASE else [])


def _verdicts(dish: Dish, variant_id: str, audience: str, claims: list[str]) -> list[Verdict | None]:
    rows = {row["claim"]: verdict(row, dish.names) for row in dish.local(variant_id, audience)}
    return [rows.get(claim) for claim in claims]


def _shelves(entries: list[Entry], claim: str) -> list[Shelf]:
    """By the verdict on the first claim as written; dishes that hold whatever is added before those that do not."""
    groups = {f"{claim} holds as written and in every variant": lambda states: set(states) == {HELD},
              f"{claim} holds as written, but not in every variant": lambda states: states[0] == HELD and set(states) != {HELD}}
    for state, words in AS_WRITTEN.items():
        groups[f"{claim} {words}; it holds in a variant"] = lambda states, state=state: states[0] == state and HELD in states
        groups[f"{claim} {words}; it holds in no variant"] = lambda states, state=state: states[0] == state and HELD not in states
    found = []
    for title, belongs in groups.items():
        here = [entry for entry in entries if belongs([_state(row.verdicts[0]) for row in entry.rows])]
        if here:
            found.append(Shelf(title, here))
    return found


def _state(one: Verdict | None) -> str:
    """The verdict; of an uncertain one whose whole interval keeps the limit, that a person has to look."""
    if one is None:
        return "not-assessable"
    waits = one.word.value == "uncertain" and one.to_check and one.margin is not None and float(one.margin.value) > 0
    return WAITS if waits else one.word.value


def _misprints(evidence: Evidence, dishes: list[Dish]) -> list[Misprint]:
    """What the audit finds in print and does not agree with, what can do most harm first."""
    by_id = {dish.recipe_id: dish for dish in dishes}
    rows = [row for row in evidence.records("findings") if row["check"] in page_lines.IN_PRINT and row["severity"] != "note"]
    return [Misprint(by_id[row["recipe_id"]], page_lines.printed(by_id[row["recipe_id"]], row)) for row in sorted(rows, key=page_lines.harm)]


def _changes(dishes: list[Dish]) -> list[dict[str, Any]]:
    """The ranked corrections of what is in print, where the release has them."""
    return sorted((row for dish in dishes for row in page_more.print_changes(dish)), key=lambda row: row["rank"])


def _waiting(dishes: list[Dish]) -> list[tuple[Dish, list[page_lines.Open]]]:
    held = [(dish, [one for one in page_lines.open_lines(dish) if one.withholds]) for dish in dishes]
    return [(dish, rows) for dish, rows in held if rows]
