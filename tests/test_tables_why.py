"""Why a verdict flips in a dry run of a swap: the entry whose value moved, with the old and the new value. The dishes are invented."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.composition.compare_swap import InPrint, verdicts
from pipeline.composition.compare_why import because

CARROTS, CREAM = ("11124", "Carrots, raw"), ("01053", "Cream, heavy")
AMOUNTS = ["line_id", "component", "unit", "value_per_100g", "edible_g", "retention_fraction", "amount"]
FLIP = pd.DataFrame([{"recipe_id": "pie", "variant_id": "base", "component_a": "K", "component_b": "K"}])


def run(*lines: dict) -> dict[str, pd.DataFrame]:
    """The settled lines and contributions of one dish; each line gives entry, value per 100 g, edible_g, retention, outcome, component."""
    settled, contributions = [], []
    for number, line in enumerate(lines, start=1):
        given = {"entry": CARROTS, "value": 320.0, "edible_g": 200.0, "retention": 1.0, "outcome": "accepted", "reason": "settled",
                 "component": "K", **line}
        line_id = f"pie/base/{number}"
        settled.append({"recipe_id": "pie", "variant_id": "base", "line_id": line_id, "entry_id": given["entry"][0], "entry_name": given["entry"][1],
                        "outcome": given["outcome"], "reason": given["reason"], "text": f"line {number}", "counted": True})
        if given["outcome"] == "accepted":
            contributions.append({"line_id": line_id, "component": given["component"], "unit": "mg", "value_per_100g": given["value"],
                                  "edible_g": given["edible_g"], "retention_fraction": given["retention"],
                                  "amount": given["edible_g"] * given["value"] / 100 * given["retention"]})
    return {"settled": pd.DataFrame(settled), "contributions": pd.DataFrame(contributions, columns=AMOUNTS)}


@pytest.mark.parametrize("before, after, words", [
    ({}, {"value": 2880.0}, "11124 Carrots, raw: K 320 -> 2880 mg per 100 g"),
    ({}, {"entry": ("99", "Carrots, dehydrated"), "value": 2540.0},
     '"line 1" rests on another entry: 11124 Carrots, raw -> 99 Carrots, dehydrated (K 320 -> 2540 mg per 100 g)'),
    ({}, {"edible_g": 150.0}, '"line 1" weighs otherwise: 200 -> 150 g edible'),
    ({}, {"retention": 0.7}, '"line 1" keeps another share of its K in cooking: 1 -> 0.7'),
    ({}, {"outcome": "review", "reason": "no-candidate"}, '"line 1" drops out (no-candidate)'),
    ({"outcome": "review", "reason": "no-candidate"}, {}, '"line 1" is settled (11124 Carrots, raw)'),
    ({}, {}, "no line gives another amount: its interval, its coverage or what is judged beside it changed"),
])
def test_a_flip_names_what_moved(before: dict, after: dict, words: str) -> None:
    assert because(FLIP, run(before), run(after)) == [words]


def test_the_line_that_moves_the_figure_most_is_named() -> None:
    before = run({}, {"entry": CREAM, "value": 75.0, "edible_g": 1000.0})
    after = run({"value": 330.0}, {"entry": CREAM, "value": 80.0, "edible_g": 1000.0})  # 20 mg against 50 mg
    assert because(FLIP, before, after) == ["01053 Cream, heavy: K 75 -> 80 mg per 100 g"]


def test_a_derived_figure_is_explained_by_what_it_is_made_of() -> None:
    flip = FLIP.assign(component_a="NACL", component_b="NACL")
    assert because(flip, run({"component": "NA", "value": 60.0}), run({"component": "NA", "value": 600.0})) == [
        "11124 Carrots, raw: NA 60 -> 600 mg per 100 g"]


def test_protein_is_told_after_sodium_and_before_the_rest() -> None:
    claims = {"a-fat": "FAT", "b-protein": "PROCNT", "c-sodium": "NA", "d-phosphorus": "P", "e-potassium": "K"}
    before, after = (pd.DataFrame([{
        "recipe_id": "pie", "variant_id": "base", "audience": "", "claim": claim, "kind": "local-limit", "verdict": verdict, "component": component,
        "value": 1.0, "margin": 0.1, "limit": 2.0, "unit": "mg", "reason": ""} for claim, component in claims.items()]) for verdict in ("holds", "fails"))
    nothing = InPrint(pd.DataFrame(columns=["recipe_id", "variant_id", "component", "basis"]), pd.DataFrame(columns=["recipe_id", "variant_id", "claim"]))
    assert verdicts(before, after, nothing)["component_b"].tolist() == ["K", "P", "NA", "PROCNT", "FAT"]
