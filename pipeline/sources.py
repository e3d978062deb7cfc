"""Loads ``reference/``: every file, every row with a source that exists.

A reference file that lacks a column, holds text where a number belongs, or cites an
unknown source stops the run with the file and row named: a figure must not rest on it.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.problems import InputError, Problem
from pipeline.root import ROOT

STANDINGS = ("published", "common-practice", "from-memory", "invented")

# file -> (text columns, number columns); an order that people read, kept in the files.
FILES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "sources": (("source_id", "citation", "licence", "obtained", "sha256", "standing"), ()),
    "components": (
        ("component", "name", "unit", "source_nutrient", "retention_nutrient", "source_id"), ("order",)),
    "composition_spread": (
        ("component", "food_group", "cooking_class", "source_id", "source_row"), ("coefficient_of_variation", "n_entries")),
    "measures": (
        ("measure_id", "scope", "scope_key", "measure", "size", "preparation", "unit", "basis", "source_id",
         "spread_source_id", "source_row", "note"), ("low", "middle", "high")),
    "edible_portions": (
        ("edible_id", "scope", "scope_key", "refuse", "source_id", "source_row"), ("edible_fraction", "low", "high")),
    "densities": (
        ("density_id", "scope", "scope_key", "source_id", "source_row"), ("density_g_per_ml", "low", "high")),
    "amount_spread": (
        ("spread_id", "kind", "source_id", "source_row", "note"), ("relative_low", "relative_middle", "relative_high")),
    "amount_rules": (
        ("rule_id", "amount_rule", "class", "unit", "per", "source_id", "note"), ("low", "middle", "high")),
    "yields": (
        ("yield_id", "cooking_class", "method", "liquid", "source_id", "source_row"), ("yield_fraction", "low", "high")),
    "retention": (
        ("retention_code", "component", "source_id", "source_row", "spread_source_id"),
        ("retention_fraction", "low", "high")),
    "retention_rules": (
        ("rule_id", "cooking_class", "method", "liquid", "retention_code", "source_id", "note"),
        ("minutes_from", "minutes_to")),
    "energy_factors": (("component", "source_id", "source_row"), ("kj_per_g", "kcal_per_g")),
    "claims": (
        ("claim_id", "claim", "any_of", "component", "food_form", "basis", "comparator", "unit", "source_id",
         "source_row", "note"), ("condition_no", "limit")),
    "nutrient_reference_values": (("component", "unit", "source_id", "source_row"), ("value",)),
    "tolerances": (
        ("component", "unit", "source_id"), ("from_value", "to_value", "tolerance_absolute", "tolerance_relative")),
    "raw_cooked_pairs": (
        ("raw_entry_id", "cooked_entry_id", "method", "liquid", "source_id", "source_row"), ()),
    "match_weights": (("feature", "source_id", "note"), ("weight",)),
    "rules": (("rule_id", "source_id", "note"), ("value",)),
    "wide_floors": (("component", "unit", "source_id", "note"), ("floor",)),
    "allergens": (("food", "scope", "allergen", "level", "named", "source_id", "note"), ()),
    "diets": (("food", "scope", "origin", "vegetarian", "vegan", "source_id", "note"), ()),
    "phosphorus_kinds": (("food", "scope", "kind", "source_id", "note"), ("absorbed_low", "absorbed_high")),
    "additives": (
        ("additive_id", "name", "e_number", "words", "element", "severity", "source_id", "note"), ()),
    "protein_additions": (
        ("addition_id", "line", "method", "courses", "source_id", "note"), ("step_per_portion", "most_per_portion")),
    "rounding": (
        ("rule", "component", "unit", "edge", "text_below", "source_id", "note"), ("from_value", "step", "significant_figures")),
    "added_substances": (("substance", "words", "brings", "component", "source_id", "note"), ("above_per_100g",)),
    "bands": (
        ("component", "food_form", "unit", "source_id", "source_row", "note"),
        ("low_at_most", "high_above", "portion_above_g", "portion_high_above")),
    "cautions": (("caution_id", "text", "audience_of_text"), ()),
}


@dataclass(frozen=True)
class Reference:
    """The reference files as data frames by name, and the SHA-256 of each file read."""

    frames: dict[str, pd.DataFrame]
    hashes: dict[str, str]

    def __getattr__(self, name: str) -> pd.DataFrame:
        if name == "frames" or name not in self.frames:
            raise AttributeError(name)  # "frames" itself is asked for while unpickling
        return self.frames[name]

    def only(self, *names: str) -> Reference:
        """These files alone, so that what a stage is given is what its result depends on."""
        return Reference({name: self.frames[name] for name in names}, {})

    def rule(self, rule_id: str) -> float:
        """A threshold from ``reference/rules.csv``; KeyError when it is not there."""
        return float(self.frames["rules"].set_index("rule_id").at[rule_id, "value"])


def file_sha256(path: Path) -> str:
    """SHA-256 of a file, hexadecimal."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def read_csv(path: Path, text: tuple[str, ...], numbers: tuple[str, ...]) -> pd.DataFrame:
    """A CSV with exactly these columns (any order); text never null, numbers as float.

    Raises :class:`InputError` that names the file, and the row of an unreadable number.
    """
    try:
        frame = pd.read_csv(path, dtype="str", keep_default_na=False, encoding="utf-8")
    except FileNotFoundError:
        raise InputError(Problem(str(path), "is missing", "Restore it from version control", "missing-file")) from None
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise InputError(Problem(str(path), f"cannot be read as CSV ({error})", "Save it as UTF-8 CSV with commas",
                                 "unreadable-file")) from None
    wanted = [*text, *numbers]
    unmatched = sorted(set(wanted) ^ set(frame.columns))
    if unmatched:
        raise InputError(Problem(f"{path}:1", f"columns missing or unknown: {', '.join(unmatched)}",
                                 f"The columns are: {', '.join(wanted)}", "wrong-columns"))
    problems = []
    for column in numbers:
        parsed = pd.to_numeric(frame[column].where(frame[column] != "", None), errors="coerce")
        for row in frame.index[parsed.isna() & (frame[column] != "")]:
            problems.append(Problem(f"{path}:{row + 2}", f"{column} is {frame.at[row, column]!r}",
                                    "Write a number, or leave it empty when unknown", "not-a-number"))
        frame[column] = parsed.astype("float64")
    if problems:
        raise InputError(problems)
    return frame


def load(root: Path | None = None) -> Reference:
    """Everything in ``reference/`` except composition tables, checked.

    Raises :class:`InputError` listing every missing file, column, number and source.
    """
    folder = (root or ROOT) / "reference"
    frames, hashes, problems = {}, {}, []
    for name, (text, numbers) in FILES.items():
        path = folder / f"{name}.csv"
        try:
            frames[name] = read_csv(path, text, numbers)
            hashes[f"reference/{name}.csv"] = file_sha256(path)
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    problems = [*_unknown_standings(folder, frames["sources"]), *_unknown_sources(folder, frames)]
    if problems:
        raise InputError(problems)
    return Reference(frames, hashes)


def _unknown_standings(folder: Path, sources: pd.DataFrame) -> list[Problem]:
    wrong = sources[~sources["standing"].isin(STANDINGS)]
    return [Problem(f"{folder / 'sources.csv'}:{row + 2}", f"standing is {value!r}",
                    f"Use one of: {', '.join(STANDINGS)}", "unknown-standing")
            for row, value in wrong["standing"].items()]


def _unknown_sources(folder: Path, frames: dict[str, pd.DataFrame]) -> list[Problem]:
    known = set(frames["sources"]["source_id"])
    problems = []
    for name, frame in frames.items():
        for column in ("source_id", "spread_source_id"):
            if name == "sources" or column not in frame:
                continue
            for row, value in frame.loc[~frame[column].isin(known), column].items():
                problems.append(Problem(f"{folder / name}.csv:{row + 2}", f"cites the unknown source {value!r}",
                                        "Add the source to reference/sources.csv, or correct the id", "unknown-source"))
    return problems
