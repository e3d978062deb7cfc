"""A decision on an entry of one table serves another table that has the entry by the same id and name."""

from __future__ import annotations

import pandas as pd
from decision_kitchen import kitchen
from test_decisions import CREAM, foods, refusal, row

from pipeline import decisions

OTHER = "another-table"


def entries(name: str = CREAM) -> pd.DataFrame:
    """Another table whose entry 01053 is called ``name``."""
    core = kitchen()[2].entries
    here = core[core["entry_id"].isin(["01053", "01049"])].copy()
    here.loc[here["entry_id"] == "01053", "name"] = name
    return here


def in_force(*rows: dict, name: str = CREAM) -> tuple[list[str], list[str]]:
    found, problems = decisions.standing_decisions(foods(*rows), OTHER, entries(name))
    return found["decision_id"].tolist(), [problem.code for problem in problems]


def test_the_same_entry_by_the_same_name_is_decided_on():
    assert in_force(row()) == (["one"], [])
    assert in_force(row(kind="no-match")) == (["one"], [])


def test_the_same_number_with_another_name_is_another_food_and_no_expired_decision():
    assert in_force(row(), name="Cream, fluid, whipping") == ([], [])
    assert in_force(row(table=OTHER), name="Cream, fluid, whipping") == ([], ["expired-decision"])


def test_that_no_entry_of_one_table_stands_says_nothing_of_another():
    assert in_force(refusal()) == ([], [])


def test_a_decision_for_the_table_goes_before_a_lent_one():
    own = row("own", table=OTHER, entry_id="01049", entry_name="Cream, fluid, half and half")
    assert in_force(row(), own) == (["own"], [])
    both = row("two", entry_id="01049", entry_name="Cream, fluid, half and half")
    assert in_force(row(), both) == ([], ["conflicting-decision", "conflicting-decision"])


def lent(name: str, **more: str) -> dict:
    """A decision for one other table, which lends it."""
    return row(name, table=f"table-{name}", **more)


def test_lent_decisions_that_agree_are_one():
    assert in_force(lent("a"), lent("b"), lent("c")) == (["a"], [])
    assert in_force(lent("a"), lent("b"), row("own", table=OTHER)) == (["own"], [])
    assert in_force(lent("a", phrase="extra thick cream"), lent("b", phrase="Extra-thick cream")) == (["a"], [])


def test_lent_decisions_that_contradict_each_other_count_only_where_the_table_has_none():
    other = {"entry_id": "01049", "entry_name": "Cream, fluid, half and half"}
    assert in_force(lent("a"), lent("b", **other)) == ([], ["conflicting-decision", "conflicting-decision"])
    assert in_force(lent("a"), lent("b", **other), lent("c"), row("own", table=OTHER)) == (["own"], [])
    assert in_force(lent("a"), lent("b", kind="no-match")) == ([], ["conflicting-decision", "conflicting-decision"])
