"""Decisions about foods: signed, well formed, standing, expiring, conflicting, and what each does to a line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decision_kitchen import kitchen, matched, matched_lines, parsed

from pipeline import decisions
from pipeline.problems import WARNING, InputError

ROOT = Path(__file__).resolve().parents[1]
COLUMNS = list(decisions.FILES["foods"])
CREAM = "Cream, fluid, heavy whipping"


def row(decision_id: str = "one", kind: str = "match", phrase: str = "clotted cream", entry_id: str = "01053", entry_name: str = CREAM, **more) -> dict:
    return {"decision_id": decision_id, "kind": kind, "phrase": phrase, "state": "", "table": "core", "entry_id": entry_id,
            "entry_name": entry_name, "decided_by": "data steward (test)", "decided_on": "2026-11-20", "reason": "a test", "replaces": "",
            "scope": "phrase", "recipe_id": "", **more}


def refusal(decision_id: str = "no", phrase: str = "clotted cream", **more) -> dict:
    return row(decision_id, "no-match", phrase, "", "", **more)


def note(decision_id: str = "note", phrase: str = "word of thanks", **more) -> dict:
    return row(decision_id, "use-as-note", phrase, "", "", **more)


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
    own, ids = mappings.foods, mappings.foods["decision_id"].tolist()
    kept, problems = decisions.standing_decisions(own, "core", core.entries)
    assert problems == []
    assert len(ids) >= 50 and ids == sorted(set(ids))
    for_core = own["table"].str.split(";").map(lambda named: "core" in named or named == [""])  # none named: for every table
    assert kept["decision_id"].tolist() == own.loc[for_core & ~own["decision_id"].isin(own["replaces"]), "decision_id"].tolist()
    assert {"match", "no-match"} <= set(kept["kind"]) <= set(decisions.DECISION_KINDS)
    assert {"phrase"} <= set(kept["scope"]) <= set(decisions.SCOPES)


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
    ({"scope": "line-ish"}, "unknown-scope", "line-ish"),
    ({"scope": "pattern", "phrase": "clotted cream"}, "not-a-pattern", "has no gap"),
    ({"scope": "pattern", "phrase": "* *"}, "not-a-pattern", "no word of 3 letters"),
    ({"scope": "pattern", "phrase": "* a * b * cream *"}, "not-a-pattern", "more than 3 gaps"),
    ({"scope": "pattern", "phrase": "less-fat|low-fat cream"}, "not-a-pattern", "between single words"),
    ({"phrase": "clotted *"}, "not-a-phrase", "scope is not pattern"),
    ({"scope": "line"}, "no-recipe", "recipe_id"),
    ({"recipe_id": "quay-soup"}, "no-line", "quay-soup"),
    ({"scope": "line", "recipe_id": "quay-soup", "state": "raw"}, "state-on-line", "raw"),
    ({"kind": "use-as-note"}, "note-with-entry", "01053"),
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
    assert answered("1 tbsp butter or magic spread")["match_outcome"] == "accepted"  # an unknown salt would be doubted in any case
    result = answered("1 tbsp butter or magic spread", refusal(phrase="magic spread"))
    assert result[["match_outcome", "match_reason"]].tolist() == ["review", "alternative-refused"]


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
    result = answered("2 tbsp clotted cream", row("one"), second)
    assert result["match_reason"] != "decided" and result["match_outcome"] != "accepted"


def test_a_disputed_phrase_is_not_left_to_the_words_either():
    assert answered("1 carrot")["match_outcome"] == "accepted"
    carrot = row("yes", phrase="carrot", entry_id="11124", entry_name="Carrots, raw")
    result = answered("1 carrot", carrot, refusal("no", phrase="carrot"))
    assert result[["match_outcome", "match_reason"]].tolist() == ["review", "decisions-conflict"]


@pytest.mark.parametrize("second", [row("two", phrase="double cream", **OTHER), row("two", state="frozen", **OTHER), row("two", "no-match", **OTHER)])
def test_decisions_that_can_both_hold_stand(second):
    kept, problems = standing(row("one"), second)
    assert kept["decision_id"].tolist() == ["one", "two"] and problems == []


def test_a_replaced_decision_no_longer_counts():
    kept, problems = standing(row("one"), row("two", replaces="one", **OTHER))
    assert kept["decision_id"].tolist() == ["two"] and problems == []


# ---------------------------------------------------------------- scopes, and which decision is the nearest

LIGHT = {"entry_id": "01050", "entry_name": "Cream, fluid, light (coffee cream or table cream)"}


def ruled(phrase: str, *rows: dict, state: str = "", line: tuple[str, str] = ("quay-soup/base/1", "")) -> decisions.Ruling:
    kept, _ = decisions.standing_decisions(foods(*rows), "core", kitchen()[2].entries, disputed=True)
    books = decisions.Standing(kept, lambda word: word == "organic")
    return books.ruling(phrase, state, books.line_key(*line))


def test_the_nearest_decision_counts_line_then_phrase_then_pattern():
    text = "2 tbsp Clotted  cream"
    rows = {
        "line": row("line", phrase="2 tbsp clotted cream", scope="line", recipe_id="quay-soup"),
        "phrase": row("phrase", **LIGHT), "pattern": row("pattern", phrase="clotted *", scope="pattern"),
    }
    here = ("quay-soup/with-cod/3", text)
    assert ruled("clotted cream", *rows.values(), line=here).decision.decision_id == "line"
    assert ruled("clotted cream", *rows.values(), line=("other-soup/base/3", text)).decision.decision_id == "phrase"
    assert ruled("clotted cream", rows["pattern"], line=here).decision.decision_id == "pattern"
    assert ruled("clotted organic cream", rows["phrase"]).decision.decision_id == "phrase"
    assert ruled("single cream", *rows.values()).decision is None


def test_a_nearer_refusal_is_not_overruled_by_a_farther_decision():
    pattern = row("pattern", phrase="clotted *", scope="pattern")
    assert ruled("clotted cream", pattern, refusal("none")).decision.decision_id == "none"
    one = ruled("clotted cream", pattern, row("not-this", "no-match"))
    assert one.decision is None and one.refused == {"01053"}
    assert ruled("clotted cream", pattern, row("not-that", "no-match", **LIGHT)).decision.decision_id == "pattern"
    assert ruled("clotted cream", row("yes"), refusal("far", "clotted *", scope="pattern")).decision.decision_id == "yes"


def test_a_state_of_its_own_goes_before_none():
    rows = row("any", phrase="beans"), row("drained", phrase="beans", state="drained", **LIGHT)
    assert ruled("beans", *rows, state="drained").decision.decision_id == "drained"
    assert ruled("beans", *rows, state="dried").decision.decision_id == "any"


def test_a_pattern_settles_every_phrase_like_it():
    never = refusal("never", "* salt substitute|alternative|replacer *", scope="pattern")
    for text in ("1 tsp salt substitute", "1 tsp low-sodium salt replacer", "1 tsp salt alternative crystals"):
        assert answered(text, never)[["match_reason", "decision_id"]].tolist() == ["decided-none", "never"], text
    assert answered("1 tsp salt", never)["match_outcome"] == "accepted"


def test_patterns_that_meet_and_answer_otherwise_are_set_aside_by_row():
    one = row("one", phrase="clotted *", scope="pattern")
    other = row("two", phrase="* cream", scope="pattern", **LIGHT)
    kept, problems = standing(one, other)
    assert kept.empty and [problem.where for problem in problems] == ["mappings/foods.csv:2", "mappings/foods.csv:3"]
    assert ruled("clotted cream", one, other).disputed == "one, two"
    for harmless in (row("two", phrase="* cream", scope="pattern"), row("two", phrase="single *", scope="pattern", **LIGHT),
                     row("two", phrase="* cream", scope="pattern", state="frozen", **LIGHT)):
        assert standing(one, harmless)[1] == [], harmless


def test_a_line_is_a_note_and_no_food():
    assert answered("a word of thanks", note())[["match_outcome", "entry_id", "decision_id", "match_confidence"]].tolist() == ["not-food", "", "note", 1.0]
    assert answered("1 carrot", note())["match_outcome"] == "accepted"


def test_a_line_that_cannot_be_read_can_be_made_a_note_where_it_stands():
    line = parsed(["see the note below"]).assign(line_id="quay-soup/base/1")
    assert line["kind"].tolist() == ["unreadable"]
    found, _, _ = matched_lines(line, foods(note(phrase="See the note below", scope="line", recipe_id="quay-soup")))
    assert found[["match_outcome", "match_reason", "decision_id"]].values.tolist() == [["not-food", "decided", "note"]]


def test_a_note_beside_a_food_does_not_make_the_food_a_note():
    assert answered("a word of thanks or butter beans", note())["match_outcome"] != "not-food"


@pytest.mark.parametrize("second", [row("two", phrase="word of thanks"), refusal("two", phrase="word of thanks"), note("two")])
def test_a_note_stands_beside_no_other_answer(second):
    kept, problems = standing(note("one"), second)
    assert kept.empty and {problem.code for problem in problems} == {"conflicting-decision"} and len(problems) == 2


def test_a_decision_on_one_line_is_for_that_recipe_alone():
    lines = ["1 carrot", "1 onion"]
    chosen = row("line", phrase="1 Carrot", scope="line", recipe_id="a", entry_id="11960", entry_name="Carrots, baby, raw")
    found = {}
    for recipe in ("a", "b"):
        table = parsed(lines).assign(line_id=[f"{recipe}/base/1", f"{recipe}/base/2"])
        found[recipe], _, _ = matched_lines(table, foods(chosen))
    assert found["a"]["entry_id"].tolist()[0] == "11960" and found["a"]["decision_id"].tolist() == ["line", ""]
    assert found["b"]["entry_id"].tolist()[0] == "11124" and found["b"]["decision_id"].tolist() == ["", ""]


# ---------------------------------------------------------------- rows that nothing asks for

def dead(*rows: dict, lines: tuple[str, ...] = ("2 tbsp clotted cream", "1 carrot"), entries=None) -> list:
    table = parsed(list(lines)).assign(line_id=[f"quay-soup/base/{number}" for number in range(1, len(lines) + 1)])
    return decisions.dead_rows(foods(*rows), {"core": kitchen()[2].entries if entries is None else entries}, table)


def test_a_decision_that_no_line_asks_for_is_named_by_its_row():
    found = dead(row("used"), row("unused", phrase="sour cream"), row("no-line", phrase="1 leek", scope="line", recipe_id="quay-soup"),
                 row("elsewhere", phrase="1 leek", scope="line", recipe_id="other-soup"))
    assert [(problem.where, problem.severity, problem.code) for problem in found] == [
        ("mappings/foods.csv:3", decisions.NOTE, "dead-decision"), ("mappings/foods.csv:4", WARNING, "dead-decision"),
        ("mappings/foods.csv:5", decisions.NOTE, "dead-decision")]
    assert "no longer has the line '1 leek'" in found[1].what and all(problem.remedy for problem in found)


def test_a_refusal_that_a_line_meets_is_in_use_and_a_shadowed_pattern_is_not():
    assert dead(row("no", "no-match")) == []
    found = dead(row("phrase"), row("pattern", phrase="clotted *", scope="pattern", **LIGHT))
    assert [problem.where for problem in found] == ["mappings/foods.csv:3"]


def test_expired_replaced_and_foreign_rows_are_not_called_dead():
    assert dead(row("expired", phrase="sour cream", entry_name="Cream, clotted"), row("foreign", phrase="sour cream", table="another"),
                row("old", phrase="sour cream"), row("new", replaces="old")) == []


@given(st.text(max_size=40))
def test_the_key_of_a_key_is_itself(text):
    key = decisions.phrase_key(text)
    assert decisions.phrase_key(key) == key == key.strip()


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyzéüñ '-", max_size=40))
def test_phrase_keys_ignore_case(text):
    assert decisions.phrase_key(text.upper()) == decisions.phrase_key(text)


def test_no_decision_codes_a_potassium_salt():
    _, mappings, _ = kitchen()
    telling = "potassium|kalium|substitute|replacer|alternative|low|less|reduced|lite|light|diet|free"
    salts = mappings.foods[mappings.foods["phrase"].str.contains(telling, regex=True) & mappings.foods["phrase"].str.contains("salt|potassium")]
    assert len(salts) >= 18
    # A sauce that is low in salt may be decided on; table salt (02047) never stands for any of them.
    assert set(salts.loc[salts["kind"] == "match", "phrase"]) <= {"reduced-salt soy sauce"}
    assert "02047" not in set(salts.loc[salts["kind"] == "match", "entry_id"])
