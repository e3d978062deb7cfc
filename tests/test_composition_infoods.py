"""Workbooks in the FAO/INFOODS layout (from memory): tagnames in a header row. Foods and figures are invented.

Tagnames: Klensin and others, "Identification of Food Components for INFOODS Data Interchange", 1989, and the FAO/INFOODS
tagname lists, from memory.
"""

from __future__ import annotations

import math

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.composition.infoods import Heading, heading_of, read
from pipeline.problems import InputError
from pipeline.root import ROOT

TITLES = ["Food code", "Food name in English", "Food name in French", "Scientific name", "Edible portion", "Energy", None, "Water", "Fibre", "Iron", "Potassium", "Factor"]
TAGS = [None, None, None, None, "EDIBLE", "ENERC(kJ)", "ENERC(kcal)", "WATER(g)", "FIBTG(g)\nor [FIBC](g)", "FE (mg)", "K(mg)", "XN"]
FOODS = [
    ["Cereals and their products"] + [None] * 11,
    ["01_001", "Fonio, raw", "Fonio, cru", "Digitaria exilis", 1, 1500, 355, "10.1", 2.2, "[1.5]", 140, 6.25],
    ["01_002", "Sorghum, boiled", None, None, 0.9, 500, 118, 68, "[3.1]", "tr", "(120)", 6.25],
    ["Vegetables"] + [None] * 11,
    ["02_001", "Okra, raw", None, None, 0.88, 130, 31, 89.9, "nd", "<0.1", 0, 6.25],
    ["Notes: tr = trace"] + [None] * 11,
]


def book(folder, rows, more=None, change=lambda made: None, name="infoods.xlsx"):
    made = openpyxl.Workbook()
    made.active.title = "Proximates"
    for row in rows:
        made.active.append(row)
    for title, sheet in (more or {}).items():
        added = made.create_sheet(title)
        for row in sheet:
            added.append(row)
    change(made)
    made.save(folder / name)
    return folder / name


def value(imported, entry_id, component, unit=None):
    found = imported.values[(imported.values["entry_id"] == entry_id) & (imported.values["component"] == component)]
    found = found if unit is None else found[found["unit"] == unit]
    assert len(found) == 1, found
    return found.iloc[0]


def refused(path, *said, **given):
    with pytest.raises(InputError) as caught:
        read(path, **given)
    for words in said:
        assert words in str(caught.value), str(caught.value)


@pytest.fixture
def imported(tmp_path):
    return read(book(tmp_path, [["A table of foods"], TITLES, TAGS, *FOODS], {"About": [["nothing here"]]}))


def test_every_kind_of_value_comes_out_as_what_it_is(imported):
    kinds = {(entry_id, component): value(imported, entry_id, component) for entry_id, component in (
        ("01_001", "WATER"), ("01_001", "FE"), ("01_002", "FE"), ("01_002", "K"), ("02_001", "FE"), ("02_001", "K"), ("02_001", "FIBTG"))}
    assert [row.value_type for row in kinds.values()] == ["calculated", "imputed", "trace", "imputed", "below-detection", "zero", "missing"]
    assert (kinds["01_001", "WATER"].value, kinds["01_001", "FE"].value, kinds["01_001", "FE"].original) == (10.1, 1.5, "[1.5]")
    assert (kinds["01_002", "FE"].value, kinds["01_002", "FE"].maximum) == (0.025, 0.05)
    assert (kinds["02_001", "FE"].value, kinds["02_001", "FE"].maximum) == (0.05, 0.1)
    assert math.isnan(kinds["02_001", "FIBTG"].value) and "limit that is not stated" in kinds["02_001", "FIBTG"].derivation
    assert value(imported, "01_001", "ENERC", "kJ").value == 1500 and value(imported, "01_001", "ENERC", "kcal").value == 355
    assert value(imported, "01_001", "XN").value == 6.25 and value(imported, "01_001", "XN").unit == "1"


def test_a_value_in_brackets_is_the_other_method_where_the_heading_says_so(imported):
    assert value(imported, "01_002", "FIBC").value == 3.1 and value(imported, "01_002", "FIBC").value_type == "calculated"
    assert value(imported, "01_002", "FIBTG").value_type == "missing" and value(imported, "01_002", "FIBTG").derivation == "given as FIBC"
    assert value(imported, "01_001", "FIBTG").value == 2.2 and value(imported, "01_001", "FIBC").value_type == "missing"


def test_names_groups_and_the_edible_portion(imported):
    entries = imported.entries.set_index("entry_id")
    assert entries["name"].to_dict() == {"01_001": "Fonio, raw", "01_002": "Sorghum, boiled", "02_001": "Okra, raw"}
    assert entries["food_group"].tolist() == ["Cereals and their products"] * 2 + ["Vegetables"]
    assert entries.at["01_001", "common_names"] == "Fonio, cru" and entries.at["02_001", "refuse_fraction"] == pytest.approx(0.12)
    assert imported.extra["foods"]["scientific_name"].tolist() == ["Digitaria exilis", "", ""]
    assert any("'Notes: tr = trace'" in note for note in imported.notes) and any("'About'" in note for note in imported.notes)
    assert value(imported, "01_001", "K").source_row == "INFOODS workbook, 01_001, sheet Proximates cell K5"


def test_units_in_the_row_below_and_one_header_row(tmp_path):
    rows = [["Code", "Food name", "WATER", "K", "VITC", "Remarks"], [None, None, "(g)", "mg", "(mg/100 g)", None], ["1", "Okra", 89, 300, 20, "x"]]
    imported = read(book(tmp_path, rows))
    assert value(imported, "1", "VITC").value == 20 and value(imported, "1", "K").unit == "mg"
    assert any("'Remarks'" in note for note in imported.notes)


def test_sheets_are_joined_on_the_code(tmp_path):
    minerals = [["Food code", "Food name in English", "CA(mg)", "P(mg)", "NA(g)", "XN"], *[[row[0], row[1], 12, 34, "0.5", 6.25] for row in FOODS if row[1]]]
    imported = read(book(tmp_path, [TITLES, TAGS, *FOODS], {"Minerals": minerals}))
    assert value(imported, "02_001", "CA").value == 12 and value(imported, "02_001", "NA").value == 500 and value(imported, "02_001", "NA").original_unit == "g"
    path = book(tmp_path, [TITLES, TAGS, *FOODS], {"Again": [["Food code", "WATER(g)", "K(mg)", "CA(mg)"], ["01_001", 1, 2, 3]]})
    refused(path, "gives 'WATER', 'K' a second time, after the sheet 'Proximates'", "sheets = ['Proximates'] under [file]")
    assert read(path, sheets=["Proximates"]).counts["foods"] == 3
    own = tmp_path / "own.toml"
    own.write_text((ROOT / "reference" / "profiles" / "infoods.toml").read_text("utf-8").replace("[file]", '[file]\nsheets = ["Proximates"]'), "utf-8")
    assert read(path, own).counts["foods"] == 3
    refused(path, "has no sheet 'Minerals'", sheets=["Minerals"])


@pytest.mark.parametrize(("text", "below", "found"), [
    ("ENERC(kJ)", "", Heading("ENERC", "kJ")), ("K [mg]", "", Heading("K", "mg")), ("K/mg", "", Heading("K", "mg")), ("[FIBC](g)", "", Heading("FIBC", "g")),
    ("VITB6-(mg)", "", Heading("VITB6-", "mg")), ("VITA_RAE (mcg)", "", Heading("VITA_RAE", "ug")), ("FAT(g/100 g EP)", "", Heading("FAT", "g")),
    ("FIBTG(g) or [FIBC](g)", "", Heading("FIBTG", "g", "FIBC")), ("XFA", "", Heading("XFA", "1")), ("K", "(mg)", Heading("K", "mg")),
    ("K", "", None), ("Food code", "", None), ("Water (g)", "", None), ("", "mg", None),
])
def test_headings_as_these_workbooks_write_them(text, below, found):
    assert heading_of(text, below) == found


@pytest.mark.parametrize(("rows", "said"), [
    ([TITLES, [*TAGS[:10], "K(spoon)", "XN"], *FOODS], ["cell K2", "has the unit 'spoon', which is not known"]),
    ([TITLES, [*TAGS[:10], "K", "XN"], *FOODS], ["cell K2", "the tagname 'K' has no unit"]),
    ([[text and text.replace("Food code", "No") for text in TITLES], TAGS, *FOODS], ["has no column for the food's code", "[food] code"]),
    ([["Per 100 g dry matter"], TITLES, TAGS, *FOODS], ["cell A1", "speaks of another basis"]),
    ([["Values per 100 ml"], TITLES, TAGS, *FOODS], ["cell A1", "says per 100 ml"]),
    ([TITLES, [*TAGS[:10], "FE(mg)", "XN"], *FOODS], ["gives 'FE' a second time, in this sheet"]),
    ([TITLES, TAGS, FOODS[1], FOODS[1]], ["is that of row 3 too"]),
    ([TITLES, TAGS, [None, "SD", *[None] * 5, 0.3, *[None] * 4], FOODS[1]], ["row 3", "no food code"]),
    ([TITLES, TAGS, [None] * 7 + [5], FOODS[1]], ["row 3", "no food code"]),
    ([TITLES, TAGS, ["03_001"], FOODS[1]], ["'03_001' has no name"]),
    ([TITLES, TAGS, [*FOODS[1][:10], "1,5", 6.25]], ["cell K3", "(K(mg), food 01_001) '1,5' is neither"]),
    ([TITLES, TAGS, [*FOODS[1][:10], "=K4", 6.25]], ["cell K3", "formula has no stored value"]),
    ([TITLES, TAGS, [*FOODS[1][:4], 1.4, *FOODS[1][5:]]], ["cell E3", "'1.4' is not a number from 0 to 1"]),
    ([["nothing"], ["at all"]], ["has no row with 3 or more tagnames"]),
])
def test_a_fault_is_named_with_its_place(tmp_path, rows, said):
    refused(book(tmp_path, rows), "infoods.xlsx", *said)


def test_a_merged_heading_over_two_components_is_refused_and_titles_may_be_merged(tmp_path):
    def titles(made):
        made.active.merge_cells("F1:G1")
        made.active.merge_cells("A3:L3")
    assert read(book(tmp_path, [TITLES, TAGS, *FOODS], change=titles)).counts["foods"] == 3
    refused(book(tmp_path, [TITLES, TAGS, *FOODS], change=lambda made: made.active.merge_cells("H2:I2")), "cell H2", "merged over 2 columns")


def test_a_liquid_table_needs_a_density(tmp_path):
    text = (ROOT / "reference" / "profiles" / "infoods.toml").read_text(encoding="utf-8")
    text = text.replace('group = [', 'density = ["Density"]\ngroup = [').replace('per = "100 g"', 'per = "100 ml"')
    profile = tmp_path / "liquid.toml"
    profile.write_text(text, encoding="utf-8")
    rows = [["Food code", "Food name", "Basis: per 100 ml", "DEN(g/ml)", "WATER(g)", "K(mg)", "CA(mg)"], ["1", "Drink", None, 1.25, 90, 50, "tr"]]
    imported = read(book(tmp_path, rows), profile)
    assert value(imported, "1", "K").value == 40 and value(imported, "1", "CA").maximum == 0.4 and value(imported, "1", "K").original == "50"
    refused(book(tmp_path, [rows[0], ["1", "Drink", None, None, 90, 50, 1]]), "given per 100 ml, and has no density", profile=profile)


def test_a_profile_with_columns_is_not_for_these_workbooks(tmp_path):
    refused(book(tmp_path, [TITLES, TAGS, *FOODS]), "does not belong in this profile", profile="uk-integrated")


@given(st.text(max_size=14), st.text(max_size=6))
@settings(max_examples=300)
def test_any_heading_is_read_or_refused(text, below):
    found = heading_of(text, below)
    assert found is None or found.tagname


@given(st.lists(st.lists(st.one_of(st.none(), st.text(max_size=6), st.floats(0, 100), st.sampled_from(["tr", "nd", "[1]", "(2)", "<1"])), min_size=12, max_size=12), max_size=3))
@settings(max_examples=40, deadline=None)
def test_nothing_raises_but_input_error(tmp_path_factory, rows):
    made = openpyxl.Workbook()
    for number, row in enumerate([TITLES, TAGS, *FOODS, *rows], 1):
        for column, item in enumerate(row, 1):
            try:
                made.active.cell(number, column).value = item
            except (openpyxl.utils.exceptions.IllegalCharacterError, ValueError):
                pass
    path = tmp_path_factory.mktemp("any") / "any.xlsx"
    made.save(path)
    try:
        assert read(path).counts["foods"] >= 3
    except InputError as error:
        assert error.problems


def test_a_tagname_over_two_columns_is_told_by_the_units_below(tmp_path):
    rows = [["Food code", "Food name", "ENERC", "ENERC", "WATER", "K"], ["", "", "kJ", "kcal", "g", "mg"], ["A1", "Yam, raw", 494, 118, 70, 816]]
    imported = read(book(tmp_path, rows))
    assert (value(imported, "A1", "ENERC", "kJ")["value"], value(imported, "A1", "ENERC", "kcal")["value"]) == (494, 118)
    rows[1][3] = "kJ"
    refused(book(tmp_path, rows, name="twice.xlsx"), "ENERC")
