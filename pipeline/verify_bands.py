"""Second judgement of the front-of-pack bands, on the recomputed figures and ``reference/bands.csv``."""

from __future__ import annotations

import math

from pipeline.verify_figures import Figures
from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_limits import forms_of
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project
from pipeline.verify_verdicts import EQUAL, Quantity, quantity_of

FILE = "reference/bands.csv"
WORDS = ("low", "medium", "high")


def compare(figures: Figures, tables: dict[str, Rows], project: Project, ledger: Ledger) -> None:
    """States every band again and compares bands.csv."""
    written, criteria = tables["bands"], project.listed(FILE)
    expected = {}
    for variant in tables["variants"].values():
        recipe = tables["recipes"].get(variant["recipe_id"])
        forms = forms_of(recipe) if recipe else set()
        for row in criteria:
            if row["food_form"] in forms:
                expected[f"{variant['recipe_id']} {variant['variant_id']} {row['component']}"] = (variant, row)
    ledger.keys("verdicts", path_of("bands"), written, expected, FILE)
    for key, (variant, row) in expected.items():
        if key in written:
            _compare_row(place("verdicts", "bands", key), written[key], figures, variant, row, ledger)


def _compare_row(where, written: dict, figures: Figures, variant: dict, row: dict, ledger: Ledger) -> None:
    def found(basis: str) -> Quantity:
        return quantity_of(figures.get((variant["recipe_id"], variant["variant_id"], row["component"], row["unit"], basis)), row["component"])

    per_100g, portion = found("100g"), found("portion")
    weight_g = 100 * portion.value / per_100g.value if per_100g.known and portion.known and per_100g.value > 0 else math.nan
    ledger.same(where, "band", written["band"], _band(per_100g, portion, weight_g, row), path_of("figures"))
    ledger.same(where, "unit", written["unit"], row["unit"], FILE)
    ledger.same(where, "source_id", written["source_id"], row["source_id"], FILE)
    for column, number_ in (("value", per_100g.value), ("low", per_100g.low), ("high", per_100g.high), ("portion_g", weight_g),
                            ("portion_high", portion.high)):
        ledger.number(where, column, written[column], number_, path_of("figures"))


def _band(per_100g: Quantity, portion: Quantity, weight_g: float, row: dict) -> str:
    if not (per_100g.known and portion.known) or per_100g.doubted or portion.doubted:
        return "not stated"
    heavy = weight_g > number(row["portion_above_g"])
    least, most = (_place(end, heavy and whole > number(row["portion_high_above"]), row)
                   for end, whole in ((per_100g.floor, portion.floor), (per_100g.ceiling, portion.ceiling)))
    return least if least == most else f"between {least} and {most}"


def _place(end: float, high_by_portion: bool, row: dict) -> str:
    low, high = number(row["low_at_most"]), number(row["high_above"])
    if high_by_portion or end > high and not math.isclose(end, high, rel_tol=EQUAL):
        return WORDS[2]
    return WORDS[0] if end < low or math.isclose(end, low, rel_tol=EQUAL) else WORDS[1]
