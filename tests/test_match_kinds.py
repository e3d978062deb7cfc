"""Words beside the food that say which kind of it is meant, and how it was kept.

Lines and entries of the core by common practice, no source. "Milk (soya)" was taken for cow's milk, "butter (peanut)" for
butter and pickled beetroot that is drained for tinned beetroot before the words in brackets were read.
"""

from __future__ import annotations

from functools import cache

import pytest
from decision_kitchen import TABLE, kitchen, parsed

from pipeline import decisions
from pipeline.stages.match import Matcher, line_answers


@cache
def matcher() -> Matcher:
    reference, mappings, core = kitchen()
    return Matcher(core.entries, TABLE, mappings.words, reference.match_weights, mappings.foods.iloc[:0],
                   reference.rule("accept_above"), reference.rule("review_above"), values=core.values, rules=reference.rules)


def answer(text: str) -> tuple[str, str]:
    """The outcome of a line and its entry."""
    matched, _ = line_answers(parsed([text]), matcher())
    return matched["match_outcome"].iloc[0], matched["entry_id"].iloc[0]


@pytest.mark.parametrize(("text", "entry"), [
    ("300 ml milk (soya)", "16139"), ("300 ml milk, soya", "16139"), ("200 g butter (peanut)", "16098"), ("200 g flour (rice)", "20061"),
    ("1 tbsp oil (sunflower)", "04506"), ("oil, for frying (sunflower)", "04506"), ("200 g onions (spring)", "11291"),
    ("1 tbsp vinegar (balsamic)", "02069"), ("100 g chicken (breast)", "05062"), ("100 g chicken, breast", "05062"),
    ("200 ml milk (coconut)", "12118"), ("1 aubergine (eggplant), sliced", "11209"), ("50 g gram flour (besan)", "16157"),
    ("6 slices pickled beetroot, drained", "11609"), ("100 g pickled herring, drained", "15041"),
    ("1 cucumber, peeled and diced", "11206"), ("2 Granny Smith apples, peeled, cored and sliced", "09004"), ("2 apples, sliced", "09003"),
    ("1 large swede, peeled, in 3/4-inch dice", "11435"), ("4 ripe plums, stoned", "09279"),
])
def test_the_kind_beside_the_food_is_read(text, entry):
    assert answer(text) == ("accepted", entry)


@pytest.mark.parametrize("text", [
    "300 ml milk (oat)", "200 g cheese (halloumi)", "200 g ham (Parma)", "200 g yogurt (coconut)", "1 tsp salt (potassium)", "2 tbsp horseradish sauce",
])
def test_a_kind_that_the_table_does_not_have_is_never_the_plain_food(text):
    assert answer(text)[0] != "accepted"


@pytest.mark.parametrize("text", ["100 g sugar (see note)", "100 g sugar (optional)", "100 g sugar (or more)", "2 onions (about 200 g)", "100 g sugar (£1.20)"])
def test_a_remark_in_brackets_is_no_kind(text):
    assert parsed([text])["leftover"].iloc[0] == ""
    assert answer(text)[0] == "accepted"


@pytest.mark.parametrize(("text", "count", "phrase"), [
    ("2 pairs of kippers", 4.0, "kippers"), ("a brace of pheasants", 2.0, "pheasants"), ("pair of duck breasts", 2.0, "duck breasts"),
    ("two pairs of kippers", 4.0, "kippers"), ("2 dozen mussels", 24.0, "mussels"),
])
def test_what_is_counted_in_pairs(text, count, phrase):
    line = parsed([text]).iloc[0]
    assert (line["quantity_low"], line["quantity_high"], line["phrase"]) == (count, count, phrase)


def test_a_decision_on_food_and_kind_together_serves_the_kind_in_brackets():
    """The decision on vegetable stock is the project's own."""
    reference, mappings, core = kitchen()
    standing, _ = decisions.standing_decisions(mappings.foods, TABLE, core.entries)
    decided = Matcher(core.entries, TABLE, mappings.words, reference.match_weights, standing, reference.rule("accept_above"), reference.rule("review_above"))
    rows, _ = line_answers(parsed(["500 ml vegetable stock", "500 ml stock (vegetable)", "500 ml stock, vegetable"]), decided)
    assert set(rows["decision_id"]) == {rows["decision_id"].iloc[0]} - {""}
