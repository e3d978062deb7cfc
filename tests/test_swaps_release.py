"""Swaps and protein additions in a release: what the recipes written so would give, and that verify finds a changed cell."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest
import release_example
import straight
import tampering
from changed_dishes import totals

from pipeline import job as jobs
from pipeline import verify_files
from pipeline.root import ROOT
from pipeline.stages.release import release
from pipeline.stages.release_pages import pages
from pipeline.stages.trial import Kitchen, local_verdicts
from pipeline.swaps_form import CANNOT, FALLS_SHORT, NOT_SEARCHED, REACHES, ProteinAdditions, Swaps
from pipeline.tables import violations
from pipeline.verify import verify

# An invented main meal that misses its protein and bears more, and one whose potassium is too high already.
PLAIN = """
id: quay-rice
name: Quay pea rice
course: main
portions: 4
units: uk
ingredients:
  - 240 g long grain white rice
  - 100 g frozen peas
  - 1 tbsp olive oil
{more}method:
  - Boil the rice for 11 minutes, drain it and throw the water away.
  - Fry the peas in the oil for 4 minutes and stir in the rice.
{step}"""
HIGH = """
---
id: beet-supper
name: Beetroot supper
course: main
portions: 2
units: uk
ingredients: [800 g beetroot, 1 tbsp olive oil]
method: [Bake everything for 50 minutes.]
"""
AUDIENCE = "haemodialysis"


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> tuple[Path, dict[str, pd.DataFrame]]:
    """A release of the two dishes and of the demo dish with greens, and its tables. With a little more cod it fails one audience's limit, of
    which less of the greens is enough."""
    folder = tmp_path_factory.mktemp("swaps")
    demo = (ROOT / "reference/demo/skerry-pepper-greens-rice.yaml").read_text(encoding="utf-8").replace("110 g cod", "115 g cod")
    (folder / "dishes.yaml").write_text(PLAIN.format(more="", step="") + HIGH + "---\n" + demo, encoding="utf-8")
    job = jobs.prepare_job(folder / "dishes.yaml", "core")
    tables = straight.tables(job, restored=True)
    return release(tables, jobs.meta(job, 0), folder / "output", release_example.PASSED, pages=pages).folder, tables


def of_addition(tables: dict[str, pd.DataFrame], recipe_id: str, addition_id: str) -> pd.DataFrame:
    rows = tables["protein_additions"]
    return rows[(rows["recipe_id"] == recipe_id) & (rows["audience"] == AUDIENCE) & (rows["addition_id"] == addition_id)].set_index("claim")


# ---------------------------------------------------------------- protein additions

def written_so(tmp_path: Path, grams: list[float]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Figures and verdicts of the plain dish with so much cooked chicken breast in its words."""
    texts = [PLAIN.format(more=f"  - {amount:g} g cooked chicken breast, shredded\n", step="  - Stir in the cooked chicken breast.\n").replace(
        "quay-rice", f"rice-{amount:g}") for amount in grams]
    (tmp_path / "so.yaml").write_text("---".join(texts), encoding="utf-8")
    job = jobs.prepare_job(tmp_path / "so.yaml", "core")
    run = totals(job)
    kitchen = Kitchen(job.table.entries, job.table.values, job.mappings, "core", job.policy, job.reference)
    verdicts = local_verdicts(run["figures"], run["recipes"], run["variants"], kitchen)
    return run["figures"].set_index("figure_id"), verdicts[verdicts["audience"] == AUDIENCE].set_index(["recipe_id", "claim"])


def test_an_addition_is_the_least_that_reaches_the_protein_and_keeps_the_rest(made, tmp_path):
    rows = of_addition(made[1], "quay-rice", "cooked-chicken-breast")
    assert set(rows["outcome"]) == {REACHES} and set(rows["verdict"]) == {"holds"} and rows["from_parts"].all()
    grams = rows["added_g"].iloc[0]
    step_g = 15 * 4
    assert rows["line"].iloc[0] == f"{grams:g} g cooked chicken breast, shredded" and grams == step_g * rows["steps"].iloc[0]
    figures, verdicts = written_so(tmp_path, [grams - step_g, grams])
    for row in rows.itertuples():
        figure = figures.loc[f"rice-{grams:g}/base/{row.component}/portion"]
        assert (row.value, row.low, row.high) == pytest.approx(tuple(figure[["value", "low", "high"]]), rel=1e-9)
    assert verdicts.loc[(f"rice-{grams - step_g:g}", "protein-for-dialysis"), "verdict"] != "holds"
    phosphorus, protein = (figures.loc[f"rice-{grams:g}/base/{name}/portion", "value"] for name in ("P", "PROCNT"))
    assert rows["phosphorus_to_protein"].iloc[0] == pytest.approx(phosphorus / protein)
    assert f"add {grams:g} g cooked chicken breast, shredded, then protein is " in rows.loc["protein-for-dialysis", "words"]


def test_nothing_is_added_to_a_dish_whose_potassium_is_too_high_already(made):
    rows = of_addition(made[1], "beet-supper", "any")
    assert set(rows["outcome"]) == {NOT_SEARCHED} and rows.loc["low-potassium", "verdict"] == "fails" and (rows["added_g"] == 0).all()
    assert not len(of_addition(made[1], "beet-supper", "cooked-chicken-breast"))


def test_an_outcome_says_what_its_verdicts_say(made):
    rows = made[1]["protein_additions"]
    assert set(rows["outcome"]) >= {REACHES, FALLS_SHORT, NOT_SEARCHED}
    for (_, _, addition_id), group in rows.groupby(["recipe_id", "audience", "addition_id"]):
        others = (group.loc[group["component"] != "PROCNT", "verdict"] == "holds").all()
        reached = (group.loc[group["component"] == "PROCNT", "verdict"] == "holds").all()
        expected = REACHES if others and reached else FALLS_SHORT if others else CANNOT
        assert set(group["outcome"]) == {NOT_SEARCHED if addition_id == "any" else expected}


@pytest.mark.parametrize(("model", "table", "cells", "message"), [
    (Swaps, "swaps", {"outcome": "restored", "verdict_base": "holds", "verdict_written": "uncertain", "verdict": "fails"}, "worse verdict than it had"),
    (Swaps, "swaps", {"verdict": "holds", "low": 500.0, "high": 700.0, "limit": 600.0}, "reaches over it"),
    (ProteinAdditions, "protein_additions", {"outcome": "reaches", "verdict": "uncertain"}, "though a limit does not hold"),
    (ProteinAdditions, "protein_additions", {"verdict": "holds", "low": 500.0, "high": 700.0, "limit": 600.0}, "reaches over it"),
])
def test_a_row_that_contradicts_itself_is_refused(made, model, table, cells, message):
    rows = made[1][table]
    assert not violations(model, rows, "test", "-")
    broken = rows.copy()
    for column, cell in cells.items():
        broken.loc[0, column] = cell
    assert any(message in str(one) for one in violations(model, broken, "test", "-"))


# ---------------------------------------------------------------- verify

def test_verify_recomputes_both_and_says_what_it_cannot(made):
    folder, tables = made
    report = verify(folder, ROOT)
    assert report.agrees, report.text()
    assert report.counts["swaps"] == len(tables["swaps"]) > 0
    assert report.counts["protein additions"] == len(tables["protein_additions"]) > 0
    assert any("were not recomputed" in note for note in report.notes)


def change(folder: Path, table: str, wanted, **cells: str) -> str:
    """Writes other cells into the first wanted row of a table, and hides it; the row's key."""
    path = folder / verify_files.path_of(table)
    rows = tampering.read(path)
    row = next(row for row in rows[1:] if wanted(dict(zip(rows[0], row, strict=True))))
    for column, text in cells.items():
        row[rows[0].index(column)] = text
    tampering.write(path, rows)
    tampering.follow_in_parquet(path)
    named = dict(zip(rows[0], row, strict=True))
    return " ".join(named[column] for column in verify_files.TABLES[table][1])


def is_greens(row: dict[str, str]) -> bool:
    return row["outcome"] == "restored" and row["component"] == "K" and row["lines"] == "7: 0"


def is_chicken(row: dict[str, str]) -> bool:
    return row["outcome"] == "reaches" and row["component"] == "P" and row["addition_id"] == "cooked-chicken-breast"


@pytest.mark.parametrize(("table", "wanted", "cells", "column"), [
    ("swaps", is_greens, {"value": "401.5"}, "value"),
    ("swaps", is_greens, {"high": "590.01"}, "high"),
    ("swaps", is_greens, {"verdict_written": "fails"}, "verdict_written"),
    ("swaps", is_greens, {"outcome": "not-restored"}, "outcome"),
    ("swaps", is_greens, {"taken_g": "60"}, "taken_g"),
    ("swaps", is_greens, {"audience": "nobody"}, ""),
    ("protein_additions", is_chicken, {"value_per_100g": "22.8"}, "value_per_100g"),
    ("protein_additions", is_chicken, {"value": "150.5", "low": "120", "high": "200"}, "value"),
    ("protein_additions", is_chicken, {"value_base": "1"}, "value_base"),
    ("protein_additions", is_chicken, {"verdict": "fails"}, "verdict"),
    ("protein_additions", is_chicken, {"phosphorus_to_protein": "4.2"}, "phosphorus_to_protein"),
    ("protein_additions", is_chicken, {"outcome": "falls-short"}, "outcome"),
    ("swaps", is_greens, {"words": "With cod, greens kept: leave out the baby spinach (70 g), then potassium is 333 mg a portion (474 to 598), within 600 for X"},
     "words"),
    ("swaps", is_greens, {"words": "With cod, greens kept: leave out the rice (70 g), then potassium is 533 mg a portion (474 to 598), within 600 for X"}, "words"),
    ("protein_additions", is_chicken, {"words": "Add 30 g cooked chicken"}, "words"),
])
def test_a_changed_cell_is_named(made, tmp_path, table, wanted, cells, column):
    copied = Path(shutil.copytree(made[0], tmp_path / "release", ignore=shutil.ignore_patterns("plots")))
    key = change(copied, table, wanted, **cells)
    report = verify(copied, ROOT)
    found = [one for one in report.disagreements if one.cause in ("swaps", "sentences") and one.column == column and (one.row in key or column == "")]
    assert found, report.text()


def test_a_change_that_takes_more_than_is_needed_is_named(made, tmp_path):
    copied = Path(shutil.copytree(made[0], tmp_path / "release", ignore=shutil.ignore_patterns("plots")))
    case = [row for row in made[1]["swaps"].itertuples() if (row.variant_id, row.audience) == ("with-cod", AUDIENCE)]
    assert {row.lines for row in case} == {"7: 0.75"}
    for row in case:
        change(copied, "swaps", lambda cells, row=row: (cells["variant_id"], cells["audience"], cells["claim"]) == (row.variant_id, AUDIENCE, row.claim),
               lines="7: 0.25")
    report = verify(copied, ROOT)
    assert [one for one in report.disagreements if one.column == "lines" and one.recomputed.endswith("/7 x 0.75 takes less and does")], report.text()


@pytest.mark.parametrize(("page", "old", "new", "cell"), [
    ("skerry-pepper-greens-rice", ">leave out the baby spinach (70 g)<", ">leave out the baby spinach (60 g)<",
     "swaps with-chicken ckd-not-on-dialysis low-phosphorus change"),
    ("index", ">leave out the baby spinach (70 g)<", ">leave out the baby leeks (70 g)<", "swaps with-chicken ckd-not-on-dialysis low-phosphorus change"),
])
def test_words_that_a_cook_acts_on_are_read_back_from_the_page(made, tmp_path, page, old, new, cell):
    folder = Path(shutil.copytree(made[0], tmp_path / "release"))
    path = folder / "pages" / f"{page}.html"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    tampering.follow_in_manifest(folder)
    assert [(one.cause, one.file, one.row, one.column) for one in verify(folder, ROOT).disagreements] == [("pages", f"pages/{page}.html", cell, "text")]
