"""Second computation of the second route: what the cooked entry says of a line, and how far that widens it."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from pipeline.verify_amounts import Kitchen, Route, Sample, samples
from pipeline.verify_cooking import Line
from pipeline.verify_files import number, path_of, place
from pipeline.verify_mass import Z90
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project
from pipeline.verify_tables import Tables

CAUSE = "contributions"
PAIRS = "reference/raw_cooked_pairs.csv"
CURATED = "core"
MINERALS = ("CA", "FE", "K", "MG", "NA", "P", "ZN")
# What tap water has a good deal of: a dry food that took up water of another line is compared without these.
OF_WATER = ("CA", "MG", "NA")
# Steps that take no mineral away after a draining.
DRY = {"bake", "fry", "grill", "microwave", "raw", "reheat", "steam", "stir-fry"}
SOLIDS_LEFT = 0.75  # of the solids, when water is poured off (from memory)
ALREADY_COOKED, ABSORBED = "already-cooked", "absorbed"
EQUAL = 1e-9
Pair = dict[str, str]
Factor = tuple[float, float, float]


class Step(NamedTuple):
    """The cooking that is compared; ``later`` when dry steps followed it, ``absorbed`` when another line brought the water."""

    method: str
    liquid: str
    later: bool
    absorbed: bool


class Way(NamedTuple):
    """One route per 100 g raw: the amount, its interval, and the standard uncertainty of factor and mean."""

    value: float
    error: float
    amount: float
    low: float
    high: float
    uncertainty: float


def routes(lines: list[Line], kitchen: Kitchen, ledger: Ledger) -> dict[tuple[str, str], Route]:
    """Both routes of every line that has a pair, recomputed and compared with evidence/two_routes.csv."""
    pairs, sampled = _pairs(kitchen.project), samples(kitchen)
    values = {(row["entry_id"], row["component"]): key for key, row in kitchen.tables["values"].items() if row["value"] != ""}
    found: dict[tuple[str, str], Route] = {}
    for line in lines:
        step = _step(kitchen.tables["cooked"][line.line_id])
        pair = pairs.get((line.entry_id, step.method, step.liquid)) if step else None
        for component, unit in kitchen.units.items() if pair else ():
            ends = [values.get((pair[name], component), "") for name in ("raw_entry_id", "cooked_entry_id")]
            if not all(ends) or not _is_compared(component, step):
                continue
            yield_id, factor = _yield(line, pair, step, values, kitchen)
            if math.isnan(factor[0]):
                continue
            ledger.counts["second routes"] += 1
            ways = (_way(ends[0], _retention(line, component, kitchen), kitchen, sampled), _way(ends[1], factor, kitchen, sampled))
            found[line.line_id, component] = _compared_route(line, component, unit, pair, (yield_id, factor), ways, kitchen, ledger)
    ledger.keys(CAUSE, path_of("two_routes"), kitchen.tables["two_routes"], [" ".join(key) for key in found], f"{PAIRS} and {path_of('cooked')}")
    return found


# ---------------------------------------------------------------- which lines have a pair

def _pairs(project: Project) -> dict[tuple[str, str, str], Pair]:
    """The pairs by raw entry, method and liquid, with the entries as the release calls them."""
    here = _curated_entries(project)
    found: dict[tuple[str, str, str], Pair] = {}
    for row in project.listed(PAIRS):
        ends = [here.get(row[name]) for name in ("raw_entry_id", "cooked_entry_id")]
        if all(ends):
            found[ends[0], _in_water(row["method"]), row["liquid"]] = {**row, "raw_entry_id": ends[0], "cooked_entry_id": ends[1]}
    return found


def _curated_entries(project: Project) -> dict[str, str]:
    """The entry of the release that each curated entry is, where the tables have the food."""
    names = project.table.split(",")
    tables = project.tables if CURATED in names else Tables(
        project.root, [*names, CURATED], project.listed("mappings/same_foods.csv"), set())
    return {member.own_id: entry_id for entry_id, members in tables.members.items() if members[0].table in names
            for member in members if member.table == CURATED}


def _in_water(method: str) -> str:
    return "boil" if method == "simmer" else method


def _step(row: dict[str, str]) -> Step | None:
    """The whole chain when it is one step, or a draining that dry steps follow."""
    if row["cook_reason"] == ALREADY_COOKED:
        return None
    absorbed = row["cook_reason"] == ABSORBED
    first, *more = row["chain"].split(" > ")
    if not more:
        return Step(_in_water(row["method"]), row["liquid"], False, absorbed)
    method, _, liquid = first.partition(":")
    return Step(_in_water(method), "drained", True, absorbed) if liquid == "drained" and set(more) <= DRY else None


def _is_compared(component: str, step: Step) -> bool:
    if component == "WATER" or (step.later and component not in MINERALS):
        return False
    return not (step.absorbed and component in OF_WATER)


# ---------------------------------------------------------------- the two routes

def _retention(line: Line, component: str, kitchen: Kitchen) -> Factor:
    kept = kitchen.retentions.get((line.line_id, component))
    return (kept.value, kept.low, kept.high) if kept else (1.0, 1.0, 1.0)


def _yield(line: Line, pair: Pair, step: Step, values: dict, kitchen: Kitchen) -> tuple[str, Factor]:
    """The yield of the step: the line's own, or of the solids, which cooking keeps but for what poured-off water dissolves."""
    own = kitchen.yields[line.line_id]
    if not (step.later or step.absorbed):
        return own.input_id.removeprefix("yield:"), (own.value, own.low, own.high)
    keys = [values.get((pair[name], "WATER")) for name in ("raw_entry_id", "cooked_entry_id")]
    if None in keys:
        return "solids", (math.nan,) * 3
    raw, ready = (100 - number(kitchen.tables["values"][key]["value"]) for key in keys)
    ratio = raw / ready if ready > 0 else math.nan
    return "solids", (ratio, ratio if step.absorbed else SOLIDS_LEFT * ratio, ratio)


def _way(key: str, factor: Factor, kitchen: Kitchen, sampled: Callable[[str], Sample]) -> Way:
    """A value times a factor; the mean of n samples is known sqrt(n) times as well as one of them."""
    row = kitchen.tables["values"][key]
    value, count = number(row["value"]), number(row["n"])
    error = sampled(key).uncertainty / math.sqrt(count if count > 1 else 1.0)
    amount, mean = value * factor[0], error * factor[0]
    low = max(0.0, amount - math.hypot(value * (factor[0] - factor[1]), Z90 * mean))
    high = amount + math.hypot(value * (factor[2] - factor[0]), Z90 * mean)
    return Way(value, error, amount, low, high, math.hypot(value * (factor[2] - factor[1]) / (2 * Z90), mean))


def _compared_route(line: Line, component: str, unit: str, pair: Pair, made: tuple[str, Factor], ways: tuple[Way, Way], kitchen: Kitchen,
                    ledger: Ledger) -> Route:
    first, second = ways
    yield_id, factor = made
    distance, middle = abs(first.amount - second.amount), (first.amount + second.amount) / 2
    beyond = distance > Z90 * first.uncertainty * (1 + EQUAL)
    added = math.sqrt(max(0.0, (distance / Z90) ** 2 - first.uncertainty ** 2)) if beyond else 0.0
    disjoint = first.low > second.high or second.low > first.high
    kept = kitchen.retentions.get((line.line_id, component))
    retention_id = kept.input_id.split(":")[1] if kept else ""
    input_id = ":".join(("routes", pair["raw_entry_id"], pair["cooked_entry_id"], yield_id, retention_id, component)) if added > 0 else ""
    row = kitchen.tables["two_routes"].get(f"{line.line_id} {component}")
    if row is not None:
        numbers = {
            "raw_value": first.value, "raw_error": first.error, "by_retention": first.amount, "by_retention_low": first.low,
            "by_retention_high": first.high, "cooked_value": second.value, "cooked_error": second.error, "yield_fraction": factor[0],
            "yield_low": factor[1], "yield_high": factor[2], "by_cooked": second.amount, "by_cooked_low": second.low,
            "by_cooked_high": second.high, "relative_difference": distance / middle if middle > 0 else 0.0, "added_uncertainty": added}
        texts = {
            "unit": unit, "raw_entry_id": pair["raw_entry_id"], "cooked_entry_id": pair["cooked_entry_id"], "retention_id": retention_id,
            "yield_id": yield_id, "agreement": "apart" if disjoint else "widened" if beyond else "within", "routes_input": input_id,
            "source_id": pair["source_id"], "source_row": pair["source_row"]}
        _compare(row, place(CAUSE, "two_routes", f"{line.line_id} {component}"), numbers, texts, ledger)
    return Route(input_id, first.amount, added, unit, pair)


def _compare(row: dict[str, str], where: tuple[str, str, str], numbers: dict[str, float], texts: dict[str, str], ledger: Ledger) -> None:
    # differences of near numbers keep the rounding of their terms
    size = max(numbers["by_retention"], numbers["by_cooked"])
    for column, value in numbers.items():
        scale = 1.0 if column == "relative_difference" else size
        ledger.number(where, column, row[column], value, f"{PAIRS} and {path_of('values')}", scale=scale)
    for column, text in texts.items():
        ledger.same(where, column, row[column], text, f"{PAIRS} and {path_of('cooked')}")
