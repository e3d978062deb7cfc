"""Trace: one figure, down to its source rows and decisions, with the arithmetic at each node.

Every node that shows arithmetic writes it as ``a x b / c = d`` with six significant
digits, so that a reader with a calculator arrives at the same number.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import pandas as pd

from pipeline.problems import InputError, Problem
from pipeline.released import Evidence
from pipeline.stages import total_shares
from pipeline.trace_shared import Shared

NEAREST = 3
WIDEST = 6
SMALLEST_TOLD = 0.0005  # smaller shares are told together, unless every input is asked for
OTHER_CANDIDATES = 2
# Partial sums of a withheld figure are shown to settle it, never to be used.
PARTIAL = "settled lines only, not a figure of the dish"
BASIS_WORDS = {"recipe": "whole recipe", "portion": "portion", "100g": "100 g"}


@dataclass(frozen=True)
class Node:
    """One node of a trace: what it says, and what it rests on."""

    text: str
    children: list[Node] = field(default_factory=list)

    def to_dict(self) -> dict:
        """The node as plain data."""
        return {"text": self.text, "rests_on": [child.to_dict() for child in self.children]}


@dataclass(frozen=True)
class Trace:
    """The tree behind one figure, and the sources that its nodes cite as [1], [2] ..."""

    figure_id: str
    root: Node
    sources: list[dict[str, str]]

    def to_dict(self) -> dict:
        """The trace as plain data, for ``--json``."""
        return {"figure_id": self.figure_id, **self.root.to_dict(), "sources": self.sources}


def find_figure(evidence: Evidence, words: Sequence[str]) -> str:
    """The figure id meant by ``FIGURE_ID`` or by ``RECIPE COMPONENT`` (per portion, base variant).

    A component may be in small letters; ENERC is taken in kJ. Raises :class:`InputError`
    with the nearest ids when there is no such figure.
    """
    figures = evidence.table("figures")
    if len(words) == 1:
        wanted = words[0]
    else:
        component = words[1].upper() if "-" not in words[1] else words[1]
        wanted = f"{words[0]}/base/{'ENERC-kJ' if component == 'ENERC' else component}/portion"
    if evidence.row("figures", figure_id=wanted) is not None:
        return wanted
    raise InputError(Problem(f"figure {wanted}", "is not in this release", _nearest(wanted, figures), "unknown-figure"))


def _nearest(wanted: str, figures: pd.DataFrame) -> str:
    from rapidfuzz import fuzz, process

    recipe = wanted.split("/")[0]
    known = (figures["recipe_id"] == recipe).any()
    pool = figures.loc[figures["recipe_id"] == recipe, "figure_id"] if known else figures["figure_id"]
    near = [found for found, _, _ in process.extract(wanted, pool.tolist(), scorer=fuzz.ratio, limit=NEAREST, score_cutoff=60)]
    if near:
        return f"Nearest: {', '.join(near)}"
    return "figures.csv lists the ids: recipe/variant/component/basis, for example " + figures["figure_id"].iloc[0]


def trace(evidence: Evidence, figure_id: str, explain: bool = False) -> Trace:
    """The tree behind the figure with this id, which has to be in the release.

    With ``explain`` it tells the share of every input in the figure's width, not of the widest alone.
    """
    return _Tracer(Shared(evidence), figure_id, explain).traced()


def traces(evidence: Evidence, figure_ids: Iterable[str]) -> Iterator[Trace]:
    """The trees behind many figures, to be read one below the other; what they share is computed once, and told once.

    The mass, entry and cooking of a line stand under the first figure of its variant alone, and the
    figures of a recipe number their sources together. Otherwise each is as :func:`trace` gives it.
    """
    shared = Shared(evidence, whole=True)
    for figure_id in figure_ids:
        tracer = _Tracer(shared, figure_id)
        tracer.told = shared.told.setdefault(tuple(tracer.variant.values()), set())
        tracer.sources = shared.cited.setdefault(tracer.variant["recipe_id"], [])
        yield tracer.traced()


def number(value: float) -> str:
    """Six significant digits, plain; "unknown" where there is no number."""
    return "unknown" if pd.isna(value) else f"{value:.6g}" if 1e-4 <= abs(value) < 1e6 or value == 0 else f"{value:.6e}"


class _Tracer:
    """Walks the evidence of one figure. Holds what all nodes share: the figure, its variant, the sources cited so far."""

    def __init__(self, shared: Shared, figure_id: str, explain: bool = False):
        self.shared, self.explain = shared, explain
        self.evidence = evidence = shared.evidence
        self.figure = evidence.row("figures", figure_id=figure_id)
        self.variant = {"recipe_id": self.figure["recipe_id"], "variant_id": self.figure["variant_id"]}
        self.withheld = self.figure["status"] == "withheld"
        self.sources: list[dict[str, str]] = []
        self.told: set[int] = set()  # lines whose mass, entry and cooking were shown already
        self.parts = evidence.records("contributions", **self.variant)
        self.measures = shared.measures(self.figure["recipe_id"])
        self.counted = [line for line in evidence.records("lines", **self.variant) if line["counted"]]

    def traced(self) -> Trace:
        terms = self._terms()
        amounts = [self._summed(component) * factor for component, factor in terms]
        children = [self._basis(sum(amounts)), self._balance(), *self._sum(terms, amounts)]
        children += [self._component(component, factor) for component, factor in terms]
        children += [self._unsettled(), self._width()]
        root = Node(self._title(), [child for child in children if child is not None])
        return Trace(self.figure["figure_id"], root, self.sources)

    # ------------------------------------------------------------ the figure

    def _title(self) -> str:
        figure = self.figure
        reason = f" ({figure['reason']})" if figure["reason"] else ""
        amount = "no value" if self.withheld else (
            f"{number(figure['value'])} {figure['unit']} per {BASIS_WORDS[figure['basis']]}, "
            f"90 % interval {number(figure['low'])} to {number(figure['high'])}")
        return (f"{figure['figure_id']}: {amount}; status {figure['status']}{reason}; confidence {figure['confidence']:.2f}, "
                f"coverage {100 * figure['coverage']:.1f} %")

    def _terms(self) -> list[tuple[str, float]]:
        return self.shared.terms.get((self.figure["component"], self.figure["unit"]), [])

    def _summed(self, component: str) -> float:
        total = self._added(component)
        return total + self._gain() if component == "WATER" else total

    def _added(self, component: str) -> float:
        return math.fsum(part["amount"] for part in self.parts if part["component"] == component and part["amount"] == part["amount"])

    def _written(self) -> float | None:
        """The finished weight that the recipe gives; it holds for the recipe as written alone."""
        written = self.evidence.row("recipes", recipe_id=self.variant["recipe_id"])["finished_mass_g"]
        return float(written) if self.variant["variant_id"] == "base" and not pd.isna(written) else None

    def _gain(self) -> float:
        """What the finished weight has beyond the predicted one is water; less than nothing if it boiled away."""
        written = self._written()
        return 0.0 if written is None else written - self._predicted()

    def _predicted(self) -> float:
        return math.fsum(line["cooked_g"] for line in self.counted if line["cooked_g"] == line["cooked_g"])

    def _balance(self) -> Node | None:
        if self.figure["component"] != "WATER" or self.withheld or self._written() is None:
            return None
        lines, written, predicted = self._added("WATER"), self._written(), self._predicted()
        return Node(f"water of the dish: {number(lines)} g + {number(written)} g + (-{number(predicted)}) = "
                    f"{number(lines + written - predicted)} g: its lines, and what the finished weight has beyond the cooked lines")

    def _basis(self, total: float) -> Node | None:
        figure = self.figure
        if self.withheld:
            return Node("no total is formed while the figure is withheld: what follows is its settled part, for settling it")
        unit, whole = figure["unit"], f"{number(total)} {figure['unit']}"
        if figure["basis"] == "recipe":
            return Node(f"whole recipe: the sum of its counted lines, {whole}")
        if figure["basis"] == "portion":
            portions = self.evidence.row("variants", **self.variant)["portions"]
            return Node(f"per portion: {whole} / {number(portions)} portions = {number(total / portions)} {unit}")
        mass, named = self._cooked_mass()
        return Node(f"per 100 g: 100 x {whole} / {number(mass)} g = {number(100 * total / mass)} {unit}; {named}",
                    [] if named.startswith("the finished") else [self._cooked_node(line) for line in self.counted])

    def _cooked_mass(self) -> tuple[float, str]:
        written = self._written()
        if written is not None:
            return written, "the finished weight as written in the recipe"
        return self._predicted(), "the cooked weight, the sum of these lines"

    def _cooked_node(self, line: dict) -> Node:
        cooked = self.evidence.row("cooked", line_id=line["line_id"])
        cited = self._cited([f"yield:{cooked['yield_id']}"])
        named = f" [yield {cooked['yield_id']}]" if cooked["yield_id"] else ""
        return Node(f"line {line['line_no']} \"{line['text']}\": {number(line['edible_g'])} g x {number(cooked['yield_fraction'])} "
                    f"= {number(line['cooked_g'])} g cooked{named}{cited}")

    def _sum(self, terms: list[tuple[str, float]], amounts: list[float]) -> list[Node]:
        if len(terms) < 2 or self.withheld:
            return []
        unit = self.figure["unit"]
        total = sum(amounts)
        shown = " + ".join(f"({number(amount)})" if amount < 0 else number(amount) for amount in amounts)
        note = "; below nothing counts as nothing" if total < 0 else ""
        return [Node(f"{self.figure['component']} of the recipe: {shown} = {number(total)} {unit}{note}")]

    # ------------------------------------------------------------ components and lines

    def _component(self, component: str, factor: float) -> Node:
        mine = sorted((part for part in self.parts if part["component"] == component), key=_largest_first)
        if not mine:
            return Node(f"{component}: no counted line is settled")
        total, unit = self._added(component), mine[0]["unit"]
        known = sum(not pd.isna(part["amount"]) for part in mine)
        scope = f"; {PARTIAL}" if self.withheld else ""
        if self.figure["component"] == component:
            title = f"{component} of the recipe's lines: {number(total)} {unit}, the sum of {known} lines{scope}"
        else:
            title = (f"{component}: {number(total)} {unit} x {number(factor)} {self.figure['unit']}/{unit} = {number(factor * total)} "
                     f"{self.figure['unit']}, from {known} lines{scope}")
        return Node(title, [self._line(part, total) for part in mine])

    def _line(self, part: dict, total: float) -> Node:
        line = self.evidence.row("lines", line_id=part["line_id"])
        unit, amount = part["unit"], part["amount"]
        share = f", {100 * amount / total:.1f} %" if total > 0 and not pd.isna(amount) else ""
        if pd.isna(amount):
            title = f"line {part['line_no']} \"{line['text']}\": unknown, the table has no value for {part['component']}"
            arithmetic = []
        else:
            title = f"line {part['line_no']} \"{line['text']}\": {number(amount)} {unit}{share}"
            note = "; what cooking adds or takes is water" if part["component"] == "WATER" else ""
            arithmetic = [Node(f"{number(part['edible_g'])} g edible x {number(part['value_per_100g'])} {unit} / 100 g x "
                               f"{number(part['retention_fraction'])} kept = {number(amount)} {unit}{note}")]
        value = Node(f"value: {part['value_type']}{self._cited([part['composition_input']])}", self._borrowed(part, line))
        if part["line_no"] in self.told:  # another component of the same figure: the line itself was shown above
            return Node(title, [*arithmetic, value, *self._retention(part)])
        self.told.add(part["line_no"])
        return Node(title, [*arithmetic, self._mass(part), self._entry(part, line), self._cooking(part)])

    def _mass(self, part: dict) -> Node:
        row = self.evidence.row("weighed", line_id=part["line_id"])
        text = f"mass: {number(row['quantity'])} x {number(row['measure_value'])} {row['measure_unit']}"
        if row["density_id"]:
            text += f" x {number(row['density_g_per_ml'])} g/ml"
        text += f" = {number(row['mass_g'])} g as purchased"
        if row["edible_id"]:
            text += f"; {number(row['mass_g'])} g x {number(row['edible_fraction'])} edible = {number(row['edible_g'])} g"
        if row["assumption"]:
            text += f"; assumed: {row['assumption']}"
        ids = [f"quantity:{part['line_id']}", self.measures[part["line_id"]]]
        ids += [f"density:{row['density_id']}"] if row["density_id"] else []
        entry_id = self.evidence.row("lines", line_id=part["line_id"])["entry_id"]
        ids += [f"edible:{row['edible_id']}:{entry_id}"] if row["edible_id"] else []
        return Node(text, self._inputs(ids))

    def _entry(self, part: dict, line: dict) -> Node:
        matched = self.evidence.row("matched", line_id=part["line_id"])
        how = f"by decision {matched['decision_id']}" if matched["decision_id"] else f"match confidence {matched['match_confidence']:.2f}"
        children = self._inputs([part["composition_input"]]) + self._borrowed(part, line) + self._decision(matched["decision_id"])
        others = [row for row in self.evidence.records("candidates", line_id=part["line_id"]) if row["entry_id"] != line["entry_id"]]
        children += [Node(f"not taken: {row['entry_id']} {row['entry_name']}, probability {row['probability']:.3f}")
                     for row in others[:OTHER_CANDIDATES]]
        return Node(f"entry {line['entry_id']} {line['entry_name']} (table {line['table']}), {how}; value type {part['value_type']}", children)

    def _borrowed(self, part: dict, line: dict) -> list[Node]:
        """From which entry of which table a value was borrowed, and why that is the same food."""
        row = self.evidence.row("values", entry_id=line["entry_id"], component=part["component"], unit=part["unit"])
        return [Node(row["derivation"])] if row is not None and row["derivation"].startswith("borrowed from ") else []

    def _cooking(self, part: dict) -> Node:
        row = self.evidence.row("cooked", line_id=part["line_id"])
        words = f"; the words: \"{row['evidence']}\"" if row["evidence"] else "; no words say so"
        text = f"cooking: {row['chain'] or row['method']}{words} (confidence {row['method_confidence']:.2f})"
        return Node(text, self._inputs([part["retention_input"]]) + self._routes(part) + self._decision(row["decision_id"]))

    def _routes(self, part: dict) -> list[Node]:
        """What the cooked entry of the same food says, where the table has one."""
        row = self.evidence.row("two_routes", line_id=part["line_id"], component=part["component"])
        if row is None:
            return []
        unit = row["unit"]
        first, second = (f"{number(row[route])} {unit} ({number(row[route + '_low'])} to {number(row[route + '_high'])})"
                         for route in ("by_retention", "by_cooked"))
        added = "which adds nothing" if row["added_uncertainty"] == 0 else (
            f"which adds a standard uncertainty of {number(row['added_uncertainty'])} {unit}")
        return [Node(f"two routes, per 100 g raw: {first} by retention, used here; {second} from the cooked entry "
                     f"{row['cooked_entry_id']}, {number(row['cooked_value'])} {unit} x {number(row['yield_fraction'])}: {row['agreement']}, "
                     f"{added} {self._source(row['source_id'])}")]

    def _retention(self, part: dict) -> list[Node]:
        return self._inputs([part["retention_input"]]) + self._routes(part)

    # ------------------------------------------------------------ leaves

    def _inputs(self, ids: list[str]) -> list[Node]:
        nodes = []
        for input_id in ids:
            row = self.evidence.row("inputs", input_id=input_id) if input_id else None
            if row is None:
                continue
            unit = "" if row["unit"] == "1" else f" {row['unit']}"
            span = "" if row["low"] == row["high"] else f" ({number(row['low'])} to {number(row['high'])}, {row['basis']})"
            nodes.append(Node(f"{row['kind']} {number(row['value'])}{unit}{span}: {row['source_row']} {self._source(row['source_id'])}"))
        return nodes

    def _cited(self, ids: list[str]) -> str:
        rows = [self.evidence.row("inputs", input_id=input_id) for input_id in ids if input_id]
        return "".join(f", {row['source_row']} {self._source(row['source_id'])}" for row in rows if row is not None)

    def _source(self, source_id: str) -> str:
        """The number of a source in the list at the end, which is made as the tree is."""
        known = [source["source_id"] for source in self.sources]
        if source_id not in known:
            row = self.evidence.row("sources", source_id=source_id)
            cited = {"citation": "not in the release's list of sources", "standing": ""} if row is None else row
            self.sources.append({"source_id": source_id, "citation": str(cited["citation"]), "standing": str(cited["standing"])})
            known.append(source_id)
        return f"[{known.index(source_id) + 1}]"

    def _decision(self, decision_id: str) -> list[Node]:
        row = self.evidence.row("decisions", decision_id=decision_id) if decision_id else None
        if row is None:
            return []
        return [Node(f"decision {decision_id} by {row['decided_by']} on {row['decided_on']}: {row['what']}; {row['reason']}")]

    # ------------------------------------------------------------ what is open, what is uncertain

    def _unsettled(self) -> Node | None:
        waiting = [line for line in self.counted if line["outcome"] != "accepted"]
        if not waiting:
            return None
        return Node("withheld until these lines are settled", [
            Node(f"line {line['line_no']} \"{line['text']}\": {line['reason']}") for line in waiting])

    def _width(self) -> Node | None:
        if self.withheld or self.figure["low"] == self.figure["high"]:
            return None
        shares = self.shared.shares(self.figure)
        told = shares if self.explain else [one for one in shares[:WIDEST] if one["share"] >= SMALLEST_TOLD]
        texts = {line["line_id"]: line["text"] for line in self.counted}
        nodes = [Node(f"{100 * one['share']:.1f} %  {total_shares.in_words(one['source'], texts, self.shared.names)}  [{one['source']}]")
                 for one in told]
        rest = len(shares) - len(told)
        nodes += [Node(f"{100 * (1 - sum(one['share'] for one in told)):.1f} %  {rest} other inputs")] if rest else []
        return Node("what makes its interval wide (shares of its variance, which add up to 100 %)", nodes) if nodes else None


def _largest_first(part: dict) -> tuple[bool, float, int]:
    """Unknown amounts last."""
    unknown = bool(pd.isna(part["amount"]))
    return unknown, 0.0 if unknown else -part["amount"], part["line_no"]
