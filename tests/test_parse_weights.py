"""Weights that are said of a state, and dots and commas that may part thousands.

The lines were written for this project; how cooks and tins put these weights is common practice, no source.
"""

from __future__ import annotations

import math
from functools import cache

import pandas as pd
import pytest
from test_parse import ROOT, lines_of, read

from pipeline.match_bench import Bench, open_bench
from pipeline.problems import WARNING
from pipeline.stages.parse import parse
from pipeline.stages.parse_line import REASONS


@cache
def bench() -> Bench:
    return open_bench("core", decided=False)


def read_above() -> float:
    rules = pd.read_csv(ROOT / "reference" / "rules.csv", dtype=str).set_index("rule_id")
    return float(rules.loc["read_above", "value"])


# ---------------------------------------------------------------- drained, net

@pytest.mark.parametrize("text, mass_g", [
    ("1 tin (400 g, drained weight 240 g) chickpeas", 240), ("1 tin (240 g drained) chickpeas", 240),
    ("1 tin (400g/240g drained) chickpeas", 240), ("1 tin (400 g; 240 g drained) chickpeas", 240), ("1 tin chickpeas, 240 g drained", 240),
    ("400 g tin chickpeas (240 g when drained)", 240), ("400 g tin of chickpeas, drained weight: 240g", 240),
    ("400g tin chickpeas (drained wt. 240g)", 240), ("400g tin chickpeas (about 240 g drained weight)", 240),
    ("400 g tin chickpeas, drained (240 g drained weight)", 240), ("400 g tin drained chickpeas (240 g drained weight)", 240),
    ("1 x 400 g tin chickpeas, drained and rinsed (drained weight 240 g)", 240), ("1 tin chickpeas (weight when drained 240 g)", 240),
    ("1 tin chickpeas (net weight 400 g, drained weight 240 g)", 240), ("1 tin chickpeas (net drained weight 240 g)", 240),
    ("1 carton chickpeas (380 g, 230 g after draining)", 230), ("1 tin chickpeas 400g (drained 240g)", 240),
    ("1 (15 oz) can chickpeas (8 oz drained weight)", 8 * 28.349523125),
    ("2 x 400 g tins chickpeas, drained (240 g drained weight each)", 480), ("2 x 400 g tins chickpeas (480 g drained weight)", 480),
    ("2 tins chickpeas (drained weight 240 g each)", 480), ("2 tins chickpeas (240 g drained weight per tin)", 480), ("2 tins chickpeas (480 g drained weight in total)", 480), ("2 tins chickpeas, total drained weight 480 g", 480),
    ("chickpeas, drained weight 240 g", 240), ("240 g drained weight chickpeas", 240), ("240 g (drained weight) tinned chickpeas", 240),
    ("2 x 240 g drained weight tins chickpeas", 480), ("400 g tinned chickpeas (240 g drained weight)", 240),
    ("1 cup chickpeas (164 g drained)", 164),
    ("1 tin chickpeas (to give 240 g drained)", 240), ("1 tin chickpeas (drained to give 240 g)", 240), ("drained weight 240 g chickpeas", 240),
    ("1 tin chickpeas (240 g drained and rinsed)", 240), ("1 tin chickpeas - drained weight 240g", 240), ("400g/14oz tin chickpeas (240g/8½oz drained weight)", 240),
    # a size of the tin, not of what is left: 0.6 of it is
    ("1 tin (400 g), drained, chickpeas", 240), ("400 g can chickpeas, drained and rinsed", 240),
])
def test_a_drained_weight_is_what_is_left_of_the_tin(text, mass_g):
    parsed = bench().read([text])
    row = parsed.iloc[0]
    assert (row["state"], row["phrase"].split()[-1]) == ("drained", "chickpeas")
    weighed = bench().grams(parsed, ["16359"])  # chickpeas, canned, drained solids
    assert weighed["mass_g"].iloc[0] == pytest.approx(mass_g)


@pytest.mark.parametrize("text, each", [
    ("1 tin tomatoes, net weight 400 g", 400), ("1 tin (net wt 400 g) tomatoes", 400), ("1 tin tomatoes (400 g net)", 400),
    ("400 g tin tomatoes (net weight 400 g)", 400), ("400 g tin tomatoes (net weight 390 g)", 400),
])
def test_a_net_weight_is_what_the_tin_holds(text, each):
    found = read(text)
    assert (found["quantity_low"], found["unit"], found["each_quantity"], found["state"]) == (1, "tin", each, "canned")
    assert (found["leftover"], found["parse_reason"]) == ("", "")


def test_a_drained_weight_behind_several_tins_may_be_of_each_or_of_all():
    found = read("2 tins chickpeas (480 g drained weight)")
    assert found["parse_reason"] == "each-or-all" and found["parse_confidence"] <= read_above()


def test_more_drained_than_the_tin_held_is_told():
    assert "measures-disagree" in read("400 g tinned chickpeas (600 g drained weight)")["parse_reason"]


# ---------------------------------------------------------------- raw, cooked, peeled

@pytest.mark.parametrize("text, quantity, state, phrase", [
    ("200 g chicken (raw weight 260 g)", 260, "raw", "chicken"), ("200 g chicken (260 g raw)", 260, "raw", "chicken"),
    ("200 g chicken, raw weight 260 g", 260, "raw", "chicken"), ("200 g chicken, cooked (raw weight 260 g)", 260, "raw", "chicken"),
    ("200 g chicken (260 g uncooked weight)", 260, "raw", "chicken"), ("200 g chicken (260 g before cooking)", 260, "raw", "chicken"),
    ("100 g pasta (cooked weight 220 g)", 220, "cooked", "pasta"), ("100 g pasta, cooked weight 220 g", 220, "cooked", "pasta"),
    ("75 g rice (200 g when cooked)", 200, "cooked", "rice"), ("75 g rice (200 g after cooking)", 200, "cooked", "rice"),
    # a first amount that is of a state itself stays, and so does what it is of
    ("200 g cooked chicken (260 g raw weight)", 200, "cooked", "cooked chicken"), ("150 g cooked rice (50 g dry weight)", 150, "cooked", "cooked rice"),
    ("100 g dried chickpeas (240 g cooked weight)", 100, "dried", "dried chickpeas"),
    ("500 g potatoes (400 g peeled weight)", 400, "", "potatoes"), ("500 g potatoes, peeled weight 400 g", 400, "", "potatoes"),
    ("500 g pumpkin (peeled and deseeded weight 350 g)", 350, "", "pumpkin"), ("700 g squash, 500 g prepared weight, cubed", 500, "", "squash"),
    ("250 g beef mince, 200 g cooked weight", 200, "cooked", "beef mince"), ("300 g frozen spinach (200 g drained weight)", 300, "frozen", "frozen spinach"),
    ("250 g prawns (shelled weight 150 g)", 150, "", "prawns"), ("250 g prawns (150 g net weight)", 150, "", "prawns"),
    # no number of its own: said of the amount
    ("250 g potatoes (peeled weight)", 250, "", "potatoes"), ("150 g rice (cooked weight)", 150, "cooked", "rice"), ("75 g rice (raw weight)", 75, "raw", "rice"),
])
def test_a_weight_said_of_a_state_is_the_amount_in_that_state(text, quantity, state, phrase):
    found = read(text)
    assert (found["quantity_low"], found["quantity_high"], found["unit"], found["state"], found["phrase"]) == (quantity, quantity, "g", state, phrase)
    assert math.isnan(found["each_quantity"]) and found["leftover"] == ""


def test_the_weight_that_was_not_taken_is_a_note_and_the_choice_is_told():
    found = read("200 g chicken (raw weight 260 g)")
    assert (found["note"], found["parse_reason"]) == ("200 g", "weight-of-state")


@pytest.mark.parametrize("text, each, state", [
    ("2 chicken breasts (300 g raw weight)", 150, "raw"), ("2 chicken breasts (150 g raw weight each)", 150, "raw"),
    ("2 chicken breasts (300 g cooked weight)", 150, "cooked"), ("2 large potatoes (400 g peeled weight)", 200, ""),
    ("1 butternut squash, about 600 g prepared weight", 600, ""),
])
def test_a_weight_said_of_a_state_sizes_what_is_counted(text, each, state):
    found = read(text)
    assert (found["unit"], found["each_quantity"], found["each_unit"], found["state"]) == ("", each, "g", state)


# ---------------------------------------------------------------- thousands

@pytest.mark.parametrize("text, low, unit", [
    ("1.500 g potatoes", 1.5, "g"), ("2.250 ml stock", 2.25, "ml"), ("1.000 g potatoes", 1, "g"), ("1.500g potatoes", 1.5, "g"), ("1·500 g potatoes", 1.5, "g"),
    ("12.500 g yeast", 12.5, "g"), ("1.500-2.000 g potatoes", 1.5, "g"), ("about 1.000 ml milk", 1, "ml"), ("potatoes, 1.500 g", 1.5, "g"),
    ("1,125 kg beef", 1.125, "kg"), ("2,500 l water", 2.5, "l"),  # a thousand kilograms no cook means
])
def test_three_digits_behind_a_dot_may_be_a_thousand_and_the_line_goes_to_review(text, low, unit):
    found = read(text)
    assert (found["quantity_low"], found["unit"], found["parse_reason"]) == (low, unit, "thousand-or-decimal")
    assert found["parse_confidence"] <= read_above()


@pytest.mark.parametrize("text", [
    "2 x 1.500 g tins tomatoes", "1 tin (1.200 g) tomatoes", "3 tins (1.200 g each) tomatoes", "2 x 1.250 ml bottles water",
    "1 tin tomatoes (drained weight 1.200 g)", "1.200 g tin tomatoes",
])
def test_so_may_the_size_of_one(text):
    found = read(text)
    assert "thousand-or-decimal" in found["parse_reason"] and found["parse_confidence"] <= read_above()


@pytest.mark.parametrize("text, low", [
    ("0.125 kg butter", 0.125), ("0.500 g saffron", 0.5), ("1.500 kg potatoes", 1.5), ("1.250 l water", 1.25), ("250.000 g flour", 250),
    ("1,000 g potatoes", 1000), ("1,500 ml stock", 1500), ("1,5 kg potatoes", 1.5), ("1.25 g salt", 1.25), ("1.5 g salt", 1.5), ("1.125 lb beef", 1.125),
    ("1.500 tsp salt", 1.5), ("1.125 cups flour", 1.125),
])
def test_a_number_with_one_reading_is_in_no_doubt(text, low):
    found = read(text)
    assert found["quantity_low"] == pytest.approx(low) and found["parse_reason"] == ""


def test_the_two_readings_are_a_warning_that_names_both_ways_to_write_it():
    mappings = bench().mappings
    _, problems = parse(lines_of(["1.500 g potatoes"]), mappings.unit_words, mappings.sizes, mappings.states, mappings.preparations)
    assert [(problem.where, problem.code, problem.severity) for problem in problems] == [("tern.yaml:5", "thousand-or-decimal", WARNING)]
    assert "1500 g" in problems[0].remedy and "1.5 g" in problems[0].remedy


@pytest.mark.parametrize("reason", ["thousand-or-decimal", "each-or-all", "salt-alternative"])
def test_a_doubt_that_could_hurt_is_enough_for_review_by_itself(reason):
    assert REASONS[reason][0] <= read_above()
