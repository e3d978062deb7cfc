"""Second computation of phosphorus by kind and to protein, from the recomputed amounts of the lines.

The absorbed fraction of a kind is one input, shared by all lines of that kind: its middle and spread are those of the range in
``reference/phosphorus_kinds.csv``. The ratio's sensitivity to an input is (dP - ratio x dProtein) / protein (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

import math
from collections import defaultdict
from typing import NamedTuple

from pipeline.verify_amounts import Amount
from pipeline.verify_figures import Figure, Figures, effects_of
from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_mass import Z90, interval
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project
from pipeline.verify_words import Names

FILE = "reference/phosphorus_kinds.csv"
CAUSE = "phosphorus"
ORDER = ("plant", "animal", "additive")
ALL, NOT_TOLD = "all", "not-told"
WORSE = ("ready", "check", "withheld")


class Part(NamedTuple):
    """Phosphorus of one kind in a recipe: what it is, what is absorbed, the effect of each input on both, and the lines."""

    eaten: float
    absorbed: float
    by_eaten: dict[str, float]
    by_absorbed: dict[str, float]
    lines: set[int]


def compare(figures: Figures, amounts: list[Amount], uncertainties: dict[str, float], tables: dict[str, Rows], project: Project,
            ledger: Ledger) -> None:
    """Computes both tables again and compares them."""
    rows = project.listed(FILE)
    ranges = {row["food"]: row for row in rows if row["scope"] == "kind"}
    kinds = _Kinds(rows)
    by_variant: dict[tuple[str, str], list[Amount]] = defaultdict(list)
    for one in amounts:
        if one.component in ("P", "PROCNT") and not math.isnan(one.amount):
            by_variant[one.line.variant].append(one)
    expected, ratios = {}, {}
    for row in tables["variants"].values():
        variant = (row["recipe_id"], row["variant_id"])
        mine = by_variant[variant]
        parts = _parts([one for one in mine if one.component == "P"], kinds, ranges, uncertainties, tables, project)
        for basis, size in (("recipe", 1.0), ("portion", number(row["portions"]))):
            for kind, part in parts.items():
                expected[" ".join((*variant, basis, kind))] = (part, size, variant, basis, kind)
        ratios[" ".join(variant)] = (variant, [effects_of([one for one in mine if one.component == name], uncertainties) for name in ("P", "PROCNT")])
    _compare_kinds(tables, expected, figures, ranges, ledger)
    _compare_ratios(tables, ratios, figures, ledger)


class _Kinds:
    """The kind of phosphorus of a line, by the words of its text and entry and by its entry's class."""

    def __init__(self, rows: list[dict[str, str]]):
        self._foods = {row["food"]: row["kind"] for row in rows if row["scope"] == "words"}
        self._classes = {row["food"]: row["kind"] for row in rows if row["scope"] == "class"}
        self._known = {row["food"] for row in rows if row["scope"] == "kind"}
        self._names = Names(self._foods)

    def of(self, text: str, entry_name: str, group: str) -> str:
        by_name = {self._foods[food] for food in self._names.named(entry_name)}
        stated = self._one(by_name or {self._classes.get(group, NOT_TOLD)})
        added = {kind for kind in (self._foods[food] for food in self._names.named(text)) if "additive" in kind}
        if not added:
            return stated
        said = self._one(added)
        return said if stated in said else self._one({stated, said})

    def _one(self, told: set[str]) -> str:
        """The kind that holds them all, as far as there is one."""
        parts = {part for kind in told for part in kind.split("-or-")}
        joined = "-or-".join(sorted(parts, key=(*ORDER, NOT_TOLD).index))
        return joined if joined in self._known else NOT_TOLD


def _parts(amounts, kinds: _Kinds, ranges, uncertainties, tables, project) -> dict[str, Part]:
    grouped: dict[str, list[Amount]] = defaultdict(list)
    for one in amounts:
        line = tables["lines"][one.line.line_id]
        entry = project.tables.entry(line["entry_id"]) or {}
        grouped[kinds.of(line["text"], line["entry_name"], entry.get("cooking_class", ""))].append(one)
    found = {kind: _part(kind, group, ranges[kind], uncertainties, tables) for kind, group in grouped.items()}
    whole = Part(0.0, 0.0, defaultdict(float), defaultdict(float), set())
    for part in found.values():
        for mine, its in ((whole.by_eaten, part.by_eaten), (whole.by_absorbed, part.by_absorbed)):
            for name, effect in its.items():
                mine[name] += effect
        whole = whole._replace(eaten=whole.eaten + part.eaten, absorbed=whole.absorbed + part.absorbed, lines=whole.lines | part.lines)
    return {**found, ALL: whole}


def _part(kind: str, group: list[Amount], row: dict[str, str], uncertainties, tables) -> Part:
    low, high = number(row["absorbed_low"]), number(row["absorbed_high"])
    middle, spread = (low + high) / 2, (high - low) / 2 / Z90
    eaten = math.fsum(one.amount for one in group)
    by_eaten = effects_of(group, uncertainties)
    by_absorbed = {name: middle * effect for name, effect in by_eaten.items()}
    by_absorbed[f"absorption:{kind}"] = eaten * spread
    return Part(eaten, middle * eaten, by_eaten, by_absorbed, {int(tables["lines"][one.line.line_id]["line_no"]) for one in group})


def _spread(effects) -> float:
    return math.sqrt(math.fsum(effect ** 2 for effect in effects))


def _compare_kinds(tables: dict[str, Rows], expected: dict, figures: Figures, ranges: dict, ledger: Ledger) -> None:
    written = tables["phosphorus_kinds"]
    ledger.keys(CAUSE, path_of("phosphorus_kinds"), written, expected, f"{path_of('lines')} and {FILE}")
    for key in sorted(written.keys() & expected.keys()):
        ledger.counts["phosphorus kinds"] += 1
        part, size, variant, basis, kind = expected[key]
        row, where = written[key], place(CAUSE, "phosphorus_kinds", key)
        figure = figures[(*variant, "P", "mg", basis)]
        known = figure.status != "withheld"
        numbers = [(part.eaten, _spread(part.by_eaten.values())), (part.absorbed, _spread(part.by_absorbed.values()))]
        for (value, spread), names in zip(numbers, (("phosphorus_mg", "low_mg", "high_mg"), ("absorbed_mg", "absorbed_low_mg", "absorbed_high_mg"))):
            for name, told in zip(names, (value, *interval(value, spread))):
                ledger.number(where, name, row[name], told / size if known else math.nan, path_of("contributions"), scale=1e-6)
        for end in ("low", "high"):
            told = number(ranges[kind][f"absorbed_{end}"]) if kind in ranges else math.nan
            ledger.number(where, f"absorption_{end}_fraction", row[f"absorption_{end}_fraction"], told, FILE)
        ledger.same(where, "lines", row["lines"], ", ".join(map(str, sorted(part.lines))), path_of("lines"))
        ledger.same(where, "status", row["status"], figure.status, path_of("figures"))
        ledger.same(where, "reason", row["reason"], _reason(tables, variant, "P", basis), path_of("figures"))
        ledger.same(where, "source_id", row["source_id"], ranges.get(kind, ranges[NOT_TOLD])["source_id"], FILE)


def _compare_ratios(tables: dict[str, Rows], expected: dict, figures: Figures, ledger: Ledger) -> None:
    written = tables["phosphorus_to_protein"]
    ledger.keys(CAUSE, path_of("phosphorus_to_protein"), written, expected, path_of("variants"))
    for key in sorted(written.keys() & expected.keys()):
        ledger.counts["phosphorus to protein"] += 1
        variant, (by_phosphorus, by_protein) = expected[key]
        row, where = written[key], place(CAUSE, "phosphorus_to_protein", key)
        phosphorus, protein = (figures[(*variant, name, unit, "recipe")] for name, unit in (("P", "mg"), ("PROCNT", "g")))
        status = max(phosphorus.status, protein.status, key=WORSE.index)
        reason = "; ".join(dict.fromkeys(filter(None, (_reason(tables, variant, name, "recipe") for name in ("P", "PROCNT")))))
        ends = _ratio(phosphorus, protein, by_phosphorus, by_protein)
        if math.isnan(ends[0]):
            status, reason = "withheld", reason or "there is no protein to compare with"
        for name, told in zip(("mg_per_g", "low_mg_per_g", "high_mg_per_g"), ends, strict=True):
            ledger.number(where, name, row[name], told, path_of("contributions"), scale=1e-6)
        ledger.same(where, "status", row["status"], status, path_of("figures"))
        ledger.same(where, "reason", row["reason"], reason, path_of("figures"))


def _ratio(phosphorus: Figure, protein: Figure, by_phosphorus: dict, by_protein: dict) -> tuple[float, float, float]:
    """The ratio with its 90 % interval; unknown where a part is withheld or there is no protein."""
    if "withheld" in (phosphorus.status, protein.status) or not protein.value > 0:
        return math.nan, math.nan, math.nan
    ratio = phosphorus.value / protein.value
    effects = [(by_phosphorus.get(name, 0.0) - ratio * by_protein.get(name, 0.0)) / protein.value for name in by_phosphorus.keys() | by_protein.keys()]
    return ratio, *interval(ratio, _spread(effects))


def _reason(tables: dict[str, Rows], variant: tuple[str, str], component: str, basis: str) -> str:
    """What figures.csv says of a figure; its status was compared there."""
    return tables["figures"].get("/".join((*variant, component, basis)), {}).get("reason", "")
