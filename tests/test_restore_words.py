"""What a dietitian reads of a swap: amounts in kitchen words, figures rounded outward, doubts said."""

from __future__ import annotations

import math

import pytest

from pipeline.stages.restore import in_doubt_alone
from pipeline.stages.restore_search import Step
from pipeline.stages.restore_words import Speaker
from pipeline.swaps_form import CANNOT, NOT_RESTORED, NOT_SEARCHED, REACHES, RESTORED

AMOUNTS = {
    "soup/with-cod/9": {"quantity": 2.0, "unit": "handful", "mass_g": 36.0, "food": "baby spinach", "text": "2 handfuls baby spinach"},
    "soup/with-cod/1": {"quantity": 2.0, "unit": "", "mass_g": 178.0, "food": "medium leeks", "text": "2 medium leeks"},
    "soup/with-cod/4": {"quantity": 100.0, "unit": "g", "mass_g": 100.0, "food": "rice", "text": "100 g rice"},
    "soup/with-cod/5": {"quantity": 2.5, "unit": "clove", "mass_g": 9.0, "food": "garlic", "text": "2-3 cloves garlic"},
    "soup/with-cod/7": {"quantity": math.nan, "unit": "", "mass_g": 0.3, "food": "black pepper", "text": "black pepper, to taste"},
}
SPEAKER = Speaker({("soup", "with-cod"): "With cod"}, {"ckd": "adults not on dialysis"}, {"K": "potassium", "PROCNT": "protein"}, AMOUNTS)


def row(verdict="holds", comparator="<=", component="K", value=401.6, low=309.9, high=519.2, limit=600.0, probability=0.95, reason="", unit="mg"):
    return {"claim": "low-potassium", "verdict": verdict, "comparator": comparator, "component": component, "value": value, "low": low, "high": high,
            "limit": limit, "unit": unit, "basis": "portion", "probability": probability, "reason": reason, "margin": 0.1}


@pytest.mark.parametrize(("times", "expected"), [
    (((9, 0.0),), "leave out the baby spinach (2 handfuls)"),
    (((1, 0.5),), "use half of the medium leeks (1 in place of 2)"),
    (((1, 0.75),), "use three quarters of the medium leeks (1 1/2 in place of 2)"),
    (((4, 0.25), (9, 0.0)), "use a quarter of the rice (25 g in place of 100 g), and leave out the baby spinach (2 handfuls)"),
    (((5, 0.25),), "use a quarter of the garlic (2-3 cloves garlic)"),
    (((7, 0.0),), "leave out the black pepper (black pepper, to taste)"),
])
def test_a_change_is_said_as_a_cook_does_it(times, expected):
    assert SPEAKER.change("soup", "with-cod", times) == expected


def swap(outcome, change, after, written, before=None, sought=True):
    return SPEAKER.swap(("soup", "with-cod"), "ckd", outcome, change, after, written, before or row(), sought)


def test_a_swap_in_one_sentence():
    greens = "leave out the baby spinach (2 handfuls)"
    assert swap(RESTORED, greens, row(), row("fails")) == (
        "With cod: leave out the baby spinach (2 handfuls), then potassium is 402 mg a portion (309 to 520), within 600 for adults not on dialysis")
    # Outward: the ends never look safer than they are.
    assert "(309 to 520)" in swap(RESTORED, greens, row(low=309.9, high=519.01), row("fails"))
    other = row("fails", ">=", "PROCNT", 18.42, 16.25, 20.71, 23.3, 0.0, unit="g")
    assert swap(RESTORED, greens, other, other, other, False).endswith("protein is 18.4 g a portion (16.2 to 20.8), below 23.3 for adults not on dialysis, as without that")
    unsure = row("uncertain", probability=0.61)
    assert swap(RESTORED, greens, unsure, row("fails"), row("uncertain", probability=0.7)).endswith(
        "not surely within 600 (chance 0.61) for adults not on dialysis; the recipe as written is uncertain too (chance 0.70)")
    assert ", and still not every limit is kept: potassium is 402 mg" in swap(NOT_RESTORED, greens, row("fails"), row("fails"))
    assert swap(NOT_RESTORED, "", row("fails"), row("fails")).endswith("above 600 for adults not on dialysis; nothing that may be left out restores it")


def test_a_doubt_is_said_and_nothing_is_looked_for():
    doubted = row("uncertain", probability=math.nan, reason="K 402 mg: it cannot be told; K is still to be checked: low confidence; Rests on a policy")
    assert in_doubt_alone(doubted) and not in_doubt_alone({**doubted, "margin": -0.01}) and not in_doubt_alone(row())
    assert swap(NOT_SEARCHED, "", doubted, doubted).endswith(
        "not surely within 600 for adults not on dialysis; the figure is in doubt (low confidence), and leaving out settles no doubt")


def test_an_addition_in_one_sentence():
    protein = row("holds", ">=", "PROCNT", 26.37, 24.24, 28.59, 23.3, unit="g")
    assert SPEAKER.addition("Soup", "ckd", REACHES, "300 g cooked chicken breast", protein, 8.72) == (
        "Soup: add 300 g cooked chicken breast, then protein is 26.4 g a portion (24.2 to 28.6), at least 23.3 for adults not on dialysis; "
        "phosphorus 8.7 mg for each g of protein")
    assert "add 4 eggs, and another limit no longer holds: potassium is " in SPEAKER.addition("Soup", "ckd", CANNOT, "4 eggs", row("uncertain"), 8.7)


def test_equal_answers_are_ordered_by_lines_and_then_by_the_smaller_cut():
    steps = [Step(((3, 0.5),), 10.0, 1.0), Step(((2, 0.5),), 10.0, 2.0), Step(((2, 0.5), (3, 0.75)), 1.0, 9.0), Step(((4, 0.0),), 9.0, 0.1),
             Step(((2, 0.75),), 10.0 + 1e-9, 0.0)]
    assert [step.times for step in sorted(steps, key=lambda step: step.order)] == [
        ((4, 0.0),), ((2, 0.75),), ((2, 0.5),), ((3, 0.5),), ((2, 0.5), (3, 0.75))]
