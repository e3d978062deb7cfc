"""Second computation of the figures: sums, first-order intervals by shared inputs, standing, shares.

For each variant the sensitivities of every component (and of the cooked mass) to every
input are added up input by input; that is the correlation of amounts that share an input
(JCGM 100:2008, 5.2). A figure is a linear combination of components, per recipe, per
portion (exact) or per 100 g of cooked mass (a ratio).
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from typing import NamedTuple

from pipeline.verify_amounts import WATER, Amount, Kitchen
from pipeline.verify_cooking import Line
from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_mass import interval
from pipeline.verify_report import Ledger

BASES = ("recipe", "portion", "100g")
# Regulation (EU) No 1169/2011, Annex I: salt = sodium x 2.5 (sodium in mg here).
SALT_PER_SODIUM_MG = 2.5 / 1000
SHARES_KEPT = 6
# Findings of the audit that say nothing against today's figure.
ABOUT_PRINT = ("drift", "unit-slip", "basis-slip", "portion-count", "printed-claim")
# Additives of a food that was analysed with them, or of a line that is left out: nothing against it either.
NOT_IN_FIGURE = ("additive-by-entry", "additive-left-out")
Variant = tuple[str, str]
Effects = dict[str, float]
LINE_NAMED = re.compile(r"\bline (\d+)\b")


class Figure(NamedTuple):
    """A recomputed figure; value, low and high are NaN when it is withheld."""

    value: float
    low: float
    high: float
    coverage: float
    confidence: float
    status: str
    doubted: bool = False  # for a reason that its interval does not cover


Figures = dict[tuple[str, str, str, str, str], Figure]  # by recipe, variant, component, unit, basis


class Whole(NamedTuple):
    """One component, or one figure, of one variant: its total, coverage, confidence, and effect per input."""

    value: float
    coverage: float
    confidence: float
    effects: Effects
    summed: float  # what the lines add up to; the sizes of its terms, where it is a combination
    assumed: float  # of that, from lines whose amount a rule supplied


def combinations(kitchen: Kitchen) -> dict[tuple[str, str], dict[str, float]]:
    """(component, unit) of every figure -> the components it is made of, with factors.

    Energy by Annex XIV of Regulation (EU) No 1169/2011, whose carbohydrate factor is for
    available carbohydrate: by difference, less fibre.
    """
    made = {(name, unit): {name: 1.0} for name, unit in kitchen.units.items()}
    made["NACL", "g"] = {"NA": SALT_PER_SODIUM_MG}
    made["CHOAVLDF", "g"] = {"CHOCDF": 1.0, "FIBTG": -1.0}
    for unit, column in (("kJ", "kj_per_g"), ("kcal", "kcal_per_g")):
        factor = {name: kitchen.project.factor("energy_factors", name, column) for name in ("PROCNT", "FAT", "CHOAVLDF", "FIBTG", "ALC")}
        made["ENERC", unit] = {"PROCNT": factor["PROCNT"], "FAT": factor["FAT"], "CHOCDF": factor["CHOAVLDF"],
                               "FIBTG": factor["FIBTG"] - factor["CHOAVLDF"], "ALC": factor["ALC"]}
    return made


def figures(lines: list[Line], amounts: list[Amount], uncertainties: dict[str, float], kitchen: Kitchen,
            ledger: Ledger) -> dict[tuple[str, str, str, str, str], Figure]:
    """Every figure by (recipe_id, variant_id, component, unit, basis), compared with figures.csv and shares.csv."""
    tables = kitchen.tables
    linear = combinations(kitchen)
    by_variant: dict[Variant, list[Amount]] = defaultdict(list)
    lines_of: dict[Variant, list[Line]] = defaultdict(list)
    for one in amounts:
        by_variant[one.line.variant].append(one)
    for line in lines:
        lines_of[line.variant].append(line)
    waiting = _waiting(tables["lines"])
    floors = {(row["component"], row["unit"]): number(row["floor"]) for row in kitchen.project.listed("reference/wide_floors.csv")}
    audited, guessed = _audited(tables["findings"]), _guessed(tables)
    found, shares = {}, {}
    for row in tables["variants"].values():
        variant = (row["recipe_id"], row["variant_id"])
        wholes = _wholes(by_variant[variant], uncertainties)
        mass_g, mass_effects = _cooked_mass(lines_of[variant], uncertainties, kitchen)
        finished = _finished(variant, kitchen, uncertainties) if lines_of[variant] else None
        if finished:
            wholes[WATER] = _balanced(wholes[WATER], finished, (mass_g, mass_effects))
            mass_g, mass_effects = finished
        totals, sums = {}, {}
        for (component, unit), factors in linear.items():
            parts = [(wholes[name], factor) for name, factor in factors.items() if name in wholes]
            total = _combined(parts, len(factors))
            if total and total.effects:
                shares.update(_shares((*variant, component, unit), total.effects))
            for basis, value, effects in _by_basis(total, number(row["portions"]), mass_g, mass_effects):
                totals[component, unit, basis], sums[component, unit, basis] = total, (value, effects)
        withheld = bool(waiting.get(variant)) or _is_implausible(sums, kitchen)
        for key in sums:
            component, unit, basis = key
            floor = floors.get((component, unit), 0.0) * (number(row["portions"]) if basis == "recipe" else 1.0)
            doubted = (*variant, component) in audited or basis == "portion" and variant in guessed
            found[(*variant, *key)] = _figure(totals[key], *sums[key], withheld, floor, doubted, kitchen)
    _compare_figures(found, waiting, tables, ledger)
    _compare_shares(shares, tables["shares"], ledger)
    return found


class Dishes:
    """The dishes of a release with their lines scaled: second computation of figures that swaps state."""

    def __init__(self, lines: list[Line], amounts: list[Amount], uncertainties: dict[str, float], kitchen: Kitchen):
        self.lines: dict[Variant, list[Line]] = defaultdict(list)
        self.amounts: dict[Variant, list[Amount]] = defaultdict(list)
        for line in lines:
            self.lines[line.variant].append(line)
        for one in amounts:
            self.amounts[one.line.variant].append(one)
        self.uncertainties, self.kitchen, self.linear = uncertainties, kitchen, combinations(kitchen)
        self.audited, self.guessed = _audited(kitchen.tables["findings"]), _guessed(kitchen.tables)

    def figure(self, variant: Variant, left: dict[str, float], wanted: tuple[str, str, str]) -> Figure:
        """A figure (component, unit, basis) of a variant with so many times as much of the lines in ``left`` (by line_id)."""
        component, unit, basis = wanted
        factors = self.linear[component, unit]
        changed = {line.line_id: _times(line, left.get(line.line_id, 1.0)) for line in self.lines[variant] if left.get(line.line_id, 1.0) > 0}
        parts = [one._replace(line=changed[one.line.line_id], amount=one.amount * left.get(one.line.line_id, 1.0),
                              slopes={name: slope * left.get(one.line.line_id, 1.0) for name, slope in one.slopes.items()})
                 for one in self.amounts[variant] if one.component in factors and one.line.line_id in changed]
        wholes = _wholes(parts, self.uncertainties)
        total = _combined([(wholes[name], factor) for name, factor in factors.items() if name in wholes], len(factors))
        mass_g, mass_effects = _cooked_mass(list(changed.values()), self.uncertainties, self.kitchen)
        portions = number(self.kitchen.tables["variants"][" ".join(variant)]["portions"])
        _, value, effects = next(row for row in _by_basis(total, portions, mass_g, mass_effects) if row[0] == basis)
        doubted = (*variant, component) in self.audited or basis == "portion" and variant in self.guessed
        return _figure(total, value, effects, False, 0.0, doubted, self.kitchen)


def _times(line: Line, left: float) -> Line:
    return line._replace(mass=line.mass._replace(mass_g=line.mass.mass_g * left, edible_g=line.mass.edible_g * left), cooked_g=line.cooked_g * left)


# ---------------------------------------------------------------- sums

def _wholes(amounts: list[Amount], uncertainties: dict[str, float]) -> dict[str, Whole]:
    """The components of one variant."""
    grouped: dict[str, list[Amount]] = defaultdict(list)
    for one in amounts:
        grouped[one.component].append(one)
    return {component: _whole(group, uncertainties) for component, group in grouped.items()}


def _whole(group: list[Amount], uncertainties: dict[str, float]) -> Whole:
    known = [one for one in group if not math.isnan(one.amount)]
    value = math.fsum(one.amount for one in known)
    edible_g = math.fsum(one.line.mass.edible_g for one in group)
    coverage = math.fsum(one.line.mass.edible_g for one in known) / edible_g if edible_g > 0 else 0.0
    if value > 0:
        sure = math.fsum(one.amount * one.line.confidence for one in known) / value
    else:
        sure = math.fsum(one.line.mass.edible_g * one.line.confidence for one in group) / edible_g if edible_g > 0 else 0.0
    effects = effects_of(known, uncertainties)
    assumed = math.fsum(one.amount for one in known if one.line.assumed)
    return Whole(value, coverage, sure * coverage, effects, value, assumed)


def effects_of(known: list[Amount], uncertainties: dict[str, float]) -> Effects:
    """How the sum of known amounts changes with one standard uncertainty of each input."""
    effects: Effects = defaultdict(float)
    for one in known:
        _add_mass_effects(effects, one.line, one.amount)
        for input_id, slope in one.slopes.items():
            if input_id in uncertainties:
                effects[input_id] += slope * uncertainties[input_id]
    return effects


def _add_mass_effects(effects: Effects, line: Line, amount: float) -> None:
    """Quantity, measure, density and edible fraction are factors: their relative uncertainty is the amount's."""
    for one in line.mass.inputs:
        if one.value > 0:
            effects[one.input_id] += amount * one.uncertainty / one.value


def _cooked_mass(lines: list[Line], uncertainties: dict[str, float], kitchen: Kitchen) -> tuple[float, Effects]:
    """The cooked mass of a variant as its yields predict it."""
    effects: Effects = defaultdict(float)
    for line in lines:
        _add_mass_effects(effects, line, line.cooked_g)
        cooked = kitchen.yields[line.line_id]
        if cooked.input_id:
            effects[cooked.input_id] += line.mass.edible_g * uncertainties.get(cooked.input_id, cooked.uncertainty)
    return math.fsum(line.cooked_g for line in lines), effects


def _finished(variant: Variant, kitchen: Kitchen, uncertainties: dict[str, float]) -> tuple[float, Effects] | None:
    """The mass as the kitchen weighed it, where it did: of the recipe as written only."""
    written = kitchen.tables["recipes"].get(variant[0], {}).get("finished_mass_g")
    if variant[1] != "base" or not written:
        return None
    name = f"finished-mass:{variant[0]}"
    return number(written), {name: uncertainties[name]}


def _balanced(water: Whole, finished: tuple[float, Effects], predicted: tuple[float, Effects]) -> Whole:
    """What the dish weighs less than predicted is water that left, and the other way round."""
    effects = defaultdict(float, water.effects)
    for sign, (_, changes) in ((1, finished), (-1, predicted)):
        for input_id, effect in changes.items():
            effects[input_id] += sign * effect
    return water._replace(value=water.value + finished[0] - predicted[0], effects=effects)


def _combined(parts: list[tuple[Whole, float]], wanted: int) -> Whole | None:
    if not parts or len(parts) < wanted:
        return None
    effects: Effects = defaultdict(float)
    for whole, factor in parts:
        for input_id, effect in whole.effects.items():
            effects[input_id] += factor * effect
    size = math.fsum(abs(whole.summed * factor) for whole, factor in parts)
    guessed = math.fsum(abs(whole.assumed * factor) for whole, factor in parts)
    return Whole(math.fsum(whole.value * factor for whole, factor in parts), min(whole.coverage for whole, _ in parts),
                 min(whole.confidence for whole, _ in parts), effects, size, guessed)


def _by_basis(total: Whole | None, portions: float, mass_g: float, mass_effects: Effects):
    """(basis, value, effects) of one figure; value None where there is nothing to divide by."""
    if total is None:
        yield from ((basis, None, {}) for basis in BASES)
        return
    yield "recipe", total.value, total.effects
    yield "portion", total.value / portions, {name: effect / portions for name, effect in total.effects.items()}
    if not mass_g > 0:
        yield "100g", None, {}
        return
    ratio = {name: 100 * effect / mass_g for name, effect in total.effects.items()}
    for name, effect in mass_effects.items():
        ratio[name] = ratio.get(name, 0.0) - 100 * total.value * effect / mass_g ** 2
    yield "100g", 100 * total.value / mass_g, ratio


# ---------------------------------------------------------------- standing

def _is_implausible(sums: dict, kitchen: Kitchen) -> bool:
    """Whether a figure of the variant is beyond what any dish can hold: then none of them can be trusted."""
    for (component, unit, basis), (value, _) in sums.items():
        potassium = component == "K" and basis == "portion" and "implausible_potassium_mg_per_portion"
        energy = (component, unit, basis) == ("ENERC", "kJ", "100g") and "implausible_energy_kj_per_100g"
        mass = unit == "g" and component != WATER and basis == "100g" and "implausible_mass_g_per_100g"
        rule_id = potassium or energy or mass
        if rule_id and value is not None and value > _rule(kitchen, rule_id):
            return True
    return False


def _figure(total: Whole | None, value: float | None, effects: Effects, withheld: bool, floor: float, doubted: bool,
            kitchen: Kitchen) -> Figure:
    """One figure with its status by the thresholds of reference/rules.csv; ``withheld`` when its variant is.

    An interval that is narrower than ``floor`` above its figure is not wide; ``doubted`` by the audit or for its portions.
    """
    coverage, confidence = (total.coverage, total.confidence) if total else (0.0, 0.0)
    if withheld or value is None or coverage < _rule(kitchen, "coverage_withheld_below"):
        return Figure(math.nan, math.nan, math.nan, coverage, confidence, "withheld")
    value = max(0.0, value)
    low, high = interval(value, math.sqrt(math.fsum(effect ** 2 for effect in effects.values())))
    doubtful = (coverage < _rule(kitchen, "check_coverage_below") or confidence < _rule(kitchen, "check_confidence_below")
                or value > 0 and (high - value) / value > _rule(kitchen, "check_half_width_above") and high - value > floor
                or doubted or total.assumed > _rule(kitchen, "check_assumed_share_above") * total.summed)
    outside = doubted or confidence < _rule(kitchen, "check_confidence_below")
    return Figure(value, low, high, coverage, confidence, "check" if doubtful else "ready", outside)


def _audited(findings: Rows) -> set[tuple[str, str, str]]:
    """Components of variants on which the audit has a warning that is not about what is in print."""
    return {(row["recipe_id"], row["variant_id"], row["component"]) for row in findings.values()
            if row["component"] and row["severity"] in ("error", "warning") and row["check"] not in (*ABOUT_PRINT, *NOT_IN_FIGURE)}


def _guessed(tables: dict[str, Rows]) -> set[Variant]:
    """Variants whose number of portions was read from a range or from "about"."""
    vague = {row["recipe_id"] for row in tables["problems"].values() if row["code"] in ("portions-uncertain", "portions-several")}
    base = {row["recipe_id"]: row["portions"] for row in tables["variants"].values() if row["variant_id"] == "base"}
    return {(row["recipe_id"], row["variant_id"]) for row in tables["variants"].values()
            if row["recipe_id"] in vague and row["portions"] == base[row["recipe_id"]]}


def _rule(kitchen: Kitchen, rule_id: str) -> float:
    return kitchen.project.factor("rules", rule_id, "value")


def _waiting(lines: Rows) -> dict[Variant, list[str]]:
    """The numbers of the lines that count and are not settled, by variant."""
    found: dict[Variant, list[str]] = defaultdict(list)
    for row in lines.values():
        if row["counted"] == "true" and row["outcome"] != "accepted":
            found[row["recipe_id"], row["variant_id"]].append(row["line_no"])
    return found


def _compare_figures(found: dict, waiting: dict[Variant, list[str]], tables: dict[str, Rows], ledger: Ledger) -> None:
    named = {}
    for recipe_id, variant_id, component, unit, basis in found:
        shown = f"{component}-{unit}" if component == "ENERC" else component
        named[f"{recipe_id}/{variant_id}/{shown}/{basis}"] = (recipe_id, variant_id, component, unit, basis)
    written = tables["figures"]
    ledger.keys("figures", path_of("figures"), written, named, f"{path_of('variants')} and reference/components.csv")
    for figure_id, key in named.items():
        ledger.counts["figures"] += 1
        if figure_id not in written:
            continue
        row, figure, where = written[figure_id], found[key], place("figures", "figures", figure_id)
        for column, text in zip(("recipe_id", "variant_id", "component", "unit", "basis"), key, strict=True):
            ledger.same(where, column, row[column], text, "figure_id")
        for column, expected in (("value", figure.value), ("low", figure.low), ("high", figure.high), ("coverage", figure.coverage),
                                 ("confidence", figure.confidence)):
            ledger.number(where, column, row[column], expected, path_of("contributions"), scale=1e-6)
        ledger.same(where, "status", row["status"], figure.status, "coverage, confidence, interval and unsettled lines")
        quiet = figure.status == "ready" and figure.coverage > 1 - 1e-12
        _compare_reason(where, row, quiet, waiting.get(key[:2], []), ledger)


def _compare_reason(where, row: dict, quiet: bool, waiting: list[str], ledger: Ledger) -> None:
    """A figure that is not ready, or not of the whole dish, says why; a withheld one names the lines it waits for."""
    if (row["reason"] == "") != quiet:
        ledger.differs(*where, "reason", row["reason"], "" if quiet else "a reason", "status and coverage")
    elif waiting:
        named = LINE_NAMED.findall(row["reason"])
        if not named or named[0] != min(waiting, key=int):
            ledger.differs(*where, "reason", row["reason"], f"line {', '.join(sorted(waiting, key=int))}", path_of("lines"))


# ---------------------------------------------------------------- shares

def _shares(key: tuple[str, ...], effects: Effects) -> dict[str, float]:
    """The share of each input in the variance of one total; the largest, and those as large as the last of them."""
    squares = {name: effect ** 2 for name, effect in effects.items() if effect != 0}
    whole = math.fsum(squares.values())
    return {" ".join((*key, name)): square / whole for name, square in squares.items()} if whole > 0 else {}


def _compare_shares(shares: dict[str, float], written: Rows, ledger: Ledger) -> None:
    by_total: dict[str, list[float]] = defaultdict(list)
    for key, share in shares.items():
        by_total[key.rpartition(" ")[0]].append(share)
    rows: dict[str, int] = defaultdict(int)
    for key, row in written.items():
        ledger.counts["shares"] += 1
        total = key.rpartition(" ")[0]
        rows[total] += 1
        where = place("figures", "shares", key)
        if key not in shares:
            if number(row["share"]) != 0:
                ledger.differs(*where, "share", row["share"], "no effect", path_of("contributions"))
            continue
        ledger.number(where, "share", row["share"], shares[key], path_of("contributions"), scale=1e-2)
        largest = sorted(by_total[total], reverse=True)[:SHARES_KEPT]
        if shares[key] < largest[-1] * (1 - 1e-9):
            ledger.differs(*where, "share", row["share"], f"not among the {SHARES_KEPT} largest", path_of("contributions"))
    for total, found in by_total.items():
        if rows[total] < min(SHARES_KEPT, sum(share > 1e-30 for share in found)):
            ledger.differs(*place("figures", "shares", total), "", f"{rows[total]} rows", f"{min(SHARES_KEPT, len(found))} rows",
                           path_of("contributions"))


def compare_withheld(tables: dict[str, Rows], ledger: Ledger) -> None:
    """withheld.csv gathers the withheld figures by recipe, variant, basis and reason."""
    gathered: dict[str, list[str]] = defaultdict(list)
    for row in tables["figures"].values():
        if row["status"] == "withheld":
            gathered[" ".join((row["recipe_id"], row["variant_id"], row["basis"], row["reason"]))].append(row["component"])
    written = tables["withheld"]
    ledger.keys("figures", path_of("withheld"), written, gathered, path_of("figures"))
    for key in written.keys() & gathered.keys():
        where = place("figures", "withheld", key)
        ledger.same(where, "components", written[key]["components"], "; ".join(sorted(set(gathered[key]))), path_of("figures"))
        ledger.same(where, "figures", written[key]["figures"], str(len(gathered[key])), path_of("figures"))
