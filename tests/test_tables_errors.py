"""A table with errors never serves a run unawares: found on import even when it is small, kept beside the table, told in the run.

The ten foods are invented samples of kitchen foods. Their amounts are of the order that USDA SR26 gives (rounded, from
memory); what is expected of the check follows from the fault that is planted.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import openpyxl
import pytest
import straight
from click.testing import CliRunner
from table_root import Rows, plant, root, row

from pipeline import job as jobs
from pipeline import sources
from pipeline.cli_tables import tables as command
from pipeline.composition import check_kept, importing, store
from pipeline.composition.check_table import Rules, finding_rows, joined, read_thresholds
from pipeline.composition.load import load_table
from pipeline.problems import InputError

TAGNAMES = ("WATER(g)", "PROCNT(g)", "FAT(g)", "CHOCDF(g)", "K(mg)", "NA(mg)", "P(mg)")
TEN = {
    "Potato, raw": (79, 2.1, 0.1, 17.5, 430, 7, 58), "Carrot, raw": (88, 0.9, 0.2, 9.8, 310, 62, 36),
    "Onion, raw": (89, 1.2, 0.1, 9.1, 150, 5, 30), "Banana, raw": (75, 1.1, 0.3, 22.6, 350, 2, 23),
    "Apple, raw": (86, 0.3, 0.2, 13.7, 105, 2, 11), "Milk, whole": (88, 3.2, 3.3, 4.8, 140, 44, 88),
    "Egg, raw": (76, 12.5, 9.6, 0.8, 137, 139, 195), "Lentils, dried": (9, 25, 1, 61, 690, 7, 300),
    "Cream, double": (52, 2.2, 42, 2.9, 80, 30, 60), "Tomato, raw": (94, 0.9, 0.2, 3.9, 240, 6, 25),
}
CARROTS, CREAM = "11124", "01053"
DISHES = """
recipes:
  - id: quay-salad
    name: Quay salad
    portions: 2
    ingredients: [200 g carrots, 100 g double cream]
    method: [Toss everything in a bowl and serve.]
  - id: pier-cream
    name: Pier cream
    portions: 2
    ingredients: [200 g double cream]
    method: [Pour into a bowl and serve.]
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = root(tmp_path_factory.mktemp("errors"))
    (folder / "dishes.yaml").write_text(DISHES, encoding="utf-8")
    return folder


def ten_foods(path: Path, change=lambda foods: None) -> Path:
    """A workbook in the layout of FAO/INFOODS tables, after ``change`` edited {name: {tagname: amount}} in place."""
    foods = {name: dict(zip(TAGNAMES, amounts, strict=True)) for name, amounts in TEN.items()}
    change(foods)
    book = openpyxl.Workbook()
    for cells in (["Food code", "Food name in English", *TAGNAMES],
                  *([f"T{number:02d}", name, *amounts.values()] for number, (name, amounts) in enumerate(foods.items()))):
        book.active.append(cells)
    book.save(path)
    return path


def exchanged(one: str, other: str):
    def change(foods: dict) -> None:
        for amounts in foods.values():
            amounts[one], amounts[other] = amounts[other], amounts[one]

    return change


def times(tagname: str, factor: float, only: str = ""):
    def change(foods: dict) -> None:
        for name, amounts in foods.items():
            amounts[tagname] *= factor if only in ("", name) else 1

    return change


def imported(home: Path, tmp_path: Path, change=lambda foods: None, name: str = "ten") -> importing.Outcome:
    return importing.import_table("infoods-workbook", ten_foods(tmp_path / "ten.xlsx", change), name, root=home)


# ---------------------------------------------------------------- found on import, even in a small table

def test_ten_clean_foods_are_quiet(home: Path, tmp_path: Path) -> None:
    outcome = imported(home, tmp_path)
    assert outcome.errors.empty and outcome.faults() == [] and outcome.exit_code == 0


@pytest.mark.parametrize("one, other", [("K(mg)", "NA(mg)"), ("K(mg)", "P(mg)"), ("PROCNT(g)", "CHOCDF(g)"), ("FAT(g)", "WATER(g)")])
def test_columns_exchanged_in_ten_foods_are_named(home: Path, tmp_path: Path, one: str, other: str) -> None:
    outcome = imported(home, tmp_path, exchanged(one, other))
    whole = outcome.errors[outcome.errors["entry_id"] == ""]
    names = {name.partition("(")[0] for name in (one, other)}
    assert [set(found.split(" + ")) for found in whole["component"]] == [names]
    assert list(whole["check"]) == ["swapped-columns"] and outcome.exit_code == 1
    assert all(name in outcome.faults()[0] for name in names) and outcome.faults()[0].startswith("error: ")


@pytest.mark.parametrize("tagname, factor, words", [
    ("K(mg)", 1000, "1000 times too large"), ("K(mg)", 0.001, "1000 times too small"), ("P(mg)", 10, "10 times too large"),
    ("P(mg)", 0.1, "10 times too small"), ("K(mg)", 5, "about 5"), ("P(mg)", 1 / 4.184, "no other unit"), ("K(mg)", 1 / 39.1, "39.1 times too small"), ("PROCNT(g)", 0.1, "10 times too small")])
def test_a_column_in_another_unit_is_named(home: Path, tmp_path: Path, tagname: str, factor: float, words: str) -> None:
    outcome = imported(home, tmp_path, times(tagname, factor))
    whole = outcome.errors[outcome.errors["entry_id"] == ""]
    assert list(whole["component"]) == [tagname.partition("(")[0]] and list(whole["check"]) == ["unit-slip"]
    assert words in whole["what"].iloc[0] and outcome.exit_code == 1


def test_one_value_in_another_unit_is_an_error_of_its_entry(home: Path, tmp_path: Path) -> None:
    outcome = imported(home, tmp_path, times("K(mg)", 0.001, "Potato, raw"))
    assert list(zip(outcome.errors["entry_id"], outcome.errors["component"], outcome.errors["check"], strict=True)) == [
        ("T00", "K", "unlike-curated")]
    assert outcome.exit_code == 0 and "finds 1 error in it" in outcome.faults()[0]


def test_the_command_tells_the_exchange_and_returns_1(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "ROOT", tmp_path)
    path = ten_foods(tmp_path / "ten.xlsx", exchanged("K(mg)", "NA(mg)"))
    done = CliRunner().invoke(command, ["import", "infoods-workbook", str(path), "--name", "ten"], standalone_mode=False)
    assert done.return_value == 1 and "error: K and NA look exchanged in the whole table" in done.output


# ---------------------------------------------------------------- kept beside the table

def test_the_errors_are_kept_and_found_again_after_a_change(home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    imported(home, tmp_path, exchanged("K(mg)", "NA(mg)"), "kept")
    file = home / "composition" / "kept.check.json"
    assert len(json.loads(file.read_text(encoding="utf-8"))["errors"]) == 1
    with monkeypatch.context() as patched:
        patched.setattr(check_kept, "_checked", lambda *given: pytest.fail("checked again although nothing changed"))
        assert list(check_kept.errors("kept", home)["component"]) == ["K + NA"]
    imported(home, tmp_path, name="kept")
    assert check_kept.errors("kept", home).empty


@pytest.mark.parametrize("damage", ["", "{}", '{"key": 1}'])
def test_a_damaged_file_of_errors_is_made_again(home: Path, tmp_path: Path, damage: str) -> None:
    imported(home, tmp_path, exchanged("K(mg)", "NA(mg)"), "damaged")
    file = home / "composition" / "damaged.check.json"
    whole = file.read_bytes()
    file.write_text(damage, encoding="utf-8")
    assert list(check_kept.errors("damaged", home, keep=False)["component"]) == ["K + NA"] and file.read_text(encoding="utf-8") == damage
    check_kept.errors("damaged", home)
    assert file.read_bytes() == whole


def test_other_thresholds_are_another_check(home: Path, tmp_path: Path) -> None:
    folder = tmp_path / "own"
    shutil.copytree(home, folder)
    imported(folder, tmp_path, exchanged("K(mg)", "NA(mg)"))
    path = folder / "reference" / "table_checks.csv"
    text = path.read_text(encoding="utf-8")
    rule = next(line for line in text.splitlines() if line.startswith("known-exchanged,"))
    path.write_text(text.replace(rule, rule.replace(",4,log10,", ",11,log10,")), encoding="utf-8")
    assert "swapped-columns" not in set(check_kept.errors("ten", folder)["check"])  # eleven foods must tell: ten cannot


def found(entry_name: str, check: str, value: float, low: float, high: float, unit: str):
    return joined([finding_rows({
        "severity": ["error"], "check": check, "entry_id": "1", "entry_name": entry_name, "component": "ENERC", "value": value,
        "expected_low": low, "expected_high": high, "unit": unit, "what": "x", "remedy": "y", "source_id": "z"})])


@pytest.mark.parametrize("name, check, value, low, high, unit, stays", [
    ("Vinegar, cider", "energy", 21, 0, 15.2, "kcal", 0),  # USDA SR26, 02048: 4 to 8 g of acetic acid at 3.5 kcal/g
    ("Vinegar, cider", "energy", 210, 0, 15.2, "kcal", 1),  # no acid explains ten times as much
    ("Vinegar, cider", "unit-slip", 21, 0, 15.2, "kcal", 1),
    ("Oil, olive", "energy", 21, 0, 15.2, "kcal", 1),
    ("Vinegar, balsamic", "proximates", 94.34, 95, 105, "g", 0),  # 02069
    ("Vinegar, balsamic", "proximates", 120, 95, 105, "g", 1),
    ("Leavening agents, baking soda", "proximates", 37.1, 95, 105, "g", 0),  # 18372
    ("Syrups, dietetic", "energy", 40, 106.4, 290, "kcal", 0),  # 43026
    ("Syrups, dietetic", "energy", 400, 106.4, 290, "kcal", 1),
])
def test_an_innocent_reason_explains_so_much_and_no_more(name, check, value, low, high, unit, stays) -> None:
    assert len(check_kept.unexplained(found(name, check, value, low, high, unit), Rules(read_thresholds()))) == stays


# ---------------------------------------------------------------- what a run makes of them

def run(home: Path, table: str):
    job = jobs.prepare_job(home / "dishes.yaml", table, home)
    return straight.tables(job)


def swapped(entries: Rows, values: Rows) -> None:
    for one in values:
        one["component"] = {"K": "NA", "NA": "K"}.get(one["component"], one["component"])


def potassium_in_g(entries: Rows, values: Rows) -> None:
    cell = row(values, entry_id=CARROTS, component="K")
    for name in ("value", "standard_error", "minimum", "maximum"):
        cell[name] = str(float(cell[name]) / 1000) if cell[name] else ""


def too_much_protein(entries: Rows, values: Rows) -> None:
    """The proximates of carrots then add up to 120 g."""
    cell = row(values, entry_id=CARROTS, component="PROCNT")
    cell["value"] = str(float(cell["value"]) + 20)


def not_ready(tables, recipe_id: str) -> set[str]:
    """The components of a dish of which a figure would be ready but for the check of the table."""
    rows = tables["figures"][tables["figures"]["recipe_id"] == recipe_id]
    return set(rows.loc[rows["reason"].str.contains("the audit doubts it: .*table-error"), "component"])


def faults(tables) -> list[tuple[str, str]]:
    rows = tables["problems"][tables["problems"]["code"] == "table-errors"]
    return list(zip(rows["severity"], rows["what"], strict=True))


def test_the_core_has_no_error_that_counts(home: Path) -> None:
    made = run(home, "core")
    assert faults(made) == [] and "table-error" not in set(made["findings"]["check"])


def test_a_run_on_exchanged_columns_is_told_and_gives_no_figure_as_ready(home: Path) -> None:
    made = run(home, plant(home, swapped, "core-swapped"))
    [(severity, what)] = faults(made)
    assert severity == "error" and "K and NA look exchanged" in what and jobs.exit_status(made) == 1
    assert len(made["figures"]) and "ready" not in set(made["figures"]["status"])
    held = made["verdicts"][made["verdicts"]["verdict"] == "holds"]
    assert set(held["claim"]) <= {"no-added-sugars"}  # which is about the names of the ingredients, and no figure
    told = made["findings"][made["findings"]["check"] == "table-error"]
    assert {"K", "NA", "NACL"} <= set(told["component"]) and set(told["severity"]) == {"warning"}
    assert told["what"].str.contains("core-swapped").all()


def test_an_error_of_one_value_touches_its_component_where_the_entry_is_used(home: Path) -> None:
    made = run(home, plant(home, potassium_in_g, "core-slip"))
    [(severity, what)] = faults(made)
    assert severity == "warning" and what == "has 1 error of the check, and the lines use 1 entry with one"
    assert not_ready(made, "pier-cream") == set()
    doubted = not_ready(made, "quay-salad")
    assert "K" in doubted and "ready" not in set(made["figures"].query("recipe_id == 'quay-salad' and component == 'K'")["status"])
    told = made["findings"][made["findings"]["check"] == "table-error"]
    assert set(told["recipe_id"]) == {"quay-salad"} and told["what"].str.contains(CARROTS).all()


def test_an_entry_that_fails_a_sum_touches_what_it_gives_a_part_of(home: Path) -> None:
    made = run(home, plant(home, too_much_protein, "core-sum"))
    assert [severity for severity, _ in faults(made)] == ["warning"] and not_ready(made, "pier-cream") == set()
    doubted = not_ready(made, "quay-salad")
    assert {"PROCNT", "K", "NA", "CHOCDF"} <= doubted  # carrots give more than a fiftieth of each
    assert "FAT" not in doubted  # the cream gives it: 48 g in 100 g, against 0.2 g in carrots


def test_a_later_table_is_doubted_for_what_it_lends_alone(home: Path) -> None:
    def lacks_iron(entries: Rows, values: Rows) -> None:
        values.remove(row(values, entry_id=CARROTS, component="FE"))

    first, later = plant(home, lacks_iron, "core-first"), plant(home, potassium_in_g, "core-later")
    made = jobs.prepare_job(home / "dishes.yaml", f"{first},{later}", home).table.errors
    assert list(zip(made["table"], made["entry_id"], made["only"], strict=True)) == [("core-later", CARROTS, "FE")]


def test_a_release_has_other_content_when_the_thresholds_change(home: Path) -> None:
    [table] = check_kept.with_errors([load_table("core", sources.load(home).sources, home)], home)
    assert "reference/table_checks.csv" in table.hashes


# ---------------------------------------------------------------- the command

@pytest.mark.parametrize("inside", ["mappings", "reference/composition", "composition/ten", "output/release-1", "pipeline"])
def test_a_check_writes_into_no_folder_of_the_project(home: Path, inside: str) -> None:
    from pipeline.composition import checking

    with pytest.raises(InputError, match="which a check never changes"):
        checking.check_by_name("core", home / inside, home)
    assert not (home / inside / "findings.csv").exists()


def test_a_check_says_how_many_errors_are_explained(home: Path) -> None:
    from pipeline.composition import checking

    outcome = checking.check_by_name("core", home / "output" / "checks" / "core", home)
    assert outcome.explained == 5 and "5 of the errors have a known innocent reason" in outcome.text()
