"""Small hand-made tables that agree with each other, as the stages would hand them to a release.

The dishes, numbers and names are invented. An unsettled recipe holds a line that was
matched to nothing, so its figures are withheld.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline import tables as models
from pipeline.checks import Check, CheckResult
from pipeline.stages.release import InputFile, ReleaseMeta
from pipeline.stages.release_tables import TABLES

SUMMED = (("K", "mg", 120.0), ("NA", "mg", 30.0), ("PROCNT", "g", 2.0), ("FAT", "g", 1.5))
DERIVED = (("NACL", "g"), ("ENERC", "kJ"), ("ENERC", "kcal"))
COMPONENTS = ("K", "NA", "PROCNT", "FAT", "NACL", "ENERC")
PORTIONS = 4.0
PASSED = CheckResult((Check("figures-unique", "figures", "Every figure has a name", "ExpectColumnValuesToBeUnique", 1, 0, True),))


def tables(
    recipes: int = 2, lines: int = 3, extra_components: int = 0, unsettled: tuple[int, ...] | None = None,
) -> dict[str, pd.DataFrame]:
    """Every table of a release by name, each valid by its model; by default the last recipe is unsettled."""
    waiting = (recipes - 1,) if unsettled is None else unsettled
    summed = SUMMED + tuple((f"X{number}", "mg", 1.0 + number) for number in range(extra_components))
    rows: dict[str, list[dict]] = {name: [] for name in TABLES if TABLES[name].model}
    for number in range(recipes):
        _recipe(rows, f"dish-{number}", lines, summed, unsettled=number in waiting)
    rows["entries"] = [
        {"entry_id": "00001", "name": "Swede, raw", "common_names": "swede; turnip, yellow", "food_group": "vegetables",
         "state": "raw", "cooking_class": "roots", "refuse_fraction": None, "refuse_description": "",
         "source_id": "tern-bay", "source_row": "1"}]
    rows["values"] = [
        {"entry_id": "00001", "component": name, "value": value, "unit": unit, "value_type": "analysed", "n": 4,
         "standard_error": None, "minimum": None, "maximum": None, "derivation": "", "source_id": "tern-bay",
         "source_row": "1"} for name, unit, value in summed]
    rows["inputs"] += [_input(f"composition:core:00001:{name}", "composition", value, unit) for name, unit, value in summed]
    made = {name: _table(name, found) for name, found in rows.items()}
    made["problems"] = pd.DataFrame([{
        "severity": "warning", "code": "unmatched", "stage": "match", "recipe_id": f"dish-{recipes - 1}",
        "where": f"dish-{recipes - 1}, line 1", "what": "no entry was found", "remedy": "Add a row to mappings/foods.csv"}],
        dtype="str")
    made["decisions"] = pd.DataFrame([{
        "decision_id": "swede-1", "file": "foods", "what": "swede -> 00001 Swede, raw", "decided_by": "the data steward",
        "decided_on": "2026-01-05", "reason": "the only raw swede"}], dtype="str")
    made["factors"] = pd.DataFrame([{
        "file": "yields", "row_id": "swede-boiled", "column": "yield_fraction", "value": "0.95", "source_id": "tern-bay",
        "source_row": "1"}], dtype="str")
    made["sources"] = meta().sources
    return made


def meta(release_id: str = "demo-1a2b3c4d", **changes) -> ReleaseMeta:
    """What the release says about itself; ``changes`` replace fields."""
    sources = pd.DataFrame([
        {"source_id": "tern-bay", "citation": "Tern Bay renal unit recipe club, invented", "licence": "none needed",
         "obtained": "invented here", "sha256": "", "standing": "invented"},
        {"source_id": "eu-1169-2011", "citation": "Regulation (EU) No 1169/2011", "licence": "reuse with acknowledgement",
         "obtained": "https://eur-lex.europa.eu/eli/reg/2011/1169/oj", "sha256": "", "standing": "published"}], dtype="str")
    cautions = pd.DataFrame([
        {"caution_id": "b", "text": "Do not print a figure without its interval.", "audience_of_text": "publisher"},
        {"caution_id": "a", "text": "These figures are no advice. Ask your renal dietitian.", "audience_of_text": "reader"},
    ], dtype="str")
    given = {
        "release_id": release_id, "title": "Tern Bay demo", "tool_version": "0.1.0", "table_name": "core",
        "table_version": "1", "inputs": (InputFile("reference/demo/soup.yaml", "0" * 64, "collection"),),
        "cautions": cautions, "sources": sources, **changes}
    return ReleaseMeta(**given)


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, by its path."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def _recipe(rows: dict[str, list[dict]], recipe: str, lines: int, summed: tuple, unsettled: bool) -> None:
    rows["recipes"].append({
        "recipe_id": recipe, "name": f"The {recipe}, \"our own\"", "portions": PORTIONS, "units_system": "uk",
        "food_form": "solid", "finished_mass_g": None, "course": "main", "source_file": "demo/soup.yaml", "source_line": 1})
    rows["variants"].append({
        "recipe_id": recipe, "variant_id": "base", "name": "as written", "kind": "base", "portions": PORTIONS})
    rows["steps"].append({"recipe_id": recipe, "variant_id": "base", "step_no": 1, "text": "Boil the swede, then drain."})
    totals = dict.fromkeys([name for name, *_ in summed], 0.0)
    mass = 0.0
    for number in range(1, lines + 1):
        known = not (unsettled and number == 1)
        edible = 100.0 / 3 * number
        _line(rows, recipe, number, edible, known)
        if not known:
            continue
        mass += edible
        for name, unit, value in summed:
            amount = edible * value / 100 * 0.9
            totals[name] += amount
            rows["contributions"].append({
                **_key(recipe, number), "component": name, "unit": unit, "edible_g": edible, "value_per_100g": value,
                "value_type": "analysed", "retention_fraction": 0.9, "amount": amount,
                "composition_input": f"composition:core:00001:{name}", "match_input": "", "retention_input": ""})
    _figures(rows, recipe, totals, {name: unit for name, unit, _ in summed}, mass, unsettled)
    _verdicts(rows, recipe, totals["K"] / PORTIONS, unsettled)
    if not unsettled:
        rows["for_print"].append({
            "figure_id": f"{recipe}/base/K-mg/portion", "recipe_id": recipe, "variant_id": "base", "component": "K", "basis": "portion",
            "by_guidance": f"{totals['K'] / PORTIONS:.3g} mg", "guidance_source_id": "eu-1169-2011", "by_unit_rule": "", "unit_rule_source_id": "",
            "note": ""})
    if unsettled:
        rows["worklist"].append({
            "rank": len(rows["worklist"]) + 1, "recipe_id": recipe, "variant_id": "base", "line_no": 1, "text": _words(1), "reason": "unmatched",
            "figures_withheld": 21, "figures_to_check": 0, "verdicts_waiting": 1, "candidates": "",
            "remedy": "Add a row to mappings/foods.csv"})


def _line(rows: dict[str, list[dict]], recipe: str, number: int, edible: float, known: bool) -> None:
    key, words = _key(recipe, number), _words(number)
    rows["source_lines"].append({
        **key, "text": words, "section": "", "origin": "base", "source_file": "demo/soup.yaml", "source_line": 10 + number})
    rows["lines"].append({
        **key, "text": words, "quantity_low": 1, "quantity_high": 1, "unit": "piece", "phrase": "swede", "state": "raw",
        "optional": False, "table": "core" if known else "", "entry_id": "00001" if known else "",
        "entry_name": "Swede, raw" if known else "", "match_confidence": 0.97 if known else 0.0,
        "outcome": "accepted" if known else "none", "mass_g": edible * 1.25 if known else None,
        "mass_low_g": edible if known else None, "mass_high_g": edible * 1.5 if known else None,
        "edible_g": edible if known else None, "method": "boil" if known else "", "yield_fraction": 0.95 if known else None,
        "cooked_g": edible * 0.95 if known else None, "reason": "settled" if known else "no-candidate",
        "counted": True, "confidence": 0.9 if known else 0.0})
    rows["matched"].append({
        "line_id": key["line_id"], "table": "core" if known else "", "entry_id": "00001" if known else "",
        "entry_name": "Swede, raw" if known else "", "match_confidence": 0.97 if known else 0.0,
        "match_outcome": "accepted" if known else "none", "match_reason": "exact", "decision_id": ""})
    rows["inputs"].append(_input(f"quantity:{key['line_id']}", "quantity", 1.0, ""))


def _figures(rows, recipe: str, totals: dict[str, float], units: dict[str, str], mass: float, unsettled: bool) -> None:
    values = {(name, units[name]): total for name, total in totals.items()}
    protein, fat = totals["PROCNT"], totals["FAT"]
    # EU 1169/2011, Annex XIV and Annex I
    values |= {("NACL", "g"): totals["NA"] * 2.5 / 1000, ("ENERC", "kJ"): 17 * protein + 37 * fat,
               ("ENERC", "kcal"): 4 * protein + 9 * fat}
    for (name, unit), total in values.items():
        for basis, value in (("recipe", total), ("portion", total / PORTIONS), ("100g", 100 * total / (mass * 0.95))):
            rows["figures"].append({
                "figure_id": f"{recipe}/base/{name}-{unit}/{basis}", "recipe_id": recipe, "variant_id": "base",
                "component": name, "basis": basis, "unit": unit, "coverage": 0.5 if unsettled else 1.0, "confidence": 0.9,
                "value": None if unsettled else value, "low": None if unsettled else value * 0.8,
                "high": None if unsettled else value * 1.3, "status": "withheld" if unsettled else "ready",
                "reason": "line 1 was matched to no food" if unsettled else ""})


def _verdicts(rows: dict[str, list[dict]], recipe: str, potassium_mg: float, unsettled: bool) -> None:
    rows["verdicts"].append({
        "recipe_id": recipe, "variant_id": "base", "audience": "haemodialysis", "claim": "potassium-per-portion",
        "verdict": "not-assessable" if unsettled else "holds", "component": "K", "value": None if unsettled else potassium_mg,
        "low": None if unsettled else potassium_mg * 0.8, "high": None if unsettled else potassium_mg * 1.3,
        "limit": potassium_mg * 2, "unit": "mg", "margin": None if unsettled else 0.35, "source_id": "tern-bay",
        "basis": "portion", "kind": "local-limit", "reason": "line 1 is unsettled" if unsettled else "",
        "probability": None if unsettled else 0.95, "headroom": "", "decisive": "", "comparator": "<=",
        "status": "withheld" if unsettled else "ready"})


def _key(recipe: str, number: int) -> dict:
    return {"recipe_id": recipe, "variant_id": "base", "line_no": number, "line_id": f"{recipe}/base/{number}"}


def _words(number: int) -> str:
    return f"{number} small swede, peeled\tand \"diced\""


def _input(name: str, kind: str, value: float, unit: str) -> dict:
    return {"input_id": name, "kind": kind, "value": value, "low": value * 0.9, "high": value * 1.1,
            "standard_uncertainty": value * 0.06, "unit": unit, "source_id": "tern-bay", "source_row": "1", "basis": "invented"}


def _table(name: str, rows: list[dict]) -> pd.DataFrame:
    model = TABLES[name].model
    if not rows:
        return models.empty(model)
    return models.checked(model, pd.DataFrame(rows), "example")
