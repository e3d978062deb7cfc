"""Several composition tables as one: the same foods, borrowed values, disagreements, and a whole release that verifies.

The second table ("harbour") and its figures are invented.
"""

from __future__ import annotations

import csv
import json
import math
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import release_example
import straight
import tampering
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import decisions, sources, trace, trace_view
from pipeline import job as jobs
from pipeline.composition import combine, store
from pipeline.composition.combine_same import same_foods
from pipeline.composition.combine_weigh import _useful, weighing
from pipeline.composition.common import Imported, Measures, no_measures, with_missing
from pipeline.composition.load import CompositionTable, load_table
from pipeline.problems import InputError
from pipeline.released import Evidence
from pipeline.root import ROOT
from pipeline.stages import match_next
from pipeline.stages.release import release
from pipeline.tables import columns
from pipeline.verify import verify

CARROTS, RICE = "11124", "20444"
SAMPHIRE = "harbour:11124"  # the table numbers it as the core numbers carrots
DISH = """
recipes:
  - id: pier-rice
    name: Pier rice
    course: main
    portions: 2
    ingredients:
      - 300 g carrots
      - 2 handfuls samphire
      - 100 g white rice
    method:
      - Boil the carrots for 15 minutes and drain.
      - Boil the rice for 12 minutes and drain.
      - Boil the samphire for 3 minutes and drain.
"""
SAME = ("same-1,core,11124,\"Carrots, raw\",harbour,H1,\"Carrot flesh, raw\",one cultivated root,A. Steward,2026-11-25\n"
        "same-2,harbour,H3,Boiled sweets,core,19107,Another name,does not hold any more,A. Steward,2026-11-25\n")


# ---------------------------------------------------------------- a project with a second table

def harbour() -> Imported:
    """An invented table: carrots that differ, a food that the core lacks, and its weight."""
    entries = pd.DataFrame([
        ("11124", "Samphire, raw", "samphire", "Vegetables and Vegetable Products", "raw", "leafy-greens"),
        ("H1", "Carrot flesh, raw", "", "Roots", "raw", "roots"),
        ("H3", "Boiled sweets, plain", "", "Sweets", "", "sugars"),
    ], columns=["entry_id", "name", "common_names", "food_group", "state", "cooking_class"]).assign(
        refuse_fraction=np.nan, refuse_description="", source_id="tern-bay", source_row=["row 1", "row 2", "row 3"])
    rows = [("H1", "K", 280.0, "mg", "analysed", 5.0, 6.0), ("H1", "NA", 69.0, "mg", "analysed", 5.0, 2.0),
            ("H1", "F18D3N3", 0.012, "g", "analysed", 5.0, 0.001), ("H1", "F22D6N3", 0.01, "g", "trace", None, None),
            ("H1", "FIBTG", 2.8, "g", "calculated", None, None), ("H3", "K", 3.0, "mg", "analysed", None, None)]
    filled = {"K": 240.0, "NA": 1200.0, "WATER": 88.0, "PROCNT": 1.8, "FAT": 0.2, "CHOCDF": 5.0, "FIBTG": 2.5}
    components = sources.load().components
    units = components.drop_duplicates("component").set_index("component")["unit"]
    for name in units.index.drop("ENERC"):
        kind, value = ("trace", 0.01) if name == "F20D5N3" else ("analysed", filled.get(name, 0.0))
        rows.append(("11124", name, value, units[name], kind, 4.0, 0.02 * value))
    values = pd.DataFrame(rows, columns=["entry_id", "component", "value", "unit", "value_type", "n", "standard_error"])
    values["source_row"] = values["entry_id"] + ", " + values["component"]
    limited = values["value_type"] == "trace"
    values = values.assign(minimum=np.where(limited, 0.0, np.nan), maximum=np.where(limited, 2 * values["value"], np.nan), derivation="own",
                           source_id="tern-bay", original=values["value"].map(str), original_unit=values["unit"]).astype({"n": float})
    measures = pd.DataFrame([
        ("harbour:1", "11124", "handful", 25.0, 30.0, 36.0), ("harbour:2", "H1", "piece", 50.0, 60.0, 70.0),
    ], columns=["measure_id", "scope_key", "measure", "low", "middle", "high"]).assign(
        scope="entry", size="", preparation="", unit="g", basis="edible", source_id="tern-bay", source_row="weights",
             note="published as: 1 of them; interval by common practice")
    return Imported(entries, with_missing(values, entries, components), measures[columns(Measures)], {"foods": 3})


@pytest.fixture(scope="module")
def project(tmp_path_factory) -> Path:
    """A copy of reference/ and mappings/, the table "harbour" in a store, and decisions on same foods."""
    root = tmp_path_factory.mktemp("project")
    for name in ("reference", "mappings"):
        shutil.copytree(ROOT / name, root / name, ignore=shutil.ignore_patterns("build"))
    path = root / "mappings" / "same_foods.csv"
    path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n" + SAME, encoding="utf-8")
    store.save("harbour", harbour(), "test", "test 1", {"file": "harbour.csv", "sha256": "0" * 64}, root)
    (root / "dish.yaml").write_text(DISH, encoding="utf-8")
    return root


def run(project: Path, table: str, folder: Path) -> tuple[dict[str, pd.DataFrame], Path]:
    """All stages and the release, as the flow strings them together, without Prefect."""
    job = jobs.prepare_job(project / "dish.yaml", table, project)
    tables = straight.tables(job, restored=True)
    return tables, release(tables, jobs.meta(job, jobs.exit_status(tables)), folder, release_example.PASSED).folder


@pytest.fixture(scope="module")
def two(project, tmp_path_factory):
    return run(project, "core,harbour", tmp_path_factory.mktemp("two"))


@pytest.fixture(scope="module")
def one(project, tmp_path_factory):
    return run(project, "core", tmp_path_factory.mktemp("one"))


def value_of(tables, entry_id: str, component: str) -> pd.Series:
    found = tables["values"][(tables["values"]["entry_id"] == entry_id) & (tables["values"]["component"] == component)]
    return found.iloc[0]


def input_of(tables, input_id: str) -> pd.Series:
    return tables["inputs"].set_index("input_id").loc[input_id]


# ---------------------------------------------------------------- a whole run

def test_a_line_that_the_first_table_lacks_is_settled_by_the_next(one, two):
    alone, both = (tables["lines"].set_index("text") for tables, _ in (one, two))
    assert alone.at["2 handfuls samphire", "outcome"] != "accepted"
    row = both.loc["2 handfuls samphire"]
    assert (row["outcome"], row["table"], row["entry_id"]) == ("accepted", "harbour", SAMPHIRE)
    assert both.at["300 g carrots", "table"] == "core" and both.at["300 g carrots", "entry_id"] == CARROTS


def test_the_weights_of_a_table_weigh_its_foods(two):
    weighed = two[0]["weighed"].set_index("line_id").loc["pier-rice/base/2"]
    assert (weighed["measure_id"], weighed["mass_g"]) == ("harbour:1", 60.0)
    factors = two[0]["factors"]
    assert factors.loc[factors["row_id"] == "harbour:1", "source_id"].tolist() == ["tern-bay"] * 3


def test_a_missing_value_is_borrowed_and_says_from_where_and_why(one, two):
    assert value_of(one[0], CARROTS, "F18D3N3")["value_type"] == "missing"
    row = value_of(two[0], CARROTS, "F18D3N3")
    assert (row["value"], row["value_type"], row["source_row"]) == (0.012, "borrowed", "H1, F18D3N3")
    assert row["derivation"] == ("borrowed from harbour H1 Carrot flesh, raw (the same food: one cultivated root, decision same-1); "
                                 "there analysed own")
    used = two[0]["decisions"].set_index("decision_id")
    assert used.at["same-1", "what"] == "core 11124 Carrots, raw = harbour H1 Carrot flesh, raw"


def test_a_borrowed_value_can_be_traced_to_its_row(two):
    evidence = Evidence(two[1])
    text = trace_view.text(trace.trace(evidence, "pier-rice/base/F18D3N3/recipe"), evidence.release)
    assert "value type borrowed" in text and "H1, F18D3N3" in text
    assert "borrowed from harbour H1 Carrot flesh, raw (the same food: one cultivated root, decision same-1)" in text
    alone = trace_view.text(trace.trace(evidence, "pier-rice/base/K/recipe"), evidence.release)
    assert "and half the difference from harbour H1" in alone and "borrowed from" not in alone


def test_a_borrowed_value_lifts_coverage(one, two):
    coverage = [tables["figures"].set_index("figure_id").at["pier-rice/base/F18D3N3/recipe", "coverage"] for tables, _ in (one, two)]
    assert coverage[0] < coverage[1]


def test_a_disagreement_widens_by_half_the_difference(one, two):
    rows = two[0]["disagreements"]
    assert rows[["entry_id", "component", "value_a", "table_b", "entry_b", "value_b", "decision_id"]].values.tolist() == [
        [CARROTS, "F22D6N3", 0.0, "harbour", "H1", 0.01, "same-1"],  # a zero here, a trace there
        [CARROTS, "K", 320.0, "harbour", "H1", 280.0, "same-1"]]  # sodium and fibre agree
    alone, both = (input_of(tables, f"composition:core:{CARROTS}:K") for tables, _ in (one, two))
    assert alone["value"] == both["value"] == 320.0
    assert both["standard_uncertainty"] == pytest.approx(math.sqrt(alone["standard_uncertainty"] ** 2 + 20.0**2), rel=1e-12)
    assert both["basis"] == alone["basis"] + ", and half the difference from harbour H1"
    assert both["low"] < alone["low"] and both["high"] > alone["high"]
    zero = input_of(two[0], f"composition:core:{CARROTS}:F22D6N3")
    assert zero["value"] == zero["low"] == 0 and zero["standard_uncertainty"] == 0.005 and zero["high"] == pytest.approx(1.6449 * 0.005, rel=1e-4)


def test_where_tables_agree_nothing_changes(one, two):
    for component in ("NA", "FIBTG", "WATER"):
        rows = [input_of(tables, f"composition:core:{CARROTS}:{component}") for tables, _ in (one, two)]
        pd.testing.assert_series_equal(*rows)


def test_an_expired_decision_on_a_same_food_is_told(two):
    told = two[0]["problems"].set_index("code").loc["expired-decision"]
    assert told["where"] == "mappings/same_foods.csv:3" and "'Another name'" in told["what"]


# ---------------------------------------------------------------- verify

@pytest.mark.parametrize("release_of", ["one", "two"])
def test_verify_agrees(release_of, project, request):
    _, folder = request.getfixturevalue(release_of)
    report = verify(folder, project)
    assert report.agrees, report.text()
    assert report.counts["inputs"] > 50


def test_a_trace_of_an_imported_table_is_evenly_spread(two):
    row = input_of(two[0], f"composition:harbour:{SAMPHIRE}:F20D5N3")
    assert (row["value"], row["low"], row["high"]) == (0.01, 0.001, 0.019) and row["standard_uncertainty"] == pytest.approx(0.02 / 12**0.5)


def test_one_table_has_no_disagreements_in_its_release(one):
    assert not (one[1] / "evidence" / "disagreements.csv").exists()
    assert json.loads((one[1] / "manifest.json").read_text())["composition_table"]["name"] == "core"


def _change(folder: Path, file: str, wanted, column: str, to: str) -> None:
    path = folder / "evidence" / file
    rows = tampering.read(path)
    at = rows[0].index(column)
    for row in rows[1:]:
        if wanted(dict(zip(rows[0], row, strict=True))):
            row[at] = to
    tampering.write(path, rows)
    tampering.follow_in_parquet(path)


@pytest.mark.parametrize(("file", "wanted", "column", "to"), [
    ("disagreements.csv", lambda row: row["component"] == "K", "value_b", "300"),
    ("disagreements.csv", lambda row: row["component"] == "K", "why", "because"),
    ("values.csv", lambda row: (row["entry_id"], row["component"]) == (CARROTS, "F18D3N3"), "derivation", "own"),
    ("values.csv", lambda row: (row["entry_id"], row["component"]) == (CARROTS, "F18D3N3"), "value_type", "analysed"),
    ("values.csv", lambda row: (row["entry_id"], row["component"]) == (SAMPHIRE, "K"), "value", "24"),
    ("inputs.csv", lambda row: row["input_id"] == f"composition:core:{CARROTS}:K", "standard_uncertainty", "1"),
    ("matched.csv", lambda row: row["entry_id"] == SAMPHIRE, "table", "core"),
])
def test_verify_finds_what_was_changed(two, project, tmp_path, file, wanted, column, to):
    copy = Path(shutil.copytree(two[1], tmp_path / "release"))
    _change(copy, file, wanted, column, to)
    report = verify(copy, project)
    assert any(found.file == f"evidence/{file}" and found.column == column for found in report.disagreements), report.text()


def test_verify_misses_a_disagreement_that_was_taken_out(two, project, tmp_path):
    copy = Path(shutil.copytree(two[1], tmp_path / "release"))
    path = copy / "evidence" / "disagreements.csv"
    tampering.write(path, tampering.read(path)[:1])
    tampering.follow_in_parquet(path)
    report = verify(copy, project)
    assert any(one.file == "evidence/disagreements.csv" and one.recomputed == "a row" for one in report.disagreements)


def test_verify_notices_that_the_same_food_was_decided_otherwise(two, project, tmp_path):
    other = Path(shutil.copytree(project, tmp_path / "project"))
    (other / "mappings" / "same_foods.csv").write_text((other / "mappings" / "same_foods.csv").read_text().splitlines()[0] + "\n")
    report = verify(two[1], other)
    assert {"evidence/values.csv", "evidence/disagreements.csv", "evidence/decisions.csv"} <= {one.file for one in report.disagreements}


# ---------------------------------------------------------------- the combination itself

NUMBERS = ["value", "n", "standard_error", "minimum", "maximum"]


def small(name: str, foods: dict[str, tuple], origin: str = "") -> CompositionTable:
    """A table of (name, {component: (value, type)}) by entry id; source rows are ``origin`` + id, or the table's own."""
    entries = pd.DataFrame([{
        "entry_id": key, "name": called, "common_names": "", "food_group": "g", "state": "", "cooking_class": "", "refuse_fraction": np.nan,
        "refuse_description": "", "source_id": "s", "source_row": f"{origin or name} {key}"} for key, (called, _) in foods.items()])
    values = pd.DataFrame([{
        "entry_id": key, "component": component, "value": value, "unit": "kJ" if component == "ENERC" else "mg", "value_type": kind,
        "n": np.nan, "standard_error": np.nan, "minimum": np.nan, "maximum": 2 * value if kind == "trace" else np.nan, "derivation": "",
        "source_id": "s", "source_row": f"{name} {key} {component}"}
        for key, (_, numbers) in foods.items() for component, (value, kind) in numbers.items()])
    return CompositionTable(name, entries, values.astype(dict.fromkeys(NUMBERS, float)), {name: name})


def decided(*rows: tuple) -> pd.DataFrame:
    """Rows of same_foods.csv: (id, table_a, entry_a, name_a, table_b, entry_b, name_b)."""
    frame = pd.DataFrame([(*row, "so it is", "A. Steward", "2026-11-25") for row in rows],
                         columns=list(decisions.FILES["same_foods"]))
    return frame.astype("str")


NO_FOODS = pd.DataFrame(columns=list(decisions.FILES["foods"])).astype("str")
MISSING = (math.nan, "missing")


def combined(*loaded, same=None, foods=NO_FOODS):
    return combine.combine(loaded, decided() if same is None else same, foods)


def cell(several, entry_id: str, component: str) -> dict:
    values = several.table.values
    return values[(values["entry_id"] == entry_id) & (values["component"] == component)].iloc[0].to_dict()


def test_shared_rows_of_one_source_are_the_same_food():
    a = small("a", {"1": ("Leek", {"K": (1.0, "analysed")})}, origin="book")
    b = small("b", {"1": ("Leeks, raw", {"K": (3.0, "analysed")}), "2": ("Kelp", {"K": (9.0, "analysed")})}, origin="book")
    several = combined(a, b)
    assert several.table.entries["entry_id"].tolist() == ["1", "2"] and several.table.entries["name"].tolist() == ["Leek", "Kelp"]
    assert several.disagreements[["value_a", "value_b", "why"]].values.tolist() == [[1.0, 3.0, "the same row of the same source, book 1"]]
    assert several.later[0].entries["entry_id"].tolist() == ["2"]


def test_names_alone_make_nothing_the_same_food():
    a, b = (small(name, {"1": ("Leek", {"K": (1.0, "analysed")})}) for name in "ab")
    several = combined(a, b)
    assert several.table.entries["entry_id"].tolist() == ["1", "b:1"] and several.disagreements.empty


def test_a_row_that_two_entries_cite_says_nothing():
    a = small("a", {"1": ("Leek", {"K": (1.0, "analysed")})}, origin="book")
    b = small("b", {"1": ("Leek", {"K": (1.0, "analysed")}), "2": ("Leek", {"K": (1.0, "analysed")})}, origin="book")
    b.entries["source_row"] = "book 1"
    assert len(combined(a, b).table.entries) == 3


def test_a_decision_goes_before_the_shared_row():
    a = small("a", {"1": ("Leek", {"K": MISSING})}, origin="book")
    b = small("b", {"1": ("Leek", {"K": (1.0, "analysed")}), "2": ("Leek, old", {"K": (5.0, "analysed")})}, origin="book")
    several = combined(a, b, same=decided(("d", "b", "2", "Leek, old", "a", "1", "Leek")))
    assert cell(several, "1", "K")["value"] == 5.0
    assert several.table.entries["entry_id"].tolist() == ["1", "b:1"]


def test_the_first_table_that_has_a_value_lends_it_and_the_farthest_other_widens():
    tables = [small(name, {"x": (name, {"K": number})}, origin="book") for name, number in
              (("a", MISSING), ("b", MISSING), ("c", (5.0, "analysed")), ("d", (6.0, "analysed")), ("e", (2.0, "imputed")))]
    several = combined(*tables)
    assert (cell(several, "x", "K")["value"], cell(several, "x", "K")["value_type"]) == (5.0, "borrowed")
    assert several.disagreements[["table_b", "value_a", "value_b"]].values.tolist() == [["d", 5.0, 6.0], ["e", 5.0, 2.0]]
    from pipeline.stages.total_inputs import composition_spread

    spreads = pd.DataFrame({"component": ["K"], "food_group": [""], "cooking_class": [""], "coefficient_of_variation": [0.2]})
    row = composition_spread(several.table.values, several.table.entries, spreads, several.disagreements).iloc[0]
    assert row["uncertainty"] == pytest.approx(math.hypot(1.5 * 0.2 * 5, 1.5)) and row["basis"].endswith("from e x")


def test_foods_are_the_same_through_a_third_table():
    tables = [small(name, {entry: (name, {"K": number})}) for name, entry, number in
              (("a", "1", MISSING), ("b", "2", MISSING), ("c", "3", (5.0, "analysed")))]
    several = combined(*tables, same=decided(("ab", "a", "1", "a", "b", "2", "b"), ("bc", "b", "2", "b", "c", "3", "c")))
    assert len(several.table.entries) == 1 and cell(several, "1", "K")["value"] == 5.0
    assert "decision bc; ab" in cell(several, "1", "K")["derivation"]


def test_present_zero_is_not_missing_and_energy_is_not_borrowed():
    a = small("a", {"1": ("Leek", {"K": (0.0, "zero"), "ENERC": MISSING})}, origin="book")
    b = small("b", {"1": ("Leek", {"K": (4.0, "analysed"), "ENERC": (100.0, "calculated")})}, origin="book")
    several = combined(a, b)
    assert cell(several, "1", "K")["value_type"] == "zero" and cell(several, "1", "ENERC")["value_type"] == "missing"
    assert several.disagreements["component"].tolist() == ["K"]


def test_a_borrowed_trace_stays_a_trace():
    a = small("a", {"1": ("Leek", {"K": MISSING})}, origin="book")
    b = small("b", {"1": ("Leek", {"K": (0.5, "trace")})}, origin="book")
    found = cell(combined(a, b), "1", "K")
    assert (found["value_type"], found["maximum"]) == ("trace", 1.0) and found["derivation"].startswith("borrowed from b 1 Leek")


def test_two_partners_for_one_entry_are_set_aside():
    a = small("a", {"1": ("Leek", {"K": (1.0, "analysed")})})
    b = small("b", {"7": ("Leek", {"K": (2.0, "analysed")}), "8": ("Leeks", {"K": (2.0, "analysed")})})
    several = combined(a, b, same=decided(("d1", "a", "1", "Leek", "b", "7", "Leek"), ("d2", "a", "1", "Leek", "b", "8", "Leeks")))
    assert [(one.code, one.where) for one in several.problems] == [
        ("conflicting-decision", "mappings/same_foods.csv:2"), ("conflicting-decision", "mappings/same_foods.csv:3")]
    assert len(several.table.entries) == 3


def test_an_entry_that_is_gone_expires_the_decision():
    a, b = small("a", {"1": ("Leek", {"K": (1.0, "analysed")})}), small("b", {"7": ("Leek", {"K": (2.0, "analysed")})})
    _, problems = same_foods([a, b], decided(("d1", "a", "1", "Leek", "b", "9", "Leek"), ("other", "a", "1", "Leek", "z", "9", "Leek")))
    assert len(problems) == 1 and "which table b does not have" in problems[0].what


@pytest.mark.parametrize("text", ["core,core", "core,", ",core", ""])
def test_an_order_that_makes_no_sense_is_refused(text):
    with pytest.raises(InputError, match="Write each table once"):
        combine.table_names(text)


cells = st.one_of(st.just(MISSING), st.tuples(st.sampled_from([0.0, 1.0, 2.5, 100.0]), st.just("analysed")))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.dictionaries(st.sampled_from("123"), cells, min_size=1), min_size=2, max_size=4))
def test_combining_loses_no_food_and_makes_up_no_number(numbers):
    tables = [small(name, {key: (key, {"K": one}) for key, one in foods.items()}, origin="book")
              for name, foods in zip("abcd", numbers, strict=False)]
    several = combined(*tables)
    values = several.table.values.set_index("entry_id")
    for key in {key for foods in numbers for key in foods}:
        there = [foods[key][0] for foods in numbers if key in foods and foods[key][1] != "missing"]
        row = values.loc[key]
        assert row["value"] == there[0] if there else row["value_type"] == "missing"
        apart = several.disagreements.loc[several.disagreements["entry_id"] == key, "value_b"].tolist()
        assert apart == [one for one in there[1:] if one != there[0]]


# ---------------------------------------------------------------- matching and weighing in order

def test_what_the_next_table_may_settle():
    def table(*rows):
        return pd.DataFrame(rows, columns=["line_id", "match_outcome", "match_reason", "table"])

    before = table(("a", "accepted", "matched", "A"), ("b", "review", "close-call", "A"), ("c", "none", "decided-none", "A"),
                   ("d", "none", "no-candidate", "A"), ("e", "review", "head-differs", "A"), ("f", "none", "unreadable", "A"),
                   ("g", "review", "close-call", "A"), ("h", "none", "no-candidate", "A"))
    assert before.loc[match_next.unsettled(before), "line_id"].tolist() == list("bcdegh")
    again = table(("b", "accepted", "matched", "B"), ("c", "accepted", "matched", "B"), ("d", "accepted", "matched", "B"),
                  ("e", "accepted", "matched", "B"), ("g", "accepted", "decided", "B"), ("h", "review", "close-call", "B"))
    ranks = pd.DataFrame({"line_id": list("abde"), "rank": 1, "entry_id": "old"})
    rows, candidates = match_next.settled_by(before, ranks, again, pd.DataFrame({"line_id": list("bd"), "rank": 1, "entry_id": "new"}))
    assert dict(zip(rows["line_id"], rows["table"], strict=True)) == {
        "a": "A", "b": "A", "c": "A", "d": "B", "e": "B", "f": "A", "g": "B", "h": "B"}
    assert candidates.values.tolist() == [["a", 1, "old"], ["b", 1, "old"], ["d", 1, "new"]]


def test_a_decision_for_a_later_table_speaks_of_its_entry_under_its_new_id():
    a = small("a", {"1": ("Leek", {"K": (1.0, "analysed")})}, origin="book")
    b = small("b", {"1": ("Leek", {"K": (1.0, "analysed")}), "2": ("Kelp", {"K": (9.0, "analysed")})}, origin="book")
    b.entries.loc[0, "source_row"] = "elsewhere"
    rows = [("f1", "match", "kelp", "", "a;b", "2", "Kelp"), ("f2", "match", "leek", "", "b", "1", "Leek"),
            ("f3", "match", "dulse", "", "b", "9", "Dulse"), ("f4", "no-match", "weed", "", "", "", "")]
    foods = pd.DataFrame([(*row, "A. Steward", "2026-11-25", "so it is", "", "phrase", "") for row in rows],
                         columns=list(decisions.FILES["foods"])).astype("str")
    several = combined(a, b, foods=foods)
    assert several.later[0].foods[["decision_id", "entry_id"]].values.tolist() == [["f1", "2"], ["f2", "b:1"], ["f4", ""]]
    assert [one.code for one in several.problems] == ["expired-decision"]


def test_curated_weights_of_an_entry_go_before_those_of_the_table(project):
    reference = sources.load(project)
    own = {"measure_id": "own", "scope": "entry", "scope_key": CARROTS, "measure": "piece", "size": "", "preparation": "", "low": 1.0,
           "middle": 2.0, "high": 3.0, "unit": "g", "basis": "edible", "source_id": "tern-bay", "source_row": "", "note": ""}
    frames = {**reference.frames, "measures": pd.concat([reference.measures, pd.DataFrame([own])], ignore_index=True)}
    reference = sources.Reference(frames, {})
    loaded = {name: load_table(name, reference.sources, project) for name in ("core", "harbour")}
    mappings = decisions.load(project)

    def entry_rows(*names):
        rows = weighing(reference, [loaded[name] for name in names], mappings, project).measures
        return rows.loc[rows["scope"] == "entry", ["measure_id", "scope_key"]].values.tolist()

    assert entry_rows("core") == [["own", CARROTS]]
    # the second table's carrots are the core's, and its weight serves them as well, after the curated one; its samphire is its own
    assert entry_rows("core", "harbour") == [["own", CARROTS], ["harbour:1", SAMPHIRE], ["harbour:2", CARROTS]]
    # what is curated for the core's carrots holds for the same food, and goes before the table's own weight
    assert entry_rows("harbour") == [["own", "H1"], ["harbour:1", "11124"], ["harbour:2", "H1"]]


def test_units_of_any_kitchen_are_not_the_tables_to_weigh():
    words = pd.DataFrame([("tablespoon", "spoon"), ("cup", "cup"), ("pint", "volume"), ("oz", "mass"), ("slice", "piece")], columns=["unit", "kind"])
    rows = pd.DataFrame([
        ("pint", "", "milk", False), ("oz", "", "milk", False), ("tablespoon", "", "milk", False), ("cup", "", "milk", False),
        ("cup", "chopped", "leafy-greens", True), ("cup", "", "lamb", True), ("slice", "", "milk", True), ("bunch tied", "", "milk", True),
    ], columns=["measure", "preparation", "cooking_class", "kept"]).assign(size="")
    densities = pd.DataFrame({"scope": ["class", "class", "name"], "scope_key": ["milk", "leafy-greens", "lamb"]})
    assert _useful(rows, words, densities).tolist() == rows["kept"].tolist()


def test_pairs_of_the_core_do_not_speak_of_other_tables(project):
    reference = sources.load(project)
    loaded = [load_table("harbour", reference.sources, project)]
    assert len(reference.raw_cooked_pairs) > 0
    assert weighing(reference, loaded, decisions.load(project), project).raw_cooked_pairs.empty


# ---------------------------------------------------------------- the decisions file

HEAD = ",".join(decisions.FILES["same_foods"])


@pytest.mark.parametrize(("row", "code"), [
    ("d,a,1,Leek,b,2,Leek,why,,2026-11-25", "unsigned-decision"),
    ("d,a,1,Leek,b,2,Leek,,A. Steward,2026-11-25", "unsigned-decision"),
    ("d,a,1,Leek,a,2,Leek,why,A. Steward,2026-11-25", "one-table"),
    ("d,a,,Leek,b,2,Leek,why,A. Steward,2026-11-25", "no-entry"),
    ("d,a,1,Leek,b,2,Leek,why,A. Steward,25 November", "not-a-day"),
])
def test_a_row_that_cannot_be_a_decision_is_refused(tmp_path, row, code):
    shutil.copytree(ROOT / "mappings", tmp_path / "mappings")
    (tmp_path / "mappings" / "same_foods.csv").write_text(f"{HEAD}\n{row}\n")
    with pytest.raises(InputError) as error:
        decisions.load(tmp_path)
    assert [problem.code for problem in error.value.problems] == [code]
    assert "same_foods.csv:2" in error.value.problems[0].where


def test_the_projects_own_file_is_sorted_by_decision():
    with open(ROOT / "mappings" / "same_foods.csv", encoding="utf-8", newline="") as file:
        ids = [row["decision_id"] for row in csv.DictReader(file)]
    assert ids == sorted(ids)


def test_an_import_without_weights_changes_no_measure(project, tmp_path):
    root = Path(shutil.copytree(project, tmp_path / "project"))
    plain = harbour()
    store.save("plain", Imported(plain.entries, plain.values, no_measures(), {}), "test", "test 1", {"file": "p", "sha256": "1" * 64}, root)
    reference = sources.load(root)
    loaded = [load_table("plain", reference.sources, root)]
    assert len(weighing(reference, loaded, decisions.load(root), root).measures) == len(reference.measures)
