"""Trace: one figure, down to its source rows and decisions, with the arithmetic at each node."""

from __future__ import annotations

from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

import pandas as pd

from pipeline import released
from pipeline.problems import InputError, Problem
from pipeline.stages.total_sums import combinations

LINES_SHOWN = 40


@dataclass(frozen=True)
class Node:
    """One node of a trace: what it says, and what it rests on."""

    text: str
    children: list[Node] = field(default_factory=list)

    def to_dict(self) -> dict:
        """The node as plain data, for ``--json``."""
        return {"text": self.text, "rests_on": [child.to_dict() for child in self.children]}


class Evidence:
    """The tables of a release that a trace reads, each loaded once."""

    def __init__(self, release: Path):
        self.release = release
        self._tables: dict[str, pd.DataFrame] = {}

    def __getattr__(self, name: str) -> pd.DataFrame:
        if name not in self._tables:
            self._tables[name] = released.table(self.release, name)
        return self._tables[name]

    def row(self, name: str, **key) -> pd.Series | None:
        """The first row of table ``name`` with these key values, or None."""
        frame = getattr(self, name)
        for column, value in key.items():
            frame = frame[frame[column] == value]
        return None if frame.empty else frame.iloc[0]


def find_figure(evidence: Evidence, words: list[str]) -> str:
    """The figure id meant by ``FIGURE_ID`` or by ``RECIPE COMPONENT`` (per portion, base variant).

    Raises :class:`InputError` with the nearest ids when there is none.
    """
    ids = evidence.figures["figure_id"]
    wanted = words[0] if len(words) == 1 else f"{words[0]}/base/{words[1]}/portion"
    if len(words) == 2 and words[1] == "ENERC":
        wanted = f"{words[0]}/base/ENERC-kJ/portion"
    if (ids == wanted).any():
        return wanted
    near = get_close_matches(wanted, ids.tolist(), n=3, cutoff=0.5)
    raise InputError(Problem(wanted, "is not a figure of this release",
                             f"Nearest: {', '.join(near)}" if near else "See figures.csv for the ids", "unknown-figure"))


def trace(evidence: Evidence, figure_id: str) -> Node:
    """The tree behind one figure."""
    figure = evidence.row("figures", figure_id=figure_id)
    variant = {"recipe_id": figure["recipe_id"], "variant_id": figure["variant_id"]}
    title = f"{figure_id}: {_amount(figure)}; status {figure['status']}" + (f" ({figure['reason']})" if figure["reason"] else "")
    title += f"; confidence {figure['confidence']:.2f}; coverage {figure['coverage']:.3f}"
    children = [_basis(evidence, figure, variant)]
    children += [_component(evidence, figure, variant, name, factor) for name, factor in _terms(evidence, figure)]
    children.append(_unsettled(evidence, variant))
    children.append(_width(evidence, figure, variant))
    return Node(title, [child for child in children if child is not None])


def _number(value: float) -> str:
    return "unknown" if pd.isna(value) else f"{value:.5g}"


def _amount(figure: pd.Series) -> str:
    if figure["status"] == "withheld":
        return "withheld"
    basis = {"recipe": "whole recipe", "portion": "portion", "100g": "100 g"}[figure["basis"]]
    low, high = _number(figure["low"]), _number(figure["high"])
    return f"{_number(figure['value'])} {figure['unit']} per {basis} (90 % interval {low} to {high})"


def _terms(evidence: Evidence, figure: pd.Series) -> list[tuple[str, float]]:
    factors = evidence.factors
    energy = factors[factors["file"] == "energy_factors"]
    wide = energy.pivot(index="row_id", columns="column", values="value").astype(float).rename_axis("component").reset_index()
    listed = evidence.values[["component", "unit"]].drop_duplicates()
    linear = combinations(listed, wide)
    found = linear[(linear["figure"] == figure["component"]) & (linear["unit"] == figure["unit"])]
    return list(zip(found["component"], found["factor"], strict=True))


def _basis(evidence: Evidence, figure: pd.Series, variant: dict) -> Node:
    portions = evidence.row("variants", **variant)["portions"]
    if figure["basis"] == "portion":
        return Node(f"per portion: recipe total / {_number(portions)} portions, as the recipe says")
    if figure["basis"] == "recipe":
        return Node("whole recipe: the sum of its counted lines")
    recipe = evidence.row("recipes", recipe_id=variant["recipe_id"])
    if variant["variant_id"] == "base" and not pd.isna(recipe["finished_mass_g"]):
        return Node(f"per 100 g: 100 x recipe total / {_number(recipe['finished_mass_g'])} g, the finished weight as written")
    lines = _counted(evidence, variant)
    return Node(f"per 100 g: 100 x recipe total / {_number(lines['cooked_g'].sum())} g, the sum of the cooked lines")


def _counted(evidence: Evidence, variant: dict) -> pd.DataFrame:
    lines = evidence.lines
    here = (lines["recipe_id"] == variant["recipe_id"]) & (lines["variant_id"] == variant["variant_id"])
    return lines[here & lines["counted"]]


def _component(evidence: Evidence, figure, variant, component: str, factor: float) -> Node:
    parts = evidence.contributions
    mine = parts[(parts["recipe_id"] == variant["recipe_id"]) & (parts["variant_id"] == variant["variant_id"])
                 & (parts["component"] == component)].sort_values(["amount", "line_no"], ascending=[False, True])
    if mine.empty:
        return Node(f"{component}: no counted line")
    total, unit = mine["amount"].sum(), mine["unit"].iloc[0]
    title = f"{component} of the recipe: {_number(total)} {unit} from {mine['amount'].notna().sum()} lines"
    if figure["component"] != component:
        title = f"{_number(factor)} x {title} = {_number(factor * total)} {figure['unit']}"
    return Node(title, [_line(evidence, part, total) for _, part in mine.head(LINES_SHOWN).iterrows()])


def _line(evidence: Evidence, part: pd.Series, total: float) -> Node:
    line = evidence.row("lines", line_id=part["line_id"])
    share = f", {100 * part['amount'] / total:.1f} %" if total > 0 and not pd.isna(part["amount"]) else ""
    title = f"line {part['line_no']} \"{line['text']}\": {_number(part['amount'])} {part['unit']}{share}"
    arithmetic = (f"= {_number(part['edible_g'])} g edible x {_number(part['value_per_100g'])} {part['unit']}/100 g"
                  f" x {_number(part['retention_fraction'])} kept")
    return Node(title, [Node(arithmetic), _mass(evidence, part), _composition(evidence, part, line), _cooking(evidence, part)])


def _mass(evidence: Evidence, part: pd.Series) -> Node:
    row = evidence.row("weighed", line_id=part["line_id"])
    text = f"mass: {_number(row['quantity'])} x {_number(row['measure_value'])} {row['measure_unit']} [{row['measure_id']}]"
    if row["density_id"]:
        text += f" x {_number(row['density_g_per_ml'])} g/ml [{row['density_id']}]"
    text += f" = {_number(row['mass_g'])} g ({_number(row['mass_low_g'])} to {_number(row['mass_high_g'])})"
    if row["edible_id"]:
        text += f"; x {_number(row['edible_fraction'])} edible [{row['edible_id']}]"
    if row["assumption"]:
        text += f"; assumed: {row['assumption']}"
    ids = [f"quantity:{part['line_id']}", f"measure:{row['measure_id']}:{part['line_id']}", f"density:{row['density_id']}"]
    return Node(text, _sources(evidence, ids))


def _composition(evidence: Evidence, part: pd.Series, line: pd.Series) -> Node:
    matched = evidence.row("matched", line_id=part["line_id"])
    how = f"decision {matched['decision_id']}" if matched["decision_id"] else f"match {matched['match_confidence']:.2f}"
    text = f"entry {line['entry_id']} {line['entry_name']} [table {line['table']}], {how}; value type {part['value_type']}"
    children = _sources(evidence, [part["composition_input"]])
    children += _decision(evidence, matched["decision_id"])
    others = evidence.candidates[(evidence.candidates["line_id"] == part["line_id"])
                                 & (evidence.candidates["entry_id"] != line["entry_id"])].head(2)
    children += [Node(f"other candidate, {row['probability']:.3f}: {row['entry_id']} {row['entry_name']}")
                 for _, row in others.iterrows()]
    return Node(text, children)


def _cooking(evidence: Evidence, part: pd.Series) -> Node:
    row = evidence.row("cooked", line_id=part["line_id"])
    text = f"cooking: {row['chain'] or row['method']} ({row['cook_reason']}, {row['method_confidence']:.2f})"
    if row["evidence"]:
        text += f"; the words: \"{row['evidence']}\""
    ids = [part["retention_input"], f"yield:{row['yield_id']}"]
    return Node(text, _sources(evidence, ids) + _decision(evidence, row["decision_id"]))


def _sources(evidence: Evidence, ids: list[str]) -> list[Node]:
    nodes = []
    for input_id in dict.fromkeys(ids):
        row = evidence.row("inputs", input_id=input_id) if input_id else None
        if row is None:
            continue
        source = evidence.row("sources", source_id=row["source_id"])
        cited = f"{source['citation']} ({source['standing']})" if source is not None else row["source_id"]
        nodes.append(Node(f"{row['kind']} {_number(row['value'])} ({_number(row['low'])} to {_number(row['high'])}) {row['unit']},"
                          f" {row['basis']}; source {row['source_row']}: {cited}"))
    return nodes


def _decision(evidence: Evidence, decision_id: str) -> list[Node]:
    row = evidence.row("decisions", decision_id=decision_id) if decision_id else None
    if row is None:
        return []
    return [Node(f"decision {decision_id} by {row['decided_by']} on {row['decided_on']}: {row['reason']}")]


def _unsettled(evidence: Evidence, variant: dict) -> Node | None:
    waiting = _counted(evidence, variant)
    waiting = waiting[waiting["outcome"] != "accepted"]
    if waiting.empty:
        return None
    return Node("withheld until these lines are settled", [
        Node(f"line {row['line_no']} \"{row['text']}\": {row['outcome']}, {row['reason']}") for _, row in waiting.iterrows()])


def _width(evidence: Evidence, figure: pd.Series, variant: dict) -> Node | None:
    shares = evidence.shares
    mine = shares[(shares["recipe_id"] == variant["recipe_id"]) & (shares["variant_id"] == variant["variant_id"])
                  & (shares["component"] == figure["component"]) & (shares["unit"] == figure["unit"])].sort_values(["share", "input_id"], ascending=[False, True])
    if mine.empty:
        return None
    return Node("what makes the recipe total's interval wide (share of its variance)",
                [Node(f"{100 * row['share']:.1f} %  {row['input_id']}") for _, row in mine.iterrows()])
