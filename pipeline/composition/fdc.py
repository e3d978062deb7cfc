"""Reads a USDA FoodData Central CSV download: SR Legacy, Foundation or Survey (FNDDS), in a folder or a zip.

The columns of every file (``FILES`` of :mod:`pipeline.composition.fdc_files`) are **from
memory**, as in the downloads from 2019 on; a download that differs is refused with the
column's name, or the column is kept as published and said so. What is read:

- ``food.csv``: the foods are the rows of type sr_legacy_food, foundation_food and
  survey_fndds_food. Samples and acquisitions behind Foundation foods are not foods of
  their own: they are counted in a note and kept as published. Other types are refused.
- ``entry_id`` is the number that stays the same from one download to the next: the NDB
  number of SR Legacy (five digits) and of Foundation foods, the food code of Survey foods.
  In a download that has a food both in SR Legacy and in Foundation, the Foundation one
  ends in "-foundation".
- ``food_nutrient.csv``: amounts per 100 g. Nutrients by their number ("306"), which
  components.csv names; Survey downloads write the number itself as ``nutrient_id`` (from
  memory). Value types by derivation code, then by source code, as for the Standard
  Reference (:mod:`pipeline.composition.usda_sr`); without either, see ``types_of`` of
  :mod:`pipeline.composition.fdc_nutrients`. An empty amount, or one up to ``loq``, where
  there is a ``loq`` (limit of quantification), is ``below-detection``; an empty amount
  without one is ``missing``. Carbohydrate by difference may be printed below 0: it is
  stored as 0 with a warning, and ``original`` keeps what was printed.
- ``median``, ``loq``, footnotes and years stay in the kept table ``food_nutrient``.
- ``food_portion.csv`` with ``measure_unit.csv``: household measures of the edible portion.
- ``food_component.csv``: refuse. Categories, derivations and conversion factors are kept.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline.composition import fdc_files as files
from pipeline.composition.common import STAGE, Imported, problem, with_numbered_missing
from pipeline.composition.fdc_files import rows
from pipeline.composition.fdc_nutrients import components_of, types_of
from pipeline.composition.fdc_portions import portions_of
from pipeline.composition.usda_sr_files import numbers
from pipeline.composition.usda_sr_foods import classes_of, states_of
from pipeline.problems import ERROR, WARNING, InputError, Problem

KINDS = {"sr_legacy_food": "SR Legacy", "foundation_food": "Foundation", "survey_fndds_food": "Survey"}
# What a Foundation download holds beside its foods; both spellings occur (from memory).
BEHIND = frozenset({"sample_food", "sub_sample_food", "market_acquisition", "market_acquistion", "agricultural_acquisition"})
BY_DIFFERENCE = "205"
LARGEST = 1e9  # vitamin A in IU and amounts in ng stay far below
RESTORE = "Restore it as published"
YES, NO = frozenset({"Y", "y", "t", "true", "TRUE", "1"}), frozenset({"N", "n", "f", "false", "FALSE", "0", ""})


def read(path: Path | str, components: pd.DataFrame, unit_words: pd.DataFrame, source_id: str) -> Imported:
    """A whole download in the common form.

    ``components`` is ``reference/components.csv``, ``unit_words`` ``mappings/unit_words.csv``,
    ``source_id`` the source of all rows. Counts: foods, values, portions (rows as published,
    of foods). Raises :class:`~pipeline.problems.InputError` with every place that is not understood.
    """
    contents = files.contents(Path(path))
    problems: list[Problem] = []
    notes: list[str] = []
    tables = {name: files.table(contents, name, problems, notes) for name in files.FILES}
    _stop(problems)
    problems += _food_problems(tables)
    _stop(problems)
    foods = _foods(tables)
    problems += _code_problems(tables)
    _stop(problems)
    named = components_of(tables["nutrient"], components)
    problems += _unit_problems(tables["nutrient"], named, components)
    _stop(problems)
    entries = _entries(foods, tables, source_id)
    data = _data(tables, foods, named)
    problems += _value_problems(data)
    _stop(problems)
    values = with_numbered_missing(_values(data, source_id), entries, components)
    measures, counted = portions_of(tables, foods, unit_words, source_id, problems)
    _stop(problems)
    behind = int(tables["food"]["data_type"].isin(BEHIND).sum())
    if behind:
        notes.append(f"{behind} samples and acquisitions behind the foods are kept as published; their values are not foods' values")
    unread = sorted(set(contents) - set(files.FILES))
    if unread:
        notes.append(f"files that this reader does not read: {', '.join(unread)}")
    extra = {name: table.drop(columns="row") for name, table in tables.items() if len(table)}
    counts = {"foods": len(foods), "values": len(data), "portions": counted}
    return Imported(entries, values, measures, counts, notes, problems, extra)


def _stop(problems: list[Problem]) -> None:
    if any(one.severity == ERROR for one in problems):
        raise InputError(one for one in problems if one.severity == ERROR)


# ---------------------------------------------------------------- foods

def _food_problems(tables: dict[str, pd.DataFrame]) -> list[Problem]:
    food = tables["food"]
    found = []
    for wrong, column, what, remedy in (
        (food["fdc_id"].duplicated(), "fdc_id", "occurs a second time", "Keep the one row that was published"),
        (~food["data_type"].isin([*KINDS, *BEHIND]), "data_type", "is not a kind of food that this reader reads",
         f"Use a download of {', '.join(KINDS.values())}"),
        (food["description"] == "", "description", "is empty", RESTORE),
    ):
        found += rows("food", food, wrong, column, what, remedy)
    for kind in KINDS:
        listing = tables[kind]
        wanted = food["data_type"] == kind
        found += rows("food", food, wanted & ~food["fdc_id"].isin(listing["fdc_id"]), "fdc_id", f"is not in {kind}.csv",
                      f"Add {kind}.csv as published")
        found += rows(kind, listing, listing["fdc_id"].duplicated(), "fdc_id", "occurs a second time", "Keep the one row that was published")
        number = "food_code" if kind == "survey_fndds_food" else "NDB_number"
        used = listing["fdc_id"].isin(food.loc[wanted, "fdc_id"])
        found += rows(kind, listing, used & (listing[number] == ""), number, "is no number", RESTORE)
        found += rows(kind, listing, used & (listing[number] != "") & listing.assign(used=used).duplicated([number, "used"]), number,
                      "occurs a second time", "Keep the one row that was published")
    if not food["data_type"].isin(KINDS).any():
        found.append(problem("food.csv", "holds no food", f"Use a download of {', '.join(KINDS.values())}"))
    return found


def _foods(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """The foods by fdc_id, with entry_id and food_group."""
    food = tables["food"][tables["food"]["data_type"].isin(KINDS)].reset_index(drop=True)
    number = pd.Series("", index=food.index, dtype="str")
    for kind in KINDS:
        listing = tables[kind].set_index("fdc_id")
        own = food["data_type"] == kind
        column = "food_code" if kind == "survey_fndds_food" else "NDB_number"
        number = number.mask(own, _looked_up(food["fdc_id"], listing[column]))
    number = number.mask(food["data_type"] != "survey_fndds_food", number.str.zfill(5))
    again = (food["data_type"] == "foundation_food") & number.isin(number[food["data_type"] == "sr_legacy_food"])
    return food.assign(entry_id=number.mask(again, number + "-foundation"), food_group=_groups(food, tables))


def _groups(food: pd.DataFrame, tables: dict[str, pd.DataFrame]) -> pd.Series:
    by_id = tables["food_category"].set_index("id")["description"]
    group = _looked_up(food["food_category_id"], by_id)
    listing, names = tables["survey_fndds_food"], tables["wweia_food_category"]
    number = listing["wweia_category_code"].mask(listing["wweia_category_code"] == "", listing["wweia_category_number"])
    key = names["wweia_food_category"].mask(names["wweia_food_category"] == "", names["wweia_food_category_code"])
    described = dict(zip(key, names["wweia_food_category_description"], strict=True))
    survey = _looked_up(food["fdc_id"], dict(zip(listing["fdc_id"], _looked_up(number, described), strict=True)))
    return group.mask((food["data_type"] == "survey_fndds_food") & (survey != ""), survey)


def _looked_up(keys: pd.Series, texts: pd.Series | dict[str, str]) -> pd.Series:
    """The text of each key, "" where there is none."""
    return keys.map(dict(texts)).astype("object").fillna("").astype("str")


def _entries(foods: pd.DataFrame, tables: dict[str, pd.DataFrame], source_id: str) -> pd.DataFrame:
    part = tables["food_component"]
    refuse = part[part["is_refuse"].isin(YES) & (part["pct_weight"] != "")]
    lost = numbers(refuse["pct_weight"]).groupby(refuse["fdc_id"]).sum() / 100
    named = refuse.groupby("fdc_id")["name"].agg("; ".join) if len(refuse) else pd.Series(dtype="str")
    return pd.DataFrame({
        "entry_id": foods["entry_id"], "name": foods["description"], "common_names": "", "food_group": foods["food_group"],
        "state": states_of(foods["description"], foods["food_group"]),
        "cooking_class": classes_of(foods["description"], foods["food_group"]),
        "refuse_fraction": foods["fdc_id"].map(lost).astype("float64"),
        "refuse_description": _looked_up(foods["fdc_id"], named),
        "source_id": source_id, "source_row": source_id + ", " + foods["entry_id"] + ", fdc_id " + foods["fdc_id"],
    })


# ---------------------------------------------------------------- values

def _code_problems(tables: dict[str, pd.DataFrame]) -> list[Problem]:
    """Keys that lead nowhere, from whatever file."""
    food, data, nutrient = tables["food"], tables["food_nutrient"], tables["nutrient"]
    derivation, source, portion = tables["food_nutrient_derivation"], tables["food_nutrient_source"], tables["food_portion"]
    part = tables["food_component"]
    category = food["food_category_id"]
    listed_category = category.isin(["", *tables["food_category"]["id"]]) | ~food["data_type"].isin(["sr_legacy_food", "foundation_food"])
    lost = numbers(part["pct_weight"]).where(part["is_refuse"].isin(YES)).groupby(part["fdc_id"]).transform("sum")
    known_nutrient = data["nutrient_id"].isin(nutrient["id"]) | data["nutrient_id"].isin(nutrient["nutrient_nbr"])
    found = []
    for name, frame, wrong, column, what in (
        ("food", food, ~listed_category, "food_category_id", "is not a category of food_category.csv"),
        ("nutrient", nutrient, nutrient["id"].duplicated(), "id", "occurs a second time"),
        ("nutrient", nutrient, nutrient["unit_name"] == "", "unit_name", "is empty"),
        ("food_nutrient", data, ~data["fdc_id"].isin(food["fdc_id"]), "fdc_id", "is not a food of food.csv"),
        ("food_nutrient", data, ~known_nutrient, "nutrient_id", "is not a nutrient of nutrient.csv"),
        ("food_nutrient", data, ~data["derivation_id"].isin(["", *derivation["id"]]), "derivation_id",
         "is not a derivation of food_nutrient_derivation.csv"),
        ("food_nutrient", data, numbers(data["min"]) > numbers(data["max"]), "min", "is above the max of its row"),
        ("food_nutrient_derivation", derivation, ~derivation["source_id"].isin(["", *source["id"]]) & (len(source) > 0), "source_id",
         "is not a source of food_nutrient_source.csv"),
        ("food_portion", portion, ~portion["fdc_id"].isin(food["fdc_id"]), "fdc_id", "is not a food of food.csv"),
        ("food_component", part, ~part["is_refuse"].isin(YES | NO), "is_refuse", "is neither yes nor no"),
        ("food_component", part, lost >= 100, "pct_weight", "makes the whole food refuse"),
    ):
        found += rows(name, frame, wrong, column, what, RESTORE)
    return found


def _unit_problems(nutrient: pd.DataFrame, named: pd.DataFrame, components: pd.DataFrame) -> list[Problem]:
    wanted = {(row.source_nutrient, row.component): row.unit for row in components.itertuples()}
    expected = [wanted.get((number, component)) for number, component in zip(named["number"], named["component"], strict=True)]
    order = nutrient.sort_values("row").reset_index(drop=True)
    wrong = pd.Series([unit is not None and unit != own for unit, own in zip(expected, named["unit"], strict=True)], dtype=bool)
    return rows("nutrient", order, wrong, "unit_name", "is not the unit of this component in reference/components.csv",
                "Restore it as published, or correct the unit or source_nutrient in the component list")


def _data(tables: dict[str, pd.DataFrame], foods: pd.DataFrame, named: pd.DataFrame) -> pd.DataFrame:
    """The rows of food_nutrient.csv of foods, with component, codes and value type."""
    data = tables["food_nutrient"]
    data = data[data["fdc_id"].isin(foods["fdc_id"])].reset_index(drop=True)
    food = foods.set_index("fdc_id")
    by_id, by_number = named.set_index("id"), named[named["number"] != ""].drop_duplicates("number").set_index("number")
    keys = {column: {**by_number[column].to_dict(), **by_id[column].to_dict()} for column in ("component", "unit", "printed_unit")}
    number = {**{key: key for key in by_number.index}, **by_id["number"].to_dict()}
    derivation = tables["food_nutrient_derivation"].set_index("id")
    source_codes = tables["food_nutrient_source"].set_index("id")["code"]
    data = data.assign(
        entry_id=data["fdc_id"].map(food["entry_id"]).astype("str"), survey=data["fdc_id"].map(food["data_type"]) == "survey_fndds_food",
        **{column: data["nutrient_id"].map(names).astype("str") for column, names in keys.items()},
        number=data["nutrient_id"].map(number).astype("str"),
        derivation=_looked_up(data["derivation_id"], derivation["code"]),
        source=_looked_up(data["derivation_id"], _looked_up(derivation["source_id"], source_codes)),
        n=numbers(data["data_points"]), value=numbers(data["amount"]), limit=numbers(data["loq"]))
    kinds = types_of(data)
    below = (data["limit"] > 0) & ~(data["value"] > data["limit"])
    kinds = kinds.mask(below, "below-detection").mask(~below & data["value"].isna(), "missing")
    return data.assign(value_type=kinds)


def _value_problems(data: pd.DataFrame) -> list[Problem]:
    difference = (data["number"] == BY_DIFFERENCE) & (data["value"] < 0)
    found = []
    for wrong, column, what, remedy in (
        (data.duplicated(["entry_id", "component", "unit"]), "nutrient_id", "occurs a second time for its food",
         "Keep the one row that was published"),
        ((data["value"] < 0) & ~difference, "amount", "is below 0", RESTORE),
        (data["value"] > LARGEST, "amount", "is more than any unit in use makes of 100 g", RESTORE),
        (data["value_type"] == "", "derivation_id", "has a code without a value type",
         "Decide its type and add it to BY_CODE of fdc_nutrients.py"),
        ((data["value_type"] == "zero") & (data["value"] != 0), "amount", "is not 0, though its codes say assumed zero",
         "Restore the amount or the derivation"),
    ):
        found += rows("food_nutrient", data, wrong, column, what, remedy)
    if difference.any():
        found.append(Problem(
            f"food_nutrient.csv row {data.loc[difference, 'row'].iloc[0]}, column amount",
            f"carbohydrate by difference is below 0 in {int(difference.sum())} foods, this the first",
            "Nothing: 0 is stored, and the figure as printed is kept", "negative-by-difference", WARNING, STAGE))
    return found


def _values(data: pd.DataFrame, source_id: str) -> pd.DataFrame:
    below = data["value_type"] == "below-detection"
    number = data["number"].mask(data["number"] == "", "id " + data["nutrient_id"])
    codes = data["source"] + ("/" + data["derivation"]).where(data["derivation"] != "", "")
    return pd.DataFrame({
        "entry_id": data["entry_id"], "component": data["component"],
        "value": data["value"].clip(lower=0).mask(below, data["limit"] / 2), "unit": data["unit"], "value_type": data["value_type"],
        "n": data["n"], "standard_error": float("nan"), "minimum": numbers(data["min"]).mask(below, 0.0),
        "maximum": numbers(data["max"]).mask(below, data["limit"]), "derivation": codes.str.removeprefix("/"),
        "source_id": source_id, "source_row": source_id + ", " + data["entry_id"] + ", nutrient " + number,
        "original": data["amount"].mask(below & (data["amount"] == ""), "< " + data["loq"]), "original_unit": data["printed_unit"],
    })
