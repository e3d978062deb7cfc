"""Second computation of contributions and of every uncertain input behind them.

A contribution is edible_g x value_per_100g / 100 x retention_fraction. Water is a balance:
what a food gains or loses beyond its own water is water, so its amount is
edible_g x (value_per_100g / 100 + yield - 1), and never below 0.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from pipeline.verify_cooking import Line
from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_mass import Input, interval
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project

WATER, LEAVES_TOO = "WATER", ("ALC", "FAT")
# A billionth of a food's water is rounding.
NO_WATER = 1e-9
# The group's spread counts as so many samples beside a food's own (see the head of stages/total_inputs.py).
AS_SAMPLES = 2
RANGED = ("trace", "below-detection")
# A value of another food or an estimate is at least this much wider than its group (common practice, no source).
DOUBTFUL, AT_LEAST = ("imputed", "borrowed"), 1.5
CANDIDATES, POTASH = "potash-candidates", "spread of the other candidates"


class Amount(NamedTuple):
    """What one line adds to one component: ``amount`` (NaN when the table has no value) and
    its derivatives by the inputs that are no mass, as {input_id: derivative}."""

    line: Line
    component: str
    amount: float
    slopes: dict[str, float]


class Leaf(NamedTuple):
    """One expected row of evidence/inputs.csv; an empty source is not compared."""

    kind: str
    value: float
    low: float
    high: float
    uncertainty: float
    unit: str
    source_id: str
    source_row: str
    basis: str
    rests_on: str


class Sample(NamedTuple):
    """The spread of one sample of a food in one component, with its 90 % interval and what it rests on."""

    uncertainty: float
    low: float
    high: float
    basis: str
    rests_on: str


class Route(NamedTuple):
    """What the cooked entry of a line's food adds to the uncertainty of a component, per 100 g raw; "" where nothing."""

    input_id: str
    value: float
    uncertainty: float
    unit: str
    pair: dict[str, str]


class Kitchen(NamedTuple):
    """Everything that the amounts rest on, recomputed or from the sources."""

    tables: dict[str, Rows]
    project: Project
    yields: dict[str, Input]
    retentions: dict[tuple[str, str], Input]
    units: dict[str, str]
    routes: dict[tuple[str, str], Route]


def units_of(project: Project) -> dict[str, str]:
    """The components that are summed, with their units."""
    return {row["component"]: row["unit"] for row in project.reference("components").values() if row["component"] != "ENERC"}


# ---------------------------------------------------------------- contributions

def amounts(lines: list[Line], kitchen: Kitchen, ledger: Ledger) -> list[Amount]:
    """One amount per counted line and component, compared with evidence/contributions.csv."""
    values = {(row["entry_id"], row["component"]): row for row in kitchen.tables["values"].values() if row["component"] != "ENERC"}
    written = kitchen.tables["contributions"]
    expected = [f"{line.line_id} {component} {unit}" for line in lines for component, unit in kitchen.units.items()]
    ledger.keys("contributions", path_of("contributions"), written, expected, path_of("lines"))
    found = []
    for line in lines:
        for component, unit in kitchen.units.items():
            ledger.counts["contributions"] += 1
            value = values.get((line.entry_id, component))
            known = number(value["value"]) if value else math.nan
            found.append(_amount(line, component, known, kitchen))
            row = written.get(f"{line.line_id} {component} {unit}")
            if row is not None:
                _compare(row, found[-1], known, value, unit, kitchen, ledger)
    return found


def _amount(line: Line, component: str, value: float, kitchen: Kitchen) -> Amount:
    edible = line.mass.edible_g
    own = _composition_id(line.entry_id, component, kitchen)
    other = f"match:{line.line_id}:{component}"
    if component == WATER:
        cooked = kitchen.yields[line.line_id]
        if math.isnan(value) or value <= 0:
            return Amount(line, component, edible * value / 100, {})
        amount = edible * (value / 100 + cooked.value - 1 + _lost_beside_water(line, kitchen) / 100)
        if amount <= NO_WATER * edible * value / 100:
            return Amount(line, component, 0.0, {})
        return Amount(line, component, amount, {own: edible / 100, other: edible / 100, cooked.input_id: edible})
    kept, route = kitchen.retentions.get((line.line_id, component)), kitchen.routes.get((line.line_id, component))
    fraction = kept.value if kept else 1.0
    slopes = {own: edible / 100 * fraction, other: edible / 100 * fraction}
    if route and route.input_id:
        slopes[route.input_id] = edible / 100
    if kept:
        slopes[kept.input_id] = edible * value / 100
    return Amount(line, component, edible * value / 100 * fraction, slopes)


def _lost_beside_water(line: Line, kitchen: Kitchen) -> float:
    """Grams of alcohol and fat per 100 g that cooking took: what the dish lost beside water."""
    lost = 0.0
    for component in LEAVES_TOO:
        kept = kitchen.retentions.get((line.line_id, component))
        held = number(kitchen.tables["values"].get(f"{line.entry_id} {component} g", {}).get("value", ""))
        lost += held * (1 - kept.value) if kept and not math.isnan(held) else 0.0
    return lost


def _composition_id(entry_id: str, component: str, kitchen: Kitchen) -> str:
    return f"composition:{kitchen.project.tables.table_of(entry_id)}:{entry_id}:{component}"


def _compare(row: dict, found: Amount, value: float, source: dict | None, unit: str, kitchen: Kitchen, ledger: Ledger) -> None:
    line, component = found.line, found.component
    where = place("contributions", "contributions", f"{line.line_id} {component} {unit}")
    entry = f"{path_of('values')} {line.entry_id} {component}"
    kept = kitchen.retentions.get((line.line_id, component))
    factor, factor_id = (kept.value, kept.input_id) if kept else (1.0, "")
    if component == WATER:
        cooked = kitchen.yields[line.line_id]
        factor_id = cooked.input_id
        factor = 1 + ((cooked.value - 1) * 100 + _lost_beside_water(line, kitchen)) / value if value > 0 else 1.0
        factor = factor if factor > NO_WATER else 0.0
    ledger.number(where, "edible_g", row["edible_g"], line.mass.edible_g, f"{path_of('weighed')} {line.line_id}")
    ledger.number(where, "value_per_100g", row["value_per_100g"], value, entry)
    ledger.same(where, "value_type", row["value_type"], source["value_type"] if source else "missing", entry)
    # a factor of water is a small difference of large terms
    ledger.number(where, "retention_fraction", row["retention_fraction"], factor, factor_id, scale=100.0)
    ledger.number(where, "amount", row["amount"], found.amount, "edible_g x value_per_100g / 100 x retention_fraction",
                  scale=line.mass.edible_g)
    for column, text in (("recipe_id", line.variant[0]), ("variant_id", line.variant[1]), ("line_no", line.line_id.rpartition("/")[2]),
                         ("retention_input", factor_id)):
        ledger.same(where, column, row[column], text, path_of("lines"))
    own = "" if math.isnan(value) else _composition_id(line.entry_id, component, kitchen)
    ledger.same(where, "composition_input", row["composition_input"], own, entry)
    other = f"match:{line.line_id}:{component}"
    ledger.same(where, "match_input", row["match_input"], other if other in kitchen.tables["inputs"] else "", path_of("inputs"))


# ---------------------------------------------------------------- inputs

def inputs(lines: list[Line], kitchen: Kitchen, ledger: Ledger) -> dict[str, float]:
    """The standard uncertainty of every input, recomputed and compared with evidence/inputs.csv."""
    leaves: dict[str, Leaf] = {}
    for line in lines:
        _mass_leaves(line, kitchen, leaves)
        cooked = kitchen.yields[line.line_id]
        if cooked.input_id:
            row_id = cooked.input_id.removeprefix("yield:")
            first = kitchen.project.reference("yields").get(_first(row_id))
            leaves[cooked.input_id] = _ranged(cooked, "yield", "1", first, row_id, f"{path_of('cooked')} {line.line_id}")
        for component in kitchen.units:
            kept = kitchen.retentions.get((line.line_id, component))
            if kept:
                codes = kept.input_id.split(":")[1]
                first = kitchen.project.reference("retention").get(f"{_first(codes)}/{component}")
                leaves[kept.input_id] = _ranged(kept, "retention", "1", first, codes, f"{path_of('retentions')} {line.line_id} {component}")
    _composition_leaves(lines, kitchen, leaves)
    _match_leaves(lines, kitchen, leaves)
    _route_leaves(kitchen, leaves)
    _finished_leaves(kitchen, leaves)
    written = kitchen.tables["inputs"]
    ledger.keys("inputs", path_of("inputs"), written, leaves, "the evidence before it")
    for input_id, leaf in leaves.items():
        ledger.counts["inputs"] += 1
        if input_id in written:
            _compare_leaf(written[input_id], input_id, leaf, ledger)
    return {input_id: leaf.uncertainty for input_id, leaf in leaves.items()}


def _first(joined: str) -> str:
    """The row of the first factor of a chain ("a@18min+b" -> "a"): its source stands for the chain."""
    return joined.split("|")[0].split("+")[0].split("@")[0]


def _compare_leaf(row: dict, input_id: str, leaf: Leaf, ledger: Ledger) -> None:
    where = place("inputs", "inputs", input_id)
    for column, expected in (("value", leaf.value), ("low", leaf.low), ("high", leaf.high), ("standard_uncertainty", leaf.uncertainty)):
        ledger.number(where, column, row[column], expected, leaf.rests_on, scale=leaf.value if column == "standard_uncertainty" else 0.0)
    for column, expected in (("kind", leaf.kind), ("unit", leaf.unit), ("source_id", leaf.source_id), ("source_row", leaf.source_row),
                             ("basis", leaf.basis)):
        if expected or column == "unit":
            ledger.same(where, column, row[column], expected, leaf.rests_on)


def _ranged(one: Input, kind: str, unit: str, source: dict | None, source_row: str, rests_on: str) -> Leaf:
    own, width = (source["source_id"], source.get("spread_source_id", "")) if source else ("", "")
    basis = f"90 % interval, its width from {width}" if width not in ("", own) else "90 % interval"
    return Leaf(kind, one.value, one.low, one.high, one.uncertainty, unit, own, source_row, basis, rests_on)


def _mass_leaves(line: Line, kitchen: Kitchen, leaves: dict[str, Leaf]) -> None:
    row = kitchen.tables["weighed"][line.line_id]
    unit = {"quantity": "1", "measure": row["measure_unit"], "density": "g/ml", "edible": "1"}
    row_id = {"quantity": line.line_id, "measure": row["measure_id"], "density": row["density_id"], "edible": row["edible_id"]}
    file = {"measure": "measures", "density": "densities", "edible": "edible_portions"}
    for one, kind in zip(line.mass.inputs, line.mass.kinds, strict=True):
        source = kitchen.project.reference(file[kind]).get(row_id[kind].split("+")[0]) if kind in file else None
        if row_id[kind].startswith("rule:"):
            source = kitchen.project.reference("amount_rules").get(row_id[kind][5:])
        leaves[one.input_id] = _ranged(one, kind, unit[kind], source, row_id[kind], f"{path_of('weighed')} {line.line_id}")


def _composition_leaves(lines: list[Line], kitchen: Kitchen, leaves: dict[str, Leaf]) -> None:
    used = {line.entry_id for line in lines}
    sampled = samples(kitchen)
    for key, row in kitchen.tables["values"].items():
        if row["entry_id"] not in used or row["component"] not in kitchen.units or row["value"] == "":
            continue
        one = sampled(key)
        leaves[_composition_id(row["entry_id"], row["component"], kitchen)] = Leaf(
            "composition", number(row["value"]), one.low, one.high, one.uncertainty, f"{row['unit']}/100 g", row["source_id"],
            row["source_row"], one.basis, one.rests_on)


def samples(kitchen: Kitchen) -> Callable[[str], Sample]:
    """A function that gives the spread of one sample of the food behind a row of evidence/values.csv: the cook buys
    one, not the mean of all."""
    spreads = kitchen.project.reference("composition_spread")
    widest = max((number(row["coefficient_of_variation"]) for row in spreads.values()
                  if row["food_group"] == "" and row["cooking_class"] == ""), default=math.nan)
    apart = _farthest(kitchen.tables.get("disagreements", {}))

    def sampled(key: str) -> Sample:
        row = kitchen.tables["values"][key]
        value, rests_on = number(row["value"]), f"{path_of('values')} {key}"
        if row["value_type"] in RANGED:  # anywhere between nothing and twice the middle (JCGM 100:2008, 4.3.7)
            uncertainty, basis = value / math.sqrt(3), "even over its range"
            low, high = 0.1 * value, 1.9 * value
        else:
            uncertainty, basis = _spread(row, value, spreads, widest, kitchen)
            low, high = interval(value, uncertainty)
            rests_on += f" and reference/composition_spread.csv {row['component']}"
        if key in apart:
            half, other = apart[key]
            uncertainty = math.hypot(uncertainty, half)
            low, high = interval(value, uncertainty)
            basis += f", and half the difference from {other}"
            rests_on += f" and {path_of('disagreements')}"
        return Sample(uncertainty, low, high, basis, rests_on)

    return sampled


def _spread(row: dict, value: float, spreads: Rows, widest: float, kitchen: Kitchen) -> tuple[float, str]:
    """Standard uncertainty, and what it rests on."""
    entry = kitchen.tables["entries"].get(row["entry_id"], {})
    group, kind = entry.get("food_group", ""), entry.get("cooking_class", "")
    ways = (("spread of the substance", f"{row['component']}//{kind}" if kind else ""),
            ("spread of the food group", f"{row['component']}/{group}/" if group else ""), ("spread of the component", f"{row['component']}//"))
    basis, found = next(((words, spreads[key]) for words, key in ways if key in spreads), ("spread of the component", None))
    of_group = value * (number(found["coefficient_of_variation"]) if found else widest)
    count, error = number(row["n"]), number(row["standard_error"])
    of_samples = math.nan
    if count > 1 and error > 0:
        squares = (count - 1) * count * error * error + AS_SAMPLES * of_group * of_group
        of_samples = math.sqrt(squares / (count - 1 + AS_SAMPLES))
    doubtful = row["value_type"] in DOUBTFUL
    if of_samples >= (AT_LEAST * of_group if doubtful else 0.0):
        return of_samples, f"standard error x sqrt(n), and as {AS_SAMPLES} samples more the {basis}"
    return (AT_LEAST * of_group, f"{AT_LEAST} x the {basis}") if doubtful else (of_group, basis)


def _farthest(disagreements: Rows) -> dict[str, tuple[float, str]]:
    """By value row: half its distance from the farthest other value of the same food, and whose that is."""
    found: dict[str, tuple[float, str]] = {}
    for row in sorted(disagreements.values(), key=lambda one: (one["table_b"], one["entry_b"])):
        key = f"{row['entry_id']} {row['component']} {row['unit']}"
        half = abs(number(row["value_a"]) - number(row["value_b"])) / 2
        if key not in found or half > found[key][0]:
            found[key] = (half, f"{row['table_b']} {row['entry_b']}")
    return found


def _match_leaves(lines: list[Line], kitchen: Kitchen, leaves: dict[str, Leaf]) -> None:
    """What the other candidates would change: the sum of probability x (their value - the value) squared."""
    values: dict[str, dict[str, float]] = {}
    for row in kitchen.tables["values"].values():
        if row["value"] and row["component"] != "ENERC":
            values.setdefault(row["entry_id"], {})[row["component"]] = number(row["value"])
    candidates: dict[str, list[tuple[float, str]]] = {}
    for row in kitchen.tables["candidates"].values():
        candidates.setdefault(row["line_id"], []).append((number(row["probability"]), row["entry_id"]))
    for line in lines:
        own = values.get(line.entry_id, {})
        others = [(chance, values.get(entry_id, {})) for chance, entry_id in candidates.get(line.line_id, ())
                  if entry_id != line.entry_id and chance > 0]
        for component, unit in kitchen.units.items():
            if component not in own:
                continue
            value = own[component]
            square = math.fsum(chance * (other[component] - value) ** 2 for chance, other in others if component in other)
            if square <= 0:
                continue
            low, high = interval(value, math.sqrt(square))
            leaves[f"match:{line.line_id}:{component}"] = Leaf(
                "match", value, low, high, math.sqrt(square), f"{unit}/100 g", CANDIDATES, line.line_id, POTASH,
                f"{path_of('candidates')} {line.line_id}")


def _route_leaves(kitchen: Kitchen, leaves: dict[str, Leaf]) -> None:
    for (line_id, component), route in kitchen.routes.items():
        if not route.input_id:
            continue
        low, high = interval(route.value, route.uncertainty)
        leaves[route.input_id] = Leaf(
            "routes", route.value, low, high, route.uncertainty, f"{route.unit}/100 g", route.pair["source_id"], route.pair["source_row"],
            f"as far as the cooked entry {route.pair['cooked_entry_id']}", f"{path_of('two_routes')} {line_id} {component}")


def _finished_leaves(kitchen: Kitchen, leaves: dict[str, Leaf]) -> None:
    half = kitchen.project.factor("rules", "finished_mass_relative", "value")
    for recipe_id, row in kitchen.tables["recipes"].items():
        if row["finished_mass_g"]:
            mass = number(row["finished_mass_g"])
            one = Input(f"finished-mass:{recipe_id}", mass, mass * (1 - half), mass * (1 + half))
            leaves[one.input_id] = _ranged(one, "finished-mass", "g", None, row["source_file"], f"{path_of('recipes')} {recipe_id}")
