"""`potash verify` and the tables on suitability, allergens, additives, phosphorus and print: agreement, and one changed cell.

Both implementations also read the same labelled lines, so that what one of them misses shows."""

from __future__ import annotations

import copy

import pandas as pd
import pytest
import small_release
from hand_figures import reference_file
from test_suit import LABELLED, dish

from pipeline import verify, verify_additives, verify_files, verify_phosphorus, verify_print, verify_sources, verify_suit
from pipeline.root import ROOT
from pipeline.stages.phosphorus_additives import flags
from pipeline.stages.suit import suit
from pipeline.verify_report import Ledger

# Invented dishes with every kind of row in these tables: a salt substitute, a label, another choice, an optional line, a line
# that nothing matches, additives by word, E number and entry, phosphorus of several kinds, and figures beside their limits.
COLLECTION = """
recipes:
  - id: buoy-bake
    name: Buoy bake
    course: main
    portions: 3
    ingredients:
      - 200 g ham, diced
      - 60 g cheddar, grated
      - 1/2 tsp low-sodium salt
      - 100 g couscous
      - 4 slices processed cheese (E339)
      - chopped walnuts, to serve (optional)
    method: [Bake everything.]
  - id: net-loft-stew
    name: Net loft stew
    course: main
    portions: 2
    ingredients:
      - 150 g chicken breast or tofu, diced
      - 80 g dried red lentils
      - 1 tsp Worcestershire sauce
      - 2 slices ham
      - 2 tbsp olive oil
      - 100 g carrots
    method: [Simmer everything in water for 20 minutes.]
  - id: slack-tide-peas
    name: Slack tide peas
    course: side
    portions: 4
    ingredients: [300 g frozen peas, 1 tsp unsalted butter, 2 tbsp vegan mayonnaise]
    method: [Boil the peas for 3 minutes and drain.]
    variants:
      - {id: with-mint, name: With mint, leave_out: [2 tbsp vegan mayonnaise], add: [1 tbsp chopped mint]}
"""
TABLES = ("suitability_evidence", "suitability", "allergens", "phosphorus_kinds", "phosphorus_to_protein", "additives", "for_print")


@pytest.fixture(scope="module")
def read(tmp_path_factory):
    """The tables of a release, and a call that recomputes those of this file alone from them."""
    folder = small_release.build(tmp_path_factory.mktemp("kinds"), COLLECTION)
    asked = []
    with pytest.MonkeyPatch.context() as patch:
        plain = verify_phosphorus.compare
        patch.setattr(verify_phosphorus, "compare", lambda *given: (asked.append(given), plain(*given)))
        report = verify.verify(folder, ROOT)
    figures, amounts, uncertainties, tables, project, _ = asked[0]
    policy = verify_files.policy_of(verify_files.read_manifest(folder))

    def again(changed, table=""):
        """What is found in the changed tables: by the part that compares ``table``, or by all."""
        ledger = Ledger()
        parts = {
            "su al": lambda: verify_suit.compare(changed, project, ledger), "ad fi": lambda: verify_additives.compare(changed, project, ledger),
            "ph": lambda: verify_phosphorus.compare(figures, amounts, uncertainties, changed, project, ledger),
            "fo": lambda: verify_print.compare(figures, changed, project, policy, ledger)}
        for begins, compare in parts.items():
            if table[:2] in begins.split() or not table:
                compare()
        return ledger

    return report, tables, again


def test_an_untouched_release_agrees_and_every_row_was_recomputed(read):
    report, tables, again = read
    assert report.agrees, report.text()
    named = {"suitability": "suitability", "allergens": "allergens", "additives": "additives", "phosphorus kinds": "phosphorus_kinds",
             "phosphorus to protein": "phosphorus_to_protein", "figures for print": "for_print"}
    for count, table in named.items():
        assert report.counts[count] == len(tables[table]) > 0
    assert again(tables).found == []


def test_the_release_under_test_has_every_kind_of_row(read):
    tables = read[1]
    assert {row["status"] for row in tables["allergens"].values()} == {"contains", "may-contain-through", "not-assessed"}
    assert {row["verdict"] for row in tables["suitability"].values()} == {"does-not-suit", "unknown"} | {"suits"}
    assert {row["found_in"] for row in tables["suitability_evidence"].values()} == {"words", "other choice", "entry", "class", "line"}
    assert {row["severity"] for row in tables["additives"].values()} >= {"error", "warning"}
    assert {row["status"] for row in tables["phosphorus_kinds"].values()} == {"withheld", "check"}
    assert len({row["kind"] for row in tables["phosphorus_kinds"].values()}) >= 4
    assert any(row["note"] for row in tables["for_print"].values())


CELLS = [(table, column) for table in TABLES for column in (*verify_files.TABLES[table][1], *verify_files.TABLES[table][2], *verify_files.TABLES[table][3])
         if column not in ("recipe_id", "variant_id", "figure_id", "line_id", "additive_id")]


@pytest.mark.parametrize(("table", "column"), CELLS, ids=[f"{table}-{column}" for table, column in CELLS])
def test_one_changed_cell_is_found_where_it_stands(read, table, column):
    _, tables, again = read
    changed = {**tables, table: copy.deepcopy(tables[table])}
    key, row = next((key, row) for key, row in changed[table].items() if row[column] != "")
    row[column] = other(row[column])
    if column in verify_files.TABLES[table][1]:  # a part of the key: the row stands where none should
        del changed[table][key]
        moved = " ".join(row[part] for part in verify_files.TABLES[table][1])
        changed[table][moved] = row
    found = again(changed, table).found
    assert found and {one.file for one in found} == {verify_files.path_of(table)}
    if column not in verify_files.TABLES[table][1]:
        assert [(one.row, one.column) for one in found] == [(key, column)]


def other(text):
    """Another text or number than this one."""
    try:
        return repr(float(text) * 1.000001 + 1e-7)
    except ValueError:
        return {"true": "false", "false": "true"}.get(text, f"not {text}")


@pytest.mark.parametrize("table", TABLES)
def test_a_row_that_is_left_out_is_found(read, table):
    _, tables, again = read
    gone = next(iter(tables[table]))
    found = again({**tables, table: {key: row for key, row in tables[table].items() if key != gone}}, table).found
    assert [(one.file, one.row, one.written) for one in found] == [(verify_files.path_of(table), gone, "no row")]


def test_a_finding_on_an_additive_that_was_taken_away_is_found(read):
    _, tables, again = read
    gone = next(key for key, row in tables["findings"].items() if row["check"] == "additive" and row["severity"] == "error")
    found = again({**tables, "findings": {key: row for key, row in tables["findings"].items() if key != gone}}).found
    assert [(one.file, one.row) for one in found] == [("findings.csv", gone)]


# ---------------------------------------------------------------- two readers, the same lines

def as_rows(frame: pd.DataFrame, name: str) -> dict[str, dict[str, str]]:
    text = frame.copy()
    for column in text.columns:
        text[column] = text[column].map(lambda cell: str(cell).lower() if isinstance(cell, bool) else str(cell))
    key = verify_files.TABLES[name][1]
    return {" ".join(row[part] for part in key): row for row in text.to_dict("records")}


def test_both_readers_say_the_same_of_every_labelled_line():
    written = pd.read_csv(ROOT / "tests/data/allergen_lines.csv", dtype="str", keep_default_na=False).assign(other="").to_dict("records")
    settled, parsed, entries, variants = dish(*LABELLED, *written)
    made = suit(settled, parsed, entries, variants, reference_file("allergens"), reference_file("diets"))
    made["additives"] = flags(settled, reference_file("additives"))
    tables = {name: as_rows(frame, name) for name, frame in made.items()}
    tables["lines"] = {row["line_id"]: row for row in as_texts(settled)}
    tables["parsed"] = {row["line_id"]: row for row in as_texts(parsed)}
    tables["variants"] = {"dish base": {"recipe_id": "dish", "variant_id": "base"}}
    tables["findings"] = {}
    project = verify_sources.Project(ROOT, "core")
    classes = {row["entry_id"]: row for row in as_texts(entries)}

    class Entries:
        """The entries of the dish, as a project has those of its tables."""

        entry = staticmethod(classes.get)

    project._tables = Entries
    ledger = Ledger()
    verify_suit.compare(tables, project, ledger)
    verify_additives.compare(tables, project, ledger)
    assert [str(one) for one in ledger.found if one.file != "findings.csv"] == []
    assert ledger.counts["allergens"] == 14 and ledger.counts["additives"] > 10


def as_texts(frame: pd.DataFrame) -> list[dict[str, str]]:
    return [{name: str(cell).lower() if isinstance(cell, bool) else str(cell) for name, cell in row.items()} for row in frame.to_dict("records")]
