"""Fits the densities of classes and heads in ``reference/densities.csv`` to one half of the published household weights.

    python reference/build/build_densities.py [OUTPUT_FILE]      rewrites the rows whose source_row begins with "fitted"

Every cup, spoon, pint and fluid ounce of the tuning half (``household_lines.py``) gives a density. They are pooled by
class, state and cut (``weigh_density.form_of``), and by the last word of the food ("juice", "squash") with its state,
where at least ``FEWEST`` foods agree on it better than their class does. Foods whose names begin alike and whose density
is the same count once: a table that has one food with and without salt has measured it once.

The interval is that of the next food, not of the mean: log-normal, with the spread of the group drawn towards
``PRIOR_SPREAD`` by ``PRIOR_FOODS`` foods (common practice, no source), times sqrt(1 + 1/n). Rows that people
wrote go before fitted ones: a fitted row of the same key is left out. Needs the table ``usda-sr26``.
"""

from __future__ import annotations

import sys
from pathlib import Path

REFERENCE = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(REFERENCE.parent), str(REFERENCE / "build")]

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from household_lines import is_tuning, lines  # noqa: E402

from pipeline import decisions, sources, units  # noqa: E402
from pipeline.composition.load import load_table  # noqa: E402
from pipeline.lineage import Z90  # noqa: E402
from pipeline.match_bench import parsed_texts  # noqa: E402
from pipeline.stages.weigh_density import class_key, form_of  # noqa: E402
from pipeline.stages.weigh_names import food_key  # noqa: E402

FITTED = "fitted"
FEWEST = 3
PRIOR_SPREAD, PRIOR_FOODS = 0.15, 2.0
# A head must be told apart from its class: its spread at most this part of the class's.
SHARPER = 0.7
# Last words of a food's name that say how it lies, whatever stands before them.
HEADS = frozenset({"juice", "nectar", "green", "leaf", "sprout", "cabbage", "squash", "pumpkin", "apple", "turnip", "taro", "pepper", "pea", "bean", "okra", "onion",
                   "mushroom", "berry", "dressing", "mayonnaise", "shortening", "sauce", "paste", "puree", "bran", "germ", "meal", "starch", "topping"})
# Classes whose plain density is one of liquids or powders of all kinds, and says nothing of a state.
SOLID = frozenset({"fruit", "citrus", "dried-fruit", "leafy-greens", "other-vegetables", "roots", "potatoes", "sweet-potatoes", "tomatoes", "mushrooms", "rice",
                   "pasta", "noodles", "grains", "cheese"})


def observed(table, mappings, root: Path | None = None) -> pd.DataFrame:
    """One row per food and form: entry_id, cooking_class, state, cut, head, log density (g/ml)."""
    chosen, _ = lines(table, root)
    chosen = chosen[chosen["entry_id"].map(is_tuning)].reset_index(drop=True)
    parsed = parsed_texts(chosen["text"].tolist(), mappings)
    entries = table.entries.set_index("entry_id").loc[chosen["entry_id"]]
    volume = parsed["unit"].map(units.is_volume)
    millilitres = [units.millilitres_per(unit, "us").middle if units.is_volume(unit) else np.nan for unit in parsed["unit"]]
    quantity = (parsed["quantity_low"] + parsed["quantity_high"]) / 2
    forms = [form_of(phrase, preparation, said or state) for phrase, preparation, said, state
             in zip(parsed["phrase"], parsed["preparation"], parsed["state"], entries["state"], strict=True)]
    frame = pd.DataFrame({
        "entry_id": chosen["entry_id"], "name": entries["name"].to_numpy(), "cooking_class": entries["cooking_class"].to_numpy(),
        "state": [state for state, _ in forms], "cut": [cut for _, cut in forms],
        "head": parsed["phrase"].map(food_key).str.split(" ").str[-1],
        "log": np.log(chosen["grams"] / quantity / millilitres)})[volume]
    frame = frame.groupby(["entry_id", "name", "cooking_class", "state", "cut", "head"], as_index=False)["log"].mean()
    alike = frame["name"].str.split(",").str[:2].str.join(",")
    return frame.assign(alike=alike, rounded=frame["log"].round(2)).drop_duplicates(["alike", "state", "cut", "rounded"])


def fit(group: pd.DataFrame) -> tuple[float, float, float]:
    """(low, middle, high) of the density of the next food of a group, g/ml."""
    count, mean = len(group), group["log"].mean()
    squares = ((group["log"] - mean) ** 2).sum() + PRIOR_FOODS * PRIOR_SPREAD ** 2
    deviation = np.sqrt(squares / (count - 1 + PRIOR_FOODS) * (1 + 1 / count))
    return np.exp(mean - Z90 * deviation), np.exp(mean + deviation ** 2 / 2), np.exp(mean + Z90 * deviation)


def _row(scope: str, key: str, group: pd.DataFrame) -> dict:
    low, middle, high = (round(float(number), 3) for number in fit(group))
    words = key.replace(", ", "-").replace(" ", "-")
    return {"density_id": f"fitted-{scope}-{words}", "scope": scope, "scope_key": key, "density_g_per_ml": middle, "low": low, "high": high,
            "source_id": "usda-sr26", "source_row": f"{FITTED} by reference/build/build_densities.py to {len(group)} foods"}


def fitted(found: pd.DataFrame) -> list[dict]:
    """The rows of classes in their forms, then those of heads that are told apart from their class."""
    rows = []
    solid = found[found["cooking_class"].isin(SOLID) | (found["state"] == "dried")]  # a dried milk is a powder
    for by in (["cooking_class", "state", "cut"], ["cooking_class", "state"], ["cooking_class", "cut"]):
        part = solid[solid["state"] == ""] if by == ["cooking_class", "cut"] else solid
        for key, group in part.groupby(by):
            if len(group) >= FEWEST and all(key):
                rows.append(_row("class", class_key(*key), group))
    for (state, head), group in found[found["head"].isin(HEADS)].groupby(["state", "head"]):
        if len(group) < FEWEST or len(group["alike"].unique()) < FEWEST:
            continue
        same_class = found[found["cooking_class"].isin(group["cooking_class"]) & (found["state"] == state)]
        if group["log"].std() <= SHARPER * same_class["log"].std():
            rows.append(_row("name", f"{state} {head}".strip(), group))
    return rows


def built(root: Path | None = None) -> pd.DataFrame:
    """``reference/densities.csv`` as text, its fitted rows made anew from the table ``usda-sr26`` of a project."""
    kept = pd.read_csv(REFERENCE / "densities.csv", dtype="str", keep_default_na=False)
    kept = kept[~kept["source_row"].str.startswith(FITTED)]
    found = observed(load_table("usda-sr26", sources.load(root).sources, root), decisions.load(root), root)
    rows = pd.DataFrame(fitted(found)).astype({name: "str" for name in ("density_g_per_ml", "low", "high")})
    taken = set(zip(kept["scope"], kept["scope_key"], strict=True))
    rows = rows[[pair not in taken for pair in zip(rows["scope"], rows["scope_key"], strict=True)]]
    return pd.concat([kept, rows])[kept.columns].sort_values("density_id", ignore_index=True)


def main(arguments: list[str]) -> int:
    target = Path(arguments[0]) if arguments else REFERENCE / "densities.csv"
    table = built()
    table.to_csv(target, index=False, lineterminator="\n")
    print(f"{target}: {len(table)} rows, {table['source_row'].str.startswith(FITTED).sum()} of them fitted")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
