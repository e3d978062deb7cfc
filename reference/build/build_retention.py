"""Builds reference/retention.csv: the rows of USDA retention release 6 that
reference/retention_rules.csv uses, and the project's own rows.

Run from the checkout: ``python reference/build/build_retention.py [DATA FOLDER]`` (the
folder that holds usda-retention-r6.csv; by default ``shared/data`` beside the checkout).

Release 6 gives no spread. Ours, source ``retention-spread-rule`` (common practice): 90 %
intervals of +-0.12 for minerals where liquid was lost, +-0.05 where not, +-0.15 for
vitamins and +-0.15 for alcohol, cut off at 0 and 1.
"""

from __future__ import annotations

import csv
import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
COLUMNS = ["retention_code", "component", "retention_fraction", "low", "high", "source_id", "source_row", "spread_source_id"]
MINERALS = ("CA", "FE", "MG", "P", "K", "NA", "ZN")
SPREAD_LIQUID_LOST, SPREAD_LIQUID_KEPT, SPREAD_VITAMIN, SPREAD_ALCOHOL = 0.12, 0.05, 0.15, 0.15
ALCOHOL_CODES = ("5001", "5002", "5003", "5004", "5005", "5006", "5007", "5008", "5009", "5010")

# Own rows: code -> (minerals by component, other minerals, vitamins that dissolve in water,
# source, what it is). (value, low, high); wide, because size of piece, water and time differ.
LEACHED_VITAMINS = ("VITC", "THIA", "RIBF", "NIA", "VITB6A", "FOL", "VITB12")
OWN = {
    # Soaking alone loses little potassium: published kitchen studies of cubed and whole tubers, recalled.
    "leach-soak": ({"K": (0.93, 0.75, 1.0)}, (0.97, 0.88, 1.0), (0.92, 0.75, 1.0), "potatoes soaked in cold water, water thrown away"),
    "leach-soak-vegetables": ({"K": (0.95, 0.8, 1.0)}, (0.97, 0.88, 1.0), (0.92, 0.75, 1.0), "vegetables soaked in cold water, water thrown away"),
    "leach-soak-legumes": ({"K": (0.85, 0.65, 0.97)}, (0.93, 0.8, 1.0), (0.9, 0.75, 1.0), "pulses soaked, water thrown away"),
    # A soak and one boiling have no row: their factors are multiplied.
    "leach-double-boil": ({"K": (0.45, 0.22, 0.7), "P": (0.75, 0.55, 0.92), "MG": (0.6, 0.4, 0.85), "NA": (0.5, 0.25, 0.85)}, (0.8, 0.65, 1.0),
                          (0.5, 0.25, 0.8), "cut small, boiled twice in much fresh water, all water thrown away"),
    "leach-double-boil-vegetables": ({"K": (0.55, 0.3, 0.8), "P": (0.75, 0.55, 0.95), "MG": (0.7, 0.5, 0.9), "NA": (0.6, 0.35, 0.9)},
                                     (0.8, 0.65, 1.0), (0.5, 0.25, 0.8), "vegetables boiled twice in fresh water, all water thrown away"),
}
# Boiled once in small pieces and poured off: release 6 says 0.90, kitchen studies of small cubes, recalled,
# say about a half. The value stays that of release 6 (the careful side); the interval spans both.
SMALL_PIECES = ("3005", "3308", "3310", "3455", "3708", "3775")
SMALL_PIECES_LOW = {"K": 0.5, "P": 0.75, "MG": 0.6, "NA": 0.5}
# A part of the whole ingredient: every component alike.
PARTS = {
    "poured-away": (0.0, 0.0, 0.0, "the liquid is poured off: nothing of it is on the plate"),
    "salt-in-poured-water": (0.2, 0.05, 0.6, "salt of the cooking water: what clings to and enters the food"),
    "deep-fat-uptake": (0.12, 0.04, 0.3, "fat for deep frying: what the food takes up of it"),
}


def data_folder(arguments: list[str]) -> Path:
    """The folder of the published table: the argument, POTASH_OUTSIDE_DATA, or shared/data beside a parent."""
    if arguments:
        return Path(arguments[0])
    if os.environ.get("POTASH_OUTSIDE_DATA"):
        return Path(os.environ["POTASH_OUTSIDE_DATA"])
    found = [parent / "shared" / "data" for parent in ROOT.parents if (parent / "shared" / "data").is_dir()]
    if not found:
        sys.exit("usda-retention-r6.csv: no shared/data folder beside the checkout. Give the folder as an argument.")
    return found[0]


def interval(component: str, fraction: float, lost: bool) -> tuple[float, float]:
    """Low and high by the spread rule."""
    if component == "ALC":
        half = SPREAD_ALCOHOL
    elif component in MINERALS:
        half = SPREAD_LIQUID_LOST if lost or fraction < 1 else SPREAD_LIQUID_KEPT
    else:
        half = SPREAD_VITAMIN
    return max(0.0, fraction - half), min(1.0, fraction + half)


def published_rows(path: Path, used: set[str], by_nutrient: dict[str, str]) -> list[list[str]]:
    """The rows of release 6 for the codes in use, in our components and as fractions."""
    rows = []
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            component = by_nutrient.get(row["nutrient_no"])
            code = row["retention_code"]
            if component is None or code not in used or (component == "ALC" and code not in ALCOHOL_CODES):
                continue
            fraction = float(row["retention_percent"]) / 100
            name = row["retention_description"]
            lost = any(word in name for word in ("DRAIN", "DRND", "WO/DRIP"))
            low, high = interval(component, fraction, lost)
            rows.append([code, component, *map(shown, (fraction, low, high)), "usda-retention-r6",
                         f"USDA retention release 6, {code} {name}", "retention-spread-rule"])
    return rows


def small_piece_rows(published: list[list[str]]) -> list[list[str]]:
    """The boiled and drained rows again, for food cut small, with lower ends as recalled."""
    rows = []
    for code, component, value, low, high, _, row, _ in published:
        if code in SMALL_PIECES:
            end = shown(min(float(low), SMALL_PIECES_LOW.get(component, 1.0)))
            rows.append([f"leach-small-{code}", component, value, end, high, "leaching-from-memory",
                         f"cut small: value of {row}; lower end by kitchen studies recalled", "leaching-from-memory"])
    return rows


def own_rows(components: list[str]) -> list[list[str]]:
    """The project's own rows: leaching, parts of an ingredient, conservation of mass, and the assumed factor."""
    rows = []
    for code, (special, minerals, vitamins, words) in OWN.items():
        for component in (*MINERALS, *LEACHED_VITAMINS):
            values = special.get(component, minerals if component in MINERALS else vitamins)
            rows.append([code, component, *map(shown, values), "leaching-from-memory", words, "leaching-from-memory"])
    for code, (value, low, high, words) in PARTS.items():
        for component in components:
            rows.append([code, component, *map(shown, (value, low, high)), "common-practice", words, "common-practice"])
    for component in MINERALS:
        rows.append(["mass-balance", component, "1", "0.97", "1", "mass-balance", "a mineral cannot leave a dish whose liquid is kept",
                     "retention-spread-rule"])
        rows.append(["assumed", component, "1", "0.7", "1", "common-practice", "no factor for this food and method: nothing taken off",
                     "retention-spread-rule"])
    for component in LEACHED_VITAMINS:
        rows.append(["assumed", component, "0.85", "0.5", "1", "common-practice", "no factor for this food and method: assumed",
                     "retention-spread-rule"])
    return rows


def shown(number: float) -> str:
    """A plain decimal."""
    return f"{round(number, 4):g}"


def main(arguments: list[str]) -> None:
    """Write reference/retention.csv."""
    with (ROOT / "reference" / "components.csv").open(encoding="utf-8", newline="") as file:
        described = list(csv.DictReader(file))
    by_nutrient = {row["retention_nutrient"]: row["component"] for row in described if row["retention_nutrient"]}
    components = sorted({row["component"] for row in described} - {"ENERC", "WATER"})
    with (ROOT / "reference" / "retention_rules.csv").open(encoding="utf-8", newline="") as file:
        used = {row["retention_code"] for row in csv.DictReader(file)}
    published = published_rows(data_folder(arguments) / "usda-retention-r6.csv", used, by_nutrient)
    rows = published + small_piece_rows(published) + own_rows(components)
    missing = used - {row[0] for row in rows}
    if missing:
        sys.exit(f"retention_rules.csv names codes that no table has: {', '.join(sorted(missing))}. Correct the rules.")
    with (ROOT / "reference" / "retention.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(sorted(rows))


if __name__ == "__main__":
    main(sys.argv[1:])
