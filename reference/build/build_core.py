"""Builds the curated core from the curated list and a Standard Reference release.

    python reference/build/build_core.py PATH_TO_ZIP_OR_FOLDER [OUTPUT_FOLDER]

Reads ``reference/build/core_foods.csv`` (which foods, their everyday names, state and cooking
class, written by hand), ``assumed_zeros.csv`` beside it and ``reference/components.csv``; writes ``entries.csv`` and
``values.csv`` into ``reference/composition/core`` (or OUTPUT_FOLDER). The same inputs give
the same bytes.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pandas as pd

REFERENCE = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(REFERENCE.parent))

from pipeline.composition.usda_sr import read_release  # noqa: E402
from pipeline.problems import InputError, Problem  # noqa: E402
from pipeline.tables import Entries, Values, columns  # noqa: E402

LIST = REFERENCE / "build" / "core_foods.csv"
ASSUMED_ZEROS = REFERENCE / "build" / "assumed_zeros.csv"
LIST_COLUMNS = ["entry_id", "common_names", "state", "cooking_class", "note"]


def read_list(path: Path = LIST) -> pd.DataFrame:
    """The curated list as text columns. Raises :class:`InputError` where two foods share an
    id, or a name in the same state, or a row has no name."""
    foods = pd.read_csv(path, dtype="str", keep_default_na=False)
    if list(foods.columns) != LIST_COLUMNS:
        raise InputError(_problem("line 1", f"has the columns {list(foods.columns)}", f"Use {LIST_COLUMNS}"))
    names = foods.assign(name=foods["common_names"].str.split("; ")).explode("name")
    problems = [
        *[_problem(row, "is listed twice", "Keep one line") for row in foods.loc[foods["entry_id"].duplicated(), "entry_id"]],
        *[
            _problem(row.entry_id, f"shares the name {row.name!r} with another food in the state {row.state!r}", "Leave the name with one of them")
            for row in names[names.duplicated(["state", "name"])].itertuples(index=False)
        ],
        *[_problem(row, "has no common name", "Write one") for row in foods.loc[foods["common_names"] == "", "entry_id"]],
    ]
    if problems:
        raise InputError(problems)
    return foods


def assume_zeros(values: pd.DataFrame, entries: pd.DataFrame, rules: pd.DataFrame) -> pd.DataFrame:
    """``values`` with the missing ones that a written rule makes an assumed zero (no alcohol in a
    leek), as type ``zero`` with the rule's source. Compilers call them logical zeros. A value
    that the release gives is never touched."""
    classes = values["entry_id"].map(entries.set_index("entry_id")["cooking_class"])
    keys = pd.Series(list(zip(values["component"], classes, strict=True)), index=values.index)
    sources = dict(zip(zip(rules["component"], rules["cooking_class"], strict=True), rules["source_id"], strict=True))
    chosen = (values["value_type"] == "missing") & keys.isin(list(sources))
    filled = values.copy()
    filled.loc[chosen, "value"] = 0.0
    filled.loc[chosen, "value_type"] = "zero"
    filled.loc[chosen, "derivation"] = "assumed"
    filled.loc[chosen, "source_id"] = keys[chosen].map(sources)
    filled.loc[chosen, "source_row"] = "assumed_zeros.csv, " + values["component"][chosen] + ", " + classes[chosen]
    return filled


def build(release: Path, foods: pd.DataFrame, components: pd.DataFrame, rules: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The entries and values of the listed foods, from the release; sorted by key."""
    entries, values = read_release(release, components)
    unknown = foods.loc[~foods["entry_id"].isin(entries["entry_id"]), "entry_id"]
    if len(unknown):
        raise InputError([_problem(row, "is not in the release", "Correct the number or leave the food out") for row in unknown])
    curated = foods.set_index("entry_id")
    entries = entries[entries["entry_id"].isin(curated.index)].reset_index(drop=True)
    for column in ("common_names", "state", "cooking_class"):
        entries[column] = entries["entry_id"].map(curated[column]).astype("str")
    values = values[values["entry_id"].isin(curated.index)].reset_index(drop=True)
    values = assume_zeros(values, entries, rules)
    return Entries.validate(entries)[columns(Entries)], Values.validate(values)[columns(Values)]


def plain(table: pd.DataFrame) -> pd.DataFrame:
    """Numbers as the shortest plain decimals ("16", "0.074"), unknown ones empty."""
    return table.apply(lambda column: column.map(_decimal) if column.dtype == "float64" else column)


def _decimal(number: float) -> str:
    if pd.isna(number):
        return ""
    return f"{number:.10f}".rstrip("0").rstrip(".")


def _problem(place: str, what: str, remedy: str) -> Problem:
    return Problem(where=f"{LIST.name} {place}", what=what, remedy=remedy, code="core-list", stage="tables")


def main(arguments: list[str]) -> int:
    if len(arguments) not in (1, 2):
        print(__doc__, file=sys.stderr)
        return 2
    output = Path(arguments[1]) if len(arguments) == 2 else REFERENCE / "composition" / "core"
    try:
        components = pd.read_csv(REFERENCE / "components.csv", dtype="str", keep_default_na=False)
        rules = pd.read_csv(ASSUMED_ZEROS, dtype="str", keep_default_na=False)
        entries, values = build(Path(arguments[0]), read_list(), components, rules)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    output.mkdir(parents=True, exist_ok=True)
    plain(entries).to_csv(output / "entries.csv", index=False, lineterminator="\n")
    plain(values).to_csv(output / "values.csv", index=False, lineterminator="\n")
    print(f"{len(entries)} entries and {len(values)} values written to {output}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
