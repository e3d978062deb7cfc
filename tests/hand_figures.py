"""Small tables written by hand for the tests of judge and audit. Invented numbers."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pandas as pd

from pipeline import policy, sources, tables
from pipeline.stages import judge

REFERENCE = Path(__file__).resolve().parents[1] / "reference"
DEMO_POLICY = REFERENCE / "limits" / "tern-bay-demo.toml"
UNITS = {
    "ENERC": ("kJ", "kcal"), "WATER": "g", "PROCNT": "g", "FAT": "g", "FASAT": "g", "FATRN": "g", "FAMS": "g", "FAPU": "g",
    "CHOCDF": "g", "CHOAVLDF": "g", "SUGAR": "g", "FIBTG": "g", "ALC": "g", "NACL": "g", "NA": "mg", "K": "mg", "P": "mg", "CA": "mg",
    "MG": "mg", "FE": "mg", "ZN": "mg", "VITC": "mg", "THIA": "mg", "RIBF": "mg", "NIA": "mg", "VITB6A": "mg", "FOL": "ug", "VITB12": "ug",
    "F18D3N3": "g", "F20D5N3": "g", "F22D6N3": "g",
}
COMPONENTS = pd.DataFrame(
    [(component, unit) for component, units in UNITS.items() for unit in ([units] if isinstance(units, str) else units)],
    columns=["component", "unit"])


@lru_cache(maxsize=None)
def reference_file(name: str) -> pd.DataFrame:
    """A file of reference/ as the pipeline reads it."""
    return sources.read_csv(REFERENCE / f"{name}.csv", *sources.FILES[name])


def figure(component, value, low=None, high=None, *, basis="100g", unit="", coverage=1.0, status="ready", reason="", variant="base"):
    """One row of Figures for recipe ``dish``; exact where no interval is given; ``None`` = withheld."""
    unit = unit or UNITS[component]
    withheld = value is None
    number = float("nan") if withheld else float(value)
    ends = [float("nan")] * 2 if withheld else [number if low is None else low, number if high is None else high]
    status = "withheld" if withheld else status
    return {
        "figure_id": f"dish/{variant}/{component}-{unit}/{basis}", "recipe_id": "dish", "variant_id": variant, "component": component,
        "basis": basis, "value": number, "low": ends[0], "high": ends[1], "unit": unit, "coverage": coverage, "confidence": 0.9,
        "status": status, "reason": reason or ("" if status == "ready" else "line 3 'a glug of something': no match"),
    }


def figures(*rows) -> pd.DataFrame:
    """Figures from rows of :func:`figure`, unchecked: the audit has to see what the model would refuse."""
    return pd.DataFrame(list(rows), columns=tables.columns(tables.Figures))


@lru_cache(maxsize=None)
def recipes(food_form="solid", course="main", portions=4.0) -> pd.DataFrame:
    """One recipe, ``dish``."""
    row = ("dish", "A dish", portions, "uk", food_form, float("nan"), course, "dish.yaml", 1)
    return tables.checked(tables.Recipes, pd.DataFrame([row], columns=tables.columns(tables.Recipes)), "test")


@lru_cache(maxsize=None)
def variants(portions=4.0, ids=("base",)) -> pd.DataFrame:
    """Variants of ``dish``."""
    rows = [("dish", one, "", "base" if one == "base" else "written", portions) for one in ids]
    return tables.checked(tables.Variants, pd.DataFrame(rows, columns=tables.columns(tables.Variants)), "test")


@lru_cache(maxsize=None)
def demo_policy() -> policy.Policy:
    """The demo policy."""
    return policy.load_policy(DEMO_POLICY, COMPONENTS)


def verdicts(rows, food_form="solid", course="main", claims=None, local=None) -> pd.DataFrame:
    """The verdicts on the figures in ``rows``, indexed by (audience, claim)."""
    found, _ = judge.judge(
        figures(*rows), recipes(food_form, course), variants(), reference_file("claims") if claims is None else claims,
        reference_file("nutrient_reference_values"), local or demo_policy(), reference_file("energy_factors"))
    return found.set_index(["audience", "claim"])


def verdict(claim, rows, audience="general", **given) -> pd.Series:
    """One verdict on the figures in ``rows``; only this claim is judged, which is quicker."""
    claims = reference_file("claims")
    return verdicts(rows, claims=claims[claims["claim_id"] == claim], **given).loc[(audience, claim)]


def each_verdict(claim, cases, **given) -> list[str]:
    """The verdict of a regulated claim on every case (a list of figures each), judged in one go."""
    return [row["verdict"] for row in each_row(claim, cases, **given)]


def each_row(claim, cases, food_form="solid", course="main", local=None, audience="general") -> list[dict]:
    """As :func:`each_verdict`, with the whole rows; of several claims or audiences when lists are given."""
    wanted, audiences = ([one] if isinstance(one, str) else one for one in (claim, audience))
    ids = [f"case-{number}" for number in range(len(cases))]
    rows = [{**row, "variant_id": one, "figure_id": f"{one}/{row['figure_id']}"} for one, case in zip(ids, cases) for row in case]
    claims = reference_file("claims")
    found, _ = judge.judge(
        figures(*rows), recipes(food_form, course), variants(ids=tuple(ids)), claims[claims["claim_id"].isin(wanted)],
        reference_file("nutrient_reference_values"), local or demo_policy(), reference_file("energy_factors"))
    found = found[found["claim"].isin(wanted) & found["audience"].isin(audiences)]
    return found.set_index("variant_id", drop=False).loc[ids].to_dict("records")
