"""What accepted lines leave open stands on the worklist, the one with most potassium first."""

from __future__ import annotations

import pandas as pd
import pytest
import straight
from test_two_routes import pasta_by_release_6

from pipeline import job as jobs
from pipeline import tables
from pipeline.stages import total_stakes

# Boiled pasta keeps less potassium by release 6 than its cooked entry has in USDA SR26; boiled carrots agree.
COLLECTION = """
recipes:
  - id: pasta
    name: Pasta
    portions: 2
    ingredients: [200 g dried macaroni, 300 g carrots]
    method: [Boil the macaroni for 12 minutes and drain., Boil the carrots for 15 minutes and drain.]
  - id: much-pasta
    name: Much pasta
    portions: 1
    ingredients: [300 g dried spaghetti]
    method: [Boil the spaghetti for 12 minutes and drain.]
  - id: mash
    name: Twice boiled
    portions: 4
    ingredients: ["800 g potatoes, peeled and cut into small dice"]
    method: ["Boil the potatoes for 10 minutes and drain. Boil again in fresh water for 10 minutes and drain."]
  - id: unsettled
    name: Unsettled
    portions: 2
    ingredients: [100 g zorblefruit paste]
    method: [Stir.]
"""


@pytest.fixture(scope="module")
def run(tmp_path_factory) -> dict[str, pd.DataFrame]:
    path = tmp_path_factory.mktemp("stakes") / "dishes.yaml"
    path.write_text(COLLECTION, encoding="utf-8")
    return straight.tables(pasta_by_release_6(jobs.prepare_job(path, "core")))


def test_disagreeing_routes_follow_what_withholds_figures(run):
    rows = run["worklist"]
    assert rows["recipe_id"].iloc[0] == "unsettled" and rows["rank"].tolist() == list(range(1, len(rows) + 1))
    routes = rows[rows["reason"] == "two-routes"]
    assert routes["recipe_id"].tolist() == ["much-pasta", "pasta"]  # 300 g for one before 100 g for one
    assert routes["line_no"].tolist() == [1, 1] and (routes["figures_to_check"] > 0).all()
    assert routes["candidates"].str.contains("cooked").all()


def test_the_potassium_at_stake_is_said_per_portion(run):
    line = run["two_routes"].query("line_id == 'much-pasta/base/1' and component == 'K'").iloc[0]
    remedy = run["worklist"].query("recipe_id == 'much-pasta'")["remedy"].iloc[0]
    assert f"K {3 * line['by_retention']:.4g} mg in use, {3 * line['by_cooked']:.4g} by the cooked entry" in remedy


def test_the_figures_of_a_disagreement_are_to_be_checked(run):
    potassium = run["figures"].query("recipe_id == 'much-pasta' and component == 'K'")
    assert set(potassium["status"]) == {"check"} and potassium["reason"].str.contains("two-routes").all()


def test_the_input_that_makes_potassium_widest_is_named_with_its_share(run):
    row = run["worklist"].query("reason == 'wide-interval'").iloc[0]
    assert (row["recipe_id"], row["line_no"]) == ("mash", 1)
    assert "reference/retention.csv" in row["remedy"] and "% of the width of K" in row["remedy"]


def test_a_line_is_not_listed_twice_and_an_empty_addition_changes_nothing(run):
    assert not run["worklist"].duplicated(["recipe_id", "text"]).any()
    quiet = {**run, "two_routes": tables.empty(tables.TwoRoutes), "figures": run["figures"].assign(status="ready", reason="")}
    listed = run["worklist"].head(1)

    class Reference:
        components = energy_factors = None

    pd.testing.assert_frame_equal(total_stakes.with_stakes(listed, quiet, Reference()), listed)


def test_of_the_doubtful_lines_of_a_dish_the_one_with_most_potassium_comes_first():
    def row(rank, recipe_id, line_no, withheld, to_check):
        return {"rank": rank, "recipe_id": recipe_id, "variant_id": "base", "line_no": line_no, "text": f"{recipe_id} {line_no}", "reason": "settled",
                "figures_withheld": withheld, "figures_to_check": to_check, "verdicts_waiting": 0, "candidates": "", "remedy": ""}

    listed = pd.DataFrame([row(1, "stew", 1, 9, 0), row(2, "broth", 1, 9, 0), row(3, "soup", 1, 0, 5), row(4, "soup", 2, 0, 5), row(5, "soup", 3, 0, 5),
                           row(6, "pie", 1, 0, 3)])
    amounts = pd.DataFrame({"recipe_id": "soup", "variant_id": "base", "line_no": [1, 2, 3, 3], "component": ["K", "K", "K", "NA"], "amount": [10.0, 400.0, 20.0, 999.0]})
    ranked = total_stakes.most_potassium_first(listed, amounts)
    assert ranked["text"].tolist() == ["stew 1", "broth 1", "soup 2", "soup 3", "soup 1", "pie 1"]
    assert ranked["rank"].tolist() == [1, 2, 3, 4, 5, 6]
