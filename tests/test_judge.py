"""Judge: three-valued verdicts on intervals, gaps, margins, local limits. Invented figures."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
import pytest
from hand_figures import demo_policy, each_row, each_verdict, figure, figures, recipes, reference_file, variants, verdict, verdicts
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import tables
from pipeline.problems import InputError
from pipeline.stages import conditions, judge
from pipeline.stages.conditions import Condition

NOT_ON_DIALYSIS = "ckd-not-on-dialysis"
SODIUM_CLAIMS = ["low-salt", "very-low-salt", "salt-free", "sodium-within-meal-limit"]
RANK = {"holds": 2, "uncertain": 1, "not-assessable": 1, "fails": 0}


# ---------------------------------------------------------------- the interval decides

@pytest.mark.parametrize("low, value, high, wanted", [
    (80, 100, 120, "holds"), (80, 100, 120.01, "uncertain"), (100, 130, 160, "uncertain"), (120, 130, 160, "uncertain"),
    (120.01, 130, 160, "fails"),
])
def test_an_upper_limit_holds_only_when_the_whole_interval_does(low, value, high, wanted):
    assert verdict("low-salt", [figure("NA", value, low, high)])["verdict"] == wanted


@pytest.mark.parametrize("low, value, high, wanted", [
    (300, 350, 400, "holds"), (299.9, 350, 400, "uncertain"), (200, 250, 300, "uncertain"), (200, 250, 299.9, "fails"),
])
def test_a_lower_limit_likewise(low, value, high, wanted):
    assert verdict("source-of-potassium", [figure("K", value, low, high)])["verdict"] == wanted


def test_margin_is_the_headroom_of_the_near_end():
    assert verdict("low-salt", [figure("NA", 60, 48, 90)])["margin"] == pytest.approx(0.25)     # (120 - 90) / 120
    assert verdict("low-salt", [figure("NA", 100, 90, 150)])["margin"] == pytest.approx(-0.25)
    assert verdict("source-of-potassium", [figure("K", 400, 360, 500)])["margin"] == pytest.approx(0.2)
    assert verdict("source-of-potassium", [figure("K", 200, 150, 250)])["margin"] == pytest.approx(-0.5)


def test_the_row_says_what_decided():
    row = verdict("low-salt", [figure("NA", 100, 90, 150)])
    assert (row["component"], row["value"], row["low"], row["high"], row["limit"], row["unit"], row["basis"]) == (
        "NA", 100, 90, 150, 120, "mg", "100g")
    assert row["kind"] == "regulated-claim" and "90 to 150" in row["reason"] and "at most 120 mg" in row["reason"]


# ---------------------------------------------------------------- what is not known

def test_a_withheld_figure_is_not_assessable_and_names_its_line():
    row = verdict("low-salt", [figure("NA", None, reason="line 7 'some stock': cannot be weighed")])
    assert row["verdict"] == "not-assessable" and "line 7 'some stock'" in row["reason"] and math.isnan(row["margin"])


def test_a_missing_figure_is_not_zero():
    row = verdict("low-salt", [figure("K", 1)])
    assert row["verdict"] == "not-assessable" and "no figure for NA" in row["reason"]


def test_a_gap_can_only_make_a_sum_larger():
    def gappy(component, value):
        return [figure(component, value, coverage=0.9, reason="no value for line 2", status="check")]

    assert each_verdict("low-salt", [gappy("NA", 1), gappy("NA", 119), gappy("NA", 121)]) == ["uncertain", "uncertain", "fails"]
    assert each_verdict("source-of-potassium", [gappy("K", 301), gappy("K", 1)]) == ["holds", "uncertain"]
    row = verdict("low-salt", gappy("NA", 1))
    assert "90 %" in row["reason"] and math.isnan(row["margin"]) and row["high"] == 1


def test_rounding_of_coverage_is_no_gap():
    assert verdict("low-salt", [figure("NA", 1, coverage=1 - 1e-12)])["verdict"] == "holds"


def test_a_share_of_energy_with_a_gap_in_the_energy():
    # 30 g protein (510 kJ) in 600 kJ that are known: more energy may be missing, so "at least 12 %" is uncertain.
    known = [figure("PROCNT", 30), figure("ENERC", 600, unit="kJ")]
    gap = [figure("PROCNT", 30), figure("ENERC", 600, unit="kJ", coverage=0.9)]
    assert each_verdict("high-protein", [known, gap]) == ["holds", "uncertain"]
    # And less may be there: 11 % of the energy becomes 23 % if all of it was fibre counted at 17 kJ/g instead of 8.
    cases = [[figure("PROCNT", 11), figure("ENERC", 1700, unit="kJ", coverage=share)] for share in (1.0, 0.9)]
    assert each_verdict("source-of-protein", cases) == ["fails", "uncertain"]


def test_energy_with_a_gap_may_also_be_too_big():
    # Unknown fibre was counted at 17 kJ/g and gives 8: 180 kJ may be 84.7 kJ. Above 170 x 17/8 it fails whatever is missing.
    cases = [[figure("ENERC", kj, unit="kJ", coverage=0.9), figure("ENERC", kj / 4.184, unit="kcal", coverage=0.9)] for kj in (160, 180, 400)]
    assert each_verdict("low-energy", cases) == ["uncertain", "uncertain", "fails"]


def test_no_energy_gives_no_share():
    row = verdict("high-protein", [figure("PROCNT", 0), figure("ENERC", 0, unit="kJ")])
    assert row["verdict"] == "not-assessable" and "no energy" in row["reason"]


def test_a_figure_to_check_is_judged_and_says_so():
    row = verdict("low-salt", [figure("NA", 50, status="check", reason="match of line 2 is for review")])
    assert row["verdict"] == "holds" and "match of line 2 is for review" in row["reason"]


# ---------------------------------------------------------------- sums, ratios, conditions together

def test_a_sum_adds_the_ends():
    index = conditions.index_figures(figures(figure("F20D5N3", 0.03, 0.02, 0.05), figure("F22D6N3", 0.04, 0.03, 0.06)))
    found = conditions.quantity(index, "dish", "base", Condition("F20D5N3+F22D6N3", "100g", ">=", 0.04, "g", "x"), {})
    assert (found.value, found.low, found.high) == pytest.approx((0.07, 0.05, 0.11))


def test_a_ratio_divides_low_by_high():
    index = conditions.index_figures(figures(figure("PROCNT", 10, 8, 12), figure("ENERC", 1000, 800, 1250, unit="kJ")))
    found = conditions.quantity(index, "dish", "base", Condition("PROCNT", "energy", ">=", 12, "%", "x"), {"PROCNT": 17.0})
    assert (found.value, found.low, found.high) == pytest.approx((17.0, 10.88, 25.5))


@given(st.lists(st.floats(0.01, 100), min_size=4, max_size=4), st.lists(st.floats(0, 1), min_size=4, max_size=4))
def test_every_possible_ratio_lies_in_the_interval(ends, where):
    low, high = sorted(ends[:2])
    energy_low, energy_high = sorted(ends[2:])
    index = conditions.index_figures(figures(
        figure("FIBTG", low, low, high), figure("ENERC", energy_low, energy_low, energy_high, unit="kcal")))
    found = conditions.quantity(index, "dish", "base", Condition("FIBTG", "100kcal", ">=", 1.5, "g", "x"), {})
    fibre = low + where[0] * (high - low)
    energy = energy_low + where[1] * (energy_high - energy_low)
    assert found.low * (1 - 1e-9) <= 100 * fibre / energy <= found.high * (1 + 1e-9)


def _outcome(verdict_, any_of="", margin=0.0):
    condition = Condition("K", "100g", "<=", 1.0, "mg", "x", any_of)
    return conditions.Outcome(condition, conditions.Quantity("K", "100g", "mg"), verdict_, margin)


@pytest.mark.parametrize("parts, wanted", [
    (["holds", "holds"], "holds"), (["holds", "uncertain"], "uncertain"), (["uncertain", "fails"], "fails"),
    (["not-assessable", "fails"], "fails"), (["not-assessable", "uncertain"], "not-assessable"), (["holds", "not-assessable"], "not-assessable"),
])
def test_all_conditions_have_to_hold(parts, wanted):
    assert conditions.all_of([_outcome(part) for part in parts]).verdict == wanted


@pytest.mark.parametrize("parts, wanted", [
    (["holds", "fails"], "holds"), (["holds", "not-assessable"], "holds"), (["uncertain", "fails"], "uncertain"),
    (["not-assessable", "fails"], "not-assessable"), (["fails", "fails"], "fails"),
])
def test_one_of_the_lettered_conditions_is_enough(parts, wanted):
    assert conditions.all_of([_outcome(part, any_of="a") for part in parts]).verdict == wanted


def test_the_tightest_condition_decides():
    assert conditions.all_of([_outcome("holds", margin=0.5), _outcome("holds", margin=0.1)]).margin == 0.1
    assert conditions.all_of([_outcome("fails", margin=-0.5), _outcome("fails", margin=-2)]).margin == -2


# ---------------------------------------------------------------- more sodium is never better

_amounts = st.tuples(st.floats(0, 300), st.floats(0, 1), st.floats(1, 3), st.floats(0, 200), st.sampled_from([1.0, 0.8]))


@settings(max_examples=15, deadline=None)
@given(st.lists(_amounts, min_size=30, max_size=30))
def test_adding_sodium_never_makes_a_sodium_verdict_better(drawn):
    def case(value, low, high, coverage):
        common = {"coverage": coverage, "status": "ready" if coverage == 1 else "check"}
        return [figure("NA", value, low, high, **common), figure("NA", value * 3, low * 3, high * 3, basis="portion", **common)]

    before = [case(value, value * down, value * up, coverage) for value, down, up, _, coverage in drawn]
    after = [case(value + more, value * down + more, value * up + more, coverage) for value, down, up, more, coverage in drawn]
    count = len(drawn)
    rows = each_row(SODIUM_CLAIMS, before + after, audience=["general", "haemodialysis"])
    assert len(rows) == 2 * count * len(SODIUM_CLAIMS)
    found = {(row["variant_id"], row["claim"]): row for row in rows}
    for claim in SODIUM_CLAIMS:
        assert all(_no_better(found[f"case-{n}", claim], found[f"case-{n + count}", claim]) for n in range(count))


def _no_better(before: dict, after: dict) -> bool:
    margins = (before["margin"], after["margin"])
    chances = (before["probability"], after["probability"])
    no_likelier = any(map(math.isnan, chances)) or chances[1] <= chances[0] + 1e-12
    return RANK[after["verdict"]] <= RANK[before["verdict"]] and (math.isnan(margins[1]) or margins[1] <= margins[0]) and no_likelier


# ---------------------------------------------------------------- local limits

def portion(component, value, low=None, high=None):
    return [figure(component, value, low, high, basis="portion")]


def test_local_limits_are_apart_and_say_that_nobody_adopted_them():
    found = verdicts([*portion("K", 500), *portion("NA", 766), *portion("P", 300), *portion("PROCNT", 14)])
    local = found[found["kind"] == "local-limit"]
    assert {audience for audience, _ in local.index} == {NOT_ON_DIALYSIS, "haemodialysis", "peritoneal-dialysis"}
    assert local["reason"].str.contains("demo policy").all() and local["reason"].str.contains("not adopted locally").all()
    assert not found.loc["general", "reason"].str.contains("policy").any()
    assert local.at[(NOT_ON_DIALYSIS, "low-potassium"), "verdict"] == "holds"
    assert local.at[(NOT_ON_DIALYSIS, "low-phosphorus"), "verdict"] == "holds"
    assert local.at[(NOT_ON_DIALYSIS, "protein-within-meal-limit"), "verdict"] == "holds"
    # "less than 2300 mg a day" is strict, and so is its third.
    assert local.at[(NOT_ON_DIALYSIS, "sodium-within-meal-limit"), "verdict"] == "fails"
    # The same 14 g of protein are enough for one audience and too little for another.
    assert local.at[("haemodialysis", "protein-for-dialysis"), "verdict"] == "fails"


def test_limits_are_told_in_millimoles_too():
    # 600 mg of potassium / 39.098 = 15.3 mmol; 300 mg of phosphorus / 30.974 = 9.7; 766 mg of sodium / 22.990 = 33.3.
    found = verdicts([*portion("K", 500), *portion("NA", 700), *portion("P", 300), *portion("PROCNT", 14)]).loc[NOT_ON_DIALYSIS, "reason"]
    for claim, said in (("low-potassium", "15.3 mmol"), ("low-phosphorus", "9.7 mmol"), ("sodium-within-meal-limit", "33.3 mmol")):
        assert f"the limit is {said}" in found[claim]
    assert "mmol" not in found["protein-within-meal-limit"]


def test_an_adopted_policy_says_who_adopted_it():
    adopted = replace(demo_policy(), adopted_by="A. Nobody", role="renal dietitian", date="2026-01-02")
    row = verdict("low-potassium", portion("K", 500), audience=NOT_ON_DIALYSIS, local=adopted)
    assert "demo policy '" not in row["reason"] and "adopted by A. Nobody (renal dietitian) on 2026-01-02" in row["reason"]


def test_a_side_course_may_use_a_part_of_the_meal():
    row = verdict("low-potassium", portion("K", 400), audience=NOT_ON_DIALYSIS, course="Dessert")
    assert (row["verdict"], row["limit"]) == ("fails", 300.0) and "50 % of a main meal" in row["reason"]
    row = verdict("protein-for-dialysis", portion("PROCNT", 40), audience="haemodialysis", course="dessert")
    assert row["verdict"] == "not-assessable" and "main meal" in row["reason"]


def test_a_limit_per_100_g_is_the_same_for_every_course():
    policy = demo_policy()
    per_100g = replace(policy, limits=policy.limits.assign(basis="100g"))
    row = verdict("low-potassium", [figure("K", 400)], audience=NOT_ON_DIALYSIS, course="dessert", local=per_100g)
    assert (row["verdict"], row["limit"]) == ("holds", 600.0) and "main meal's" not in row["reason"]


def test_a_course_that_the_policy_does_not_list_is_not_judged_and_is_reported():
    found, problems = judge.judge(
        figures(*portion("K", 1)), recipes(course="banquet"), variants(), reference_file("claims"),
        reference_file("nutrient_reference_values"), demo_policy(), reference_file("energy_factors"))
    assert set(found.loc[found["kind"] == "local-limit", "verdict"]) == {"not-assessable"}
    assert [problem.code for problem in problems] == ["course-not-in-policy"] and "banquet" in problems[0].what


def test_one_row_per_variant_audience_and_claim_in_a_fixed_order():
    rows = [figure("NA", 50, variant=one) for one in ("base", "with-cod")]
    arguments = (recipes(), variants(ids=("with-cod", "base")), reference_file("claims"), reference_file("nutrient_reference_values"),
                 demo_policy(), reference_file("energy_factors"))
    found, problems = judge.judge(figures(*rows), *arguments)
    again, _ = judge.judge(figures(*rows[::-1]), *arguments)
    key = ["recipe_id", "variant_id", "audience", "claim"]
    assert not found.duplicated(key).any() and not problems
    assert len(found) == 2 * (reference_file("claims")["claim_id"].nunique() + 12)
    pd.testing.assert_frame_equal(found, again)


def test_no_variants_no_verdicts():
    found, _ = judge.judge(figures(), recipes(), variants().iloc[:0], reference_file("claims"), reference_file("nutrient_reference_values"),
                           demo_policy(), reference_file("energy_factors"))
    assert found.empty and list(found.columns) == tables.columns(tables.Verdicts)


# ---------------------------------------------------------------- a claims file that is wrong

@pytest.mark.parametrize("column, wrong, said", [
    ("comparator", "=<", "comparator is '=<'"), ("basis", "100ml", "basis is '100ml'"), ("food_form", "soup", "food_form is 'soup'"),
    ("limit", float("nan"), "limit is nan"), ("limit", -1.0, "limit is -1.0"), ("component", "", "names no component"),
])
def test_a_claim_row_that_cannot_be_understood_stops_the_run(column, wrong, said):
    claims = reference_file("claims").copy()
    row = claims.index[claims["claim_id"] == "low-salt"][0]
    claims.loc[row, column] = wrong
    with pytest.raises(InputError) as error:
        verdicts([figure("NA", 1)], claims=claims)
    assert f"reference/claims.csv:{row + 2} (low-salt)" in str(error.value) and said in str(error.value)


def test_a_claim_on_a_reference_value_that_is_not_there():
    claims = reference_file("claims").copy()
    claims.loc[claims["claim_id"] == "source-of-zinc", "component"] = "XX"
    with pytest.raises(InputError, match="XX has no nutrient reference value"):
        verdicts([figure("NA", 1)], claims=claims)


@pytest.mark.parametrize("number, words", [(0, "0"), (1234.56, "1235"), (0.0123456, "0.01235"), (120.0, "120"), (1e6, "1000000"), (99.996, "100")])
def test_numbers_in_reasons_are_plain(number, words):
    assert conditions.plain(number) == words


def test_a_share_is_never_rounded_up_to_the_whole():
    assert conditions.share_in_words(0.9999) == "99.9 %"
