"""Local limits at their edges, straddled, as a range, and as the dish gets more of what is limited.

The limits are those of the demo policy (invented), written out again here and not read from the file. That more of a component
never makes a verdict on an upper limit better follows from the words of a limit; no source."""

import math

import pandas as pd
import pytest
from hand_figures import COMPONENTS, DEMO_POLICY, each_row, figure, verdict
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import lineage
from pipeline.policy import load_policy

BIT = 1e-3
# audience, claim, component, comparator, limit per portion of a main meal, unit.
LIMITS = [
    ("ckd-not-on-dialysis", "low-potassium", "K", "<=", 600, "mg"), ("haemodialysis", "low-potassium", "K", "<=", 550, "mg"),
    ("peritoneal-dialysis", "low-potassium", "K", "<=", 700, "mg"), ("ckd-not-on-dialysis", "low-phosphorus", "P", "<=", 300, "mg"),
    ("haemodialysis", "low-phosphorus", "P", "<=", 330, "mg"), ("peritoneal-dialysis", "low-phosphorus", "P", "<=", 330, "mg"),
    *((audience, "sodium-within-meal-limit", "NA", "<", 766, "mg") for audience in ("ckd-not-on-dialysis", "haemodialysis", "peritoneal-dialysis")),
    ("ckd-not-on-dialysis", "protein-within-meal-limit", "PROCNT", "<=", 14, "g"),
    ("haemodialysis", "protein-for-dialysis", "PROCNT", ">=", 23.3, "g"), ("peritoneal-dialysis", "protein-for-dialysis", "PROCNT", ">=", 23.3, "g"),
]
EDGES = {"<=": ["holds", "holds", "fails"], "<": ["holds", "fails", "fails"], ">=": ["fails", "holds", "holds"]}
RANK = {"fails": 0, "uncertain": 1, "holds": 2}


@pytest.mark.parametrize("audience, claim, component, comparator, limit, unit", LIMITS)
def test_just_under_at_and_just_over_each_limit(audience, claim, component, comparator, limit, unit):
    cases = [[figure(component, value, unit=unit, basis="portion")] for value in (limit - BIT, limit, limit + BIT)]
    cases.append([figure(component, limit, limit - 1, limit + 1, unit=unit, basis="portion")])
    rows = each_row(claim, cases, audience=audience)
    assert [row["verdict"] for row in rows] == [*EDGES[comparator], "uncertain"]
    assert {(row["limit"], row["unit"], row["status"], row["kind"]) for row in rows} == {(limit, unit, "ready", "local-limit")}
    assert all("Rests on the demo policy 'Tern Bay demo policy', which is not adopted locally" in row["reason"] for row in rows)


def test_each_limit_of_the_demo_is_tried_here():
    written = load_policy(DEMO_POLICY, COMPONENTS).limits
    assert {tuple(row) for row in written[["audience", "claim", "component", "comparator", "limit", "unit"]].itertuples(index=False)} == set(LIMITS)


def test_a_range_needs_both_ends(tmp_path):
    # 200 to 550 mg: invented, to try out with.
    path = tmp_path / "range.toml"
    path.write_text(DEMO_POLICY.read_text(encoding="utf-8") + '[[limit]]\naudience = "haemodialysis"\nclaim = "low-potassium"\ncomponent = "K"\n'
                    'basis = "portion"\ncomparator = ">="\nlimit = 200\nunit = "mg"\nsource_id = "tern-bay"\nnote = ""\n', encoding="utf-8")
    cases = [[figure("K", value, value - 1, value + 1, basis="portion")] for value in (150, 200, 300, 550, 600)]
    found = each_row("low-potassium", cases, audience="haemodialysis", local=load_policy(path, COMPONENTS))
    assert [row["verdict"] for row in found] == ["fails", "uncertain", "holds", "uncertain", "fails"]



def test_a_course_without_a_limit_says_whose_policy_it_is_too():
    row = verdict("low-potassium", [figure("K", 100, basis="portion")], audience="haemodialysis", course="feast")
    assert row["verdict"] == "not-assessable" and row["status"] == "" and "Rests on the demo policy" in row["reason"]


_dish = st.tuples(st.floats(0.3, 3), st.floats(0.01, 0.8), st.floats(0, 2), st.floats(0, 0.5))


@settings(max_examples=8, deadline=None)
@given(st.lists(_dish, min_size=25, max_size=25), st.sampled_from([row for row in LIMITS if row[3] != ">="]))
def test_more_of_it_never_makes_an_upper_limit_better(drawn, asked):
    """Sodium, potassium, phosphorus and protein: amounts in parts of the limit, with the uncertainty of what is added."""
    audience, claim, component, _, limit, unit = asked

    def case(mean, spread):
        low, high = (float(end) for end in lineage.figure_interval(mean, spread))
        return [figure(component, mean, low, high, unit=unit, basis="portion")]

    before = [case(limit * part, limit * part * relative) for part, relative, _, _ in drawn]
    after = [case(limit * (part + more), limit * math.hypot(part * relative, more * own)) for part, relative, more, own in drawn]
    found = pd.DataFrame(each_row(claim, before + after, audience=audience))
    for one, other in zip(found["verdict"][:len(drawn)], found["verdict"][len(drawn):], strict=True):
        assert RANK[other] <= RANK[one]
