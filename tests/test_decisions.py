"""Decisions about foods: signed, well formed, standing, expiring, conflicting, and what each does to a line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import decisions
from pipeline.problems import WARNING, InputError
from test_match import kitchen, matched

ROOT = Path(__file__).resolve().parents[1]
COLUMNS = list(decisions.FILES["foods"])
CREAM = "Cream, fluid, heavy whipping"


def row(decision_id: str = "one", kind: str = "match", phrase: str = "clotted cream", entry_id: str = "01053", entry_name: str = CREAM, **more) -> dict:
    return {"decision_id": decision_id, "kind": kind, "phrase": phrase, "state": "", "table": "core", "entry_id": entry_id,
            "entry_name": entry_name, "decided_by": "data steward (test)", "decided_on": "2026-11-20", "reason": "a test", "replaces": "", **more}


def refusal(decision_id: str = "no", phrase: str = "clotted cream", **more) -> dict:
    return row(decision_id, "no-match", phrase, "", "", **more)


def foods(*rows: dict) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=COLUMNS, dtype="str")


def standing(*rows: dict):
    return decisions.standing_decisions(foods(*rows), "core", kitchen()[2].entries)


def answered(text: str, *rows: dict) -> pd.Series:
    return matched([text], foods(*rows))[0].iloc[0]


@pytest.fixture
def root(tmp_path):
    shutil.copytree(ROOT / "mappings", tmp_path / "mappings")
    return tmp_path


def spoiled(root: Path, **change) -> list:
    foods(row(**change)).to_csv(root / "mappings" / "foods.csv", index=False, lineterminator="\n")
    with pytest.raises(InputError) as error:
        decisions.load(root)
    return error.value.problems


def test_the_project_has_its_decisions_in_order():
    _, mappings, core = kitchen()
    _, problems = decisions.standing_decisions(mappings.foods, "core", core.entries)
    assert problems == []
    assert mappings.foods["decision_id"].tolist() == sorted(mappings.foods["decision_id"])
    assert set(mappings.foods["kind"]) == set(decisions.DECISION_KINDS)


@pytest.mark.parametrize(("change", "code", "word"), [
    ({"decided_by": ""}, "unsigned-decision", "decided_by"),
    ({"decided_by": "   "}, "unsigned-decision", "decided_by"),
    ({"decided_on": ""}, "unsigned-decision", "decided_on"),
    ({"reason": ""}, "unsigned-decision", "reason"),
    ({"decision_id": ""}, "duplicate-decision", "decision_id"),
    ({"kind": "maybe"}, "unknown-kind", "maybe"),
    ({"state": "wet"}, "unknown-state", "wet"),
    ({"phrase": " - "}, "no-phrase", "phrase"),
    ({"decided_on": "20 November"}, "not-a-day", "20 November"),
    ({"decided_on": "2026-13-01"}, "not-a-day", "2026-13-01"),
    ({"entry_id": "", "entry_name": ""}, "no-entry", "entry_id"),
    ({"replaces": "one"}, "replaces-itself", "replaces"),
])
def test_a_row_that_cannot_be_a_decision_stops_the_run(root, change, code, word):
    problems = spoiled(root, **change)
    assert [problem.code for problem in problems] == [code]
    assert problems[0].where.endswith("foods.csv:2") and word in problems[0].what and problems[0].remedy


def test_two_rows_with_one_id_stop_the_run(root):
    foods(row(), row(phrase="another")).to_csv(root / "mappings" / "foods.csv", index=False, lineterminator="\n")
    with pytest.raises(InputError) as error:
        decisions.load(root)
    assert [(problem.code, problem.where.rsplit("/", 1)[-1]) for problem in error.value.problems] == [("duplicate-decision", "foods.csv:3")]


def test_a_missing_file_and_a_missing_column_are_named(root):
    (root / "mappings" / "sizes.csv").unlink()
    text = (root / "mappings" / "states.csv").read_text(encoding="utf-8")
    (root / "mappings" / "states.csv").write_text(text.replace("word,state,kind", "word,state,sort", 1), encoding="utf-8")
    with pytest.raises(InputError) as error:
        decisions.load(root)
    named = " ".join(str(problem) for problem in error.value.problems)
    assert "sizes.csv" in named and "states.csv" in named


def test_a_decision_settles_the_line_it_names_and_says_so():
    before = answered("2 tbsp clotted cream")
    after = answered("2 tbsp clotted cream", row())
    assert before["match_outcome"] != "accepted"
    assert after[["entry_id", "match_outcome", "match_reason", "decision_id", "match_confidence"]].tolist() == [
        "01053", "accepted", "decided", "one", 1.0]


@pytest.mark.parametrize("text", ["2 tbsp Clotted Cream", "2 tbsp organic clotted cream", "2 tbsp clotted-cream", "50 g good-quality clotted cream"])
def test_a_decision_holds_for_the_same_phrase_however_written(text):
    assert answered(text, row())["decision_id"] == "one"


@pytest.mark.parametrize("text", ["2 tbsp cream", "2 tbsp clotted cream ice cream", "2 tbsp vegan clotted cream"])
def test_a_decision_holds_for_no_other_phrase(text):
    assert answered(text, row())["decision_id"] == ""


def test_a_decision_for_one_state_leaves_the_others():
    drained = row(phrase="butter beans", state="drained", entry_id="16072",
                  entry_name="Lima beans, large, mature seeds, cooked, boiled, without salt")
    assert answered("1 tin butter beans, drained", drained)["decision_id"] == "one"
    assert answered("100 g dried butter beans", drained)["decision_id"] == ""


def test_a_decision_without_an_entry_keeps_the_line_unsettled():
    result = answered("1 carrot", refusal(phrase="carrot"))
    assert result[["match_outcome", "match_reason", "decision_id", "entry_id"]].tolist() == ["none", "decided-none", "no", ""]


def test_a_refused_entry_is_never_proposed_again():
    refused = row("no", "no-match", "carrot", "11124", "Carrots, raw")
    found, candidates, _ = matched(["1 carrot"], foods(refused))
    assert "11124" not in set(candidates["entry_id"])
    assert found.loc[0, "match_outcome"] != "accepted"


def test_an_alternative_that_was_refused_keeps_the_line_for_a_person():
    assert answered("1 tsp salt or magic salt")["match_outcome"] == "accepted"
    result = answered("1 tsp salt or magic salt", refusal(phrase="magic salt"))
    assert result[["match_outcome", "match_reason"]].tolist() == ["review", "close-call"]


def test_a_decision_expires_when_the_entry_is_renamed():
    _, _, core = kitchen()
    renamed = core.entries.assign(name=core.entries["name"].where(core.entries["entry_id"] != "01053", "Cream, whipping, 36 % fat"))
    found, _, problems = matched(["2 tbsp clotted cream", "1 carrot"], foods(row("old"), row("keeps", phrase="carrot", entry_id="11124", entry_name="Carrots, raw")),
                                 renamed)
    assert [problem.code for problem in problems] == ["expired-decision"]
    assert problems[0].where == "mappings/foods.csv:2" and problems[0].severity == WARNING
    assert all(text in problems[0].what for text in ("old", "01053", CREAM, "Cream, whipping, 36 % fat")) and problems[0].remedy
    assert found["match_outcome"].tolist()[0] != "accepted" and found["decision_id"].tolist() == ["", "keeps"]


def test_a_decision_expires_when_the_entry_is_gone():
    kept, problems = standing(row("gone", entry_id="99999", entry_name="Cream, clotted"))
    assert kept.empty and [problem.code for problem in problems] == ["expired-decision"]
    assert "does not have" in problems[0].what


def test_a_decision_for_another_table_says_nothing_here():
    kept, problems = standing(row("elsewhere", table="another", entry_id="99999"))
    assert kept.empty and problems == []


OTHER = {"entry_id": "01050", "entry_name": "Cream, fluid, light (coffee cream or table cream)"}


@pytest.mark.parametrize("second", [
    row("two", **OTHER), row("two"), row("two", phrase="Clotted  cream", **OTHER), refusal("two"), row("two", "no-match"),
])
def test_decisions_that_cannot_both_hold_are_both_set_aside(second):
    kept, problems = standing(row("one"), second)
    assert kept.empty
    assert [(problem.code, problem.where) for problem in problems] == [
        ("conflicting-decision", "mappings/foods.csv:2"), ("conflicting-decision", "mappings/foods.csv:3")]
    assert "two" in problems[0].what and "one" in problems[1].what
    assert answered("2 tbsp clotted cream", row("one"), second)["match_reason"] != "decided"


@pytest.mark.parametrize("second", [row("two", phrase="double cream", **OTHER), row("two", state="frozen", **OTHER), row("two", "no-match", **OTHER)])
def test_decisions_that_can_both_hold_stand(second):
    kept, problems = standing(row("one"), second)
    assert kept["decision_id"].tolist() == ["one", "two"] and problems == []


def test_a_replaced_decision_no_longer_counts():
    kept, problems = standing(row("one"), row("two", replaces="one", **OTHER))
    assert kept["decision_id"].tolist() == ["two"] and problems == []


@given(st.text(max_size=40))
def test_the_key_of_a_key_is_itself(text):
    key = decisions.phrase_key(text)
    assert decisions.phrase_key(key) == key == key.strip()


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyzéüñ '-", max_size=40))
def test_phrase_keys_ignore_case(text):
    assert decisions.phrase_key(text.upper()) == decisions.phrase_key(text)


def test_no_decision_codes_a_potassium_salt():
    _, mappings, _ = kitchen()
    salts = mappings.foods[mappings.foods["phrase"].str.contains("potassium|substitute|replacer|low|reduced|lite", regex=True)
                           & mappings.foods["phrase"].str.contains("salt|potassium")]
    assert len(salts) >= 10
    # A sauce that is low in salt may be decided on; table salt (02047) never stands for any of them.
    assert set(salts.loc[salts["kind"] == "match", "phrase"]) <= {"reduced-salt soy sauce"}
    assert "02047" not in set(salts.loc[salts["kind"] == "match", "entry_id"])
