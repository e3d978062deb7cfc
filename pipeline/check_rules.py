"""The rules that a release must keep: one row each, in plain words, with the expectation that checks it.

Where a rule looks across tables or at several columns, ``prepared`` works it out for all
rows at once as a column of true and false, and the expectation is that the column is true.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from pipeline.tables import BASES, OUTCOMES, STATUSES, VERDICTS

# The tables that the rules read, and the columns that name a row to a person.
NAMED_BY: dict[str, tuple[str, ...]] = {
    "figures": ("figure_id",),
    "source_lines": ("line_id",),
    "lines": ("line_id",),
    "contributions": ("line_id", "component"),
    "recipes": ("recipe_id",),
    "inputs": ("input_id",),
    "verdicts": ("recipe_id", "variant_id", "audience", "claim"),
    "for_print": ("figure_id",),
    "worklist": ("recipe_id", "variant_id", "line_no"),
    "variants": ("recipe_id", "variant_id"),
}

# Room for the ten significant digits that a release is written with.
RELATIVE_TOLERANCE = 1e-6
# Not a limit for anybody: no portion of a dish holds as much, so a larger figure is a mistake of unit or amount.
# Common practice, no source.
POTASSIUM_CEILING_MG_PER_PORTION = 6000.0
# No food holds more energy than fat, 37 kJ/g (EU 1169/2011, Annex XIV), or more of anything than its own mass.
# A tenth on top, because yields and retentions are separate measurements.
ENERGY_CEILING_KJ_PER_100G = 3700 * 1.1
MASS_CEILING_G_PER_100G = 100 * 1.1
# EU 1169/2011, Annex XIV: kJ over kcal of the factors lies between 4.0 (fibre, 8/2) and 4.25 (protein, 17/4).
KJ_PER_KCAL = (4.0, 4.25)
# EU 1169/2011, Annex I: salt = sodium x 2.5.
SALT_PER_SODIUM = 2.5

_FIGURE = ["recipe_id", "variant_id", "component", "basis", "unit"]
_GROUP = ["recipe_id", "variant_id", "basis"]


@dataclass(frozen=True)
class Rule:
    """One rule: ``expectation`` is the Great Expectations class, ``arguments`` what it is given.

    ``shown`` are the columns that a message about a row shows.
    """

    check_id: str
    table: str
    words: str
    expectation: str
    arguments: dict[str, Any] = field(hash=False)
    shown: tuple[str, ...] = ()


def rules(components: Iterable[str]) -> list[Rule]:
    """Every rule. ``components`` are the tagnames that a release may hold."""
    known = sorted(set(components))
    return [
        _unique("figures", "figure_id", "Every figure has a name of its own"),
        Rule("figures-one-of-each", "figures",
             "There is one figure per recipe, variant, component, basis and unit", "ExpectCompoundColumnsToBeUnique",
             {"column_list": _FIGURE}, tuple(_FIGURE)),
        _in_set("figures", "component", known, "Every figure is of a known component"),
        _in_set("figures", "basis", BASES, "Every figure is per recipe, per portion or per 100 g"),
        _in_set("figures", "status", STATUSES, "Every figure is ready, to check or withheld"),
        _present("figures", "status", "Every figure has a status"),
        _not_below("figures", "value", "low", "No value is below its interval"),
        _not_below("figures", "high", "value", "No value is above its interval"),
        _between("figures", "value", 0, None, "No figure is negative"),
        _between("figures", "coverage", 0, 1, "Every coverage is between 0 and 1"),
        _between("figures", "confidence", 0, 1, "Every confidence of a figure is between 0 and 1"),
        _true("figures", "finite", "No figure is infinite", "value", "low", "high"),
        _true("figures", "interval", "Every value has both ends of its interval", "value", "low", "high"),
        _true("figures", "withheld-empty", "No withheld figure shows a value or an interval", "value", "low", "high"),
        _true("figures", "shown-has-value", "Every figure that is not withheld has a value", "status", "value"),
        _true("figures", "reason", "Every figure that is not ready says why", "status", "reason"),
        _true("figures", "variant-known", "Every figure is of a variant of the collection", "recipe_id", "variant_id"),
        _true("figures", "potassium-plausible",
              f"No portion has more than {POTASSIUM_CEILING_MG_PER_PORTION:g} mg of potassium", "value", "unit"),
        _true("figures", "energy-plausible",
              f"No 100 g has more than {ENERGY_CEILING_KJ_PER_100G:g} kJ of energy, a tenth above pure fat",
              "value", "unit"),
        _true("figures", "mass-plausible",
              f"No 100 g has more than {MASS_CEILING_G_PER_100G:g} g of one component other than water",
              "value", "unit"),
        _true("figures", "salt", "Salt is 2.5 times sodium", "value", "unit"),
        _true("figures", "energy-units",
              f"Energy in kJ is {KJ_PER_KCAL[0]:g} to {KJ_PER_KCAL[1]:g} times energy in kcal", "value", "unit"),
        _true("figures", "portions", "The recipe is the portion times the number of portions", "value", "unit"),
        _true("figures", "sum", "Each figure of a recipe is the sum of what its lines contribute (water of a weighed dish apart)", "value", "unit"),
        _true("figures", "settled", "No figure is shown of a variant that counts an unsettled line", "status"),
        _true("source_lines", "settled", "Every line that was read in is in the table of lines", "text"),
        _unique("lines", "line_id", "Every line has a name of its own"),
        _true("lines", "known", "Every line was read in, and stands as it was written", "text"),
        _in_set("lines", "outcome", OUTCOMES, "Every line has one of the four outcomes"),
        _present("lines", "outcome", "Every line has an outcome"),
        Rule("lines-reason", "lines", "Every line says why it has its outcome", "ExpectColumnValueLengthsToBeBetween",
             {"column": "reason", "min_value": 1}, ("reason",)),
        _between("lines", "match_confidence", 0, 1, "Every confidence of a match is between 0 and 1"),
        _not_below("lines", "mass_g", "edible_g", "No edible portion is heavier than what was bought"),
        _not_below("lines", "mass_g", "mass_low_g", "No mass is below its interval"),
        _not_below("lines", "mass_high_g", "mass_g", "No mass is above its interval"),
        _true("lines", "accepted-weighed", "Every counted line that was accepted has a food and a mass",
              "entry_id", "edible_g"),
        _true("contributions", "one-of-each", "Each line contributes once to each component", "component", "unit"),
        _true("contributions", "counted", "Only lines that count contribute", "line_id"),
        _true("contributions", "product",
              "Each contribution is edible mass x value per 100 g / 100 x retention", "edible_g", "value_per_100g",
              "retention_fraction", "amount"),
        _true("contributions", "input-known", "Every input that a contribution names is in the table of inputs",
              "composition_input", "match_input", "retention_input"),
        _true("contributions", "retention-plausible",
              "Every retention but that of water, which is a balance, is at most 2", "retention_fraction"),
        _unique("inputs", "input_id", "Every input has a name of its own"),
        _not_below("inputs", "value", "low", "No input is below its interval"),
        _not_below("inputs", "high", "value", "No input is above its interval"),
        Rule("inputs-source", "inputs", "Every input names its source", "ExpectColumnValueLengthsToBeBetween",
             {"column": "source_id", "min_value": 1}, ("source_id",)),
        _in_set("verdicts", "verdict", VERDICTS, "Every verdict is holds, fails, uncertain or not-assessable"),
        _present("verdicts", "verdict", "Every claim has a verdict"),
        _true("verdicts", "one-of-each", "There is one verdict per variant, audience and claim", "verdict"),
        _true("verdicts", "not-on-withheld", "No verdict holds on a withheld figure", "component", "basis"),
        _true("verdicts", "whole", "A verdict that holds has its whole interval on one side of its limit",
              "low", "high", "limit"),
        _true("verdicts", "margin", "A verdict that holds shows a value, and a margin that is not negative",
              "value", "margin"),
        _true("verdicts", "figure", "Every verdict shows the value of the figure that it judges", "component", "value"),
        Rule("verdicts-source", "verdicts", "Every verdict names the source of its limit",
             "ExpectColumnValueLengthsToBeBetween", {"column": "source_id", "min_value": 1}, ("source_id",)),
        _true("for_print", "ready", "Only ready figures are for print", "figure_id"),
        _true("worklist", "ranked", "The worklist is numbered from 1 without a gap", "rank"),
        _true("worklist", "known", "Every line of the worklist is in the table of lines", "text"),
        _between("variants", "portions", 0.000001, 1000, "Every variant makes more than 0 and up to 1000 portions"),
    ]


def _true(table: str, name: str, words: str, *shown: str) -> Rule:
    return Rule(f"{_plain(table)}-{name}", table, words, "ExpectColumnValuesToBeInSet",
                {"column": _flag(name), "value_set": [True]}, shown)


def _unique(table: str, column: str, words: str) -> Rule:
    return Rule(f"{_plain(table)}-{_plain(column)}-unique", table, words, "ExpectColumnValuesToBeUnique",
                {"column": column}, (column,))


def _in_set(table: str, column: str, allowed: Iterable[str], words: str) -> Rule:
    return Rule(f"{_plain(table)}-{_plain(column)}-known", table, words, "ExpectColumnValuesToBeInSet",
                {"column": column, "value_set": list(allowed)}, (column,))


def _present(table: str, column: str, words: str) -> Rule:
    return Rule(f"{_plain(table)}-{_plain(column)}-present", table, words, "ExpectColumnValuesToNotBeNull",
                {"column": column}, (column,))


def _between(table: str, column: str, low: float | None, high: float | None, words: str) -> Rule:
    limits = {key: limit for key, limit in (("min_value", low), ("max_value", high)) if limit is not None}
    return Rule(f"{_plain(table)}-{_plain(column)}-range", table, words, "ExpectColumnValuesToBeBetween",
                {"column": column, **limits}, (column,))


def _not_below(table: str, upper: str, lower: str, words: str) -> Rule:
    return Rule(f"{_plain(table)}-{_plain(upper)}-not-below-{_plain(lower)}", table, words,
                "ExpectColumnPairValuesAToBeGreaterThanB",
                {"column_A": upper, "column_B": lower, "or_equal": True, "ignore_row_if": "either_value_is_missing"},
                (lower, upper))


def _plain(column: str) -> str:
    return column.replace("_", "-")


def _flag(name: str) -> str:
    return f"is {name}"


# ---------------------------------------------------------------- what is worked out beforehand

def prepared(tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The tables with one column of true and false for each rule that looks beyond one column."""
    frames = {name: tables[name].reset_index(drop=True) for name in NAMED_BY}
    flags = {
        "figures": {**_figure_flags(frames["figures"]), **_figures_across(frames)},
        "source_lines": {"settled": frames["source_lines"]["line_id"].isin(frames["lines"]["line_id"])},
        "lines": _line_flags(frames),
        "contributions": _contribution_flags(frames),
        "verdicts": _verdict_flags(frames),
        "for_print": {"ready": frames["for_print"]["figure_id"].isin(
            frames["figures"].loc[frames["figures"]["status"] == "ready", "figure_id"])},
        "worklist": _worklist_flags(frames),
    }
    return {name: frame.assign(**_columns(flags.get(name, {}))) for name, frame in frames.items()}


def _columns(flags: Mapping[str, Any]) -> dict[str, np.ndarray]:
    return {_flag(name): np.asarray(values, dtype=bool) for name, values in flags.items()}


def _figure_flags(figures: pd.DataFrame) -> dict[str, Any]:
    numbers = figures[["value", "low", "high"]]
    withheld = figures["status"] == "withheld"
    value, per_100g = figures["value"], figures["basis"] == "100g"
    potassium = (figures["component"] == "K") & (figures["basis"] == "portion")
    kilojoules = per_100g & (figures["component"] == "ENERC") & (figures["unit"] == "kJ")
    grams = per_100g & (figures["unit"] == "g") & (figures["component"] != "WATER")
    return {
        "finite": ~np.isinf(numbers.to_numpy(float)).any(axis=1),
        "interval": value.isna() | (figures["low"].notna() & figures["high"].notna()),
        "withheld-empty": ~withheld | numbers.isna().all(axis=1),
        "shown-has-value": withheld | value.notna(),
        "reason": (figures["status"] == "ready") | (figures["reason"] != ""),
        "potassium-plausible": ~(potassium & (value > POTASSIUM_CEILING_MG_PER_PORTION)),
        "energy-plausible": ~(kilojoules & (value > ENERGY_CEILING_KJ_PER_100G)),
        "mass-plausible": ~(grams & (value > MASS_CEILING_G_PER_100G)),
    }


def _figures_across(frames: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    figures, variants = frames["figures"], frames["variants"]
    value, unit, component = figures["value"].to_numpy(float), figures["unit"], figures["component"]
    sodium_mg = _found(figures, _GROUP, figures[(component == "NA") & (unit == "mg")], "value")
    kcal = _found(figures, _GROUP, figures[(component == "ENERC") & (unit == "kcal")], "value")
    is_salt = (component == "NACL") & (unit == "g")
    is_kj = (component == "ENERC") & (unit == "kJ")
    with np.errstate(invalid="ignore"):
        apart = (value < kcal * KJ_PER_KCAL[0] * (1 - RELATIVE_TOLERANCE)) | (
            value > kcal * KJ_PER_KCAL[1] * (1 + RELATIVE_TOLERANCE))
    keys = ["recipe_id", "variant_id", "component", "unit"]
    portion = _found(figures, keys, figures[figures["basis"] == "portion"], "value")
    portions = _found(figures, ["recipe_id", "variant_id"], variants, "portions")
    whole = figures["basis"] == "recipe"
    sums = frames["contributions"].groupby(keys, sort=False)["amount"].sum().reset_index()
    # Energy, salt and available carbohydrate are worked out from other figures, not summed.
    summed = whole & ~component.isin(["ENERC", "NACL", "CHOAVLDF"])
    # Where the kitchen weighed the dish, its water is what the weight leaves for it.
    weighed = frames["recipes"].loc[frames["recipes"]["finished_mass_g"].notna(), "recipe_id"]
    summed &= ~((component == "WATER") & (figures["variant_id"] == "base") & figures["recipe_id"].isin(weighed))
    unsettled = frames["lines"][frames["lines"]["counted"] & (frames["lines"]["outcome"] != "accepted")]
    return {
        "variant-known": _among(figures, variants, ["recipe_id", "variant_id"]),
        "salt": ~is_salt | _close(value, sodium_mg * SALT_PER_SODIUM / 1000),
        "energy-units": ~is_kj | ~apart,
        "portions": ~whole | _close(value, portion * portions),
        "sum": ~summed | _close(value, _found(figures, keys, sums, "amount")),
        "settled": (figures["status"] == "withheld") | ~_among(figures, unsettled, ["recipe_id", "variant_id"]),
    }


def _line_flags(frames: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    lines = frames["lines"]
    accepted = lines["counted"] & (lines["outcome"] == "accepted")
    return {
        "known": _among(lines, frames["source_lines"], ["line_id", "recipe_id", "variant_id", "line_no", "text"]),
        "accepted-weighed": ~accepted | ((lines["entry_id"] != "") & lines["edible_g"].notna()),
    }


def _contribution_flags(frames: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    rows, lines, inputs = frames["contributions"], frames["lines"], frames["inputs"]["input_id"]
    product = rows["edible_g"] * rows["value_per_100g"] / 100 * rows["retention_fraction"]
    columns = ("composition_input", "match_input", "retention_input")
    named = [(rows[name] == "") | rows[name].isin(inputs) for name in columns]
    return {
        "one-of-each": ~rows.duplicated(["line_id", "component", "unit"], keep=False),
        "retention-plausible": (rows["component"] == "WATER") | (rows["retention_fraction"] <= 2),
        "counted": rows["line_id"].isin(lines.loc[lines["counted"], "line_id"]),
        "product": (rows["amount"].isna() == product.isna()) & _close(rows["amount"], product),
        "input-known": named[0] & named[1] & named[2],
    }


def _verdict_flags(frames: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    verdicts, figures = frames["verdicts"], frames["figures"]
    holds = verdicts["verdict"] == "holds"
    withheld = figures[figures["status"] == "withheld"]
    by_basis = _among(verdicts, withheld, ["recipe_id", "variant_id", "component", "basis"])
    # A claim per energy has no figure of its own basis: what counts is whether the component can be summed at all.
    keys = ["recipe_id", "variant_id", "component"]
    by_component = ~verdicts["basis"].isin(BASES) & _among(verdicts, withheld[withheld["basis"] == "recipe"], keys)
    # An upper end may be unknown where the limit is a least amount: a gap can only make the figure grow.
    one_side = (verdicts["high"] <= verdicts["limit"]) | (verdicts["low"] >= verdicts["limit"])
    return {
        "one-of-each": ~verdicts.duplicated(["recipe_id", "variant_id", "audience", "claim"], keep=False),
        "not-on-withheld": ~(holds & (by_basis | by_component)),
        "whole": ~holds | one_side,
        "margin": ~holds | (verdicts["value"].notna() & (verdicts["margin"] >= 0)),
        "figure": _close(verdicts["value"], _found(verdicts, _FIGURE, figures, "value")),
    }


def _worklist_flags(frames: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    worklist = frames["worklist"]
    return {
        "ranked": worklist["rank"].rank(method="first") == worklist["rank"],
        "known": _among(worklist, frames["lines"], ["recipe_id", "variant_id", "line_no", "text"]),
    }


def _among(rows: pd.DataFrame, others: pd.DataFrame, keys: list[str]) -> np.ndarray:
    """Which rows have a partner in ``others``."""
    return pd.MultiIndex.from_frame(rows[keys]).isin(pd.MultiIndex.from_frame(others[keys]))


def _found(rows: pd.DataFrame, keys: list[str], others: pd.DataFrame, column: str) -> np.ndarray:
    """The partner's number for each row; NaN without a partner."""
    partners = others[[*keys, column]].drop_duplicates(keys).rename(columns={column: "_found"})
    return rows[keys].merge(partners, how="left", on=keys)["_found"].to_numpy(float)


def _close(left: Any, right: Any) -> np.ndarray:
    """Equal within the tolerance, or unknown on one side."""
    left, right = np.asarray(left, dtype=float), np.asarray(right, dtype=float)
    with np.errstate(invalid="ignore"):
        return ~(np.abs(left - right) > RELATIVE_TOLERANCE * np.maximum(np.abs(left), np.abs(right)))
