"""How near the cooking model comes to measured cooked foods, through the real pipeline.

    python tests/benchmarks/measured_foods.py            the half kept for reporting, then the shares of both halves by class
    python tests/benchmarks/measured_foods.py --tune     the other half, on which factors may be tuned
    python tests/benchmarks/measured_foods.py --worst 5  also the worst misses of potassium by class

USDA SR26 (published) has many foods both raw and cooked. Each pair becomes a recipe of 100 g of the raw food
with one sentence of method; weighing, cooking and totals run as always, and the figure per 100 g of the dish
is compared with the measured value of the cooked entry. Beside it two plain alternatives: the raw value as it
is, and a textbook retention with the yield 0.9. Halves by the MD5 of the raw entry's name. Needs the table
``usda-sr26`` (``potash tables import``). Only reports.

The share inside the interval must be 0.85 to 0.95 by class of foods; it is also shown by kind of cooking within the classes.
Boiled potatoes of the table are peeled and have no raw entry of their own: they stand against white potatoes, flesh and skin.
Beside the share stand what it would be with other foods of the class (90 % of DRAWS samples of its foods, drawn with
replacement: the values of a food miss together, and a class of four foods says little), and the share of the values that
were analysed raw and cooked: many others of SR26 are calculated, meat and fish often the cooked value from the raw one,
and such a pair agrees better than two samples do.

Interval score of a 90 % interval: its width plus 20 times the distance of a measured value outside it
(Gneiting and Raftery 2007, from memory), here over the measured value, so that foods can be compared.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import numpy as np
import pandas as pd

from pipeline import decisions, sources, steps
from pipeline.composition.load import load_table
from pipeline.stages.ingest import ingest

# Fat is shown by kind of food and left out of the shares: lean poultry takes up fat of the skin that is no part of its raw entry.
BESIDE = "FAT"
COMPONENTS = ("K", "P", "NA", "CA", "MG", "VITC", "THIA", "FOL", "PROCNT", "FAT")
# Textbook retention: minerals of boiled and drained food keep 0.9, potassium 0.85, vitamin C 0.55 and so on (from memory).
TEXTBOOK = {"K": 0.85, "P": 0.9, "NA": 0.9, "CA": 0.95, "MG": 0.9, "VITC": 0.55, "THIA": 0.75, "FOL": 0.65, "PROCNT": 1.0, "FAT": 1.0}
TEXTBOOK_YIELD = 0.9
WANTED = (0.85, 0.95)
DRAWS, SEED = 2000, 1
# Below this the table's own rounding is most of the difference (per 100 g, the component's unit).
FLOOR = {"K": 10, "P": 5, "NA": 5, "CA": 3, "MG": 3, "VITC": 1, "THIA": 0.02, "FOL": 3, "PROCNT": 0.5, "FAT": 1}


class Kind(NamedTuple):
    """How a cooked entry's name follows from the raw one's, and the sentence a cook would write.

    ``food_class`` is the class whose share must lie in WANTED, ``label`` the kind of cooking within it.
    """

    food_class: str
    label: str
    cooked: str
    raw: str
    method: str
    of: tuple[str, ...] = ()


BOIL = "Boil the {food} in plenty of water until tender, then drain."
ABSORB = "Simmer the {food} in water until all of it is absorbed."
BAKE = "Bake the {food} for 45 minutes."
BRAISE = "Simmer the {food} in water for 90 minutes, then drain."
VEGETABLES, PULSES, GRAINS = ("Vegetables and Vegetable Products",), ("Legumes and Legume Products",), ("Cereal Grains and Pasta",)
SEA, POULTRY, MEAT = ("Finfish and Shellfish Products",), ("Poultry Products",), ("Beef Products", "Pork Products", "Lamb, Veal, and Game Products")
PASTA = ("macaroni", "spaghetti", "pasta", "noodles", "rice noodles")
# A food of these names is no vegetable, and one of PASTA no grain: it is boiled and drained.
POTATOES = ("potatoes", "sweet potato")
KINDS = (
    Kind("potatoes", "potatoes boiled", "potatoes, boiled, cooked without skin, flesh, without salt", "potatoes, white, flesh and skin, raw", BOIL),
    Kind("potatoes", "potatoes boiled", "potatoes, boiled, cooked in skin, flesh, without salt", "potatoes, white, flesh and skin, raw",
         "Boil the {food} whole in their skins until tender, then drain."),
    Kind("potatoes", "potatoes boiled", "sweet potato, cooked, boiled, without skin", "sweet potato, raw, unprepared", BOIL),
    Kind("potatoes", "potatoes boiled", "potatoes, frozen, whole, cooked, boiled, drained, without salt", "potatoes, frozen, whole, unprepared", BOIL),
    Kind("potatoes", "potatoes baked", "sweet potato, cooked, baked in skin, flesh, without salt", "sweet potato, raw, unprepared", BAKE),
    Kind("potatoes", "potatoes baked", ", flesh and skin, baked", ", flesh and skin, raw", BAKE, VEGETABLES),
    Kind("potatoes", "chips baked", ", frozen, oven-heated", ", frozen, as purchased", "Bake the {food} for 20 minutes.", VEGETABLES),
    Kind("vegetables", "vegetables boiled", ", cooked, boiled, drained, without salt", ", raw", BOIL, VEGETABLES),
    Kind("vegetables", "frozen vegetables boiled", ", cooked, boiled, drained, without salt", ", unprepared", BOIL, VEGETABLES),
    Kind("pulses", "pulses boiled", ", cooked, boiled, without salt", ", raw", "Boil the {food} in plenty of water for 60 minutes, then drain.", PULSES),
    Kind("pasta", "pasta boiled", ", cooked", ", dry", BOIL, GRAINS),
    Kind("pasta", "pasta boiled", ", cooked, enriched", ", dry, enriched", BOIL),
    Kind("pasta", "pasta boiled", ", cooked, unenriched", ", dry, unenriched", BOIL),
    Kind("pasta", "pasta boiled", ", cooked, enriched, without added salt", ", dry, enriched", BOIL),
    Kind("pasta", "pasta boiled", ", cooked, unenriched, without added salt", ", dry, unenriched", BOIL),
    Kind("pasta", "pasta boiled", ", cooked, enriched, (n x 5.70)", ", dry, enriched, (n x 5.70)", BOIL),
    Kind("pasta", "pasta boiled", ", cooked, enriched, (n x 6.25)", ", dry, enriched, (n x 6.25)", BOIL),
    Kind("pasta", "pasta boiled", ", cooked, enriched (n x 5.70)", ", dry, enriched (n x 5.70)", BOIL),
    Kind("pasta", "pasta boiled", ", cooked, enriched (n x 6.25)", ", dry, enriched (n x 6.25)", BOIL),
    Kind("pasta", "pasta boiled", ", cooked", ", as purchased", BOIL, GRAINS),
    Kind("rice and grains", "rice and grains", ", cooked", ", raw", ABSORB, GRAINS),
    Kind("rice and grains", "rice and grains", ", cooked", ", dry", ABSORB, GRAINS),
    Kind("rice and grains", "rice and grains", ", cooked", ", uncooked", ABSORB, GRAINS),
    Kind("rice and grains", "rice and grains", ", regular, cooked, enriched", ", regular, raw, enriched", ABSORB),
    Kind("rice and grains", "rice and grains", ", regular, cooked, unenriched, without salt", ", regular, raw, unenriched", ABSORB),
    Kind("rice and grains", "rice and grains", ", cooked", ", raw, enriched", ABSORB, GRAINS),
    Kind("rice and grains", "rice and grains", ", cooked, unenriched", ", raw, unenriched", ABSORB, GRAINS),
    Kind("fish", "fish baked", ", cooked, dry heat", ", raw", "Bake the {food} for 15 minutes.", SEA),
    Kind("fish", "fish and shellfish in water", ", cooked, moist heat", ", raw", "Boil the {food} for 5 minutes, then drain.", SEA),
    Kind("meat", "poultry roasted", ", cooked, roasted", ", raw", "Roast the {food} for 40 minutes.", POULTRY),
    Kind("meat", "poultry in water", ", cooked, stewed", ", raw", BRAISE, POULTRY),
    Kind("meat", "poultry in water", ", cooked, braised", ", raw", BRAISE, POULTRY),
    Kind("meat", "meat roasted", ", cooked, roasted", ", raw", "Roast the {food} for 60 minutes.", MEAT),
    Kind("meat", "meat grilled", ", cooked, broiled", ", raw", "Grill the {food} for 10 minutes.", MEAT),
    Kind("meat", "meat grilled", ", cooked, grilled", ", raw", "Grill the {food} for 10 minutes.", MEAT),
    Kind("meat", "meat fried", ", cooked, pan-fried", ", raw", "Fry the {food} for 8 minutes.", MEAT),
    Kind("meat", "meat in water", ", cooked, braised", ", raw", BRAISE, MEAT),
)


def is_of(kind: Kind, name: str, food_group: str) -> bool:
    """Whether a cooked entry, by its name and group, is one of the kind's foods."""
    if name.startswith(("fast foods", "babyfood")) or (kind.of and food_group not in kind.of):
        return False
    if kind.food_class in ("vegetables", "potatoes"):
        return name.startswith(POTATOES) == (kind.food_class == "potatoes")
    if kind.food_class in ("pasta", "rice and grains"):
        return name.startswith(PASTA) == (kind.food_class == "pasta")
    return True


def pairs(entries: pd.DataFrame) -> pd.DataFrame:
    """raw_id, cooked_id, name, food_class, label, method: one row per food that the table has both ways."""
    names = entries["name"].str.lower()
    ids, groups = dict(zip(names, entries["entry_id"], strict=True)), dict(zip(names, entries["food_group"], strict=True))
    written = dict(zip(entries["entry_id"], entries["name"], strict=True))
    found = []
    for kind in KINDS:
        for name, entry_id in ids.items():
            raw = name[:-len(kind.cooked)] + kind.raw if name.endswith(kind.cooked) else ""
            if raw in ids and is_of(kind, name, groups[name]):
                found.append((ids[raw], entry_id, written[ids[raw]], kind.food_class, kind.label, kind.method))
    frame = pd.DataFrame(found, columns=["raw_id", "cooked_id", "name", "food_class", "label", "method"])
    return frame.drop_duplicates(["raw_id", "cooked_id"]).reset_index(drop=True)


def is_tuning(name: str) -> bool:
    """Whether a food belongs to the half on which factors may be tuned."""
    return hashlib.md5(name.encode()).digest()[0] % 2 == 0


def said(name: str) -> str:
    """The food in two words at most, as the line and the sentence say it."""
    return " ".join(reversed([part.split("(")[0].strip() for part in name.split(",")[:2] if "raw" not in part])).lower()


def recipes(chosen: pd.DataFrame, folder: Path) -> None:
    """One recipe file per pair."""
    for number, pair in enumerate(chosen.itertuples(index=False)):
        food = said(pair.name)
        (folder / f"pair-{number:04d}.yaml").write_text(
            f"id: pair-{number:04d}\nname: pair {number}\nportions: 1\ningredients:\n  - \"100 g {food}\"\n"
            f"method:\n  - \"{pair.method.format(food=food)}\"\n", encoding="utf-8")


def predict(chosen: pd.DataFrame, table, reference, mappings) -> pd.DataFrame:
    """The figures per 100 g of every pair's dish: number, component, value, low, high, and the chain that was read."""
    with tempfile.TemporaryDirectory() as folder:
        recipes(chosen, Path(folder))
        read_in = ingest(Path(folder))
    part = {name: getattr(read_in, name) for name in steps.BY_RECIPE}
    read = steps.read(part, mappings)
    number = read["lines"]["recipe_id"].str[-4:].astype(int)
    raw = chosen.loc[number, "raw_id"].to_numpy()
    names = table.entries.set_index("entry_id")["name"]
    matched = {"matched": pd.DataFrame({
        "line_id": read["lines"]["line_id"], "table": table.name, "entry_id": raw, "entry_name": names.loc[raw].to_numpy(),
        "match_confidence": 1.0, "match_outcome": "accepted", "match_reason": "decided", "decision_id": "given"})}
    matched["candidates"] = pd.DataFrame({"line_id": read["lines"]["line_id"], "rank": 1, "entry_id": raw,
                                          "entry_name": names.loc[raw].to_numpy(), "score": 1.0, "probability": 1.0})
    weighed = steps.weigh(read, matched, table.entries, reference)
    cooked = steps.cook(read, matched, weighed, table.entries, mappings, reference, table.values)
    totals = steps.total(read, matched, weighed, cooked, table.entries, table.values, table.name, reference)
    figures = totals["figures"]
    figures = figures[(figures["basis"] == "100g") & figures["component"].isin(COMPONENTS)].copy()
    figures["number"] = figures["recipe_id"].str[-4:].astype(int)
    how = cooked["cooked"].assign(number=cooked["cooked"]["line_id"].str[5:9].astype(int))
    how = how[["number", "cooking_class", "chain", "retention_code", "yield_id", "yield_fraction"]]
    return figures[["number", "component", "value", "low", "high", "status", "reason"]].merge(how, on="number")


def compare(chosen: pd.DataFrame, predicted: pd.DataFrame, table) -> pd.DataFrame:
    """Predicted and measured side by side, with the two plain alternatives; foods below the floor left out."""
    given = table.values[table.values["component"].isin(COMPONENTS)].set_index(["entry_id", "component"])
    values, analysed = given["value"], given["value_type"] == "analysed"
    rows = predicted.merge(chosen.rename_axis("number").reset_index(), on="number")
    rows["measured"] = values.reindex(pd.MultiIndex.from_frame(rows[["cooked_id", "component"]])).to_numpy()
    rows["raw"] = values.reindex(pd.MultiIndex.from_frame(rows[["raw_id", "component"]])).to_numpy()
    rows["analysed"] = np.logical_and.reduce([analysed.reindex(pd.MultiIndex.from_frame(rows[[entry, "component"]]), fill_value=False).to_numpy()
                                              for entry in ("raw_id", "cooked_id")])
    rows = rows.dropna(subset=["measured", "raw", "value"])
    rows = rows[rows["measured"] >= rows["component"].map(FLOOR)].copy()
    rows["textbook"] = rows["raw"] * rows["component"].map(TEXTBOOK) / TEXTBOOK_YIELD
    for name, column in (("error", "value"), ("raw_error", "raw"), ("textbook_error", "textbook")):
        rows[name] = (rows[column] - rows["measured"]).abs() / rows["measured"]
    rows["bias"] = rows["value"] / rows["measured"] - 1
    rows["inside"] = (rows["low"] <= rows["measured"]) & (rows["measured"] <= rows["high"])
    outside = np.maximum(rows["low"] - rows["measured"], 0) + np.maximum(rows["measured"] - rows["high"], 0)
    rows["width"] = (rows["high"] - rows["low"]) / rows["measured"]
    rows["score"] = rows["width"] + 20 * outside / rows["measured"]
    return rows


def table_of(rows: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Number of foods, median absolute errors, median bias, share inside the 90 % interval, width and interval score."""
    grouped = rows.groupby(by, sort=False)
    return grouped.agg(foods=("error", "size"), error=("error", "median"), as_is=("raw_error", "median"), textbook=("textbook_error", "median"),
                       bias=("bias", "median"), inside=("inside", "mean"), width=("width", "median"), score=("score", "mean")).round(3)


def shares(rows: pd.DataFrame, by: str) -> pd.DataFrame:
    """By ``by`` (food_class or label) and overall: foods, values, share inside, its 90 % range over draws of foods, whether it is in WANTED, and the
    share among values analysed both raw and cooked. Fat is left out."""
    rows = rows[rows["component"] != BESIDE]
    generator = np.random.default_rng(SEED)
    found = {}
    for label, here in [*rows.groupby(by, sort=False), ("overall", rows)]:
        foods = here.groupby("name")["inside"].agg(["sum", "size"]).to_numpy()
        drawn = foods[generator.integers(len(foods), size=(DRAWS, len(foods)))].sum(axis=1)
        share, (low, high) = here["inside"].mean(), np.quantile(drawn[:, 0] / drawn[:, 1], (0.05, 0.95))
        both = here[here["analysed"]]
        found[label] = {"foods": len(foods), "values": len(here), "inside": share, "from": low, "to": high,
                        "as wanted": "yes" if WANTED[0] <= share <= WANTED[1] else "no",
                        "analysed": len(both), "inside of these": both["inside"].mean()}
    return pd.DataFrame.from_dict(found, orient="index").round(3)


def main(arguments: list[str]) -> int:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--tune", action="store_true")
    options.add_argument("--worst", type=int, default=0)
    options.add_argument("--csv", type=Path)
    chosen_options = options.parse_args(arguments)
    reference, mappings = sources.load(), decisions.load()
    table = load_table("usda-sr26", reference.sources)
    every = pairs(table.entries)
    tuning = every["name"].map(is_tuning)
    foods = every[tuning].reset_index(drop=True) if chosen_options.tune else every
    compared = compare(foods, predict(foods, table, reference, mappings), table)
    rows = compared if chosen_options.tune else compared[~compared["name"].map(is_tuning)]
    if chosen_options.csv:
        rows.to_csv(chosen_options.csv, index=False)
    pd.set_option("display.width", 200, "display.max_rows", 500, "display.max_columns", 30)
    half = "tuning" if chosen_options.tune else "reporting"
    print(f"{half} half: {rows['number'].nunique()} pairs, {len(rows)} values")
    print(table_of(rows, ["component"]), "\n")
    print(table_of(rows, ["label", "component"]), "\n")
    halves = {half: rows} if chosen_options.tune else {half: rows, "tuning": compared[compared["name"].map(is_tuning)], "both": compared}
    for part, here in halves.items():
        for by, said_by in (("food_class", "class"), ("label", "kind of cooking")):
            print(f"share inside the 90 % interval by {said_by}, {part} half\n{shares(here, by)}\n")
    if chosen_options.worst:
        shown = rows[rows["component"] == "K"].sort_values("score", ascending=False).groupby("label").head(chosen_options.worst)
        print(shown[["label", "name", "chain", "retention_code", "yield_id", "raw", "value", "low", "high", "measured", "score"]])
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
