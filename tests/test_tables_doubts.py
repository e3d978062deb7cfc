"""What a table's check doubts reaches a run too: zeros for missing values, values far from the same food, columns out of order, tables
that were never compared with a known one.

The ten foods are those of ``test_tables_errors``; what is expected of the check follows from the fault that is planted.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd
import pytest
import straight
from table_root import Rows, plant, root, row
from test_tables_errors import CARROTS, CREAM, DISHES, TEN, found, imported, not_ready, times

from pipeline import decisions
from pipeline import job as jobs
from pipeline.composition import check, check_kept, checking
from pipeline.composition.check_table import Rules, read_thresholds
from pipeline.composition.load import load_table

# The ten foods in another language, and the entry of the core that each is; "" for one that the core has not.
ABROAD = {
    "Potato, raw": ("Kartoffel, roh", "11352"), "Carrot, raw": ("Karotte, roh", CARROTS), "Onion, raw": ("Zwiebel, roh", "11282"),
    "Banana, raw": ("Banane, roh", "09040"), "Apple, raw": ("Apfel, roh", "09003"), "Milk, whole": ("Vollmilch", "01077"),
    "Egg, raw": ("Hühnerei, roh", "01123"), "Lentils, dried": ("Linsen, getrocknet", "16069"), "Cream, double": ("Doppelrahm", ""),
    "Tomato, raw": ("Tomate, roh", "11529"),
}


@pytest.fixture
def home(tmp_path: Path) -> Path:
    folder = root(tmp_path / "home")
    (folder / "dishes.yaml").write_text(DISHES, encoding="utf-8")
    return folder


def abroad(change=lambda foods: None):
    """The foods after ``change``, in another language."""
    def renamed(foods: dict) -> None:
        change(foods)
        for name, amounts in [(name, foods.pop(name)) for name in list(foods)]:
            foods[ABROAD[name][0]] = amounts

    return renamed


def shifted(tagname: str):
    """Every amount stands in the row of the food before."""
    def change(foods: dict) -> None:
        amounts = [food[tagname] for food in foods.values()]
        for food, amount in zip(foods.values(), [*amounts[1:], amounts[0]], strict=True):
            food[tagname] = amount

    return change


def in_order(tagname: str):
    """The column was sorted by itself."""
    def change(foods: dict) -> None:
        for food, amount in zip(foods.values(), sorted(food[tagname] for food in foods.values()), strict=True):
            food[tagname] = amount

    return change


def exchanged_minerals(foods: dict) -> None:
    for amounts in foods.values():
        amounts["K(mg)"], amounts["NA(mg)"] = amounts["NA(mg)"], amounts["K(mg)"]


def append(home: Path, file: str, rows: list[dict[str, str]]) -> None:
    with (home / "mappings" / f"{file}.csv").open("a", newline="", encoding="utf-8") as stream:
        csv.DictWriter(stream, decisions.FILES[file], restval="", lineterminator="\n").writerows(rows)


def known_foods(home: Path) -> list[tuple[str, str, str, str]]:
    """The foods of the table abroad that the core has: id and name there, id and name in the core."""
    core = pd.read_csv(home / "reference" / "composition" / "core" / "entries.csv", dtype="str").set_index("entry_id")["name"]
    return [(f"T{number:02d}", ABROAD[name][0], ABROAD[name][1], core[ABROAD[name][1]]) for number, name in enumerate(TEN) if ABROAD[name][1]]


def say_same(home: Path) -> None:
    append(home, "same_foods", [
        {"decision_id": f"same-{own}", "table_a": "ten", "entry_a": own, "name_a": name, "table_b": "core", "entry_b": other,
         "name_b": called, "why": "the same food", "decided_by": "steward", "decided_on": "2026-11-25"}
        for own, name, other, called in known_foods(home)])


def say_phrases(home: Path) -> None:
    append(home, "foods", [
        {"decision_id": f"{table}-{own}", "kind": "match", "phrase": f"pantry item {own.lower()}", "table": table, "entry_id": entry,
         "entry_name": called, "decided_by": "steward", "decided_on": "2026-11-25", "reason": "the same food", "scope": "phrase"}
        for own, name, other, known in known_foods(home) for table, entry, called in (("ten", own, name), ("core", other, known))])


def told(errors: pd.DataFrame) -> set[tuple[str, str, str, str]]:
    return set(errors[["severity", "check", "entry_id", "component"]].itertuples(index=False, name=None))


# ---------------------------------------------------------------- never compared

NOT_COMPARED = ("warning", "not-compared", "", "K + P + NA")


def test_a_table_in_another_language_is_told_on_import_and_by_the_check(home: Path, tmp_path: Path) -> None:
    outcome = imported(home, tmp_path, abroad())
    assert told(outcome.errors) == {NOT_COMPARED} and outcome.exit_code == 0
    [line] = outcome.faults()
    assert line.startswith("warning: The values for K, P, NA were never compared with a known table: none of its 10 foods can be recognised")
    assert "mappings/same_foods.csv" in line
    assert "never compared with a known table" in checking.check_by_name("ten", home / "output" / "checks" / "ten", home).text()


@pytest.mark.parametrize("say", [say_same, say_phrases])
@pytest.mark.parametrize("change, expected", [
    (lambda foods: None, set()),
    (exchanged_minerals, {("error", "swapped-columns", "", "K + NA")}),
    (times("NA(mg)", 0.001), {("error", "unit-slip", "", "NA")}),
    (shifted("K(mg)"), {("error", "column-order", "", "K")}),
], ids=["right", "exchanged", "in g", "shifted"])
def test_decided_pairs_are_compared(home: Path, tmp_path: Path, say, change, expected) -> None:
    say(home)
    assert told(imported(home, tmp_path, abroad(change)).errors) == expected


def test_a_decision_after_the_import_is_heard_and_an_expired_one_is_not(home: Path, tmp_path: Path) -> None:
    imported(home, tmp_path, abroad(exchanged_minerals))
    assert told(check_kept.errors("ten", home)) == {NOT_COMPARED}
    say_same(home)
    assert told(check_kept.errors("ten", home)) == {("error", "swapped-columns", "", "K + NA")}
    path = home / "mappings" / "same_foods.csv"
    text = path.read_text(encoding="utf-8")
    for _, name, _, _ in known_foods(home):
        text = text.replace(name, f"{name} (alt)")
    path.write_text(text, encoding="utf-8")
    assert told(check_kept.errors("ten", home)) == {NOT_COMPARED}


def unheard_of(entries: Rows, values: Rows) -> None:
    """Names that share no word with the core."""
    for number, entry in enumerate(entries):
        entry |= {"name": f"Lebensmittel q{number}z", "common_names": ""}


def test_figures_on_a_table_that_was_never_compared_are_to_be_checked(home: Path) -> None:
    name = plant(home, unheard_of, "core-abroad")
    names = pd.read_csv(home / "reference" / "composition" / name / "entries.csv", dtype="str").set_index("entry_id")["name"]
    append(home, "foods", [
        {"decision_id": f"abroad-{entry}", "kind": "match", "phrase": phrase, "table": name, "entry_id": entry, "entry_name": names[entry],
         "decided_by": "steward", "decided_on": "2026-11-25", "reason": "the same food", "scope": "phrase"}
        for phrase, entry in (("carrots", CARROTS), ("double cream", CREAM))])
    made = straight.tables(jobs.prepare_job(home / "dishes.yaml", name, home))
    assert {"K", "P", "NA", "NACL"} <= not_ready(made, "quay-salad") and not {"FAT", "CA", "PROCNT"} & not_ready(made, "quay-salad")
    assert not set(made["figures"].query("component in ('K', 'P', 'NA') and status == 'ready'")["recipe_id"])
    [problem] = made["problems"].query("code == 'table-errors'").itertuples()
    assert problem.severity == "warning" and "never compared with a known table" in problem.what


# ---------------------------------------------------------------- order

@pytest.mark.parametrize("change", [shifted("K(mg)"), in_order("K(mg)"), shifted("P(mg)"), in_order("NA(mg)"), shifted("PROCNT(g)")],
                         ids=["K shifted", "K sorted", "P shifted", "NA sorted", "protein shifted"])
def test_a_column_out_of_order_is_an_error_of_the_table(home: Path, tmp_path: Path, change) -> None:
    outcome = imported(home, tmp_path, change)
    whole = outcome.errors[(outcome.errors["entry_id"] == "") & (outcome.errors["check"] == "column-order")]
    assert len(whole) == 1 and outcome.exit_code == 1
    assert "does not fit its foods in the whole table" in whole["what"].iloc[0] and "look shifted, sorted or mixed up" in whole["what"].iloc[0]


# ---------------------------------------------------------------- single values

@pytest.mark.parametrize("tagname, factor, food, check_id", [
    ("K(mg)", 0, "Lentils, dried", "zero-for-missing"),  # 25 g of protein and no potassium
    ("P(mg)", 0, "Egg, raw", "unlike-curated"), ("K(mg)", 0, "Banana, raw", "unlike-curated"),
    ("K(mg)", 0.04, "Banana, raw", "unlike-curated"), ("K(mg)", 5, "Carrot, raw", "unlike-curated"), ("PROCNT(g)", 0.2, "Egg, raw", "unlike-curated"),
])
def test_a_zero_or_a_value_far_from_the_same_food_counts(home: Path, tmp_path: Path, tagname, factor, food, check_id) -> None:
    outcome = imported(home, tmp_path, times(tagname, factor, food))
    entry = f"T{list(TEN).index(food):02d}"
    assert (check_id, entry, tagname.partition("(")[0]) in {found[1:] for found in told(outcome.errors)}
    assert outcome.exit_code == 0 and "in it; figures that rest on such an entry will be marked" in outcome.faults()[-1]


def test_what_two_samples_of_a_food_differ_by_is_quiet(home: Path, tmp_path: Path) -> None:
    assert imported(home, tmp_path, times("K(mg)", 1.8)).errors.empty
    assert imported(home, tmp_path, times("P(mg)", 0.5, "Egg, raw")).errors.empty


@pytest.mark.parametrize("amount", ["0", "40", "1600"])
def test_a_run_marks_what_rests_on_a_doubtful_value(home: Path, amount: str) -> None:
    def wrong(entries: Rows, values: Rows) -> None:
        cell = row(values, entry_id=CARROTS, component="K")
        cell |= {"value": amount, "standard_error": "", "minimum": "", "maximum": ""}

    made = straight.tables(jobs.prepare_job(home / "dishes.yaml", plant(home, wrong, "core-doubtful"), home))
    doubted = not_ready(made, "quay-salad")
    assert doubted == {"K"} if float(amount) else "K" in doubted  # a zero is an error of the entry, not only a doubt of one value
    assert not_ready(made, "pier-cream") == set()
    [problem] = made["problems"].query("code == 'table-errors'").itertuples()
    counted = "1 doubtful value" if float(amount) else "1 error"
    assert problem.severity == "warning" and problem.what.startswith(f"has {counted}") and problem.what.endswith("the lines use 1 entry with one")


def test_a_doubt_of_another_component_does_not_count() -> None:
    doubts = pd.concat([found("Carrots", "zero-for-missing", 0, 1, 2, "mg").assign(severity="warning", component=name) for name in ("K", "CA", "NA + P")])
    assert list(check_kept.counting(doubts, Rules(read_thresholds()))["component"]) == ["K", "NA + P"]


# ---------------------------------------------------------------- only columns that the table has

def test_a_diagnosis_names_no_column_that_the_table_lacks(home: Path) -> None:
    """Iron and zinc have rows, all of them missing: an exchange with them would take away what contradicts it."""
    core = load_table("core", pd.read_csv(home / "reference" / "sources.csv", dtype="str", keep_default_na=False), home)
    values = core.values.copy()
    values.loc[values["component"].isin(["FE", "ZN"]), ["value", "value_type"]] = [float("nan"), "missing"]
    values.loc[values["component"] == "K", "value"] /= 10
    whole = check.check(core.entries, values, read_thresholds()).query("entry_id == ''")
    named = {part for component in whole["component"] for part in component.split(" + ")}
    assert "K" in named and not {"FE", "ZN"} & named
