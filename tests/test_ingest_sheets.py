"""Ingest from sheets: recipes.csv with lines.csv, and XLSX workbooks as spreadsheet programs leave them."""

from __future__ import annotations

import datetime
from pathlib import Path

import openpyxl
import pytest

from pipeline.problems import ERROR, WARNING, InputError
from pipeline.stages.ingest import ingest

RECIPES = [["recipe_id", "name", "portions", "units", "method", "claims"],
           ["soup", "Soup", "4", "uk", "Simmer.\nBlend.", "low-salt; low-fat"],
           ["slaw", "Slaw", "6", "uk", "Toss.", ""]]
LINES = [["recipe_id", "text", "section"], ["soup", "2 leeks, sliced", ""], ["soup", '1 "big" onion', "Base"], ["slaw", "1 carrot", ""]]


def csv_text(rows: list[list[str]]) -> str:
    return "\n".join(",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows) + "\n"


def pair(folder: Path, recipes=RECIPES, lines=LINES) -> Path:
    (folder / "recipes.csv").write_text(recipes if isinstance(recipes, str) else csv_text(recipes))
    (folder / "lines.csv").write_text(lines if isinstance(lines, str) else csv_text(lines))
    return folder


def workbook(folder: Path, change=lambda book: None) -> Path:
    book = openpyxl.Workbook()
    for name, rows in (("recipes", RECIPES), ("lines", LINES)):
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append([int(cell) if cell.isdigit() else cell or None for cell in row])
    del book["Sheet"]
    change(book)
    book.save(folder / "book.xlsx")
    return folder / "book.xlsx"


def only(collection, code: str):
    assert [problem.code for problem in collection.problems] == [code], [str(problem) for problem in collection.problems]
    return collection.problems[0]


@pytest.mark.parametrize("given", ["", "recipes.csv", "lines.csv"])
def test_a_csv_pair_is_read_with_its_lines(tmp_path, given):
    found = ingest(pair(tmp_path) / given)
    assert found.problems == [] and found.recipes["recipe_id"].tolist() == ["slaw", "soup"]
    assert found.lines[["line_id", "text", "section", "source_file", "source_line"]].to_numpy().tolist() == [
        ["slaw/base/1", "1 carrot", "", "lines.csv", 4], ["soup/base/1", "2 leeks, sliced", "", "lines.csv", 2],
        ["soup/base/2", '1 "big" onion', "Base", "lines.csv", 3]]
    assert found.recipes["source_line"].tolist() == [4, 2]  # a method of two lines stands before it
    assert found.steps["text"].tolist() == ["Toss.", "Simmer.", "Blend."]
    assert found.printed_claims["claim"].tolist() == ["low-fat", "low-salt"]


def test_line_numbers_order_the_lines_only_if_every_line_has_one(tmp_path):
    numbered = [["recipe_id", "text", "line_no"], ["soup", "b", "10"], ["soup", "a", "2"], ["slaw", "c", "1"], ["slaw", "d", ""]]
    found = ingest(pair(tmp_path, lines=numbered))
    assert found.lines["text"].tolist() == ["c", "d", "a", "b"]
    assert only(found, "line-numbers").recipe_id == "slaw"


@pytest.mark.parametrize(("recipes", "lines", "code", "left"), [
    (RECIPES, LINES + [["soup", "1 egg"]], "cell", ["slaw"]),
    (RECIPES, LINES + [["sooup", "1 egg", ""]], "line-may-be-missing", ["slaw"]),
    (RECIPES, LINES[:3] + [["", "1 egg", ""]] + LINES[3:], "line-may-be-missing", []),
    (RECIPES, LINES + [["elsewhere", "1 egg", ""]], "line-without-recipe", ["slaw", "soup"]),
    (RECIPES, LINES[:3], "no-lines", ["soup"]),
    (RECIPES + [["soup", "Soup", "2", "uk", "x", ""]], LINES, "id-twice", ["slaw"]),
    (RECIPES + [["Pie One", "Pie", "2", "uk", "x", ""]], LINES, "id-form", ["slaw", "soup"]),
])
def test_faults_in_a_pair_withhold_what_they_touch(tmp_path, recipes, lines, code, left):
    folder = pair(tmp_path, recipes, lines)
    (folder / "keep.yaml").write_text("id: keep\nname: Keep\nportions: 1\nunits: uk\ningredients: [1 egg]\nmethod: [Boil.]\n")
    found = ingest(folder)
    assert code in {problem.code for problem in found.problems if problem.severity == ERROR}
    assert found.recipes["recipe_id"].tolist() == sorted([*left, "keep"])


@pytest.mark.parametrize("mark", [";", "\t"])
def test_sheets_of_a_country_with_a_decimal_comma_are_read(tmp_path, mark):
    rows = [["recipe_id", "name", "portions", "finished_mass", "claims"], ["soup", "Soup", "4", "850,5 g", "low-salt; low-fat"]]
    recipes, lines = (csv_text(some).replace(",", mark).replace(f"850{mark}5", "850,5") for some in (rows, [["recipe_id", "text"], ["soup", "LEEKS"]]))
    found = ingest(pair(tmp_path, "\ufeff" + recipes, "\ufeff" + lines.replace("LEEKS", "1,5 kg leeks, sliced")))
    assert [problem for problem in found.problems if problem.code not in ("no-method", "units-assumed")] == []
    assert found.lines["text"].tolist() == ["1,5 kg leeks, sliced"] and found.recipes["finished_mass_g"].tolist() == [850.5]
    assert found.printed_claims["claim"].tolist() == ["low-fat", "low-salt"]


@pytest.mark.parametrize(("recipes", "lines", "code", "where"), [
    ("recipe_id|name|portions\nsoup|Soup|4\n", LINES, "columns", "recipes.csv, line 1"),
    ([RECIPES[0] + ["name"], *RECIPES[1:]], LINES, "columns", "recipes.csv, line 1"),
    (RECIPES, "", "columns", "lines.csv, line 1"),
    (RECIPES, csv_text(LINES) + 'soup,"1 egg', "csv-broken", "lines.csv, line 5"),
])
def test_a_sheet_that_cannot_be_read_says_where(tmp_path, recipes, lines, code, where):
    with pytest.raises(InputError) as caught:
        ingest(pair(tmp_path, recipes, lines))
    assert (code, where) in {(problem.code, problem.where) for problem in caught.value.problems}


def test_an_extra_column_is_named(tmp_path):
    extra = [[*LINES[0], "txet"]] + [[*row, "x"] for row in LINES[1:]]
    problem = only(ingest(pair(tmp_path, lines=extra)), "unknown-column")
    assert problem.severity == WARNING and "'txet'" in problem.what and "'text'" in problem.remedy


def test_one_sheet_alone_is_refused(tmp_path):
    (pair(tmp_path) / "lines.csv").unlink()
    with pytest.raises(InputError, match="there is no lines.csv beside it"):
        ingest(tmp_path)


def test_a_workbook_is_read(tmp_path):
    found = ingest(workbook(tmp_path))
    assert found.problems == [] and found.recipes["portions"].tolist() == [6, 4]
    assert found.lines["text"].tolist() == ["1 carrot", "2 leeks, sliced", '1 "big" onion']
    assert found.recipes["source_file"].tolist() == ["book.xlsx"] * 2


def test_a_merged_recipe_id_counts_for_all_its_rows(tmp_path):
    found = ingest(workbook(tmp_path, lambda book: book["lines"].merge_cells("A2:A3")))
    assert found.problems == [] and len(found.lines) == 3


def set_cell(sheet: str, cell: str, value):
    return lambda book: book[sheet].__setitem__(cell, value)


@pytest.mark.parametrize(("change", "cell", "words", "left"), [
    (set_cell("lines", "B3", '="1 onion"'), "sheet lines, cell B3", "the formula has no stored value", ["slaw"]),
    (set_cell("lines", "B3", datetime.date(2024, 2, 1)), "sheet lines, cell B3", "a date or time", ["slaw"]),
    (set_cell("lines", "B3", 7), "sheet lines, cell B3", "the text is the number 7", ["slaw"]),
    (set_cell("lines", "B3", True), "sheet lines, cell B3", "the logical value True", ["slaw"]),
    (set_cell("lines", "B3", "#REF!"), "sheet lines, cell B3", "the error #REF!", ["slaw"]),
    (set_cell("recipes", "C2", datetime.date(2024, 4, 6)), "sheet recipes, cell C2", "a date or time", ["slaw"]),
    (lambda book: book["lines"].merge_cells("B2:B3"), "sheet lines, cell B3", "merged with others", ["slaw"]),
])
def test_a_cell_that_cannot_be_trusted_is_named_with_its_sheet(tmp_path, change, cell, words, left):
    found = ingest(workbook(tmp_path, change))
    named = [problem for problem in found.problems if problem.where == f"book.xlsx, {cell}"]
    assert len(named) == 1 and words in named[0].what and named[0].recipe_id == "soup"
    assert found.recipes["recipe_id"].tolist() == left


def test_a_line_whose_recipe_cannot_be_read_withholds_those_around_it(tmp_path):
    (tmp_path / "keep.yaml").write_text("id: keep\nname: Keep\nportions: 1\nunits: uk\ningredients: [1 egg]\nmethod: [Boil.]\n")
    workbook(tmp_path, set_cell("lines", "A3", "#REF!"))
    found = ingest(tmp_path)
    assert found.recipes["recipe_id"].tolist() == ["keep"]
    assert "book.xlsx, sheet lines, cell A3" in {problem.where for problem in found.problems}
    assert "book.xlsx, sheet lines, row 3" in {problem.where for problem in found.problems if problem.recipe_id == "soup"}


def test_a_formula_with_a_stored_value_gives_that_value(tmp_path):
    """The stored value is put into the workbook's XML, as a spreadsheet program would on saving."""
    import zipfile

    made = workbook(tmp_path, set_cell("lines", "B3", '=CONCATENATE("1 ","onion")'))
    with zipfile.ZipFile(made) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    sheet = "xl/worksheets/sheet2.xml"
    before = parts[sheet]
    parts[sheet] = before.replace(b'<c r="B3">', b'<c r="B3" t="str">').replace(b'</f><v></v>', b'</f><v>1 onion</v>').replace(b'</f><v />', b'</f><v>1 onion</v>')
    assert parts[sheet] != before
    with zipfile.ZipFile(made, "w") as packed:
        for name, content in parts.items():
            packed.writestr(name, content)
    found = ingest(made)
    assert found.problems == [] and found.lines["text"].tolist()[-1] == "1 onion"


@pytest.mark.parametrize("content", [b"not a workbook", b"PK\x03\x04 broken"])
def test_a_file_that_is_no_workbook_is_refused(tmp_path, content):
    (tmp_path / "book.xlsx").write_bytes(content)
    with pytest.raises(InputError, match="is not an XLSX workbook"):
        ingest(tmp_path)


def test_a_workbook_without_the_sheet_says_so_and_another_sheet_is_named(tmp_path):
    with pytest.raises(InputError, match="has no sheet lines"):
        ingest(workbook(tmp_path, lambda book: book["lines"].__setattr__("title", "ingredients")))
    assert only(ingest(workbook(tmp_path, lambda book: book.create_sheet("Notes"))), "sheet-unknown").where == "book.xlsx, sheet Notes"


def test_a_sheet_that_reaches_too_far_is_refused(tmp_path):
    with pytest.raises(InputError, match="reaches to row 200,000"):
        ingest(workbook(tmp_path, set_cell("lines", "A200000", "x")))
