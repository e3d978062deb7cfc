"""Claims that look at the ingredients: what brings salt or sugars of its own, and the claims at their edges.

"No added sodium/salt" (Regulation (EC) No 1924/2006, annex, as amended by (EU) No 1047/2012; from memory): no added
sodium or salt, no ingredient that contains added sodium or salt, and not more than 0.12 g sodium per 100 g.
"With no added sugars": no added sugars and no other food used for its sweetening properties.
"""

from __future__ import annotations

import math

import pandas as pd
import pytest
from hand_figures import REFERENCE, demo_policy, figure, figures, recipes, reference_file, variants

from pipeline import tables
from pipeline.stages import judge, judge_ingredients

ADDED = pd.read_csv(REFERENCE / "added_substances.csv", keep_default_na=False)
ADDED["above_per_100g"] = pd.to_numeric(ADDED["above_per_100g"])


def brings(name: str, amount: float, substance: str = "added-sodium") -> str:
    return judge_ingredients.entry_brings(name, ADDED[ADDED["substance"] == substance].to_dict("records"), lambda component: amount)


@pytest.mark.parametrize("name, sodium_mg, wanted", [
    ("Salt, table", 38758, "yes"), ("Soy sauce made from soy and wheat (shoyu), low sodium", 3598, "yes"),
    ("Soup, chicken broth cubes, dry", 24000, "yes"), ("Leavening agents, baking soda", 27360, "yes"),
    ("Leavening agents, baking powder, double-acting, straight phosphate", 7893, "yes"), ("Pork, cured, bacon, pre-sliced, cooked", 1684, "yes"),
    ("Fish, haddock, smoked", 763, "yes"), ("Olives, ripe, canned", 735, "yes"), ("Cheese, cheddar", 621, "yes"), ("Butter, salted", 643, "yes"),
    ("Beans, black turtle, mature seeds, canned", 384, "yes"), ("Sodium bicarbonate", 27360, "yes"), ("Gammon steak", 1100, "yes"),
    ("Celery, raw", 80, "no"), ("Chard, swiss, raw", 213, "no"), ("Egg, whole, raw, fresh", 142, "no"), ("Butter, without salt", 11, "no"),
    ("Mollusks, mussel, blue, raw", 286, "no"), ("Beans, kidney, mature seeds, cooked, boiled, without salt", 2, "no"),
    ("Tomatoes, red, ripe, canned, packed in tomato juice, no salt added", 10, "no"), ("Pork, fresh, leg (ham), whole, raw", 55, "no"),
    ("Leavening agents, yeast, baker's, active dry", 51, "no"), ("Peaches, canned, juice pack", 4, "no"),
    ("Salt substitute", 1000, "may"), ("Margarine spread, tub", 646, "may"), ("Noodles, japanese, somen, dry", 1840, "may"),
    ("Something new", 121, "may"), ("Something new", 120, "no"), ("Something new", math.nan, "may")])
def test_what_brings_salt(name, sodium_mg, wanted):
    assert brings(name, sodium_mg) == wanted


@pytest.mark.parametrize("name, sugars_g, wanted", [
    ("Sugars, granulated", 99.8, "yes"), ("Honey", 82, "yes"), ("Syrups, maple", 60, "yes"), ("Jams and preserves", 48, "yes"),
    ("Cranberries, dried, sweetened", 65, "yes"), ("Bananas, raw", 12, "no"), ("Applesauce, canned, unsweetened", 9, "no"),
    ("Tamarinds, raw", 57, "no"), ("Raisins, seedless", 59, "may"), ("Grape juice, canned or bottled", 14, "may")])
def test_what_brings_sugars(name, sugars_g, wanted):
    assert brings(name, sugars_g, "added-sugars") == wanted


# ---------------------------------------------------------------- the claims

def settled(*rows) -> pd.DataFrame:
    """Lines of the dish: (entry name, outcome, counted)."""
    return pd.DataFrame([
        {"recipe_id": "dish", "variant_id": "base", "line_id": f"dish/base/{number}", "text": name.lower(), "entry_name": name,
         "outcome": outcome, "counted": counted} for number, (name, outcome, counted) in enumerate(rows, start=1)])


def judged(claim: str, lines: pd.DataFrame, sodium_mg: float = 50) -> pd.Series:
    contributions = pd.DataFrame([{"line_id": line_id, "component": name, "value_per_100g": 10.0}
                                  for line_id in lines["line_id"] for name in ("NA", "SUGAR")])
    claims = reference_file("claims")
    found, _ = judge.judge(
        figures(figure("NA", sodium_mg)), recipes(), variants(), claims[claims["claim_id"] == claim], reference_file("nutrient_reference_values"),
        demo_policy(), reference_file("energy_factors"), judge_ingredients.ingredients(lines, contributions, variants(), ADDED))
    return found.set_index("claim").loc[claim]


CELERY, SALT = ("Celery, raw", "accepted", True), ("Salt, table", "accepted", True)


@pytest.mark.parametrize("sodium_mg, wanted", [(119.9, "holds"), (120, "holds"), (120.1, "fails")])
def test_no_added_salt_at_the_edge_of_its_sodium(sodium_mg, wanted):
    row = judged("no-added-salt", settled(CELERY), sodium_mg)
    assert row["verdict"] == wanted and row["probability"] == (0.95 if wanted == "holds" else 0.0)


def test_a_pinch_of_salt_breaks_no_added_salt_however_little_sodium_there_is():
    row = judged("no-added-salt", settled(CELERY, SALT), 1)
    assert (row["verdict"], row["probability"], row["basis"]) == ("fails", 0.0, "ingredients") and '"salt, table"' in row["reason"]


@pytest.mark.parametrize("line", [("", "review", True), ("Salt, table", "accepted", False), ("Margarine spread, tub", "accepted", True)],
                         ids=["not settled", "optional", "the pack decides"])
def test_what_may_bring_salt_leaves_it_uncertain(line):
    row = judged("no-added-salt", settled(CELERY, line), 1)
    assert row["verdict"] == "uncertain" and "possibly by" in row["reason"] and math.isnan(row["probability"])


def test_no_added_sugars():
    assert judged("no-added-sugars", settled(("Apples, raw, with skin", "accepted", True)))["verdict"] == "holds"
    assert judged("no-added-sugars", settled(("Honey", "accepted", True)))["verdict"] == "fails"


def test_what_is_no_food_brings_nothing_and_every_substance_is_asked_for():
    assert judged("no-added-salt", settled(CELERY, ("", "not-food", False)), 1)["verdict"] == "holds"
    claims = reference_file("claims")
    assert set(ADDED["substance"]) == set(claims.loc[claims["basis"] == "ingredients", "component"])
    assert set(ADDED["brings"]) == set(judge_ingredients.CAUTION) and not ADDED.duplicated(["substance", "words"]).any()
    assert list(tables.columns(tables.Verdicts))[-5:] == ["probability", "headroom", "decisive", "comparator", "status"]
