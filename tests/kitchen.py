"""A small made-up kitchen for tests of totals: tables of every stage, with known answers."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from pipeline import tables
from pipeline.stages import total as total_stage

COMPONENTS = pd.DataFrame(
    [("ENERC", "kJ"), ("ENERC", "kcal"), ("WATER", "g"), ("PROCNT", "g"), ("FAT", "g"), ("CHOCDF", "g"), ("FIBTG", "g"),
     ("ALC", "g"), ("NA", "mg"), ("K", "mg")], columns=["component", "unit"])
# EU 1169/2011 Annex XIV, written out here so that the tests do not read the file under test.
ENERGY = pd.DataFrame(
    [("PROCNT", 17, 4), ("FAT", 37, 9), ("CHOAVLDF", 17, 4), ("FIBTG", 8, 2), ("ALC", 29, 7)],
    columns=["component", "kj_per_g", "kcal_per_g"]).astype({"kj_per_g": float, "kcal_per_g": float})
FLOORS = pd.DataFrame([("FAT", "g", 1.0), ("K", "mg", 100.0)], columns=["component", "unit", "floor"])
RULES = {
    "check_coverage_below": 0.98,
    "coverage_withheld_below": 0.9, "check_confidence_below": 0.7, "check_half_width_above": 0.5,
    "check_assumed_share_above": 0.1, "finished_mass_relative": 0.02,
    "implausible_energy_kj_per_100g": 4070.0, "implausible_mass_g_per_100g": 110.0,
    "implausible_potassium_mg_per_portion": 6000.0,
}


@dataclass(frozen=True)
class SmallReference:
    """The parts of ``reference/`` that the total stage asks for."""

    components: pd.DataFrame
    energy_factors: pd.DataFrame
    composition_spread: pd.DataFrame
    measures: pd.DataFrame
    amount_rules: pd.DataFrame
    densities: pd.DataFrame
    edible_portions: pd.DataFrame
    yields: pd.DataFrame
    retention: pd.DataFrame
    wide_floors: pd.DataFrame

    def rule(self, rule_id: str) -> float:
        return RULES[rule_id]


def reference() -> SmallReference:
    return SmallReference(
        COMPONENTS, ENERGY,
        pd.DataFrame([(name, "", 0.2) for name in COMPONENTS["component"].unique()],
                     columns=["component", "food_group", "coefficient_of_variation"]).assign(cooking_class=""),
        pd.DataFrame({"measure_id": ["glug"], "source_id": ["common-practice"], "spread_source_id": ["common-practice"], "source_row": ["glug"]}),
        pd.DataFrame({"rule_id": ["salt-to-taste"], "source_id": ["common-practice"]}),
        pd.DataFrame({"density_id": ["oil"], "source_id": ["usda-sr26"]}),
        pd.DataFrame({"edible_id": ["leek"], "source_id": ["usda-sr26"]}),
        pd.DataFrame({"yield_id": ["boiled", "raw"], "source_id": ["usda-sr26", "common-practice"]}),
        pd.DataFrame({"retention_code": ["3005", "3005"], "component": ["K", "NA"], "source_id": ["usda-retention-r6"] * 2,
                      "spread_source_id": ["retention-spread-rule"] * 2}),
        FLOORS,
    )


VALUES = {  # per 100 g: WATER, PROCNT, FAT, CHOCDF, FIBTG, ALC, NA, K
    "leek": (83.0, 1.5, 0.3, 14.0, 1.8, 0.0, 20.0, 180.0),
    "oil": (0.0, 0.0, 100.0, 0.0, 0.0, 0.0, 2.0, 1.0),
    "shallot": (80.0, 2.5, 0.1, 17.0, 3.2, 0.0, 12.0, 334.0),
}


def values() -> pd.DataFrame:
    names = [name for name in COMPONENTS["component"].unique() if name != "ENERC"]
    units = COMPONENTS.drop_duplicates("component").set_index("component")["unit"]
    rows = []
    for entry, numbers in VALUES.items():
        for name, number in zip(names, numbers, strict=True):
            rows.append({"entry_id": entry, "component": name, "value": number, "unit": units[name],
                         "value_type": "analysed", "n": 8.0 if entry == "leek" else None,
                         "standard_error": number * 0.05 if entry == "leek" else None, "minimum": None, "maximum": None,
                         "derivation": "A", "source_id": "usda-sr26", "source_row": f"{entry}, {name}"})
    return tables.checked(tables.Values, pd.DataFrame(rows), "test")


def entries() -> pd.DataFrame:
    return pd.DataFrame({"entry_id": list(VALUES), "food_group": "1100", "cooking_class": "", "name": list(VALUES)})


def _line(number, entry, quantity, measure, edible, cooking, confidence=0.95) -> dict:
    q, q_low, q_high = quantity
    measure_id, unit, m, m_low, m_high, density = measure
    edible_id, e, e_low, e_high = edible
    yield_id, y, y_low, y_high = cooking
    mass = q * m * (density or 1.0)
    return {
        "line_id": f"pot/base/{number}", "recipe_id": "pot", "variant_id": "base", "line_no": number, "text": entry,
        "entry_id": entry, "quantity": q, "quantity_low": q_low, "quantity_high": q_high, "measure_id": measure_id,
        "measure_value": m, "measure_low": m_low, "measure_high": m_high, "measure_unit": unit,
        "density_id": "oil" if density else "", "density_g_per_ml": density, "density_low": density and density * 0.97,
        "density_high": density and density * 1.03, "mass_g": mass, "edible_id": edible_id, "edible_fraction": e,
        "edible_low": e_low, "edible_high": e_high, "edible_g": mass * e, "yield_id": yield_id, "yield_fraction": y,
        "yield_low": y_low, "yield_high": y_high, "cooked_g": mass * e * y, "confidence": confidence, "assumption": "",
        "counted": True, "outcome": "accepted", "reason": "settled",
    }


def lines() -> pd.DataFrame:
    return pd.DataFrame([
        _line(1, "leek", (2.0, 1.9, 2.1), ("leek-medium", "g", 150.0, 100.0, 210.0, None), ("leek", 0.44, 0.38, 0.50),
              ("boiled", 0.92, 0.85, 0.99)),
        _line(2, "leek", (100.0, 98.0, 102.0), ("gram", "g", 1.0, 1.0, 1.0, None), ("", 1.0, 1.0, 1.0), ("raw", 1.0, 1.0, 1.0)),
        _line(3, "oil", (1.0, 1.0, 1.0), ("glug", "ml", 10.0, 6.0, 15.0, 0.92), ("", 1.0, 1.0, 1.0), ("raw", 1.0, 1.0, 1.0)),
    ])


def candidates() -> pd.DataFrame:
    return pd.DataFrame({"line_id": ["pot/base/1", "pot/base/1"], "rank": [1, 2], "entry_id": ["leek", "shallot"],
                         "entry_name": ["leek", "shallot"], "score": [0.9, 0.2], "probability": [0.92, 0.05]})


def retentions() -> pd.DataFrame:
    rows = [("pot/base/1", name, "3005", 0.85, 0.73, 0.97) for name in ("K", "NA")]
    return pd.DataFrame(rows, columns=["line_id", "component", "retention_id", "retention_fraction", "retention_low",
                                       "retention_high"])


def recipes(finished_mass_g=None) -> pd.DataFrame:
    return pd.DataFrame({"recipe_id": ["pot"], "finished_mass_g": [finished_mass_g], "source_file": ["pot.yaml"]}).astype(
        {"finished_mass_g": float})


def variants() -> pd.DataFrame:
    return pd.DataFrame({"recipe_id": ["pot"], "variant_id": ["base"], "portions": [4.0], "kind": ["base"]})


def totals(line_table=None, value_table=None, finished_mass_g=None) -> dict[str, pd.DataFrame]:
    """The total stage's output for the small kitchen, with one part exchanged where given."""
    here = lines() if line_table is None else line_table
    weighed = here[["line_id", "assumption", *(name for name in tables.columns(tables.Weighed) if name in here.columns
                                               and name not in ("line_id", "assumption"))]]
    cooked = here[["line_id", "yield_id", "yield_fraction", "yield_low", "yield_high"]]
    return total_stage.total(here, weighed, cooked, retentions(), candidates(), variants(), recipes(finished_mass_g), entries(),
                             values() if value_table is None else value_table, reference(), "test")
