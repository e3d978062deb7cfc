"""How near weighing comes to published household weights that it may not look up.

    python tests/benchmarks/household_weights.py            the half kept for reporting
    python tests/benchmarks/household_weights.py --tune     the other half, on which densities are fitted
    python tests/benchmarks/household_weights.py --worst 5  also the worst misses of each unit

USDA SR26 (published) gives 15,137 household weights. Each one of the produce, dairy, grain and fat groups is
turned into what a cook would write ("cup, chopped" of "Onions, raw" becomes "1 cup chopped onions"), read by
the parser, and weighed as the entry it belongs to, in a kitchen with American cups, without that row. With
``--hide entry`` (the default, and hard) nothing that the table says of this food may answer: what answers is memory, what
other entries say of like foods, and what was fitted to the other half. With ``--hide row`` only the row itself and what is
curated from it are hidden, as when a cook writes a measure that a table lacks. A line that cannot be weighed counts as not inside.

The lines and the halves are those of ``reference/build/household_lines.py``. Needs the table ``usda-sr26``
(``potash tables import``). Only reports.

Interval score of a 90 % interval: its width plus 20 times the distance of a measured value outside it
(Gneiting and Raftery 2007, from memory), here over the published weight, so that foods can be compared.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "reference" / "build")]

import numpy as np
import pandas as pd
from household_lines import is_tuning, lines

from pipeline import decisions, lineage, sources
from pipeline.composition.combine_weigh import weighing
from pipeline.composition.load import load_table
from pipeline.match_bench import listed, parsed_texts
from pipeline.stages import weigh as weigh_stage

CITED = r"USDA SR26, (\d{5})"
BOOKS = {"measures": "measure_id", "densities": "density_id", "edible_portions": "edible_id"}


def cites(rows: pd.DataFrame) -> pd.Series:
    """The entry that each reference row cites; "" where it cites none."""
    return rows["source_row"].str.extract(CITED, expand=False).fillna("")


def weighed(chosen: pd.DataFrame, table, reference, mappings, hide: str, root: Path | None = None) -> pd.DataFrame:
    """Each line with its edible grams, their 90 % interval, and what weighed it.

    ``hide``: ``entry`` (nothing that the table says of the food may answer) or ``row`` (all but the row that the
    line was made from; the table's other measures of the food are there).
    """
    parsed = parsed_texts(chosen["text"].tolist(), mappings)
    rows = _without_entries(parsed, chosen, table, reference) if hide == "entry" else _without_rows(
        parsed, chosen, table, weighing(reference, [table], mappings, root))
    masses = lineage.standard_uncertainty(rows["mass_low_g"], rows["mass_high_g"]) / rows["mass_g"]
    edible = lineage.standard_uncertainty(rows["edible_low"], rows["edible_high"]) / rows["edible_fraction"]
    low, high = lineage.figure_interval(rows["edible_g"], np.hypot(masses, edible) * rows["edible_g"])
    kind = parsed["unit"].mask(parsed["unit"] == "", "piece")
    return chosen.assign(unit=kind, value=rows["edible_g"], low=low, high=high, used=rows["measure_id"], density_id=rows["density_id"],
                         why=rows["weigh_reason"], phrase=parsed["phrase"], preparation=parsed["preparation"])


def _without_entries(parsed: pd.DataFrame, chosen: pd.DataFrame, table, reference) -> pd.DataFrame:
    """Weighed by the curated rows; a line that a row citing its own entry answered, again without all rows that cite this entry."""
    frames = {name: getattr(reference, name) for name in BOOKS}
    rows = _weigh(parsed, chosen, table, reference, frames)
    own = pd.Series(False, index=rows.index)
    for name, column in BOOKS.items():
        own |= rows[column].map(cites(frames[name]).set_axis(frames[name][column])) == chosen["entry_id"]
    for entry_id in chosen.loc[own, "entry_id"].unique():
        mine = chosen["entry_id"] == entry_id
        others = {name: frame[cites(frame) != entry_id] for name, frame in frames.items()}
        rows.loc[mine] = _weigh(parsed[mine], chosen[mine], table, reference, others).set_axis(rows.index[mine])
    return rows


def _without_rows(parsed: pd.DataFrame, chosen: pd.DataFrame, table, reference) -> pd.DataFrame:
    """Weighed with the table's measures, one row of each food hidden at a time (with what is curated from it)."""
    parts = []
    turn = chosen.groupby("entry_id").cumcount()
    for number in sorted(turn.unique()):
        now = turn == number
        hidden = set(chosen.loc[now, "measure_id"]), set(chosen.loc[now, "source_row"])
        frames = {name: getattr(reference, name) for name in BOOKS}
        frames = {name: frame[~frame[column].isin(hidden[0]) & ~frame["source_row"].isin(hidden[1])]
                  for (name, column), frame in zip(BOOKS.items(), frames.values(), strict=True)}
        parts.append(_weigh(parsed[now], chosen[now], table, reference, frames).set_axis(chosen.index[now]))
    return pd.concat(parts).sort_index()


def _weigh(parsed: pd.DataFrame, chosen: pd.DataFrame, table, reference, frames: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """The weigh stage on these lines, with these rows of ``reference/``."""
    matched = pd.DataFrame({"line_id": parsed["line_id"], "entry_id": chosen["entry_id"].to_numpy(), "match_outcome": "accepted",
                            "match_reason": "matched"})
    recipes = pd.DataFrame({"recipe_id": ["input"], "units_system": ["us"]})
    variants = pd.DataFrame({"recipe_id": ["input"], "variant_id": ["base"], "portions": [4.0]})
    lines = listed(chosen["text"].tolist(), "").assign(line_id=parsed["line_id"].to_numpy())
    return weigh_stage.weigh(parsed, matched, lines, recipes, variants, table.entries, **frames,
                             amount_spread=reference.amount_spread, amount_rules=reference.amount_rules)[0]


def compare(rows: pd.DataFrame) -> pd.DataFrame:
    """With ``inside``, ``log_error``, ``width`` (high over low) and ``score``; a line without a weight is not inside."""
    outside = np.maximum(rows["low"] - rows["grams"], 0) + np.maximum(rows["grams"] - rows["high"], 0)
    return rows.assign(
        inside=(rows["low"] <= rows["grams"]) & (rows["grams"] <= rows["high"]), log_error=np.log(rows["value"] / rows["grams"]).abs(),
        width=rows["high"] / rows["low"], score=(rows["high"] - rows["low"] + 20 * outside) / rows["grams"], weighed=rows["value"].notna())


def table_of(rows: pd.DataFrame, by: str) -> pd.DataFrame:
    """Lines, share weighed, share inside (of all), share inside of the weighed, median log error, width, mean score."""
    grouped = rows.groupby(by)
    told = grouped.agg(lines=("inside", "size"), weighed=("weighed", "mean"), inside=("inside", "mean"), log_error=("log_error", "median"),
                       width=("width", "median"), score=("score", "mean"))
    return told.assign(inside_weighed=told["inside"] / told["weighed"]).sort_values("lines", ascending=False).round(3)


def measured(hide: str, tuning: bool = False, root: Path | None = None) -> tuple[pd.DataFrame, pd.Series]:
    """The compared lines of one half, and how many weights of both halves were left out, by reason."""
    reference, mappings = sources.load(root), decisions.load(root)
    table = load_table("usda-sr26", reference.sources, root)
    every, left_out = lines(table, root)
    chosen = every[every["entry_id"].map(is_tuning) == tuning].reset_index(drop=True)
    return compare(weighed(chosen, table, reference, mappings, hide, root)), left_out


def main(arguments: list[str]) -> int:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--tune", action="store_true")
    options.add_argument("--hide", choices=("entry", "row"), default="entry")
    options.add_argument("--worst", type=int, default=0)
    options.add_argument("--csv", type=Path)
    asked = options.parse_args(arguments)
    rows, left_out = measured(asked.hide, asked.tune)
    if asked.csv:
        rows.to_csv(asked.csv, index=False)
    pd.set_option("display.width", 200, "display.max_rows", 500, "display.max_columns", 30, "display.max_colwidth", 60)
    print(f"{'tuning' if asked.tune else 'reporting'} half: {len(rows)} lines of {rows['entry_id'].nunique()} foods; left out of both halves:")
    print(left_out.to_string(), "\n")
    print(table_of(rows, "group"), "\n")
    print(table_of(rows, "unit").query("lines >= 5"), "\n")
    print(table_of(rows.assign(overall="overall"), "overall"))
    if asked.worst:
        shown = rows.sort_values("score", ascending=False, na_position="first").groupby("unit").head(asked.worst)
        print(shown[["text", "what", "grams", "value", "low", "high", "used", "density_id", "why"]].to_string())
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
