"""The probability that a claim is true, against scipy.stats and by hand. Invented figures."""

from __future__ import annotations

import dataclasses
import functools
import math
import tempfile
from pathlib import Path

import pytest
import straight
import yaml
from hand_figures import each_row, figure, verdict
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline import job as jobs
from pipeline import lineage, steps
from pipeline.root import ROOT
from pipeline.stages import conditions, judge_probability
from pipeline.stages.ingest import ingest
from pipeline.stages.judge_probability import MOST

SODIUM_CLAIMS = ["low-salt", "very-low-salt", "salt-free", "sodium-within-meal-limit"]


def lognormal(mean: float, relative: float):
    """The lognormal distribution with this mean and relative standard deviation, by scipy's own parameters."""
    variance = math.log(1 + relative ** 2)
    return stats.lognorm(s=math.sqrt(variance), scale=mean * math.exp(-variance / 2))


def sodium(mean: float, relative: float, **more) -> list[dict]:
    low, high = (float(end) for end in lineage.figure_interval(mean, mean * relative))
    return [figure("NA", mean, low, high, **more)]


# ---------------------------------------------------------------- one condition

@pytest.mark.parametrize("mean", [60, 90, 110, 119, 130, 200])
@pytest.mark.parametrize("relative", [0.05, 0.2, 0.5, 1.0])
def test_an_upper_limit_against_scipy(mean, relative):
    # "Low sodium": at most 120 mg per 100 g.
    expected = lognormal(mean, relative).cdf(120)
    assert verdict("low-salt", sodium(mean, relative))["probability"] == pytest.approx(min(expected, 0.95), abs=1e-12)


@pytest.mark.parametrize("mean", [200, 290, 310, 500])
@pytest.mark.parametrize("relative", [0.05, 0.3])
def test_a_lower_limit_against_scipy(mean, relative):
    # "Source of potassium": at least 15 % of 2000 mg per 100 g.
    low, high = (float(end) for end in lineage.figure_interval(mean, mean * relative))
    expected = lognormal(mean, relative).sf(300)
    assert verdict("source-of-potassium", [figure("K", mean, low, high)])["probability"] == pytest.approx(min(expected, 0.95), abs=1e-12)


def test_by_hand():
    # The middle of 60 to 240 on a logarithmic scale is 120; 5 % lie below 120 where the interval begins there.
    cases = [[figure("NA", 130, 60, 240)], [figure("NA", 150, 120, 180)], [figure("NA", 100, 80, 120)], [figure("NA", 30, 20, 40)]]
    assert [row["probability"] for row in each_row("low-salt", cases)] == pytest.approx([0.5, 0.05, 0.95, 0.95])


def test_a_figure_without_spread_is_on_one_side():
    cases = [[figure("NA", 120)], [figure("NA", 120.1)], [figure("NA", 0)]]
    assert [row["probability"] for row in each_row("low-salt", cases)] == [0.95, 0, 0.95]


@pytest.mark.parametrize("row", [
    figure("NA", None), figure("NA", 50, 0, 300), figure("NA", 50, 40, 60, coverage=0.9, status="check"),
    figure("NA", 50, 40, 60, status="check", reason="low confidence")], ids=["withheld", "from nothing", "gap", "doubted"])
def test_where_it_cannot_be_told_nothing_is_said(row):
    assert math.isnan(verdict("low-salt", [row])["probability"])


def test_what_is_known_of_a_gap_or_a_doubt_is_enough_to_break_a_limit():
    for more in ({"coverage": 0.9, "status": "check"}, {"status": "check", "reason": "low confidence"}):
        row = verdict("low-salt", sodium(300, 0.1, **more))
        assert row["verdict"] == "fails" and row["probability"] == pytest.approx(lognormal(300, 0.1).cdf(120), abs=1e-12)


# ---------------------------------------------------------------- several conditions

def outcome(probability: float, any_of: str = "") -> conditions.Outcome:
    """An uncertain outcome of "at most 100" with this probability: the distribution's logarithm has the deviation 0.1."""
    middle = math.log(100) - 0.1 * stats.norm.ppf(probability)
    low, high = (math.exp(middle + side * 0.1 * stats.norm.ppf(0.95)) for side in (-1, 1))
    condition = conditions.Condition("K", "100g", "<=", 100.0, "mg", "x", any_of)
    return conditions.judge_condition(condition, conditions.Quantity("K", "100g", "mg", 100, low, high, low, high))


@pytest.mark.parametrize("parts, wanted", [
    ([outcome(0.9), outcome(0.8)], 0.7), ([outcome(0.4), outcome(0.3)], 0.0), ([outcome(0.9, "a"), outcome(0.3, "a")], 0.9),
    ([outcome(0.9, "a"), outcome(0.3, "a"), outcome(0.9, "b")], 0.8)])
def test_conditions_together_get_the_least_that_theirs_allow(parts, wanted):
    assert judge_probability.of_claim(parts, conditions.all_of(parts).verdict) == pytest.approx(wanted)


def test_a_condition_that_cannot_be_told_leaves_the_claim_untold_unless_another_fails():
    gap = conditions.judge_condition(conditions.Condition("P", "100g", "<=", 100.0, "mg", "x"),
                                     conditions.Quantity("P", "100g", "mg", 50, 40, 60, 40, math.inf))
    assert math.isnan(judge_probability.of_claim([outcome(0.9), gap], "uncertain"))
    assert judge_probability.of_claim([outcome(0.01), gap], "fails") == pytest.approx(0.01)


# ---------------------------------------------------------------- more sodium is never likelier to be low

_dish = st.tuples(st.floats(0.5, 900), st.floats(0.01, 1.0), st.floats(0, 300), st.floats(0, 0.5))


@settings(max_examples=15, deadline=None)
@given(st.lists(_dish, min_size=30, max_size=30))
def test_adding_sodium_never_makes_a_sodium_claim_likelier(drawn):
    def case(mean, spread):
        low, high = (float(end) for end in lineage.figure_interval(mean, spread))
        return [figure("NA", mean, low, high), figure("NA", mean * 3, low * 3, high * 3, basis="portion")]

    before = [case(mean, mean * relative) for mean, relative, _, _ in drawn]
    # What is added has an uncertainty of its own, and shares none with the dish.
    after = [case(mean + more, math.hypot(mean * relative, more * own)) for mean, relative, more, own in drawn]
    rows = each_row(SODIUM_CLAIMS, before + after, audience=["general", "haemodialysis"])
    found = {(row["variant_id"], row["claim"]): row["probability"] for row in rows}
    for claim in SODIUM_CLAIMS:
        for number, (_, _, more, own) in enumerate(drawn):
            one, other = found[f"case-{number}", claim], found[f"case-{number + len(drawn)}", claim]
            # An uncertain addition spreads a claim that is as good as broken; it stays one, below the lower end.
            assert other <= one + 1e-12 or own > 0 and max(one, other) < 1 - MOST + 1e-9


@functools.cache
def kitchen() -> jobs.Job:
    return jobs.prepare_job(ROOT / "reference" / "demo", "core")


@settings(max_examples=3, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])  # to shrink would take minutes
@given(st.lists(st.tuples(st.integers(1, 40), st.sampled_from([0.2, 0.5, 1, 2, 5])), min_size=6, max_size=6))
def test_adding_salt_to_a_recipe_never_makes_its_sodium_verdicts_better(drawn):
    dishes = []
    for number, (cheese, salt) in enumerate(drawn):
        plain = [f"{cheese} g cheddar cheese", "200 g carrots", "150 g apples"]
        dishes += [{"id": f"d{number}-{kind}", "name": "Dish", "portions": 2, "course": "main", "ingredients": lines,
                    "method": ["Toss everything in a bowl and serve."]}
                   for kind, lines in (("plain", plain), ("salted", [*plain, f"{salt} g table salt"]))]
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "dishes.yaml").write_text(yaml.safe_dump({"recipes": dishes}), encoding="utf-8")
        here = dataclasses.replace(kitchen(), collection=ingest(Path(folder) / "dishes.yaml", {"K"}))
    rows = steps.straight(straight._whole(here), here, "audit")["judge"]["verdicts"]
    rows = rows[rows["component"] == "NA"].set_index(["recipe_id", "audience", "claim"])
    rank = {"holds": 2, "uncertain": 1, "fails": 0}
    compared = 0
    for recipe_id, audience, claim in rows.index:
        if recipe_id.endswith("-plain"):
            one, other = rows.loc[(recipe_id, audience, claim)], rows.loc[(recipe_id.replace("plain", "salted"), audience, claim)]
            assert rank[other["verdict"]] <= rank[one["verdict"]]
            told = not (math.isnan(one["probability"]) or math.isnan(other["probability"]))  # a doubted line leaves it untold
            assert not told or other["probability"] <= one["probability"] + 1e-12
            compared += told
    assert compared >= 6 * 5
