"""A figure that is doubted for a reason outside its interval keeps no limit for certain."""

import pytest

from pipeline.stages import conditions

LIMIT = conditions.Condition("K", "portion", "<=", 600.0, "mg", "tern-bay")
LEAST = conditions.Condition("PROCNT", "portion", ">=", 20.0, "g", "tern-bay")


def outcome(condition, low, high, status, reason):
    figure = conditions.Figure((low + high) / 2, low, high, 1.0, status, reason)
    index = {("soup", "base", "portion", condition.component, condition.unit): figure}
    return conditions.judge_condition(condition, conditions.quantity(index, "soup", "base", condition, {}))


@pytest.mark.parametrize("reason", ["low confidence", "wide interval; the audit doubts it: two-routes", "portions read from a vague text"])
def test_a_doubt_outside_the_interval_turns_holds_into_uncertain(reason):
    assert outcome(LIMIT, 200, 300, "ready", "").verdict == "holds"
    assert outcome(LIMIT, 200, 300, "check", reason).verdict == "uncertain"
    assert outcome(LEAST, 25, 30, "check", reason).verdict == "uncertain"
    assert reason in conditions.explain(outcome(LIMIT, 200, 300, "check", reason))


def test_a_wide_interval_is_a_doubt_that_the_interval_covers_and_the_status_says_that_a_person_looks_first():
    found = outcome(LIMIT, 100, 500, "check", "wide interval")
    assert found.verdict == "holds" and conditions.standing([found], found) == "check"
    sure = outcome(LIMIT, 200, 300, "ready", "")
    assert conditions.standing([sure], sure) == "ready"
    # Both have to hold, so both count; where one fails, that one alone.
    assert conditions.standing([sure, found], conditions.all_of([sure, found])) == "check"
    broken = outcome(LIMIT, 700, 900, "ready", "")
    assert conditions.standing([broken, found], conditions.all_of([broken, found])) == "ready"
    held = outcome(LIMIT, 700, 900, "withheld", "waits")
    assert conditions.standing([held], held) == "withheld"


@pytest.mark.parametrize("reason", ["low confidence", "the audit doubts it: additive", "wide interval; portions read from a vague text"])
def test_a_doubted_figure_says_so_in_the_first_words(reason):
    told = conditions.explain(outcome(LIMIT, 200, 300, "check", reason))
    assert "the figure is doubted, so that it cannot be told whether this keeps the limit" in told


def test_a_doubt_never_saves_a_limit_that_is_broken():
    assert outcome(LIMIT, 700, 900, "check", "low confidence").verdict == "fails"
