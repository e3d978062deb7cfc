"""Builds ``reference/composition_spread.csv`` from a Standard Reference release.

    python reference/build/build_spread.py PATH_TO_ZIP_OR_FOLDER [OUTPUT_FILE]

How much one sample of a food differs from the next: the coefficient of variation of single
samples, standard error x sqrt(n) / value, taken over every food of a group that has a value
above 0, four samples or more and a published standard error above 0; the median of those. Groups
with fewer than five such foods have no row: the row with an empty group stands in. A row with a
cooking class goes before the group's: it is of a substance, by its standard. The
median is held between 0.03 (no food is more even than that) and 0.60 (a larger one says
that the mean is no guide).
"""

from __future__ import annotations

import sys
from pathlib import Path

import pandas as pd

REFERENCE = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(REFERENCE.parent))

from pipeline.composition.usda_sr import read_release  # noqa: E402
from pipeline.problems import InputError  # noqa: E402

FLOOR, CAP = 0.03, 0.60
FEWEST_SAMPLES, FEWEST_FOODS = 4, 5
# Energy is computed, so it has no standard error of its own: it takes the spread of the
# component that carries most of it in mixed foods.
STAND_INS = {"ENERC": "FAT"}
# A substance is not as uneven as the foods of its group: component, cooking class, coefficient, source, what it rests on.
SUBSTANCES = (("NA", "salt", 0.015, "codex-cxs-150", "food grade salt is at least 97 % sodium chloride in its dry matter; from there to pure, and some moisture"),)


def spread(entries: pd.DataFrame, values: pd.DataFrame) -> pd.DataFrame:
    """Columns component, food_group, cooking_class, coefficient_of_variation, n_entries, source_id, source_row."""
    group = values["entry_id"].map(entries.set_index("entry_id")["food_group"]).astype("str")
    usable = (values["n"] >= FEWEST_SAMPLES) & (values["value"] > 0) & (values["standard_error"] > 0)
    sampled = values.assign(food_group=group)[usable].drop_duplicates(["entry_id", "component"])
    sampled = sampled.assign(cv=sampled["standard_error"] * sampled["n"] ** 0.5 / sampled["value"])
    everywhere = sampled.assign(food_group="")
    both = pd.concat([sampled, everywhere])
    found = both.groupby(["component", "food_group"])["cv"].agg(["median", "size"]).reset_index()
    found = found[(found["size"] >= FEWEST_FOODS) | (found["food_group"] == "")]
    rows = pd.DataFrame({
        "component": found["component"],
        "food_group": found["food_group"],
        "cooking_class": "",
        "coefficient_of_variation": found["median"].clip(FLOOR, CAP).round(3),
        "n_entries": found["size"],
        "source_id": "usda-sr26",
        "source_row": "median of standard error x sqrt(n) / value over the foods with n >= 4; held between 0.03 and 0.60",
    })
    for component, other in STAND_INS.items():
        stand_in = rows[(rows["component"] == other) & (rows["food_group"] == "")]
        stand_in = stand_in.assign(component=component, source_row=f"as {other}: computed values have no standard error")
        rows = pd.concat([rows[rows["component"] != component], stand_in])
    substances = pd.DataFrame([{"component": component, "food_group": "", "cooking_class": name, "coefficient_of_variation": coefficient,
                                "source_id": source, "source_row": words} for component, name, coefficient, source, words in SUBSTANCES])
    rows = pd.concat([rows, substances]).astype({"n_entries": "Int64"})
    return rows.sort_values(["component", "food_group", "cooking_class"], ignore_index=True)


def main(arguments: list[str]) -> int:
    if len(arguments) not in (1, 2):
        print(__doc__, file=sys.stderr)
        return 2
    output = Path(arguments[1]) if len(arguments) == 2 else REFERENCE / "composition_spread.csv"
    try:
        components = pd.read_csv(REFERENCE / "components.csv", dtype="str", keep_default_na=False)
        rows = spread(*read_release(Path(arguments[0]), components))
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    rows.to_csv(output, index=False, lineterminator="\n")
    print(f"{len(rows)} rows written to {output}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
