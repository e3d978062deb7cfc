"""Reads a USDA Standard Reference release as downloaded: the ASCII files, in a folder or a zip.

Layout (USDA, "Composition of Foods Raw, Processed, Prepared: USDA National Nutrient
Database for Standard Reference, Release 26", 2013, file formats; releases 17 to 28 share it):
one record per line, fields divided by ``^``, text between ``~``, numbers bare, an empty
field where nothing is known, ISO 8859-1, CR LF.

Nothing is dropped in silence: whatever a row holds that this reader does not understand is
a :class:`~pipeline.problems.Problem` with file, line and column, and no table comes out.

How the source code and the derivation code of a value become its value type (the codes'
own descriptions in SRC_CD and DERIV_CD; the terms as in FAO/INFOODS, from memory):

====================================================  ============
source code 7 or derivation Z: assumed zero           ``zero``, and the value must be 0
derivation T: taken from another table                ``borrowed``
derivation A, AI, AS, MA, JA; source 1, 6, 12, 13     ``analysed`` if it has data points
the same without data points (n = 0)                  ``calculated``: the documentation says
                                                      of n = 0 "calculated or imputed"
derived from analyses (AR, DA, PA*), recipes (R*),    ``calculated``
other nutrients (N*), labels and makers (LC, MC, ML;
source 5, 8, 9), product standards (S)
another form of the food or a like food (BD, BF*,     ``imputed``
BNA), a category's average (CA*), estimated
formulation (FL*), from imputed data (DI, PI*),
mixed origin (JO, source 11), other (O)
source 4 without a derivation                         ``imputed``; for energy and carbohydrate,
                                                      which are always computed, ``calculated``
====================================================  ============

The derivation decides where there is one, the source code where there is none. A 0 that
was measured or computed keeps its type: only an assumed one is ``zero``. A component that
has no row for a food is ``missing``, with no number. SR has no trace and no detection limit.
"""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd

from pipeline.composition import usda_sr_files as files
from pipeline.composition.common import SHOWN, STAGE, Imported, with_numbered_missing
from pipeline.composition.household import measures_of
from pipeline.composition.usda_sr_checks import data_problems, food_problems, nutrient_problems, paper_problems, weight_problems
from pipeline.composition.usda_sr_files import numbers
from pipeline.composition.usda_sr_foods import classes_of, states_of
from pipeline.composition.usda_sr_types import BY_DERIVATION, BY_SOURCE, UNITS, value_types
from pipeline.problems import InputError, Problem
from pipeline.tables import Entries, Values, checked, columns

__all__ = ["BY_DERIVATION", "BY_SOURCE", "SHOWN", "read", "read_release", "value_types"]

# Tables without a place in the common form: kept as published, under these names.
KEPT = {
    "foods_as_published": files.FOODS, "food_groups": files.GROUPS, "nutrients": files.NUTRIENTS, "source_codes": files.SOURCES,
    "derivation_codes": files.DERIVATIONS, "weights_as_published": files.WEIGHTS, "footnotes": files.FOOTNOTES,
    "data_sources": files.DATA_SOURCES, "data_source_links": files.SOURCE_LINKS,
}
DETAILS = ("Ref_NDB_No", "Add_Nutr_Mark", "Num_Studies", "DF", "Low_EB", "Up_EB", "Stat_cmt", "AddMod_Date", "CC")


def read(path: Path | str, components: pd.DataFrame, unit_words: pd.DataFrame, source_id: str) -> Imported:
    """A whole release: every food, value, household weight, code, footnote and reference.

    ``components`` is ``reference/components.csv``: its nutrients get its tagnames, the
    others the tagname that the release prints, or "SR:" and the nutrient number.
    ``unit_words`` is ``mappings/unit_words.csv``, ``source_id`` the source of all rows.
    Counts: foods, values, weights, footnotes, data_sources, data_source_links.

    Raises :class:`~pipeline.problems.InputError` with every place that is not understood.
    """
    contents = files.contents(Path(path))
    problems: list[Problem] = []
    tables = {layout.file: files.table(contents, layout, problems) for layout in files.ALL}
    if problems:
        raise InputError(problems)
    problems += food_problems(tables) + nutrient_problems(tables, components) + data_problems(tables)
    problems += weight_problems(tables) + paper_problems(tables)
    if problems:
        raise InputError(problems)
    source_name = name_of(source_id)
    entries = _entries(tables, source_id, source_name)
    every = nutrient_components(tables["NUTR_DEF"], components)
    values = _values(tables, entries, every, components, source_id, source_name)
    unread = sorted(set(contents) - {layout.file for layout in files.ALL})
    extra = {name: tables[layout.file].drop(columns="line") for name, layout in KEPT.items()}
    extra["nutrients"] = extra["nutrients"].merge(every[["Nutr_No", "component", "unit"]], on="Nutr_No", validate="one_to_one")
    extra["value_details"] = tables["NUT_DATA"][["NDB_No", "Nutr_No", "Src_Cd", "Deriv_Cd", *DETAILS]]
    counts = {"foods": "FOOD_DES", "values": "NUT_DATA", "weights": "WEIGHT", "footnotes": "FOOTNOTE", "data_sources": "DATA_SRC",
              "data_source_links": "DATSRCLN"}
    return Imported(
        entries, values, _measures(tables, entries, unit_words, source_id, source_name),
        {name: len(tables[file]) for name, file in counts.items()},
        [f"files that this reader does not read: {', '.join(unread)}"] if unread else [], [], extra)


def read_release(
    path: Path | str, components: pd.DataFrame, source_id: str = "usda-sr26", source_name: str = "USDA SR26",
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The foods and the wanted values of a release, in the common form: what curating needs.

    ``path`` is the folder or the zip; ``components`` has the columns component, unit and
    source_nutrient (the release's nutrient number), one row per wanted component and unit.
    Gives ``(Entries, Values)``, sorted; ``Values`` has a row for every food and wanted
    component. ``derivation`` is the source code, then "/" and the derivation code if any.

    Raises :class:`~pipeline.problems.InputError` with every place that is not understood.
    """
    contents = files.contents(Path(path))
    problems: list[Problem] = []
    tables = {layout.file: files.table(contents, layout, problems) for layout in files.NEEDED}
    if problems:
        raise InputError(problems)
    problems += food_problems(tables) + nutrient_problems(tables, components) + data_problems(tables)
    if problems:
        raise InputError(problems)
    entries = _entries(tables, source_id, source_name)
    wanted = components[["component", "unit", "source_nutrient"]].rename(columns={"source_nutrient": "Nutr_No"})
    values = _values(tables, entries, wanted, components, source_id, source_name)
    values = values[columns(Values)].sort_values(["entry_id", "component", "unit"], ignore_index=True)
    return checked(Entries, entries, STAGE), checked(Values, values, STAGE)


def name_of(source_id: str) -> str:
    """How ``source_row`` names a source: "usda-sr26" is "USDA SR26", another id stays as it is."""
    release = re.fullmatch(r"usda-sr(\d+)", source_id)
    return f"USDA SR{release[1]}" if release else source_id


def nutrient_components(nutrients: pd.DataFrame, components: pd.DataFrame) -> pd.DataFrame:
    """Every nutrient of the release (columns Nutr_No, component, unit), each pair of component and unit once.

    A tagname that the release prints is dropped for "SR:nnn" where ``components`` or another
    nutrient has it already; ENERC_KJ and ENERC_KCAL are the INFOODS ENERC in two units.
    """
    wanted = dict(zip(components["source_nutrient"], components["component"], strict=True))
    taken = set(zip(components["component"], components["unit"], strict=True))
    rows = []
    for row in nutrients.itertuples():
        unit = UNITS[row.Units]
        component = wanted.get(row.Nutr_No, "")
        if not component:
            clear = row.Tagname and (row.Tagname, unit) not in taken
            component = row.Tagname if clear else f"SR:{row.Nutr_No}"
            taken.add((component, unit))
        rows.append((row.Nutr_No, component, unit))
    return pd.DataFrame(rows, columns=["Nutr_No", "component", "unit"], dtype="str")


# ---------------------------------------------------------------- the common form

def _entries(tables: dict[str, pd.DataFrame], source_id: str, source_name: str) -> pd.DataFrame:
    foods = tables["FOOD_DES"].sort_values("NDB_No", ignore_index=True)
    groups = tables["FD_GROUP"].set_index("FdGrp_Cd")["FdGrp_Desc"]
    group = foods["FdGrp_Cd"].map(groups).astype("str")
    return pd.DataFrame({
        "entry_id": foods["NDB_No"],
        "name": foods["Long_Desc"],
        "common_names": foods["ComName"].str.replace(", ", "; "),
        "food_group": group,
        "state": states_of(foods["Long_Desc"], group),
        "cooking_class": classes_of(foods["Long_Desc"], group),
        "refuse_fraction": numbers(foods["Refuse"]) / 100,
        "refuse_description": foods["Ref_desc"],
        "source_id": source_id,
        "source_row": source_name + ", " + foods["NDB_No"],
    })


def _values(
    tables: dict[str, pd.DataFrame], entries: pd.DataFrame, named: pd.DataFrame, components: pd.DataFrame, source_id: str,
    source_name: str,
) -> pd.DataFrame:
    """The values of the nutrients in ``named``, and a row for each of ``components`` that a food lacks."""
    data = tables["NUT_DATA"]
    names = named.set_index("Nutr_No")
    data = data[data["Nutr_No"].isin(names.index)].reset_index(drop=True)
    n = numbers(data["Num_Data_Pts"])
    values = pd.DataFrame({
        "entry_id": data["NDB_No"],
        "component": data["Nutr_No"].map(names["component"]).astype("str"),
        "value": numbers(data["Nutr_Val"]),
        "unit": data["Nutr_No"].map(names["unit"]).astype("str"),
        "value_type": value_types(data["Src_Cd"], data["Deriv_Cd"], n, data["Nutr_No"]),
        "n": n,
        "standard_error": numbers(data["Std_Error"]),
        "minimum": numbers(data["Min"]),
        "maximum": numbers(data["Max"]),
        "derivation": data["Src_Cd"] + ("/" + data["Deriv_Cd"]).where(data["Deriv_Cd"] != "", ""),
        "source_id": source_id,
        "source_row": source_name + ", " + data["NDB_No"] + ", nutrient " + data["Nutr_No"],
        "original": data["Nutr_Val"],
        "original_unit": data["Nutr_No"].map(tables["NUTR_DEF"].set_index("Nutr_No")["Units"]).astype("str"),
    })
    return with_numbered_missing(values, entries, components)


def _measures(
    tables: dict[str, pd.DataFrame], entries: pd.DataFrame, unit_words: pd.DataFrame, source_id: str, source_name: str,
) -> pd.DataFrame:
    weights = tables["WEIGHT"]
    sequence = weights["Seq"].str.zfill(2)
    return measures_of(pd.DataFrame({
        "measure_id": source_id + ":" + weights["NDB_No"] + ":" + sequence,
        "entry_id": weights["NDB_No"],
        "food": weights["NDB_No"].map(entries.set_index("entry_id")["name"]).astype("str"),
        "amount": numbers(weights["Amount"]),
        "amount_text": weights["Amount"],
        "description": weights["Msre_Desc"],
        "grams": numbers(weights["Gm_Wgt"]),
        "standard_deviation": numbers(weights["Std_Dev"]),
        "source_id": source_id,
        "source_row": source_name + ", " + weights["NDB_No"] + ", weight " + weights["Seq"],
    }), unit_words)
