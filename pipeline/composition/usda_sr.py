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
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import pandas as pd

from pipeline.composition.usda_sr_foods import classes_of, states_of
from pipeline.problems import InputError, Problem
from pipeline.tables import Entries, Values, checked

STAGE = "tables"
SHOWN = 20  # problems of one kind that are listed one by one; the rest are counted

BY_DERIVATION = {
    **dict.fromkeys(("A", "AI", "AS", "MA", "JA"), "analysed"),
    **dict.fromkeys(("AR", "DA", "PAE", "PAK", "NC", "NP", "NR", "LC", "MC", "ML", "S"), "calculated"),
    **dict.fromkeys(("RA", "RC", "RF", "RK", "RKA", "RKI", "RP", "RPA", "RPI"), "calculated"),
    **dict.fromkeys(("BD", "BNA", "BFAN", "BFCN", "BFFN", "BFFY", "BFNN", "BFNY", "BFPN", "BFPY"), "imputed"),
    **dict.fromkeys(("BFSN", "BFSY", "BFYN", "BFYY", "BFZN", "BFZY"), "imputed"),
    **dict.fromkeys(("CAAN", "CAFN", "CASN", "CAZN", "DI", "FLA", "FLC", "FLM", "JO", "O", "PIE", "PIK"), "imputed"),
    "T": "borrowed",
    "Z": "zero",
}
BY_SOURCE = {
    **dict.fromkeys(("1", "6", "12", "13"), "analysed"),
    **dict.fromkeys(("5", "8", "9"), "calculated"),
    **dict.fromkeys(("4", "11"), "imputed"),
    "7": "zero",
}
ALWAYS_COMPUTED = ("205", "208", "268")  # carbohydrate by difference, energy in kcal and kJ
UNITS = {"g": "g", "mg": "mg", "\u00b5g": "ug", "kcal": "kcal", "kJ": "kJ", "IU": "IU"}

PATTERNS = {
    "number": re.compile(r"(?:\d+(?:\.\d*)?|\.\d+)?"),
    "signed": re.compile(r"(?:-?(?:\d+(?:\.\d*)?|\.\d+))?"),
    "required": re.compile(r"\d+(?:\.\d*)?|\.\d+"),
    "count": re.compile(r"(?:\d+)?"),
    "text": re.compile(r"~[^~]*~|"),
    "key": re.compile(r"~[^~]+~"),
}
KIND_WORDS = {
    "number": "a number or empty", "signed": "a number or empty", "required": "a number", "count": "a whole number or empty",
    "text": "text between ~ and ~, or empty", "key": "text between ~ and ~",
}


@dataclass(frozen=True)
class Layout:
    """The fields of one file, in order: (column, kind), the kinds of ``PATTERNS``."""

    file: str
    fields: tuple[tuple[str, str], ...]

    @property
    def columns(self) -> list[str]:
        return [name for name, _ in self.fields]


FOODS = Layout("FOOD_DES", (
    ("NDB_No", "key"), ("FdGrp_Cd", "key"), ("Long_Desc", "key"), ("Shrt_Desc", "text"), ("ComName", "text"),
    ("ManufacName", "text"), ("Survey", "text"), ("Ref_desc", "text"), ("Refuse", "count"), ("SciName", "text"),
    ("N_Factor", "number"), ("Pro_Factor", "number"), ("Fat_Factor", "number"), ("CHO_Factor", "number"),
))
GROUPS = Layout("FD_GROUP", (("FdGrp_Cd", "key"), ("FdGrp_Desc", "key")))
NUTRIENTS = Layout("NUTR_DEF", (
    ("Nutr_No", "key"), ("Units", "key"), ("Tagname", "text"), ("NutrDesc", "key"), ("Num_Dec", "text"), ("SR_Order", "count"),
))
SOURCES = Layout("SRC_CD", (("Src_Cd", "key"), ("SrcCd_Desc", "key")))
DERIVATIONS = Layout("DERIV_CD", (("Deriv_Cd", "key"), ("Deriv_Desc", "key")))
DATA = Layout("NUT_DATA", (
    ("NDB_No", "key"), ("Nutr_No", "key"), ("Nutr_Val", "required"), ("Num_Data_Pts", "count"), ("Std_Error", "number"),
    ("Src_Cd", "key"), ("Deriv_Cd", "text"), ("Ref_NDB_No", "text"), ("Add_Nutr_Mark", "text"), ("Num_Studies", "count"),
    ("Min", "number"), ("Max", "number"), ("DF", "count"), ("Low_EB", "signed"), ("Up_EB", "signed"), ("Stat_cmt", "text"),
    ("AddMod_Date", "text"), ("CC", "text"),
))


def read_release(
    path: Path | str, components: pd.DataFrame, source_id: str = "usda-sr26", source_name: str = "USDA SR26",
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The foods and values of a release, in the common form.

    ``path`` is the folder or the zip; ``components`` has the columns component, unit and
    source_nutrient (the release's nutrient number), one row per wanted component and unit.
    Gives ``(Entries, Values)``, sorted; ``Values`` has a row for every food and wanted
    component. ``derivation`` is the source code, then "/" and the derivation code if any.

    Raises :class:`~pipeline.problems.InputError` with every place that is not understood.
    """
    contents = _contents(Path(path))
    problems: list[Problem] = []
    layouts = (FOODS, GROUPS, NUTRIENTS, SOURCES, DERIVATIONS, DATA)
    tables = {layout.file: _table(contents, layout, problems) for layout in layouts}
    if problems:
        raise InputError(problems)
    problems += _food_problems(tables) + _nutrient_problems(tables, components) + _data_problems(tables)
    if problems:
        raise InputError(problems)
    entries = _entries(tables, source_id, source_name)
    values = _values(tables, entries, components, source_id, source_name)
    return checked(Entries, entries, STAGE), checked(Values, values, STAGE)


# ---------------------------------------------------------------- files

def _contents(path: Path) -> dict[str, bytes]:
    """The bytes of each release file by its upper-case stem; the folders inside a zip do not matter."""
    if path.is_dir():
        return {file.stem.upper(): file.read_bytes() for file in sorted(path.iterdir()) if file.suffix.lower() == ".txt"}
    if not path.is_file():
        what, remedy = "there is no such folder or file", "Give the folder or the zip of the release as downloaded"
        raise InputError(_problem(str(path), what, remedy))
    try:
        with zipfile.ZipFile(path) as archive:
            names = [name for name in archive.namelist() if name.lower().endswith(".txt")]
            stems = [PurePosixPath(name).stem.upper() for name in names]
            twice = sorted({stem for stem in stems if stems.count(stem) > 1})
            if twice:
                raise InputError(_problem(str(path), f"holds {twice[0]}.txt more than once", "Download the release again, unchanged"))
            return {stem: archive.read(name) for stem, name in zip(stems, names, strict=True)}
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise InputError(_problem(
            str(path), f"is not a whole zip file ({error})", "Download it again and compare its size with the publisher's",
        )) from None


def _table(contents: dict[str, bytes], layout: Layout, problems: list[Problem]) -> pd.DataFrame:
    """One file as text columns plus ``line``; adds what is wrong with it to ``problems``."""
    file = f"{layout.file}.txt"
    nothing = pd.DataFrame({name: pd.Series([], dtype="str") for name in [*layout.columns, "line"]})
    if layout.file not in contents:
        problems.append(_problem(file, "is missing from the release", "Add the file as published; all of them are needed"))
        return nothing
    text, fault = _text(contents[layout.file])
    if fault:
        problems.append(_problem(file, *fault))
        return nothing
    lines = text.split("\n")[:-1]
    carets = len(layout.fields) - 1
    wrong = [(number, line.count("^") + 1) for number, line in enumerate(lines, 1) if line.count("^") != carets]
    if wrong:
        problems += _listed(
            file, [(f"line {number}", f"has {found} fields, not {carets + 1}") for number, found in wrong],
            "Restore the line as published; fields are divided by ^",
        )
        return nothing
    cells = pd.Series(lines, dtype="str").str.split("^", expand=True).set_axis(layout.columns, axis="columns")
    before = len(problems)
    for name, kind in layout.fields:
        bad = cells[~cells[name].str.fullmatch(PATTERNS[kind].pattern)]
        problems += _listed(
            file, [(f"line {row + 1}, column {name}", f"{value!r} is not {KIND_WORDS[kind]}") for row, value in bad[name].items()],
            "Restore the field as published",
        )
    if len(problems) > before:
        return nothing
    for name, kind in layout.fields:
        if kind in ("text", "key"):
            cells[name] = cells[name].str.strip("~").str.strip()
    cells["line"] = range(1, len(cells) + 1)
    return cells


def _text(data: bytes) -> tuple[str, tuple[str, str] | None]:
    """The decoded text with LF line ends, and what is wrong with it as (what, remedy)."""
    again = "Use the file as downloaded, not saved again by an editor"
    if data.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        return "", ("begins with a byte order mark", again)
    if not data:
        return "", ("is empty", "Download the release again")
    complete = data.count(b"\n")
    if not data.endswith(b"\n"):
        return "", (f"ends in the middle of line {complete + 1}", "The file is cut off: download the release again")
    if b"\x00" in data:
        return "", ("is not text (it holds a zero byte)", again)
    if not data.isascii():
        try:
            data.decode("utf-8")
            return "", ("is in UTF-8, and the release is in ISO 8859-1", again)
        except UnicodeDecodeError:
            pass
    return data.decode("iso-8859-1").replace("\r\n", "\n"), None


# ---------------------------------------------------------------- checks across fields and files

def _food_problems(tables: dict[str, pd.DataFrame]) -> list[Problem]:
    foods, groups = tables["FOOD_DES"], tables["FD_GROUP"]
    number, group, refuse = foods["NDB_No"], foods["FdGrp_Cd"], pd.to_numeric(foods["Refuse"])
    as_published, once = "Restore it as published", "Keep the one line that was published"
    found = _rows("FD_GROUP.txt", groups, groups["FdGrp_Cd"].duplicated(), "FdGrp_Cd", "occurs a second time", once)
    for wrong, column, what, remedy in (
        (~number.str.fullmatch(r"\d{5}"), "NDB_No", "is not a five-digit NDB number", as_published),
        (number.duplicated(), "NDB_No", "occurs a second time", once),
        (~group.isin(groups["FdGrp_Cd"]), "FdGrp_Cd", "is not a group of FD_GROUP.txt", "Add the group or correct the code"),
        (refuse >= 100, "Refuse", "is not a refuse below 100 %", as_published),
    ):
        found += _rows("FOOD_DES.txt", foods, wrong, column, what, remedy)
    return found


def _nutrient_problems(tables: dict[str, pd.DataFrame], components: pd.DataFrame) -> list[Problem]:
    nutrients = tables["NUTR_DEF"]
    file = "NUTR_DEF.txt"
    found = _rows(file, nutrients, nutrients["Nutr_No"].duplicated(), "Nutr_No", "occurs a second time", "Keep one line")
    unknown = ~nutrients["Units"].isin(UNITS)
    found += _rows(file, nutrients, unknown, "Units", "is not a unit this reader knows", "Add the unit to UNITS of usda_sr.py")
    if found:
        return found
    units = nutrients.set_index("Nutr_No")["Units"].map(UNITS)
    for row in components.itertuples():
        if row.source_nutrient not in units.index:
            what = f"has no nutrient {row.source_nutrient}, asked for as {row.component}"
            found.append(_problem(file, what, "Correct source_nutrient in the component list"))
            continue
        unit = units[row.source_nutrient]
        if unit != row.unit:
            what = f"gives nutrient {row.source_nutrient} in {unit}, and {row.component} is wanted in {row.unit}"
            found.append(_problem(file, what, "Correct the unit or source_nutrient in the component list"))
    return found


def _data_problems(tables: dict[str, pd.DataFrame]) -> list[Problem]:
    data = tables["NUT_DATA"]
    food, nutrient, source, derivation = (data[name] for name in ("NDB_No", "Nutr_No", "Src_Cd", "Deriv_Cd"))
    derived = derivation != ""
    not_assumed_zero = ((source == "7") | (derivation == "Z")) & (pd.to_numeric(data["Nutr_Val"]) != 0)
    foods, nutrients = tables["FOOD_DES"]["NDB_No"], tables["NUTR_DEF"]["Nutr_No"]
    sources, derivations = tables["SRC_CD"]["Src_Cd"], tables["DERIV_CD"]["Deriv_Cd"]
    back, decide = "Restore it as published", "Decide its type and add it to {} of usda_sr.py"
    found: list[Problem] = []
    for wrong, column, what, remedy in (
        (~food.isin(foods), "NDB_No", "is not a food of FOOD_DES.txt", back),
        (~nutrient.isin(nutrients), "Nutr_No", "is not a nutrient of NUTR_DEF.txt", back),
        (data.duplicated(["NDB_No", "Nutr_No"]), "Nutr_No", "occurs a second time for its food", "Keep the one line that was published"),
        (~source.isin(sources), "Src_Cd", "is not a code of SRC_CD.txt", back),
        (derived & ~derivation.isin(derivations), "Deriv_Cd", "is not a code of DERIV_CD.txt", back),
        (~source.isin(BY_SOURCE), "Src_Cd", "is a source code without a value type", decide.format("BY_SOURCE")),
        (derived & ~derivation.isin(BY_DERIVATION), "Deriv_Cd", "is a derivation code without a value type", decide.format("BY_DERIVATION")),
        (not_assumed_zero, "Nutr_Val", "is not 0, though its codes say assumed zero", "Restore the value or the code"),
    ):
        found += _rows("NUT_DATA.txt", data, wrong, column, what, remedy)
    return found


def _rows(file: str, table: pd.DataFrame, wrong: pd.Series, column: str, what: str, remedy: str) -> list[Problem]:
    bad = table[wrong]
    places = zip(bad["line"], bad[column], strict=True)
    return _listed(file, [(f"line {line}, column {column}", f"{value!r} {what}") for line, value in places], remedy)


def _listed(file: str, found: list[tuple[str, str]], remedy: str) -> list[Problem]:
    """One problem per place; past ``SHOWN``, the rest are counted in one more."""
    listed = [_problem(f"{file} {place}", what, remedy) for place, what in found[:SHOWN]]
    if len(found) > SHOWN:
        listed.append(_problem(f"{file} {found[SHOWN][0]}", f"and {len(found) - SHOWN} more places like this one", remedy))
    return listed


def _problem(where: str, what: str, remedy: str) -> Problem:
    return Problem(where=where, what=what, remedy=remedy, code="table-file", stage=STAGE)


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
        "refuse_fraction": pd.to_numeric(foods["Refuse"]).astype("float64") / 100,
        "refuse_description": foods["Ref_desc"],
        "source_id": source_id,
        "source_row": source_name + ", " + foods["NDB_No"],
    })


def _values(
    tables: dict[str, pd.DataFrame], entries: pd.DataFrame, components: pd.DataFrame, source_id: str, source_name: str,
) -> pd.DataFrame:
    wanted = components[["component", "unit", "source_nutrient"]].rename(columns={"source_nutrient": "Nutr_No"})
    rows = entries[["entry_id"]].merge(wanted, how="cross")
    data = tables["NUT_DATA"].rename(columns={"NDB_No": "entry_id"})
    data = data[data["Nutr_No"].isin(wanted["Nutr_No"])]
    data = data.assign(value_type=value_types(data["Src_Cd"], data["Deriv_Cd"], pd.to_numeric(data["Num_Data_Pts"]), data["Nutr_No"]))
    rows = rows.merge(data, on=["entry_id", "Nutr_No"], how="left", validate="many_to_one")
    derivation = rows["Src_Cd"].fillna("") + ("/" + rows["Deriv_Cd"].fillna("")).where(rows["Deriv_Cd"].fillna("") != "", "")
    values = pd.DataFrame({
        "entry_id": rows["entry_id"],
        "component": rows["component"],
        "value": pd.to_numeric(rows["Nutr_Val"]).astype("float64"),
        "unit": rows["unit"],
        "value_type": rows["value_type"].fillna("missing"),
        "n": pd.to_numeric(rows["Num_Data_Pts"]).astype("float64"),
        "standard_error": pd.to_numeric(rows["Std_Error"]).astype("float64"),
        "minimum": pd.to_numeric(rows["Min"]).astype("float64"),
        "maximum": pd.to_numeric(rows["Max"]).astype("float64"),
        "derivation": derivation,
        "source_id": source_id,
        "source_row": source_name + ", " + rows["entry_id"] + ", nutrient " + rows["Nutr_No"],
    })
    return values.sort_values(["entry_id", "component", "unit"], ignore_index=True)


def value_types(source: pd.Series, derivation: pd.Series, n: pd.Series, nutrient: pd.Series) -> pd.Series:
    """The value type of each row, by the rule at the head of this module."""
    kinds = derivation.map(BY_DERIVATION).fillna(source.map(BY_SOURCE))
    kinds = kinds.mask(source == "7", "zero")
    kinds = kinds.mask((kinds == "analysed") & ~(n > 0), "calculated")
    computed = (source == "4") & (derivation == "") & nutrient.isin(ALWAYS_COMPUTED)
    return kinds.mask(computed, "calculated")
