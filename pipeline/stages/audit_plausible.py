"""Audit: can these figures be true of food at all, and do two ways to them agree?

The bounds are common practice, no source, unless a comment says otherwise: wide enough
that ordinary dishes pass, narrow enough that a slipped unit or a wrong match does not.
"""

from __future__ import annotations

import math

import pandas as pd

from pipeline.problems import ERROR, NOTE, WARNING
from pipeline.stages.audit_findings import basis_mass_g, finding, known
from pipeline.stages.conditions import Index, plain

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
# After the step that is compared, these take no mineral away.
DRY = ("bake", "grill", "fry", "stir-fry", "reheat", "microwave", "steam", "raw")
SOLIDS_LEFT = 0.75  # boiling water dissolves up to a quarter of the solids (sweet roots; from memory)
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


# ---------------------------------------------------------------- two routes to one amount

def two_routes(settled: pd.DataFrame, cooked: pd.DataFrame, retentions: pd.DataFrame, values: pd.DataFrame,
               raw_cooked_pairs: pd.DataFrame) -> list[dict]:
    """Raw value x retention against cooked value x yield, per 100 g raw, for each counted
    line whose entry, method and liquid are in ``raw_cooked_pairs``. A line that was boiled
    and drained, then browned, is compared at the draining: what follows is dry and keeps
    minerals; the yield of the draining comes from the solids of the pair.

    Reported when they differ by more than a quarter of their mean, or when the intervals
    that retention and yield give them do not meet. A warning when both, and when potassium,
    phosphorus or sodium by retention, which the figures use, is the lower by more than a quarter.
    """
    lines = settled.loc[settled["counted"], ["recipe_id", "variant_id", "line_no", "line_id", "text", "entry_id"]]
    lines = lines.merge(_first_step(cooked)[["line_id", "method", "liquid", "later", "yield_fraction", "yield_low", "yield_high"]], on="line_id")
    lines = lines.merge(raw_cooked_pairs, left_on=["entry_id", "method", "liquid"], right_on=["raw_entry_id", "method", "liquid"])
    amounts = values[values["component"].isin(TWO_ROUTE_FLOOR) & values["value"].notna()]
    amounts = amounts[["entry_id", "component", "value", "unit"]]
    both = lines.merge(amounts.rename(columns={"value": "raw", "entry_id": "raw_entry_id"}), on="raw_entry_id")
    both = both.merge(amounts.rename(columns={"value": "ready", "entry_id": "cooked_entry_id"}), on=["cooked_entry_id", "component", "unit"])
    both = both.merge(retentions[["line_id", "component", "retention_fraction", "retention_low", "retention_high"]],
                      on=["line_id", "component"], how="left")
    factors = ["retention_fraction", "retention_low", "retention_high"]
    both[factors] = both[factors].fillna(1.0)  # no factor: all of it stays on the plate
    both = _solids_yield(both, values)
    both = both[both["yield_fraction"].notna() & ~(both["later"] & (both["component"] == "PROCNT"))]
    return [row for line in both.to_dict("records") for row in _disagreement(line)]


def _first_step(cooked: pd.DataFrame) -> pd.DataFrame:
    """The method and liquid to compare; ``later``: dry steps followed a draining. Other chains are left out."""
    if cooked.empty:
        return cooked.assign(later=False)
    steps = [chain.split(" > ") for chain in cooked["chain"]]
    later = pd.Series([len(chain) > 1 for chain in steps], index=cooked.index)
    dry = pd.Series([chain[0].endswith(":drained") and all(step in DRY for step in chain[1:]) for chain in steps], index=cooked.index)
    first = pd.Series([chain[0].partition(":")[0] for chain in steps], index=cooked.index, dtype="str")
    frame = cooked.assign(later=later, method=cooked["method"].where(~later, first), liquid=cooked["liquid"].where(~later, "drained"))
    return frame[~later | dry]


def _solids_yield(both: pd.DataFrame, values: pd.DataFrame) -> pd.DataFrame:
    """For chains, the yield of the first step: solids are conserved but for what the water dissolves."""
    water = values[(values["component"] == "WATER") & values["value"].notna()].set_index("entry_id")["value"]
    raw, ready = (both[name].map(water).astype("float64") for name in ("raw_entry_id", "cooked_entry_id"))
    ratio = (100 - raw) / (100 - ready)
    chain = both["later"].astype(bool)
    for column, share in (("yield_fraction", 1.0), ("yield_low", SOLIDS_LEFT), ("yield_high", 1.0)):
        both[column] = both[column].where(~chain, ratio * share)
    return both


def _disagreement(line: dict) -> list[dict]:
    by_retention = line["raw"] * line["retention_fraction"]
    by_yield = line["ready"] * line["yield_fraction"]
    if max(by_retention, by_yield) < TWO_ROUTE_FLOOR[line["component"]]:
        return []
    a = (line["raw"] * line["retention_low"], line["raw"] * line["retention_high"])
    b = tuple(by_yield if math.isnan(end) else line["ready"] * end for end in (line["yield_low"], line["yield_high"]))
    difference = abs(by_retention - by_yield) / ((by_retention + by_yield) / 2)
    far, apart = difference > TWO_ROUTE_DIFFERENCE, a[0] > b[1] or b[0] > a[1]
    if not far and not apart:
        return []
    understated = far and by_retention < by_yield and line["component"] in HARMFUL_WHEN_LOW
    what = (f"{line['text']!r}: {line['component']} per 100 g raw is {plain(by_retention)} {line['unit']} by retention "
            f"({plain(a[0])} to {plain(a[1])}) and {plain(by_yield)} {line['unit']} from the cooked entry {line['cooked_entry_id']} "
            f"({plain(b[0])} to {plain(b[1])}): they differ by {plain(100 * difference)} %")
    return [finding("two-routes", line["recipe_id"], line["variant_id"], (str(line["line_no"]), line["component"], line["cooked_entry_id"]),
                    WARNING if far and apart or understated else NOTE, what,
                    "Compare the retention factor and the yield with the cooked entry, and correct the one that is wrong",
                    component=line["component"], line_no=int(line["line_no"]), value=by_retention, expected=b, unit=line["unit"],
                    source_id=line["source_id"])]
