"""The spreadsheet importer, on small workbooks in the published layouts (from memory) that the tests write.

The foods and figures here are invented; what is checked is that every kind of value comes out as what it is.
"""

from __future__ import annotations

import datetime
import io
import math
import zipfile

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.composition.common import StoredValues
from pipeline.composition.profile import load_profile
from pipeline.composition.sheet import default_components, read
from pipeline.composition.sheet_cell import PAIRS, Limits, Reading, Words, plain, read_cell
from pipeline.problems import WARNING, InputError
from pipeline.tables import Entries

OWN = """
[table]
source_id = "invented"
source_name = "Invented table"
standing = "invented"
[file]
decimal = "{decimal}"
delimiter = ";"
encoding = "{encoding}"
[values]
number = "analysed"
trace = ["Tr"]
missing = ["-"]
present_unknown = ["N"]
below_detection = ["nd"]
less_than = ["<"]
brackets = ["()"]
footnote_marks = ["*"]
[trace_limits]
g = 0.05
mg = 0.5
ug = 0.5
[detection_limits]
FE = 0.02
[basis]
per = "100 g"
{basis}
[[sheet]]
{sheet}
code = "Code"
name = "Food"
{roles}
columns = [
  {{heading = "Water (g)", component = "WATER", unit = "g"}},
  {{heading = "Potassium (mg)", component = "K", unit = "mg"}},
  {{heading = "Iron", component = "FE", unit = "ug"}},
]
"""
HEAD = ["Code", "Food", "Water (g)", "Potassium (mg)", "Iron"]
ROWS = [["001", "Leek, raw", "90.8", "260", "1100"], ["002", "Rice, boiled", "68", "Tr", "<20"]]


def own(folder, decimal=".", encoding="utf-8", basis="", roles="", sheet=""):
    path = folder / "own.toml"
    path.write_text(OWN.format(decimal=decimal, encoding=encoding, basis=basis, roles=roles, sheet=sheet), encoding="utf-8")
    return path


def csv_file(folder, rows=ROWS, head=HEAD, encoding="utf-8", name="table.csv"):
    path = folder / name
    path.write_bytes("\r\n".join(";".join(row) for row in [head, *rows]).encode(encoding) + b"\r\n")
    return path


def book(folder, sheets, change=lambda book: None, name="table.xlsx"):
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, rows in sheets.items():
        sheet = made.create_sheet(title)
        for row in rows:
            sheet.append(row)
    change(made)
    made.save(folder / name)
    return folder / name


def value(imported, entry_id, component, unit=None):
    values = imported.values
    found = values[(values["entry_id"] == entry_id) & (values["component"] == component)]
    found = found if unit is None else found[found["unit"] == unit]
    assert len(found) == 1, found
    return found.iloc[0]


def refused(path, profile, *said):
    with pytest.raises(InputError) as caught:
        read(path, profile)
    text = str(caught.value)
    for words in said:
        assert words in text, text
    assert all(item.where and item.what and item.remedy and item.stage == "tables" for item in caught.value.problems)
    return caught.value.problems


# ---------------------------------------------------------------- the UK workbook's layout

UK_IDS = ["Food Code", "Food Name", "Description", "Group"]


def uk_sheets():
    profile = load_profile("uk-integrated")
    sheets = {}
    for plan in profile.sheets:
        head = [*UK_IDS, *([plan.edible[0], plan.density[0]] if plan.edible else []), *(column.headings[0] for column in plan.columns)]
        codes = [None] * 4 + [heading[:6].upper() for heading in head[4:]]
        sheets[plan.names[0]] = [head, codes, [None] * len(head)]
    foods = [
        ("13-901", "Leeks, boiled in unsalted water, drained", "DG", {"Water (g)": 92.2, "Protein (g)": 1.2, "Fat (g)": "Tr", "Alcohol (g)": 0,
         "Energy (kJ) (kJ)": 87, "Energy (kcal) (kcal)": 21, "Glucose (g)": 1, "Galactose (g)": 0, "Fructose (g)": 1.05, "Sucrose (g)": "Tr",
         "Maltose (g)": 0, "Lactose (g)": 0, "Sodium (mg)": 6, "Potassium (mg)": 150, "Iron (mg)": "(0.7)", "Zinc (mg)": "(Tr)",
         "Iodine (µg)": "N", "Selenium (µg)": "<0.5", "Edible proportion": 1}),
        ("16-902", "Plaice, grilled, weighed with bones", "JA", {"Water (g)": 60, "Potassium (mg)": "240", "Sodium (mg)": "1,200", "Edible proportion": 0.8}),
        ("17-903", "Cider, sweet", "QC", {"Water (g)": 91, "Alcohol (g)": 3.7, "Potassium (mg)": 72, "Vitamin C (mg)": "Tr", "Specific gravity": 1.012}),
    ]
    for rows in sheets.values():
        for code, name, group, figures in foods:
            rows.append([code, name, "an invented sample", group, *(figures.get(heading) for heading in rows[0][4:])])
    return sheets


@pytest.fixture(scope="module")
def uk(tmp_path_factory):
    sheets = {"1.1 Notes": [["These are notes"]], **uk_sheets()}
    return read(book(tmp_path_factory.mktemp("uk"), sheets), "uk-integrated")


def test_uk_every_kind_of_value_comes_out_as_what_it_is(uk):
    kinds = {component: value(uk, "13-901", component) for component in ("WATER", "ALC", "FAT", "FE", "ZN", "ID", "SE", "VITC")}
    assert {name: row.value_type for name, row in kinds.items()} == {
        "WATER": "calculated", "ALC": "zero", "FAT": "trace", "FE": "imputed", "ZN": "trace", "ID": "missing", "SE": "below-detection", "VITC": "missing"}
    assert (kinds["FAT"].value, kinds["FAT"].minimum, kinds["FAT"].maximum, kinds["FAT"].original) == (0.025, 0, 0.05, "Tr")
    assert (kinds["SE"].value, kinds["SE"].maximum, kinds["SE"].original) == (0.25, 0.5, "<0.5")
    assert kinds["FE"].value == 0.7 and kinds["FE"].original == "(0.7)" and "in brackets" in kinds["FE"].derivation
    assert kinds["ALC"].value == 0 and kinds["WATER"].value == 92.2
    assert math.isnan(kinds["ID"].value) and "significant amount" in kinds["ID"].derivation and kinds["ID"].original == "N"
    assert math.isnan(kinds["VITC"].value) and kinds["VITC"].derivation == "" and kinds["VITC"].original == ""


def test_uk_alcoholic_drinks_go_from_100_ml_to_100_g_by_their_density(uk):
    potassium = value(uk, "17-903", "K")
    assert potassium.value == pytest.approx(72 / 1.012, rel=1e-12)
    assert (potassium.original, potassium.original_unit) == ("72", "mg per 100 ml") and "density 1.012 g/ml" in potassium.derivation
    vitamin_c = value(uk, "17-903", "VITC")
    assert vitamin_c.value_type == "trace" and vitamin_c.maximum == pytest.approx(0.5 / 1.012) and vitamin_c.value * 2 == pytest.approx(vitamin_c.maximum)


def test_uk_foods_weighed_with_bones_go_to_the_edible_portion(uk):
    potassium, entry = value(uk, "16-902", "K"), uk.entries.set_index("entry_id").loc["16-902"]
    assert potassium.value == 300 and potassium.original == "240" and "edible portion 0.8" in potassium.derivation
    assert value(uk, "16-902", "NA").value == 1500  # "1,200" is a thousand and two hundred
    assert entry["refuse_fraction"] == pytest.approx(0.2) and entry["food_group"] == "Fish and fish products"
    assert entry["state"] == "cooked" and entry["cooking_class"] == "lean-fish"


def test_uk_sugars_by_weight_are_calculated_from_monosaccharide_equivalents(uk):
    """1 + 1.05 g of monosaccharides and a trace of sucrose, of which half the limit (0.05 g) counts as 0.952 of its weight:
    the molar masses of a disaccharide and its two monosaccharides are 342.3 and 360.3 g (IUPAC atomic weights)."""
    sugar = value(uk, "13-901", "SUGAR")
    assert sugar.value == pytest.approx(2.05 + 0.025 * 0.952) and sugar.value_type == "calculated" and "SUCSM" in sugar.derivation
    assert 342.3 / 360.3 == pytest.approx(0.952, abs=0.002)
    assert value(uk, "16-902", "SUGAR").value_type == "missing"
    assert value(uk, "13-901", "CHOCDF").value_type == "missing"  # never made up from what the table prints


def test_uk_tables_are_in_the_common_form(uk):
    Entries.validate(uk.entries)
    StoredValues.validate(uk.values)
    components = default_components()
    pairs = set(zip(components["component"], components["unit"], strict=True))
    for entry_id in uk.entries["entry_id"]:
        of_entry = uk.values[uk.values["entry_id"] == entry_id]
        assert pairs <= set(zip(of_entry["component"], of_entry["unit"], strict=True))
    assert uk.counts["foods"] == 3 and uk.counts["values"] == int(uk.values["value"].notna().sum())
    assert value(uk, "13-901", "K").source_row == "UK integrated dataset, 13-901, sheet 1.4 Inorganics cell F4"
    assert any("1.1 Notes" in note for note in uk.notes) and any("from memory" in note for note in uk.notes)
    assert uk.problems == [] and uk.measures.empty


@pytest.mark.parametrize(("change", "said"), [
    (lambda sheets: sheets["1.4 Inorganics"].append(["19-999", "Ghost", "", "X"]), ["cell A7", "'19-999' is not on sheet 1.3 Proximates"]),
    (lambda sheets: sheets["1.4 Inorganics"][3].__setitem__(1, "Rice"), ["cell B4", "is called 'Rice' here", "codes of one sheet have slipped"]),
    (lambda sheets: sheets["1.3 Proximates"].append(sheets["1.3 Proximates"][3]), ["cell A7", "'13-901' is that of row 4 too"]),
    (lambda sheets: sheets["1.4 Inorganics"][4].__setitem__(5, "2 40"), ["cell F5", "(Potassium (mg), food 16-902)", "'2 40' is neither a number"]),
    (lambda sheets: sheets["1.4 Inorganics"][4].__setitem__(5, -3), ["cell F5", "'-3' is a negative value"]),
    (lambda sheets: sheets["1.4 Inorganics"][0].__setitem__(5, "Potassium (g)"), ["row 1", "no column 'Potassium (mg)'", "nearest is 'Potassium (g)'"]),
    (lambda sheets: sheets["1.4 Inorganics"][0].__setitem__(6, "Potassium (mg)"), ["cell G1", "stands over a second column"]),
    (lambda sheets: sheets["1.2 Factors"][5].__setitem__(5, None), ["sheet 1.3 Proximates row 6", "given per 100 ml, and has no density"]),
    (lambda sheets: sheets["1.2 Factors"][5].__setitem__(5, 1012), ["cell F6", "'1012' is not a number from 0.2 to 3"]),
    (lambda sheets: sheets["1.2 Factors"][4].__setitem__(4, 0), ["cell E5", "leaves nothing to eat"]),
    (lambda sheets: sheets["1.2 Factors"][4].__setitem__(4, None), ["given as purchased, and has no edible portion"]),
    (lambda sheets: sheets["1.3 Proximates"][3].__setitem__(0, None), ["row 4", "no food code"]),
    (lambda sheets: sheets["1.3 Proximates"].__delitem__(2), ["cell A3", "in a row that the profile counts among the headings"]),
    (lambda sheets: sheets["1.3 Proximates"][3].__setitem__(0, datetime.datetime(2001, 11, 1)), ["cell A4", "made a date or time of it"]),
    (lambda sheets: sheets["1.3 Proximates"][3].__setitem__(0, 11.1), ["cell A4", "drops its last zeros"]),
    (lambda sheets: sheets["1.4 Inorganics"][3].__setitem__(5, "=F5+F6"), ["cell F4", "the formula has no stored value"]),
    (lambda sheets: sheets["1.4 Inorganics"][3].__setitem__(5, "#N/A"), ["cell F4", "#N/A"]),
    (lambda sheets: sheets["1.4 Inorganics"][3].__setitem__(5, True), ["cell F4", "the logical value True"]),
    (lambda sheets: sheets["1.4 Inorganics"][3].__setitem__(5, datetime.date(2026, 2, 1)), ["cell F4", "made a date or time of it"]),
    (lambda sheets: sheets.pop("1.5 Vitamins"), ["has no sheet '1.5 Vitamins' or 'Vitamins'"]),
])
def test_uk_a_fault_is_named_with_its_cell(tmp_path, change, said):
    sheets = uk_sheets()
    change(sheets)
    refused(book(tmp_path, sheets), "uk-integrated", *said)


def test_a_food_that_one_sheet_lacks_is_missing_there_and_said(tmp_path):
    sheets = uk_sheets()
    del sheets["1.4 Inorganics"][3]
    imported = read(book(tmp_path, sheets), "uk-integrated")
    assert [item.severity for item in imported.problems] == [WARNING] and "'13-901'" in imported.problems[0].what
    potassium = value(imported, "13-901", "K")
    assert potassium.value_type == "missing" and potassium.derivation == "not on sheet 1.4 Inorganics" and value(imported, "13-901", "WATER").value == 92.2


# ---------------------------------------------------------------- the French workbook's layout

def french_rows(changed=None, heading=None):
    plan = load_profile("french-table").sheets[0]
    head = ["alim_grp_code", "alim_grp_nom_fr", "alim_code", "alim_nom_fr", "alim_nom_sci", *(column.headings[0] for column in plan.columns)]
    figures = {"Eau (g/100 g)": "92,3", "Glucides (g/100 g)": "2,9", "Fibres alimentaires (g/100 g)": "2,2", "Lipides (g/100 g)": "< 0,5", "Alcool (g/100 g)": "0",
               "Potassium (mg/100 g)": "1150", "Sodium (mg/100 g)": "traces", "Iode (µg/100 g)": "< 20", "Vitamine C (mg/100 g)": "-", **(changed or {})}
    head_shown = [text.replace(" (", "\n(") for text in head] if heading is None else [heading.get(text, text) for text in head]
    return [head_shown, ["02", "fruits, légumes", 20901, "Poireau, cuit", "Allium porrum", *(figures.get(text, "-") for text in head[5:])]]


def test_french_every_kind_of_value_comes_out_as_what_it_is(tmp_path):
    imported = read(book(tmp_path, {"compo": french_rows()}), "french-table")
    rows = {component: value(imported, "20901", component) for component in ("WATER", "K", "NA", "FAT", "ID", "VITC", "ALC", "CHOCDF")}
    assert {name: row.value_type for name, row in rows.items()} == {
        "WATER": "calculated", "K": "calculated", "NA": "trace", "FAT": "below-detection", "ID": "below-detection", "VITC": "missing", "ALC": "zero", "CHOCDF": "calculated"}
    assert rows["WATER"].value == 92.3 and rows["WATER"].original == "92,3" and rows["K"].value == 1150
    assert (rows["FAT"].value, rows["FAT"].minimum, rows["FAT"].maximum, rows["FAT"].original) == (0.25, 0, 0.5, "< 0,5")
    assert (rows["NA"].value, rows["NA"].maximum) == (0.025, 0.05) and (rows["ID"].maximum, rows["ID"].unit) == (20, "ug")
    assert rows["CHOCDF"].value == pytest.approx(5.1) and rows["CHOCDF"].derivation == "calculated: CHOAVLDF + FIBTG"
    entry = imported.entries.iloc[0]
    assert (entry["name"], entry["food_group"], entry["state"]) == ("Poireau, cuit", "fruits, légumes", "cooked")
    assert imported.extra["foods"]["scientific_name"].tolist() == ["Allium porrum"]


@pytest.mark.parametrize(("changed", "said"), [
    ({"Potassium (mg/100 g)": "1.150"}, "'1.150' is neither a number (decimal mark ',')"),
    ({"Potassium (mg/100 g)": "< 0"}, "'< 0' is not a limit of detection above 0"),
    ({"Potassium (mg/100 g)": "<"}, "'<' is not a limit of detection"),
    ({"Potassium (mg/100 g)": "> 5"}, "'> 5' is neither"),
    ({"Potassium (mg/100 g)": "(5)"}, "'(5)' is neither"),  # this table has no brackets
    ({"Potassium (mg/100 g)": "N"}, "'N' is neither"),
    ({"Potassium (mg/100 g)": "10-20"}, "'10-20' is neither"),
])
def test_french_a_cell_that_is_not_understood_is_a_problem(tmp_path, changed, said):
    refused(book(tmp_path, {"compo": french_rows(changed)}), "french-table", said, "Potassium (mg/100 g), food 20901", "sheet compo cell ")


def test_a_heading_per_100_ml_is_not_read_as_per_100_g(tmp_path):
    text = "Potassium (mg/100 ml)"
    rows = french_rows(heading={"Potassium (mg/100 g)": text})
    refused(book(tmp_path, {"compo": rows}), "french-table", f"the nearest is '{text}'")
    copy = (load_text("french-table")).replace('"Potassium (mg/100 g)"', f'"{text}"')
    (tmp_path / "copy.toml").write_text(copy, encoding="utf-8")
    refused(book(tmp_path, {"compo": rows}), tmp_path / "copy.toml", "says per 100 ml, and the profile says per 100 g")


def load_text(name):
    from pipeline.root import ROOT

    return (ROOT / "reference" / "profiles" / f"{name}.toml").read_text(encoding="utf-8")


# ---------------------------------------------------------------- CSV

def test_a_csv_file_is_read_with_units_converted_once_and_the_original_kept(tmp_path):
    imported = read(csv_file(tmp_path), own(tmp_path))
    iron = value(imported, "001", "FE")
    assert (iron.value, iron.unit, iron.original, iron.original_unit, iron.value_type) == (1.1, "mg", "1100", "ug", "analysed")
    below = value(imported, "002", "FE")
    assert (below.value, below.maximum, below.value_type) == (0.01, 0.02, "below-detection")
    assert iron.source_row == "Invented table, 001, line 2, column 5"
    assert imported.entries["refuse_fraction"].isna().all()


@pytest.mark.parametrize(("rows", "said"), [
    ([["001", "Leek", "90", "260"]], ["line 2", "has 4 cells where the headings are 5"]),
    ([["001", "Leek", "90", "260", "1", "x"]], ["line 2", "has 6 cells"]),
    ([["001", "Leek", "90", "260", ""]], ["line 2, column 5", "an empty cell is neither"]),  # this profile does not call it missing
    ([["001", "", "90", "260", "1"]], ["line 2", "has no name"]),
    ([["", "Leek", "90", "260", "1"]], ["line 2", "no food code"]),
    ([["001", "Leek", "90", "260", "1"]] * 2, ["line 3", "is that of row 2 too"]),
    ([["001", 'Leek"x', "90", "260", "1"], ["002", '"Rice', "1", "1", "1"]], ["line 3", "is not valid CSV"]),
    ([], ["no foods below its headings"]),
    ([["001", "Leek", "1e3", "260", "1"]], ["'1e3' is neither"]),
    ([["001", "Leek", "9" * 400, "260", "1"]], ["is neither a number"]),
    ([["001", "Leek", "\u0669", "260", "1"]], ["is neither a number"]),
])
def test_a_csv_fault_is_named_with_its_line(tmp_path, rows, said):
    refused(csv_file(tmp_path, rows), own(tmp_path), "table.csv", *said)


def test_a_limit_for_traces_is_asked_for_where_a_cell_says_trace_and_nowhere_else(tmp_path):
    profile = own(tmp_path)
    profile.write_text(profile.read_text().replace("g = 0.05\nmg = 0.5\nug = 0.5\n", "mg = 0.5\n"))
    assert value(read(csv_file(tmp_path), profile), "002", "K").value_type == "trace"
    (found,) = refused(csv_file(tmp_path, [["001", "Leek", "Tr", "260", "1"]]), profile, "line 2, column 3", "'Tr' is a trace, and no limit")
    assert "[trace_limits]" in found.remedy


def test_many_faults_of_a_kind_are_listed_and_then_counted(tmp_path):
    rows = [[f"{number:03}", "Leek", "?", "260", "1"] for number in range(50)]
    problems = refused(csv_file(tmp_path, rows), own(tmp_path), "line 2, column 3", "and 30 more places like this one")
    assert len(problems) == 21


def test_a_wrong_delimiter_is_said(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("Code,Food\n001,Leek\n")
    refused(path, own(tmp_path), "has no heading 'Code'", "which mark divides the columns")


def test_byte_order_marks_and_encodings(tmp_path):
    rows = [["001", "Crème", "90", "260", "1"]]
    marked = csv_file(tmp_path, rows)
    marked.write_bytes(b"\xef\xbb\xbf" + marked.read_bytes())
    assert read(marked, own(tmp_path)).entries["name"].tolist() == ["Crème"]
    refused(csv_file(tmp_path, rows, encoding="latin-1"), own(tmp_path), "table.csv line 2", "is not in UTF-8 (byte 0xe8)", "cp1252")
    assert read(csv_file(tmp_path, rows, encoding="latin-1"), own(tmp_path, encoding="latin-1")).entries["name"].tolist() == ["Crème"]
    refused(csv_file(tmp_path, rows), own(tmp_path, encoding="latin-1"), "is in UTF-8, and the profile says latin-1")
    refused(csv_file(tmp_path, rows, encoding="utf-16"), own(tmp_path), "is in UTF-16")
    zero = csv_file(tmp_path)
    zero.write_bytes(zero.read_bytes().replace(b"Rice", b"Ri\x00e"))
    refused(zero, own(tmp_path), "table.csv line 3", "zero byte")


def test_a_folder_of_csv_files_is_joined_like_sheets(tmp_path):
    folder = tmp_path / "tables"
    folder.mkdir()
    csv_file(folder, name="main.csv")
    csv_file(folder, [["002", "14"], ["001", "N"]], ["Code", "Calcium (mg)"], name="more.csv")
    profile = own(tmp_path, sheet='sheet = "main"')
    profile.write_text(profile.read_text() + '[[sheet]]\nsheet = "more"\ncode = "Code"\ncolumns = [{heading = "Calcium (mg)", component = "CA", unit = "mg"}]\n')
    imported = read(folder, profile)
    assert value(imported, "002", "CA").value == 14 and value(imported, "001", "CA").value_type == "missing"
    assert value(imported, "001", "K").value == 260
    refused(tmp_path / "nothing", profile, "cannot be read")
    (tmp_path / "bare").mkdir()
    refused(tmp_path / "bare", profile, "a folder without CSV files")


# ---------------------------------------------------------------- workbooks as programs leave them

def with_stored(path, cell, formula, stored):
    """Gives a formula cell the value that a spreadsheet program would have stored with it."""
    content = path.read_bytes()
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(packed, "w") as new:
        for member in old.infolist():
            data = old.read(member)
            if member.filename == "xl/worksheets/sheet1.xml":
                before = f"<f>{formula}</f><v></v>".encode() if f"<f>{formula}</f><v></v>".encode() in data else f"<f>{formula}</f><v />".encode()
                assert before in data, data
                data = data.replace(before, f"<f>{formula}</f><v>{stored}</v>".encode())
            new.writestr(member, data)
    path.write_bytes(packed.getvalue())
    return path


def test_a_formula_gives_its_stored_value_and_a_note(tmp_path):
    path = book(tmp_path, {"T": [HEAD, ["001", "Leek", 90, "=13*20", 1]]})
    imported = read(with_stored(path, "D2", "13*20", 260), own(tmp_path))
    assert value(imported, "001", "K").value == 260 and value(imported, "001", "K").original == "260"
    assert any("1 cells are formulas" in note and "cell D2" in note for note in imported.notes)


def test_merged_headings_and_cells(tmp_path):
    rows = [HEAD, ["001", "Leek", 90, 260, 1], ["002", "Rice", 68, 14, 1]]
    refused(book(tmp_path, {"T": rows}, lambda made: made["T"].merge_cells("D1:E1")), own(tmp_path), "sheet T cell D1", "is merged over 2 columns")
    refused(book(tmp_path, {"T": rows}, lambda made: made["T"].merge_cells("D2:D3")), own(tmp_path), "sheet T cell D2", "(Potassium (mg)) the cell is merged")
    two = [HEAD[:3] + [None, None], [None, None, None, *HEAD[3:]], *rows[1:]]

    def downwards(made):
        for column in "ABC":
            made["T"].merge_cells(f"{column}1:{column}2")
    profile = own(tmp_path, sheet="header_row = 2")
    assert value(read(book(tmp_path, {"T": two}, downwards), profile), "002", "K").value == 14
    beside = [[*HEAD, "Remarks", None], ["001", "Leek", 90, 260, 1, "x", None]]
    assert read(book(tmp_path, {"T": beside}, lambda made: made["T"].merge_cells("F1:G1")), own(tmp_path)).counts["foods"] == 1


def test_numbers_keep_what_they_are_and_formats_must_not_change_them(tmp_path):
    rows = [HEAD, [1, "Leek", 0.1234567890123, 260, 1]]

    def padded(made):
        made["T"]["A2"].number_format = "00000"
        made["T"]["C2"].number_format = "#,##0.00_);(#,##0.00)"
    imported = read(book(tmp_path, {"T": rows}, padded), own(tmp_path))
    water = value(imported, "00001", "WATER")
    assert water.original == "0.1234567890123" and float(water.original) == water.value
    for number_format in ('"<"0.0', "0%", '"("0")"', "yyyy", "0,", '0.0"*"'):
        changed = book(tmp_path, {"T": rows}, lambda made: setattr(made["T"]["D2"], "number_format", number_format))
        refused(changed, own(tmp_path), "sheet T cell D2")


def test_empty_rows_do_not_shift_the_place_of_a_cell(tmp_path):
    def apart(made):
        made["T"].insert_rows(2, 3)
        made["T"].insert_rows(1, 2)
    path = book(tmp_path, {"T": [HEAD, *ROWS]}, apart)
    assert value(read(path, own(tmp_path)), "002", "K").source_row == "Invented table, 002, sheet T cell D8"
    spoilt = book(tmp_path, {"T": [HEAD, ROWS[0], [*ROWS[1][:3], "?", "1"]]}, apart)
    refused(spoilt, own(tmp_path), "table.xlsx sheet T cell D8", "(Potassium (mg), food 002) '?'")


def test_what_is_not_read_is_noted(tmp_path):
    rows = [[*HEAD, "Price", None], ["001", "Leek", 90, 260, 1, 2.5, "x"]]
    notes = read(book(tmp_path, {"T": rows}), own(tmp_path)).notes
    assert any("does not name them: 'Price'" in note for note in notes) and any("no heading: sheet T cell G2" in note for note in notes)


def test_files_that_are_no_tables(tmp_path):
    profile = own(tmp_path)
    whole = book(tmp_path, {"T": [HEAD, *ROWS]}).read_bytes()
    for name, content, said in (("a.xlsx", whole[: len(whole) // 2], "not an XLSX workbook"), ("b.xls", b"\xd0\xcf\x11\xe0" + bytes(600), "old binary format"),
                                ("c.csv", b"", "is empty"), ("d.xlsx", b"PK\x03\x04nothing", "not an XLSX workbook")):
        (tmp_path / name).write_bytes(content)
        refused(tmp_path / name, profile, name, said)
    refused(book(tmp_path, {"T": [HEAD, *ROWS], "U": [HEAD]}), profile, "has no sheet ''; it has 'T', 'U'")
    for start in range(100, len(whole), 700):  # damage in any part
        (tmp_path / "hurt.xlsx").write_bytes(whole[:start] + b"\xff\x00\xff" + whole[start + 3:])
        try:
            read(tmp_path / "hurt.xlsx", profile)
        except InputError as error:
            assert "hurt.xlsx" in str(error)


# ---------------------------------------------------------------- the basis, statistics, brackets

def test_a_column_says_the_basis_and_a_stated_density_is_named(tmp_path):
    basis = 'per_100_g_words = ["g"]\nper_100_ml_words = ["ml"]\ndensities = {002 = 1.25}\ndensity_source = "the label"'
    profile = own(tmp_path, basis=basis, roles='per = "Basis"')
    head = [*HEAD, "Basis"]
    imported = read(csv_file(tmp_path, [[*ROWS[0], "g"], [*ROWS[1], "ml"]], head), profile)
    assert value(imported, "001", "K").value == 260
    water = value(imported, "002", "WATER")
    assert water.value == 54.4 and water.derivation == "per 100 ml, density 1.25 g/ml, the label" and water.original_unit == "g per 100 ml"
    refused(csv_file(tmp_path, [[*ROWS[0], "ml"], [*ROWS[1], "ml"]], head), profile, "line 2", "'001' is given per 100 ml, and has no density")
    refused(csv_file(tmp_path, [[*ROWS[0], "cup"], [*ROWS[1], "ml"]], head), profile, "line 2, column 6", "'cup' does not say per 100 g or per 100 ml")
    refused(csv_file(tmp_path, [[*ROWS[0], "g"]], head), profile, "names the food '002', which the table does not have")


def test_statistics_come_with_their_value(tmp_path):
    profile = own(tmp_path)
    columns = '"WATER", unit = "g", n = "n", standard_error = "SE", minimum = "low", maximum = "high"'
    profile.write_text(profile.read_text().replace('"WATER", unit = "g"', columns))
    head = [*HEAD, "n", "SE", "low", "high"]
    row = value(read(csv_file(tmp_path, [[*ROWS[0], "6", "0.4", "<0.2", "91"]], head), profile), "001", "WATER")
    assert (row.n, row.standard_error, row.minimum, row.maximum) == (6, 0.4, 0, 91)
    refused(csv_file(tmp_path, [[*ROWS[0], "six", "Tr", "1", "91"]], head), profile, "(n, food 001) 'six'", "(standard_error, food 001) 'Tr'")


def test_words_for_below_detection_use_the_stated_limit_or_are_missing(tmp_path):
    imported = read(csv_file(tmp_path, [["001", "Leek", "90*", "nd", "nd"]]), own(tmp_path))
    iron, potassium = value(imported, "001", "FE"), value(imported, "001", "K")
    assert iron.value_type == "below-detection" and iron.maximum == pytest.approx(0.00002)  # 0.02 ug, in mg
    assert potassium.value_type == "missing" and "limit that is not stated" in potassium.derivation
    assert value(imported, "001", "WATER").derivation == "footnote *"


def test_a_unit_that_cannot_be_converted_is_refused_at_its_heading(tmp_path):
    profile = own(tmp_path)
    profile.write_text(profile.read_text().replace('"FE", unit = "ug"', '"FE", unit = "kJ"').replace("[trace_limits]", "[trace_limits]\nkJ = 0.5"))
    refused(csv_file(tmp_path), profile, "line 1, column 5", "FE is in kJ, which is not convertible to mg")


# ---------------------------------------------------------------- properties of the cell reader

COMMA = Words(trace=frozenset({"tr"}), missing=frozenset({"", "-"}), present_unknown=frozenset({"n"}), less_than=("<",), brackets=("()", "[]"),
              footnote_marks=("*",), decimal=",", thousands=".")
numbers = st.one_of(st.integers(1, 10**8).map(float), st.floats(1e-6, 1e6), st.decimals("0.001", "9999", places=3).map(float))


def printed(reading: Reading, words: Words) -> str:
    """A number or a limit as the table would write it: the inverse of :func:`read_cell` for these.

    "" for a reading without a number, and for a trace (its word is the profile's).
    """
    if math.isnan(reading.value) or reading.value_type == "trace":
        return ""
    below = reading.value_type == "below-detection"
    text = plain(reading.maximum if below else reading.value).replace(".", words.decimal)
    if below:
        text = f"{words.less_than[0]} {text}"
    if not reading.bracketed:
        return text
    start, end = PAIRS[words.brackets[0]]
    return start + text + end


@given(numbers, st.sampled_from(["plain", "bracket", "limit", "bracket limit"]), st.sampled_from([".", ","]))
def test_what_is_read_and_printed_again_is_the_same(number, kind, decimal):
    words = Words(**{**COMMA.__dict__, "decimal": decimal, "thousands": ""})
    text = plain(number).replace(".", decimal)
    text = f"< {text}" if "limit" in kind else text
    text = f"({text})" if "bracket" in kind else text
    reading = read_cell(text, words, Limits(0.5))
    assert not reading.fault and printed(reading, words) == text
    assert read_cell(printed(reading, words), words, Limits(0.5)) == reading
    expected = {"plain": "analysed", "bracket": "imputed"}.get(kind, "below-detection")
    assert reading.value_type == expected and (reading.maximum if "limit" in kind else reading.value) == number


@given(st.floats(0, 1e9, allow_subnormal=False))
def test_a_number_of_a_workbook_comes_out_as_exactly_that_number(number):
    reading = read_cell(plain(number), COMMA, is_number=True)
    assert reading.value == number and reading.value_type == ("zero" if number == 0 else "analysed")


@given(st.one_of(st.text(max_size=12), st.text("0123456789.,-<()[]TtrRnN* \u00a0\u2212", max_size=10)), st.booleans())
@settings(max_examples=500)
def test_any_text_is_read_or_has_a_fault_and_nothing_unknown_becomes_a_number(text, is_number):
    reading = read_cell(text, COMMA, Limits(0.5), is_number)
    if reading.fault:
        assert math.isnan(reading.value)
        return
    assert math.isnan(reading.value) == (reading.value_type == "missing")
    assert not reading.value < 0
    if reading.value_type in ("analysed", "imputed", "zero"):
        assert any(letter in "0123456789" for letter in text)
    if reading.value_type == "zero":
        assert not set(text) & set("123456789") and "-" not in text


@given(st.lists(st.lists(st.one_of(st.none(), st.text(max_size=6), st.floats(), st.integers(), st.booleans(), st.dates()), min_size=5, max_size=5), max_size=4))
@settings(max_examples=60, deadline=None)
def test_nothing_raises_but_input_error_and_no_food_is_lost(tmp_path_factory, rows):
    folder = tmp_path_factory.mktemp("any")
    made = openpyxl.Workbook()
    made.active.append(HEAD)
    for number, row in enumerate(rows, 2):
        for column, item in enumerate(row, 1):
            try:
                made.active.cell(number, column).value = item
            except (openpyxl.utils.exceptions.IllegalCharacterError, ValueError):
                pass
    made.save(folder / "any.xlsx")
    filled = sum(any(cell.value not in (None, "") for cell in row) for row in made.active.iter_rows(min_row=2))
    try:
        imported = read(folder / "any.xlsx", own(folder))
    except InputError as error:
        assert error.problems
        return
    assert imported.counts["foods"] == filled


@given(st.binary(max_size=300))
@settings(max_examples=60, deadline=None)
def test_any_bytes_are_a_table_or_an_input_error(tmp_path_factory, content):
    folder = tmp_path_factory.mktemp("bytes")
    (folder / "any.csv").write_bytes(content)
    with pytest.raises(InputError):
        read(folder / "any.csv", own(folder))


def test_importing_twice_gives_the_same_tables(tmp_path):
    path, profile = book(tmp_path, {"compo": french_rows()}), "french-table"
    first, second = read(path, profile), read(path, profile)
    for name in ("entries", "values", "measures"):
        pd.testing.assert_frame_equal(getattr(first, name), getattr(second, name))
