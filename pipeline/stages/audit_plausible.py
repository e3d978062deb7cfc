"""Audit: can these figures be true of food at all, and do two ways to them agree?

The bounds are common practice, no source, unless a comment says otherwise: wide enough
that ordinary dishes pass, narrow enough that a slipped unit or a wrong match does not.
"""

from __future__ import annotations

import math

import pandas as pd

from pipeline.problems import ERROR, NOTE, WARNING
from pipeline.stages import total_balance
from pipeline.stages.audit_findings import basis_mass_g, finding, known
from pipeline.stages.conditions import Index, plain
from pipeline.stages.two_routes import APART

PROXIMATES = ("WATER", "PROCNT", "FAT", "CHOCDF", "ALC")
# The proximates of a food make up 100 g together with ash. Ash is no component here: dishes
# have 0.5 to 3 g, salty ones more, so 95 to 105 becomes 92 to 103.
PROXIMATE_SUM_G = (92.0, 103.0)
ENERGY_KJ_PER_100G = (0.0, 3700.0)  # 100 g of pure fat give 3700 kJ: EU 1169/2011 Annex XIV
PORTION_G = (30.0, 1500.0)
SALT_G_PER_PORTION = 3.0  # half of the 6 g a day of general guidance
SINGLE_LINE_SHARE = 0.80
PARTS = (("SUGAR", "CHOCDF"), ("FIBTG", "CHOCDF"), ("FASAT", "FAT"), ("FAMS", "FAT"), ("FAPU", "FAT"))
SIGNIFICANT = 1e-6

TWO_ROUTE_DIFFERENCE = 0.25
HARMFUL_WHEN_LOW = ("K", "P", "NA")
# Per 100 g raw; below these amounts a relative difference says nothing about the dish.
TWO_ROUTE_FLOOR = {"K": 20.0, "P": 10.0, "NA": 20.0, "PROCNT": 1.0}

FIX_LINES = "Look at the lines that give most of it: a mass, a match or a yield is wrong"


def plausibility(figures: pd.DataFrame, index: Index, contributions: pd.DataFrame, variants: pd.DataFrame) -> list[dict]:
    """Findings about figures that no dish can have, or that few have."""
    masses = basis_mass_g(index)
    rows = _broken_numbers(figures)
    for recipe_id, variant_id in zip(variants["recipe_id"], variants["variant_id"]):
        key = (recipe_id, variant_id)
        rows += _proximates(index, key) + _energy(index, key) + _parts(index, key) + _salt(index, key)
        rows += _portion_mass(masses.get((*key, "portion")), key)
    return rows + _single_lines(contributions)


def _broken_numbers(figures: pd.DataFrame) -> list[dict]:
    """Not a number, infinite or below zero: the tables' models refuse these; the audit trusts nobody."""
    shown = figures[figures["status"] != "withheld"]
    rows = []
    for row in shown.itertuples(index=False):
        numbers = (row.value, row.low, row.high)
        if all(math.isfinite(number) and number >= 0 for number in numbers):
            continue
        what = "is below zero" if any(number < 0 for number in numbers) else "is not a number, or has no interval"
        rows.append(finding("number", row.recipe_id, row.variant_id, (row.component, row.unit, row.basis), ERROR,
                            f"{row.component} per {row.basis} {what}", "Report a defect in the stage total",
                            component=row.component, value=row.value, expected=(0.0, math.nan), unit=row.unit))
    return rows


def _proximates(index: Index, key) -> list[dict]:
    parts = [known(index, *key, "100g", component, "g") for component in PROXIMATES]
    if any(part is None for part in parts):
        return []
    total = sum(part.value for part in parts)
    if PROXIMATE_SUM_G[0] <= total <= PROXIMATE_SUM_G[1]:
        return []
    return [finding("proximates", *key, (), WARNING,
                    f"water, protein, fat, carbohydrate and alcohol make up {plain(total)} g of 100 g (ash, 0.5 to 3 g, is not counted)",
                    "Look at yields and water first: the mass cooked does not fit what is in it", value=total,
                    expected=PROXIMATE_SUM_G, unit="g", source_id="common-practice")]


def _energy(index: Index, key) -> list[dict]:
    energy = known(index, *key, "100g", "ENERC", "kJ")
    if energy is None or ENERGY_KJ_PER_100G[0] <= energy.value <= ENERGY_KJ_PER_100G[1]:
        return []
    return [finding("energy-density", *key, (), ERROR, f"{plain(energy.value)} kJ per 100 g is more than pure fat gives", FIX_LINES,
                    component="ENERC", value=energy.value, expected=ENERGY_KJ_PER_100G, unit="kJ", source_id="eu-1169-2011")]


def _parts(index: Index, key) -> list[dict]:
    """A part is never more than its whole: sugars of carbohydrate, saturates of fat."""
    rows = []
    for part_name, whole_name in PARTS:
        part, whole = (known(index, *key, "100g", name, "g") for name in (part_name, whole_name))
        if part is None or whole is None or part.value <= whole.value * (1 + SIGNIFICANT) + SIGNIFICANT:
            continue
        rows.append(finding("part-above-whole", *key, (part_name,), ERROR if part.low > whole.high else WARNING,
                            f"{part_name} {plain(part.value)} g is more than {whole_name} {plain(whole.value)} g per 100 g",
                            "Look at the composition values of the lines that give most of it: one table row is wrong or missing",
                            component=part_name, value=part.value, expected=(0.0, whole.value), unit="g", source_id="common-practice"))
    return rows


def _salt(index: Index, key) -> list[dict]:
    salt = known(index, *key, "portion", "NACL", "g")
    if salt is None or salt.value <= SALT_G_PER_PORTION:
        return []
    return [finding("salt-per-portion", *key, (), WARNING, f"{plain(salt.value)} g salt per portion is half of a day's or more",
                    "Look at the salt, stock and sauce lines: a spoon or a stock cube may be read wrongly", component="NACL",
                    value=salt.value, expected=(0.0, SALT_G_PER_PORTION), unit="g", source_id="common-practice")]


def _portion_mass(mass_g: float | None, key) -> list[dict]:
    if mass_g is None or PORTION_G[0] <= mass_g <= PORTION_G[1]:
        return []
    return [finding("portion-mass", *key, (), WARNING, f"one portion weighs {plain(mass_g)} g",
                    "Look at the number of portions, then at the heaviest lines", value=mass_g, expected=PORTION_G, unit="g",
                    source_id="common-practice")]


def _single_lines(contributions: pd.DataFrame) -> list[dict]:
    """One line of several that gives nearly all the potassium: right for a baked potato,
    wrong for a slipped unit; somebody should look."""
    potassium = contributions[(contributions["component"] == "K") & contributions["amount"].notna()]
    rows = []
    for key, lines in potassium.groupby(["recipe_id", "variant_id"], sort=True):
        total, top = lines["amount"].sum(), lines.loc[lines["amount"].idxmax()]
        if len(lines) < 2 or total <= 0 or top["amount"] / total <= SINGLE_LINE_SHARE:
            continue
        share = 100 * top["amount"] / total
        rows.append(finding("single-line", *key, ("K",), NOTE, f"line {top['line_no']} alone gives {plain(share)} % of the potassium",
                            "Check this line's match and mass: the figure rests on it", component="K", line_no=int(top["line_no"]),
                            value=share, expected=(0.0, 100 * SINGLE_LINE_SHARE), unit="%", source_id="common-practice"))
    return rows


def mass_balance(contributions: pd.DataFrame, cooked: pd.DataFrame) -> list[dict]:
    """Lines whose cooking makes something of nothing, or loses what had nowhere to go: a factor is wrong there."""
    rows = total_balance.impossible(total_balance.balance(contributions, cooked))
    return [finding("mass-balance", row.recipe_id, row.variant_id, (str(row.line_no), row.component), ERROR,
                    f"{row.component} of line {row.line_no} {row.why}: {plain(row.went_in)} {row.unit} went in, {plain(row.on_plate)} "
                    f"{row.unit} is on the plate ({row.chain})",
                    "Correct the retention factor or the yield of this cooking in reference/", component=row.component,
                    line_no=int(row.line_no), value=row.on_plate, expected=(0.0, row.went_in), unit=row.unit, source_id="mass-balance")
            for row in rows.itertuples(index=False)]


# ---------------------------------------------------------------- two routes to one amount

def two_routes(settled: pd.DataFrame, routes: pd.DataFrame) -> list[dict]:
    """Findings on lines whose two routes (model TwoRoutes) differ by more than a quarter of their mean, or
    have no interval in common. A warning, and the figures are to be checked, when both; and when potassium,
    phosphorus or sodium by retention, which the figures use, is the lower by more than a quarter.
    """
    shown = routes[routes["component"].isin(TWO_ROUTE_FLOOR)]
    shown = shown.merge(settled[["recipe_id", "variant_id", "line_no", "line_id", "text"]], on="line_id")
    return [row for line in shown.to_dict("records") for row in _disagreement(line)]


def is_grave(line: dict) -> bool:
    """Whether a person has to look at two routes (one row of model TwoRoutes) before their figures are used."""
    far, apart = line["relative_difference"] > TWO_ROUTE_DIFFERENCE, line["agreement"] == APART
    understated = line["by_retention"] < line["by_cooked"] and line["component"] in HARMFUL_WHEN_LOW
    return _matters(line) and far and (apart or understated)


def _matters(line: dict) -> bool:
    floor = TWO_ROUTE_FLOOR.get(line["component"])
    return floor is not None and max(line["by_retention"], line["by_cooked"]) >= floor


def _disagreement(line: dict) -> list[dict]:
    if not _matters(line) or (line["relative_difference"] <= TWO_ROUTE_DIFFERENCE and line["agreement"] != APART):
        return []
    what = (f"{line['text']!r}: {line['component']} per 100 g raw is {plain(line['by_retention'])} {line['unit']} by retention "
            f"({plain(line['by_retention_low'])} to {plain(line['by_retention_high'])}) and {plain(line['by_cooked'])} {line['unit']} "
            f"from the cooked entry {line['cooked_entry_id']} ({plain(line['by_cooked_low'])} to {plain(line['by_cooked_high'])}): "
            f"they differ by {plain(100 * line['relative_difference'])} %")
    return [finding("two-routes", line["recipe_id"], line["variant_id"], (str(line["line_no"]), line["component"], line["cooked_entry_id"]),
                    WARNING if is_grave(line) else NOTE, what,
                    "Compare the retention factor and the yield with the cooked entry, and correct the one that is wrong",
                    component=line["component"], line_no=int(line["line_no"]), value=line["by_retention"],
                    expected=(line["by_cooked_low"], line["by_cooked_high"]), unit=line["unit"], source_id=line["source_id"])]
