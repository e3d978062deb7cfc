"""Adding a decision: its checks, the effect it shows, and the file it writes."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd
import pytest
import table_root
from command_line import Project

from pipeline import decide, decisions, match_bench
from pipeline.problems import InputError

SIGNED = {"by": "renal dietitian (test)", "reason": "a test"}
LIGHT = "Cream, fluid, light (coffee cream or table cream)"
RECIPE = """\
id: quay-soup
name: Quay soup
portions: 2
ingredients:
  - 2 tbsp double cream
  - 2 carrots
  - see the note below
method:
  - Simmer everything for 20 minutes.
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory) -> Path:
    """A project folder of its own with reference and mappings."""
    root = table_root.root(tmp_path_factory.mktemp("decide"))
    (root / "quay").mkdir()
    (root / "quay" / "quay-soup.yaml").write_text(RECIPE, encoding="utf-8")
    return root


@pytest.fixture
def root(home):
    """That folder, its decisions as they were afterwards."""
    path = home / "mappings" / "foods.csv"
    kept = path.read_bytes()
    yield home
    path.write_bytes(kept)


def propose(root: Path, words: str, entry_id: str = "", kind: str = "match", scope: str = "phrase", **more):
    return decide.propose(decide.Asked(kind, scope, words, entry_id, **{**SIGNED, **more}), root / "quay", root)


def refused(root: Path, words: str, entry_id: str = "", **more) -> str:
    before = (root / "mappings" / "foods.csv").read_bytes()
    with pytest.raises(InputError) as error:
        propose(root, words, entry_id, **more)
    assert (root / "mappings" / "foods.csv").read_bytes() == before
    assert all(problem.where.startswith(("decide", "--table")) and problem.remedy for problem in error.value.problems)
    return str(error.value)


def test_a_decision_is_written_sorted_signed_and_nothing_else_changes(root):
    path = root / "mappings" / "foods.csv"
    before = path.read_text(encoding="utf-8").splitlines()
    proposed = propose(root, "clotted cream", "01050")
    assert path.read_text(encoding="utf-8").splitlines() == before  # not before it is written
    said = decide.write(proposed)
    after = path.read_text(encoding="utf-8").splitlines()
    added = [line for line in after if line not in before]
    assert added == [proposed.line()] and [line for line in after if line in before] == before
    assert f"mappings/foods.csv:{after.index(added[0]) + 1}." in said
    row = decisions.load(root).foods.set_index("decision_id").loc["clotted-cream"]
    assert row[["kind", "phrase", "table", "entry_id", "entry_name", "decided_by", "decided_on", "scope"]].tolist() == [
        "match", "clotted cream", "core", "01050", LIGHT, SIGNED["by"], date.today().isoformat(), "phrase"]
    ids = [line.split(",")[0] for line in after[1:]]
    assert ids == sorted(ids) and not list(path.parent.glob(".*part"))


def test_it_shows_the_lines_that_change_with_the_difference(root):
    proposed = propose(root, "double cream", "01050", replaces="double-cream")
    assert [(one.recipe_id, one.line_no, one.before, one.after) for one in proposed.effects] == [
        ("quay-soup", 1, "01053 Cream, fluid, heavy whipping (accepted)", f"01050 {LIGHT} (accepted)")]
    # SR26, per 100 g: 01050 has 122 mg K, 80 mg P, 40 mg Na, 2.70 g protein; 01053 has 75, 62, 38 and 2.05
    assert proposed.effects[0].difference == {"K": 47.0, "P": 18.0, "NA": 2.0, "PROCNT": 0.65}
    shown = proposed.text()
    assert "per 100 g: potassium 122 mg" in shown and "potassium +47 mg" in shown and proposed.line() in shown and "in place of double-cream" in shown


def test_it_says_when_nothing_changes(root):
    assert "it answers 1 line that end so already" in propose(root, "carrots", "11124").text()
    assert "no line of it asks for this" in propose(root, "clotted cream", "01050").text()


def test_a_refusal_and_a_note_are_for_every_table(root):
    never = propose(root, "carrots", kind="no-match")
    assert never.row["table"] == "" and never.effects[0].after == "no entry"
    note = propose(root, "See the note below", kind="use-as-note", scope="line", recipe="quay-soup")
    assert note.row["table"] == "" and note.row["scope"] == "line" and [one.after for one in note.effects] == ["not a food"]


def test_a_decision_on_one_line_and_one_on_a_pattern(root):
    line = propose(root, "2 Carrots", "11960", scope="line", recipe="quay-soup")
    assert line.row["recipe_id"] == "quay-soup" and line.effects[0].after.startswith("11960 ")
    pattern = propose(root, "carrot*", "11960", scope="pattern")  # the carrots of the soup are read as "carrots"
    assert pattern.row["scope"] == "pattern" and len(pattern.effects) == 1


def test_a_pattern_does_not_take_a_line_from_a_phrase_decided_before(root):
    assert propose(root, "double *", "01050", scope="pattern").effects == []


def test_ids_are_made_from_the_words_and_never_taken(root):
    assert propose(root, "mustard", "02046", replaces="mustard").row["decision_id"] == "mustard-2"
    assert propose(root, "clotted cream", "01050", decision_id="my-own").row["decision_id"] == "my-own"
    assert "the id mustard is taken" in refused(root, "clotted cream", "01050", decision_id="mustard")
    assert "lower-case letters" in refused(root, "clotted cream", "01050", decision_id="My own")


@pytest.mark.parametrize(("call", "words"), [
    (dict(words="clotted cream", entry_id="99999"), ["no entry '99999'", "Nearest"]),
    (dict(words="clotted cream"), ["names no entry", "--never"]),
    (dict(words="clotted cream", entry_id="01050", by=" "), ["nobody signs it", "--by"]),
    (dict(words="clotted cream", entry_id="01050", reason=""), ["no reason", "--reason"]),
    (dict(words="clotted cream", entry_id="01050", by="", reason=""), ["nobody signs it", "no reason"]),
    (dict(words="clotted cream", entry_id="01050", on="25 November"), ["--on is '25 November'"]),
    (dict(words="clotted cream", entry_id="01050", on="2999-01-01"), ["a day that has been"]),
    (dict(words="clotted cream", entry_id="01050", state="wet"), ["--state is 'wet'", "drained"]),
    (dict(words="clotted cream", entry_id="01050", table="nosuch"), ["Choose one of: "]),
    (dict(words="clotted cream", entry_id="01050", table="core,core"), ["names a table twice"]),
    (dict(words="clotted cream", entry_id="01050", kind="use-as-note"), ["a note names the entry"]),
    (dict(words="clotted *", entry_id="01050"), ["--pattern"]),
    (dict(words="clotted cream", entry_id="01050", scope="pattern"), ["has no gap"]),
    (dict(words="*", kind="no-match", scope="pattern"), ["no word of 3 letters"]),
    (dict(words=" - ", entry_id="01050"), ["has no words"]),
    (dict(words="chopped onions", entry_id="11282"), ["is read as the phrase 'onions'", "Decide on \"onions\""]),
    (dict(words="drained chickpeas", entry_id="16358"), ["is read as the phrase 'chickpeas'", "--state drained"]),
    (dict(words="see the note below", kind="use-as-note"), ["--recipe"]),
    (dict(words="For the sauce:", kind="use-as-note"), ["No decision is needed"]),
    (dict(words="double cream", entry_id="01050"), ["double-cream settles", "--replaces double-cream"]),
    (dict(words="Double-Cream", kind="no-match"), ["--replaces double-cream"]),
    (dict(words="clotted cream", entry_id="01050", replaces="nosuch"), ["no decision 'nosuch'", "Nearest"]),
    (dict(words="2 carots", entry_id="11124", scope="line", recipe="quay-soup"), ["has no line", "nearest: \"2 carrots\""]),
    (dict(words="2 carrots", entry_id="11124", scope="line", recipe="quay-sop"), ["no recipe 'quay-sop'", "Nearest: quay-soup"]),
    (dict(words="see the note below", entry_id="11124", scope="line", recipe="quay-soup"), ["is read as unreadable"]),
])
def test_what_cannot_stand_is_refused_with_what_to_do(root, call, words):
    said = refused(root, **call)
    assert all(word in said for word in words), said


def test_a_decision_replaced_before_is_not_replaced_again(root):
    decide.write(propose(root, "mustard", "02046", replaces="mustard"))
    assert "--replaces mustard-2" in refused(root, "mustard", "02046", replaces="mustard")


def test_a_pattern_that_meets_another_is_refused(root):
    decide.write(propose(root, "clotted *", "01050", scope="pattern"))
    assert "--replaces clotted" in refused(root, "* cream", "01053", scope="pattern")
    assert propose(root, "* custard", "01053", scope="pattern", replaces="clotted").row["replaces"] == "clotted"


def test_a_file_that_somebody_changed_meanwhile_is_left_as_they_made_it(root):
    proposed = propose(root, "clotted cream", "01050")
    path = root / "mappings" / "foods.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("sea salt", "flaky salt"), encoding="utf-8")
    theirs = path.read_bytes()
    with pytest.raises(InputError, match="changed by somebody else"):
        decide.write(proposed)
    assert path.read_bytes() == theirs


def test_kind_and_scope_exclude_each_other():
    for call in (lambda: decide.kind_of(True, True), lambda: decide.scope_of(True, "quay-soup")):
        with pytest.raises(InputError, match="exclude each other"):
            call()


def test_the_command_writes_shows_and_refuses(tmp_path):
    project = Project(tmp_path)
    path = project.root / "mappings" / "foods.csv"
    before = path.read_bytes()
    sign = ["--by", "data steward", "--reason", "a test"]
    dry, unsigned, both, done, again = project.batch([
        ["decide", "clotted cream", "01053", *sign, "--dry-run"], ["decide", "clotted cream", "01053"],
        ["decide", "clotted cream", "--never", "--note", *sign], ["decide", "clotted cream", "01053", *sign, "--yes"],
        ["decide", "clotted cream", "01053", *sign, "--yes"]], tmp_path)
    assert (dry.code, unsigned.code, both.code, done.code, again.code) == (0, 2, 2, 0, 2)
    assert "Nothing was written (--dry-run)" in dry.out and dry.err == ""
    assert len(unsigned.said) == 2 and unsigned.out == "" and len(both.said) == 1 and "--replaces clotted-cream" in again.err
    assert "Written: mappings/foods.csv:" in done.out and path.read_bytes() != before
    rows = pd.read_csv(path, dtype="str", keep_default_na=False)
    assert rows["decision_id"].is_monotonic_increasing and "clotted-cream" in set(rows["decision_id"])


# ---------------------------------------------------------------- what could hurt

def test_a_note_never_takes_a_food_out_of_every_recipe(root):
    assert "2 carrots" in refused(root, "carrots", kind="use-as-note")  # a line of this collection
    text = refused(root, "carrot*", kind="use-as-note", scope="pattern")
    assert "2 carrots" in text and "11124" not in text  # a pattern is no name of an entry: only the line speaks against it
    assert "is a food of the table: 11352" in refused(root, "potatoes", kind="use-as-note")
    assert propose(root, "2 carrots", kind="use-as-note", scope="line", recipe="quay-soup").effects[0].after.startswith("not a food")


def test_who_ruled_a_food_out_may_let_it_in_again_and_nobody_else(root):
    text = refused(root, "salt substitute", "02047", replaces="salt-substitute")
    assert "keeps a food out" in text and "potassium" in text
    foods = pd.read_csv(root / "mappings" / "foods.csv", dtype="str", keep_default_na=False).set_index("decision_id")
    again = propose(root, "salt substitute", "02047", replaces="salt-substitute", by=foods.at["salt-substitute", "decided_by"])
    assert again.row["replaces"] == "salt-substitute"


def answers(root: Path, texts: list[str]) -> pd.DataFrame:
    """What the core answers to lines under the decisions of this folder, by line."""
    bench = match_bench.open_bench("core", root=root)
    return bench.match(bench.read(texts))[0].set_axis(texts)


PHRASED = ["1 tsp low-sodium salt", "1 tsp potassium salt"]  # each has a decision on its phrase
UNPHRASED = ["1 tsp half-salt", "1 tsp lower-sodium salt", "1 tsp mineral salt"]  # these only have a word of mappings/words.csv


UNKNOWN = ["1 tsp zorble salt", "1 tsp heart-healthy salt", "1 tsp kidney-friendly salt", "1 tsp smart salt", "1 tsp potash salt", "1 tsp K salt"]


def test_a_pattern_does_not_settle_what_is_known_to_mislead(root):
    proposed = propose(root, "* salt", "02047", scope="pattern")
    assert proposed.effects == []
    assert (answers(root, PHRASED)["decision_id"] != "").all() and (answers(root, UNPHRASED)["decision_id"] == "").all()
    decide.write(proposed)
    control_line = "1 tsp fine pink rock salt"  # every word is a plain one
    found = answers(root, [control_line, *PHRASED, *UNPHRASED, *UNKNOWN])
    control = found.loc[control_line]  # the pattern does stand, and does settle what nothing speaks against
    assert control[["match_outcome", "entry_id", "decision_id"]].tolist() == ["accepted", "02047", proposed.row["decision_id"]]
    assert (found.drop(index=control_line)["match_outcome"] != "accepted").all(), found[["entry_name", "match_outcome"]]


@pytest.mark.parametrize("text", ["1 tsp potassium-rich salt", "1 tsp pottasium salt", "1 tsp sodium-free salt", "1 tsp less sodium sea salt"])
def test_a_pattern_does_not_settle_a_salt_whose_words_tell_of_potassium_or_less_sodium(root, text):
    decide.write(propose(root, "* salt", "02047", scope="pattern"))
    found = answers(root, [text]).iloc[0]
    assert found["match_outcome"] != "accepted", found[["entry_name", "match_reason", "decision_id"]]


def test_a_pattern_on_a_seasoning_does_not_make_table_salt_of_it(root):
    proposed = propose(root, "low|lo sodium seasoning", "02047", scope="pattern")
    decide.write(proposed)
    assert (answers(root, ["1 tsp low sodium seasoning", "1 tsp lo sodium seasoning"])["match_outcome"] != "accepted").all()
    assert "may hold potassium" in proposed.text() and "no word in common" in proposed.text()


def test_a_pattern_does_not_take_what_is_accepted_for_an_entry_far_from_its_own(root):
    proposed = propose(root, "* butter", "01145", scope="pattern")
    assert all(f"\"{food} butter\"" in proposed.text() for food in ("peanut", "almond")), proposed.text()
    decide.write(proposed)
    found = answers(root, ["50 g peanut butter", "50 g almond butter", "50 g salted butter", "50 g farmhouse churned butter"])
    assert found["entry_id"].tolist() == ["16098", "12195", "01001", "01145"]
    assert (found["decision_id"] != "").tolist() == [False, False, False, True]


def test_an_entry_that_shares_no_word_with_the_phrase_is_told(root):
    told = "no word in common"
    assert told in propose(root, "spinach", "02047").text()
    for phrase, entry in (("aubergine", "11209"), ("courgettes", "11477"), ("clotted cream", "01053")):
        assert told not in propose(root, phrase, entry).text()
    assert told in propose(root, "2 carrots", "02047", scope="line", recipe="quay-soup").text()


def test_a_number_that_lost_its_zero_is_given_back(root):
    assert "Write 01053" in refused(root, "clotted cream", "1053")
