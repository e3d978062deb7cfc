"""What must hold across the fields and files of a USDA Standard Reference release.

Each function takes the release's tables by file stem and gives a problem, with file,
line and column, for every row that breaks a rule.
"""

from __future__ import annotations

import pandas as pd

from pipeline.composition.common import problem
from pipeline.composition.usda_sr_files import numbers, rows
from pipeline.composition.usda_sr_types import BY_DERIVATION, BY_SOURCE, UNITS
from pipeline.problems import Problem

RESTORE, ONCE = "Restore it as published", "Keep the one line that was published"


def food_problems(tables: dict[str, pd.DataFrame]) -> list[Problem]:
    """Numbers, groups and refuse of FOOD_DES."""
    foods, groups = tables["FOOD_DES"], tables["FD_GROUP"]
    number, group = foods["NDB_No"], foods["FdGrp_Cd"]
    found = rows("FD_GROUP.txt", groups, groups["FdGrp_Cd"].duplicated(), "FdGrp_Cd", "occurs a second time", ONCE)
    for wrong, column, what, remedy in (
        (~number.str.fullmatch(r"\d{5}"), "NDB_No", "is not a five-digit NDB number", RESTORE),
        (number.duplicated(), "NDB_No", "occurs a second time", ONCE),
        (~group.isin(groups["FdGrp_Cd"]), "FdGrp_Cd", "is not a group of FD_GROUP.txt", "Add the group or correct the code"),
        (numbers(foods["Refuse"]) >= 100, "Refuse", "is not a refuse below 100 %", RESTORE),
    ):
        found += rows("FOOD_DES.txt", foods, wrong, column, what, remedy)
    return found


def nutrient_problems(tables: dict[str, pd.DataFrame], components: pd.DataFrame) -> list[Problem]:
    """The units of NUTR_DEF, and whether it has the wanted components in their units."""
    nutrients = tables["NUTR_DEF"]
    file = "NUTR_DEF.txt"
    found = rows(file, nutrients, nutrients["Nutr_No"].duplicated(), "Nutr_No", "occurs a second time", "Keep one line")
    unknown = ~nutrients["Units"].isin(UNITS)
    found += rows(file, nutrients, unknown, "Units", "is not a unit this reader knows", "Add the unit to UNITS of usda_sr_types.py")
    if found:
        return found
    units = nutrients.set_index("Nutr_No")["Units"].map(UNITS)
    for row in components.itertuples():
        if row.source_nutrient not in units.index:
            what = f"has no nutrient {row.source_nutrient}, asked for as {row.component}"
            found.append(problem(file, what, "Correct source_nutrient in the component list"))
            continue
        unit = units[row.source_nutrient]
        if unit != row.unit:
            what = f"gives nutrient {row.source_nutrient} in {unit}, and {row.component} is wanted in {row.unit}"
            found.append(problem(file, what, "Correct the unit or source_nutrient in the component list"))
    return found


def data_problems(tables: dict[str, pd.DataFrame]) -> list[Problem]:
    """The keys and codes of NUT_DATA."""
    data = tables["NUT_DATA"]
    food, nutrient, source, derivation = (data[name] for name in ("NDB_No", "Nutr_No", "Src_Cd", "Deriv_Cd"))
    derived = derivation != ""
    not_assumed_zero = ((source == "7") | (derivation == "Z")) & (numbers(data["Nutr_Val"]) != 0)
    foods, nutrients = tables["FOOD_DES"]["NDB_No"], tables["NUTR_DEF"]["Nutr_No"]
    sources, derivations = tables["SRC_CD"]["Src_Cd"], tables["DERIV_CD"]["Deriv_Cd"]
    decide = "Decide its type and add it to {} of usda_sr_types.py"
    found: list[Problem] = []
    for wrong, column, what, remedy in (
        (~food.isin(foods), "NDB_No", "is not a food of FOOD_DES.txt", RESTORE),
        (~nutrient.isin(nutrients), "Nutr_No", "is not a nutrient of NUTR_DEF.txt", RESTORE),
        ((food + " " + nutrient).duplicated(), "Nutr_No", "occurs a second time for its food", ONCE),
        (~source.isin(sources), "Src_Cd", "is not a code of SRC_CD.txt", RESTORE),
        (derived & ~derivation.isin(derivations), "Deriv_Cd", "is not a code of DERIV_CD.txt", RESTORE),
        (~source.isin(BY_SOURCE), "Src_Cd", "is a source code without a value type", decide.format("BY_SOURCE")),
        (derived & ~derivation.isin(BY_DERIVATION), "Deriv_Cd", "is a derivation code without a value type", decide.format("BY_DERIVATION")),
        (not_assumed_zero, "Nutr_Val", "is not 0, though its codes say assumed zero", "Restore the value or the code"),
        (numbers(data["Min"]) > numbers(data["Max"]), "Min", "is above the Max of its line", RESTORE),
    ):
        found += rows("NUT_DATA.txt", data, wrong, column, what, remedy)
    return found


def weight_problems(tables: dict[str, pd.DataFrame]) -> list[Problem]:
    """The keys and weights of WEIGHT."""
    weights, foods = tables["WEIGHT"], tables["FOOD_DES"]["NDB_No"]
    found: list[Problem] = []
    for wrong, column, what, remedy in (
        (~weights["NDB_No"].isin(foods), "NDB_No", "is not a food of FOOD_DES.txt", RESTORE),
        (weights.duplicated(["NDB_No", "Seq"]), "Seq", "occurs a second time for its food", ONCE),
        (~(numbers(weights["Amount"]) > 0), "Amount", "is not above 0", RESTORE),
        (~(numbers(weights["Gm_Wgt"]) > 0), "Gm_Wgt", "is not above 0", RESTORE),
    ):
        found += rows("WEIGHT.txt", weights, wrong, column, what, remedy)
    return found


def paper_problems(tables: dict[str, pd.DataFrame]) -> list[Problem]:
    """Footnotes and references that belong to nothing."""
    notes, papers, links = tables["FOOTNOTE"], tables["DATA_SRC"], tables["DATSRCLN"]
    foods, nutrients = tables["FOOD_DES"]["NDB_No"], tables["NUTR_DEF"]["Nutr_No"]
    found: list[Problem] = []
    for file, table, wrong, column, what in (
        ("FOOTNOTE", notes, ~notes["NDB_No"].isin(foods), "NDB_No", "is not a food of FOOD_DES.txt"),
        ("FOOTNOTE", notes, ~notes["Nutr_No"].isin([*nutrients, ""]), "Nutr_No", "is not a nutrient of NUTR_DEF.txt"),
        ("DATA_SRC", papers, papers["DataSrc_ID"].duplicated(), "DataSrc_ID", "occurs a second time"),
        ("DATSRCLN", links, ~links["NDB_No"].isin(foods), "NDB_No", "is not a food of FOOD_DES.txt"),
        ("DATSRCLN", links, ~links["Nutr_No"].isin(nutrients), "Nutr_No", "is not a nutrient of NUTR_DEF.txt"),
        ("DATSRCLN", links, ~links["DataSrc_ID"].isin(papers["DataSrc_ID"]), "DataSrc_ID", "is not a source of DATA_SRC.txt"),
    ):
        found += rows(f"{file}.txt", table, wrong, column, what, RESTORE)
    return found
