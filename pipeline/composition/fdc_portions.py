"""The portions of a FoodData Central download as household measures.

SR Legacy says in ``modifier`` what the portion is, with the measure unit "undetermined";
Foundation names a measure unit and adds a modifier; Survey writes it whole in
``portion_description``, number included, with codes in ``modifier`` (all from memory).
"""

from __future__ import annotations

import re
from fractions import Fraction

import pandas as pd

from pipeline.composition.common import STAGE
from pipeline.composition.fdc_files import rows
from pipeline.composition.household import measures_of
from pipeline.composition.usda_sr_files import numbers
from pipeline.problems import WARNING, Problem

UNDETERMINED = ("", "undetermined")
_COUNT = re.compile(r"(\d+(?:\.\d+)?|\d+/\d+|\d+[ -]\d+/\d+)\s+(?=\D)")


def portions_of(
    tables: dict[str, pd.DataFrame], foods: pd.DataFrame, unit_words: pd.DataFrame, source_id: str, problems: list[Problem],
) -> tuple[pd.DataFrame, int]:
    """The measures (model Measures) of the foods' portions, and how many portions are published.

    ``foods`` has fdc_id, entry_id, description, data_type. A portion without a weight or a
    description is left to the kept table ``food_portion``, with a warning in ``problems``.
    """
    portion = tables["food_portion"]
    portion = portion[portion["fdc_id"].isin(foods["fdc_id"])].reset_index(drop=True)
    units = tables["measure_unit"].set_index("id")["name"]
    unknown = ~portion["measure_unit_id"].isin(["", "9999", *units.index])
    problems += rows("food_portion", portion, unknown, "measure_unit_id", "is not a unit of measure_unit.csv", "Restore it as published")
    second = portion["id"].duplicated()
    problems += rows("food_portion", portion, second, "id", "occurs a second time", "Keep the one row that was published")
    if unknown.any() or second.any():
        return measures_of(_rows(portion.iloc[:0], foods, source_id), unit_words), len(portion)
    survey = portion["fdc_id"].map(foods.set_index("fdc_id")["data_type"]) == "survey_fndds_food"
    unit = portion["measure_unit_id"].map(units.to_dict()).astype("object").fillna("").astype("str")
    unit = unit.mask(unit.str.casefold().isin(UNDETERMINED), "")
    added = portion["modifier"].mask(survey, "")
    joined = unit + (", " + added).where((added != "") & (unit != ""), added)
    described = portion["portion_description"].mask(portion["portion_description"] == "", joined)
    described = described.mask(~survey & (joined != ""), joined)
    split = [count_of(text) if amount == "" else (amount, text) for amount, text in zip(portion["amount"], described, strict=True)]
    portion = portion.assign(amount_text=[amount for amount, _ in split], described=[text for _, text in split])
    portion = portion.assign(many=[float(amount) for amount in portion["amount_text"]], grams=numbers(portion["gram_weight"]))
    usable = (portion["grams"] > 0) & (portion["many"] > 0) & (portion["described"] != "")
    if not usable.all():
        first = portion[~usable].iloc[0]
        problems.append(Problem(
            f"food_portion.csv row {first['row']}", f"has no weight or no description; {int((~usable).sum())} portions are like this, this the first",
            "Nothing: they cannot weigh anything, and are kept as published", "portion-without-weight", WARNING, STAGE))
    return measures_of(_rows(portion[usable], foods, source_id), unit_words), len(portion)


def count_of(text: str) -> tuple[str, str]:
    """How many, and of what: "1/2 cup, cooked" is ("0.5", "cup, cooked"); without a number it is one."""
    found = _COUNT.match(text)
    if not found:
        return "1", text
    whole = sum(Fraction(part) for part in re.split(r"[ -]", found[1]))
    return f"{float(whole):g}", text[found.end():]


def _rows(portion: pd.DataFrame, foods: pd.DataFrame, source_id: str) -> pd.DataFrame:
    by_id = foods.set_index("fdc_id")
    empty = portion.assign(amount_text="", described="", many=0.0, grams=0.0) if "many" not in portion else portion
    entry_id = empty["fdc_id"].map(by_id["entry_id"]).astype("str")
    return pd.DataFrame({
        "measure_id": source_id + ":" + entry_id + ":" + empty["id"], "entry_id": entry_id,
        "food": empty["fdc_id"].map(by_id["description"]).astype("str"), "amount": empty["many"], "amount_text": empty["amount_text"],
        "description": empty["described"], "grams": empty["grams"], "standard_deviation": float("nan"), "source_id": source_id,
        "source_row": source_id + ", " + entry_id + ", portion " + empty["id"],
    })
