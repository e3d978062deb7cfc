"""Which tables a release holds: folder, key, order of rows, and what points to what.

One :class:`Released` per table is the whole list; a table that is not in it cannot be
released. Column types and rules come from the models in ``pipeline.tables``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd
import pandera.pandas as pa

from pipeline import tables
from pipeline.composition.combine import Disagreements
from pipeline.composition.recomputed import Recomputed
from pipeline.names import Names
from pipeline.problems import COLUMNS as PROBLEM_COLUMNS
from pipeline.problems import InputError, Problem
from pipeline.stages.for_print import ForPrint
from pipeline.stages.judge_bands import Bands
from pipeline.suitability_form import (
    AdditiveFlags,
    AllergenStatements,
    DietVerdicts,
    PhosphorusByKind,
    PhosphorusToProtein,
    SuitabilityEvidence,
)
from pipeline.swaps_form import ProteinAdditions, Swaps

EVIDENCE = "evidence"
STAGE = "release"

_LINE = ("recipe_id", "variant_id", "line_no")
_TO_VARIANT = (("recipe_id", "variant_id"), "variants", ("recipe_id", "variant_id"))
_TO_RECIPE = (("recipe_id",), "recipes", ("recipe_id",))
_TO_LINE = (("line_id",), "lines", ("line_id",))
_TO_INPUT = (("input_id",), "inputs", ("input_id",))
_TO_SOURCE = (("source_id",), "sources", ("source_id",))
_TO_ENTRY = (("entry_id",), "entries", ("entry_id",))


@dataclass(frozen=True)
class Released:
    """One table of a release.

    ``key`` names one row and is unique; it is empty where rows have no name of their
    own. Rows are sorted by ``order`` (or the key). ``points_to`` holds (columns, table,
    columns there). ``model`` is None where the columns are those of a reference file.
    """

    title: str
    folder: str = ""
    model: type[pa.DataFrameModel] | None = None
    key: tuple[str, ...] = ()
    order: tuple[str, ...] = ()
    points_to: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = ()

    def path(self, name: str, ending: str) -> str:
        """Where the table lies in the release, for example ``evidence/lines.csv``."""
        return f"{self.folder}/{name}.{ending}" if self.folder else f"{name}.{ending}"


TABLES: dict[str, Released] = {
    "figures": Released(
        "Nutrient figures per recipe, portion and 100 g, each with its 90 % interval and status", "", tables.Figures,
        ("figure_id",), points_to=(_TO_VARIANT,)),
    "lines": Released(
        "Every ingredient line with its one outcome and the reason", "", tables.Settled,
        ("line_id",), _LINE, (_TO_VARIANT, (("line_id",), "source_lines", ("line_id",)))),
    "verdicts": Released(
        "Every claim and limit judged for every audience, with its margin", "", tables.Verdicts,
        ("recipe_id", "variant_id", "audience", "claim"), points_to=(_TO_VARIANT, _TO_SOURCE)),
    "bands": Released(
        "Low, medium or high by the criteria for front-of-pack labels, in words", "", Bands,
        ("recipe_id", "variant_id", "component"), points_to=(_TO_VARIANT, _TO_SOURCE)),
    "suitability": Released(
        "Whether each dish suits a vegetarian or a vegan, and why not", "", DietVerdicts, ("recipe_id", "variant_id", "diet"),
        points_to=(_TO_VARIANT,)),
    "allergens": Released(
        "The 14 allergens: contained, may be contained, or not assessed; never free from", "", AllergenStatements,
        ("recipe_id", "variant_id", "allergen"), points_to=(_TO_VARIANT,)),
    "phosphorus_kinds": Released(
        "Phosphorus by kind (plant, animal, additive), and how much of it is absorbed", "", PhosphorusByKind,
        ("recipe_id", "variant_id", "basis", "kind"), points_to=(_TO_VARIANT, _TO_SOURCE)),
    "phosphorus_to_protein": Released(
        "Phosphorus to protein, mg per g", "", PhosphorusToProtein, ("recipe_id", "variant_id"), points_to=(_TO_VARIANT,)),
    "additives": Released(
        "Lines likely to bring phosphate or potassium additives", "", AdditiveFlags, ("line_id", "additive_id"),
        points_to=(_TO_LINE, _TO_SOURCE)),
    "for_print": Released(
        "Ready figures as they may be printed, by the EU guidance and by the unit's own rule", "", ForPrint, ("figure_id",),
        points_to=((("figure_id",), "figures", ("figure_id",)),)),
    "swaps": Released(
        "What to leave out or reduce where a variant breaks a limit that the recipe as written keeps, computed in full", "", Swaps,
        ("recipe_id", "variant_id", "audience", "claim"), points_to=(_TO_VARIANT,)),
    "protein_additions": Released(
        "What may be added to main meals that miss an audience's least amount of protein, computed in full", "", ProteinAdditions,
        ("recipe_id", "audience", "addition_id", "claim"), points_to=(_TO_RECIPE, _TO_SOURCE)),
    "findings": Released(
        "What the audit noticed, and what to do about it", "", tables.Findings, ("finding_id",)),
    "versions": Released(
        "Recipes as made and as printed beside the recipe as analysed: every difference", "", tables.Versions,
        ("recipe_id", "variant_id", "from_variant", "difference_no"), points_to=(_TO_VARIANT,)),
    "version_figures": Released(
        "Figures of recipes as made and as printed beside those as analysed", EVIDENCE, tables.VersionFigures,
        ("recipe_id", "variant_id", "from_variant", "component", "unit", "basis"), points_to=(_TO_VARIANT,)),
    "print_changes": Released(
        "What in print must change, the most harmful first", "", tables.PrintChanges, ("rank",), points_to=(_TO_VARIANT,)),
    "worklist": Released(
        "Unsettled lines, the one that would settle most first", "", tables.Worklist,
        ("rank",), points_to=((_LINE, "lines", _LINE),)),
    "withheld": Released(
        "Which figures are withheld, and why",
        key=("recipe_id", "variant_id", "basis", "reason"), points_to=(_TO_VARIANT,)),
    "problems": Released("Problems of the run, and what to do about each", order=PROBLEM_COLUMNS),
    "recipes": Released("The recipes as written", EVIDENCE, tables.Recipes, ("recipe_id",)),
    "variants": Released(
        "The variants of each recipe", EVIDENCE, tables.Variants, ("recipe_id", "variant_id"),
        points_to=(_TO_RECIPE,)),
    "steps": Released(
        "The method steps as written", EVIDENCE, tables.Steps, ("recipe_id", "variant_id", "step_no"),
        points_to=(_TO_VARIANT,)),
    "source_lines": Released(
        "The ingredient lines as written, with file and line", EVIDENCE, tables.Lines, ("line_id",), _LINE,
        (_TO_VARIANT,)),
    "parsed": Released("What the words of each line say", EVIDENCE, tables.Parsed, ("line_id",), points_to=(_TO_LINE,)),
    "matched": Released(
        "The entry that each line was matched to", EVIDENCE, tables.Matched, ("line_id",), points_to=(_TO_LINE,)),
    "candidates": Released(
        "The ranked candidates behind each match", EVIDENCE, tables.Candidates, ("line_id", "rank"),
        points_to=(_TO_LINE,)),
    "weighed": Released(
        "The mass of each line and the measures that gave it", EVIDENCE, tables.Weighed, ("line_id",),
        points_to=(_TO_LINE,)),
    "cooked": Released(
        "What the method did to each line", EVIDENCE, tables.Cooked, ("line_id",), points_to=(_TO_LINE,)),
    "retentions": Released(
        "The fraction of each component that stays in each line", EVIDENCE, tables.Retentions,
        ("line_id", "component"), points_to=(_TO_LINE,)),
    "contributions": Released(
        "What each line adds to each figure", EVIDENCE, tables.Contributions, ("line_id", "component", "unit"),
        (*_LINE, "component", "unit"),
        (_TO_LINE, (("composition_input",), "inputs", ("input_id",)), (("match_input",), "inputs", ("input_id",)),
         (("retention_input",), "inputs", ("input_id",)))),
    "inputs": Released(
        "Every uncertain input with its 90 % interval and source", EVIDENCE, tables.Inputs, ("input_id",),
        points_to=(_TO_SOURCE,)),
    "two_routes": Released(
        "What lines keep, computed from the raw entry and from the cooked one", EVIDENCE, tables.TwoRoutes,
        ("line_id", "component"), points_to=(_TO_LINE, _TO_SOURCE)),
    "shares": Released(
        "The largest shares of inputs in the variance of each total", EVIDENCE,
        key=("recipe_id", "variant_id", "component", "unit", "input_id"), points_to=(_TO_VARIANT, _TO_INPUT)),
    "suitability_evidence": Released(
        "What each line says of the diets and allergens, through which words", EVIDENCE, SuitabilityEvidence,
        ("line_id", "subject", "answer", "through", "found_in"), points_to=(_TO_LINE,)),
    "entries": Released("The composition table entries that were used", EVIDENCE, tables.Entries, ("entry_id",)),
    "values": Released(
        "The composition values that were used, per 100 g edible portion", EVIDENCE, tables.Values,
        ("entry_id", "component", "unit"), points_to=(_TO_ENTRY, _TO_SOURCE)),
    "recomputed": Released(
        "Energy and protein of the entries in use: the table's own beside the recomputed ones", EVIDENCE, Recomputed,
        ("entry_id", "component", "unit"), points_to=(_TO_ENTRY, _TO_SOURCE)),
    "disagreements": Released(
        "What other composition tables have otherwise for the same foods", EVIDENCE, Disagreements,
        ("entry_id", "component", "unit", "table_b", "entry_b"), points_to=(_TO_ENTRY, _TO_SOURCE)),
    "decisions": Released("The human decisions that were applied", EVIDENCE, key=("decision_id",)),
    "factors": Released(
        "The reference factors that were used, one number a row", EVIDENCE, key=("file", "row_id", "column"),
        points_to=(_TO_SOURCE,)),
    "names": Released("The words that stand for components, claims, audiences and the policy", EVIDENCE, Names, ("kind", "id")),
    "sources": Released("The sources that the evidence cites", EVIDENCE, key=("source_id",)),
    "published": Released("Figures that are in print", EVIDENCE, tables.Published, points_to=(_TO_VARIANT,)),
    "printed_claims": Released("Claims that are in print", EVIDENCE),
}


def arranged(given: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The given tables in the order of ``TABLES``: columns as declared, rows sorted, keys unique.

    ``withheld`` is made from ``figures`` here. Raises InputError for a table that is
    not known, for ``figures`` missing, for a wrong column and for a repeated key.
    """
    unknown = [name for name in given if name not in TABLES or name == "withheld"]
    if unknown or "figures" not in given:
        raise InputError([_defect(name, "is not a table of a release") for name in unknown]
                         or [_defect("figures", "is missing")])
    everything = {**given, "withheld": withheld(given["figures"])}
    problems: list[Problem] = []
    frames = {name: _arranged(name, everything[name], problems) for name in TABLES if name in everything}
    if problems:
        raise InputError(problems)
    return frames


def withheld(figures: pd.DataFrame) -> pd.DataFrame:
    """Withheld figures gathered by recipe, variant, basis and reason: which components, how many figures."""
    keys = ["recipe_id", "variant_id", "basis", "reason"]
    rows = figures.loc[figures["status"] == "withheld", [*keys, "component"]]
    grouped = rows.groupby(keys, sort=True)["component"]
    gathered = grouped.agg(components=lambda names: "; ".join(sorted(set(names))), figures="size").reset_index()
    gathered["figures"] = gathered["figures"].astype("int64")
    return gathered.astype({name: "str" for name in (*keys, "components")})


def _arranged(name: str, frame: pd.DataFrame, problems: list[Problem]) -> pd.DataFrame:
    released = TABLES[name]
    declared = tables.columns(released.model) if released.model else list(frame.columns)
    named = {*released.key, *released.order}
    wrong = sorted(set(declared) ^ set(frame.columns)) + sorted(named - {*declared, *frame.columns})
    if wrong:
        problems.append(_defect(name, f"has other columns than declared: {', '.join(wrong)}"))
        return frame
    key = list(released.key)
    if key and frame.duplicated(key).any():
        first = frame.loc[frame.duplicated(key), key].iloc[0]
        problems.append(_defect(name, "holds two rows for " + ", ".join(f"{k} {v}" for k, v in first.items())))
        return frame
    return _sorted(frame[declared], list(released.order or released.key) or declared)


def _sorted(frame: pd.DataFrame, order: list[str]) -> pd.DataFrame:
    if order[0] != "line_id":
        return frame.sort_values(order, kind="stable", ignore_index=True)
    # "soup/base/10" comes after "soup/base/9"
    parts = frame["line_id"].str.rpartition("/")
    keys = frame[order[1:]].assign(_line=parts[0], _number=pd.to_numeric(parts[2])) if len(frame) else frame.assign(
        _line="", _number=0)
    return frame.loc[keys.sort_values(["_line", "_number", *order[1:]], kind="stable").index].reset_index(drop=True)


def _defect(name: str, what: str) -> Problem:
    return Problem(
        where=f"table {name}", what=what, remedy="This is a defect in the stage that made the table; report it",
        code="release-table", stage=STAGE)
