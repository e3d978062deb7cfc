"""The match command's tasks: explain one line, audit a coded list, evaluate on a labelled one, and several tables."""

from __future__ import annotations

import csv
import json
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from command_line import CHECKOUT, Project

from pipeline import match_audit, match_baselines, match_bench, match_evaluate, match_explain
from pipeline.problems import InputError

EXAMPLES = CHECKOUT / "reference" / "examples"
PAIRS = CHECKOUT / "tests" / "data" / "match_pairs.csv"


@cache
def bench() -> match_bench.Bench:
    return match_bench.open_bench("core")


def pairs(rows: int) -> pd.DataFrame:
    table = pd.read_csv(PAIRS, dtype="str", keep_default_na=False)
    return table.iloc[:: max(1, len(table) // rows)].reset_index(drop=True)


# ---------------------------------------------------------------- explain

def test_an_explanation_adds_up_and_says_what_is_at_stake():
    told = match_explain.explain("400 ml tin coconut milk", "core", 3)
    assert (told.outcome, told.entry_id, told.phrase, told.state) == ("accepted", "12118", "coconut milk", "canned")
    first, second = told.candidates[:2]
    matcher = bench().matchers[0]
    asked, = match_bench.asked(bench().read([told.text]))
    best, other = matcher.ranked(asked)[:2]
    for ranked, column in ((best, "points"), (other, "runner_up_points")):
        total = sum(row[column] for row in told.points)
        assert 1 / (1 + np.exp(-total)) == pytest.approx(ranked.score, abs=2e-3)  # the points are the score: nothing is left out
    # USDA SR26, per 100 g: 12118 has 220 mg of potassium, 13 mg of sodium
    assert (first["entry_id"], first["K"], first["NA"]) == ("12118", 220.0, 13.0)
    assert told.difference["entry_id"] == second["entry_id"]
    assert told.difference["per_100g"]["K"] == pytest.approx(second["K"] - 220)
    assert told.difference["in_line"]["K"] == pytest.approx((second["K"] - 220) * told.difference["grams"] / 100, rel=0.01)
    shown = match_explain.text(told)
    for words in ("phrase       coconut milk", "accepted from 0.", f"Why 12118 before {second['entry_id']}", "per 100 g", "in this line ("):
        assert words in shown, words


def test_every_word_of_the_line_is_in_the_explanation():
    line = "2 x 400 g tins chopped tomatoes, drained (or passata)"
    read = " ".join(words for words, _ in match_explain.explain(line, "core", 1).read)
    assert sorted(read.replace(" ", "")) == sorted(line.replace(" ", ""))


def test_a_decided_line_names_the_decision_and_what_words_alone_would_give():
    told = match_explain.explain("2 tbsp double cream", "core", 3)
    assert told.reason == "decided" and told.decision["decision_id"] == "double-cream" and told.entry_id == "01053"
    shown = match_explain.text(told)
    assert f"decision double-cream ({told.decision['row']}) by renal dietitian" in shown and "Left to its words alone" in shown
    without = match_explain.explain("2 tbsp double cream", "core", 3, decided=False)
    assert without.decision is None and without.reason != "decided"


def test_a_line_for_a_person_says_how_to_settle_it_and_that_cannot_be_weighed():
    told = match_explain.explain("some chicken", "core", 3)
    shown = match_explain.text(told)
    assert told.outcome == "review" and told.difference["grams"] is None
    assert "cannot be weighed" in shown and 'potash decide "chicken" ' in shown


@pytest.mark.parametrize("line", ["For the sauce:", "½", "§§§", "1 kg", "a" * 3000, "see the note below"])
def test_any_line_is_explained(line):
    told = match_explain.explain(line, "core", 5)
    assert match_explain.text(told).startswith(line) and told.outcome != "accepted"
    json.dumps(told.to_dict(), allow_nan=False)


def test_an_empty_line_is_refused():
    with pytest.raises(InputError, match="is an empty line"):
        match_explain.explain("  ", "core", 3)


# ---------------------------------------------------------------- audit

def audited(*rows: tuple[str, str], grams: list[float] | None = None) -> pd.DataFrame:
    coded = pd.DataFrame(rows, columns=["text", "entry_id"], dtype="str")
    masses = pd.Series(grams if grams else [np.nan] * len(rows), dtype="float64")
    return match_audit.audit(coded, masses, bench()).set_index("row")


def test_the_wrong_pair_is_found_with_a_better_one_and_the_difference():
    row = audited(("400 ml tin coconut milk", "01077"), ("1 onion", "11282"), grams=[400, 100]).loc[2]
    assert (row["finding"], row["better_id"], row["rank"]) == ("another-entry", "12118", 1)
    # USDA SR26, mg per 100 g: 12118 has K 220, P 96, Na 13; 01077 has K 132, P 84, Na 43
    assert [row[f"difference_{one}_mg_per_100g"] for one in ("K", "P", "NA")] == [88, 12, -30]
    assert [row[f"difference_{one}_mg_in_line"] for one in ("K", "P", "NA")] == [352, 48, -120]
    assert row["grams_from"] == "file"


def test_a_line_is_weighed_where_the_list_has_no_grams():
    row = audited(("200 g spinach", "11463")).loc[2]
    assert row["grams_from"] == "weighed" and 180 <= row["grams"] <= 200


@pytest.mark.parametrize(("text", "entry_id", "finding", "better"), [
    ("1 onion", "11282", "agrees", ""), ("2 tbsp double cream", "01053", "agrees", ""),
    ("1 onion", "99999", "unknown-entry", "11282"), ("2 tbsp double cream", "1053", "unknown-entry", "01053"),
    ("1 onion", "", "unknown-entry", "11282"), ("", "11282", "no-text", ""),
    ("1 tsp low-sodium salt", "02047", "decided-otherwise", ""), ("2 tbsp double cream", "01049", "decided-otherwise", "01053"),
    ("For the sauce:", "11282", "not-a-food", ""), ("half of that mystery packet", "11282", "nothing-fits", ""),
])
def test_findings(text, entry_id, finding, better):
    row = audited((text, entry_id)).loc[2]
    assert (row["finding"], row["better_id"]) == (finding, better)
    assert bool(row["remedy"]) == (finding != "agrees")


def test_an_entry_that_no_run_would_accept_is_a_perhaps():
    """Whether mash was weighed raw or cooked is open, so that whatever entry is likeliest is not offered as better."""
    row = audited(("500 g potatoes, mashed", "11124")).loc[2]
    assert row["finding"] == "perhaps-another" and row["better_id"] == "" and row["perhaps_id"].startswith("113")
    found, _ = bench().match(bench().read(["500 g potatoes, mashed"]))
    assert found["match_outcome"][0] == "review"
    told = "\n".join(match_audit._told(next(row.to_frame().T.assign(row=2).itertuples(index=False))))
    assert "perhaps: 113" in told and "better:" not in told


def test_potassium_that_nobody_knows_ranks_as_that_of_a_day():
    """Beside a difference of 100 mg in a line, one that is not known is the one to look at first."""
    import dataclasses

    here = bench()
    values = here.table.values
    blank = values[~((values["entry_id"] == "11282") & (values["component"] == "K"))]
    unknown = dataclasses.replace(here, table=dataclasses.replace(here.table, values=blank))
    coded = pd.DataFrame([("100 g carrots", "11457"), ("100 g carrots", "11282")], columns=["text", "entry_id"], dtype="str")
    rows = match_audit.audit(coded, pd.Series([100.0, 100.0]), unknown).set_index("row")
    assert rows["better_id"].tolist() == ["11124", "11124"] and pd.isna(rows.loc[3, "difference_K_mg_per_100g"])
    assert rows["rank"].to_dict() == {3: 1, 2: 2}


def test_a_spreadsheet_that_dropped_the_zero_is_told():
    assert "Write 01053" in audited(("2 tbsp cream", "1053")).loc[2, "remedy"]


def test_what_harms_most_comes_first_and_what_agrees_last():
    rows = audited(("1 onion", "11282"), ("5 g spinach", "11463"), ("500 g spinach", "11463"), ("1 tsp low-sodium salt", "02047"))
    assert rows["rank"].to_dict() == {5: 1, 4: 2, 3: 3, 2: 4}


def test_planted_mistakes_are_found_among_right_pairs():
    """Known truth: labelled lines, every third one given the entry of another line."""
    labels = pairs(150)
    labels = labels[labels["acceptable"] != "none"].reset_index(drop=True)
    right = labels["acceptable"].str.split(";").str[0]
    wrong = right.index % 3 == 0
    given = right.where(~wrong, np.roll(right, 7))
    acceptable = labels["acceptable"].str.split(";")
    wrong = np.array([one not in ids for one, ids in zip(given, acceptable, strict=True)])
    rows = audited(*zip(labels["text"], given, strict=True)).sort_index()
    doubted = (rows["finding"] != "agrees").to_numpy()
    assert wrong.sum() >= 30 and doubted[wrong].mean() >= 0.95
    assert doubted[~wrong].mean() <= 0.15
    better = (rows["better_id"] + rows["perhaps_id"]).to_numpy()[wrong]
    assert np.mean([one in ids for one, ids in zip(better, acceptable[wrong], strict=True)]) >= 0.8


# ---------------------------------------------------------------- evaluate

def lines(probability: list[float], right: list[bool]) -> pd.DataFrame:
    return pd.DataFrame({"probability": probability, "right": right})


def test_the_calibration_error_is_the_one_of_the_textbook():
    """Guo, Pleiss, Sun, Weinberger (2017), On calibration of modern neural networks, equation 3: the mean over bins of
    |accuracy - confidence|, weighted by their counts (from memory); the number is worked by hand."""
    measured = lines([0.95, 0.95, 0.95, 0.95, 0.25, 0.25], [True, True, True, False, False, True])
    assert match_evaluate.calibration_error(measured) == pytest.approx((4 * abs(0.75 - 0.95) + 2 * abs(0.5 - 0.25)) / 6, abs=1e-4)
    assert match_evaluate.calibration_error(lines([1.0, 1.0], [True, True])) == 0


def evaluated(*rows: tuple[str, str], **more) -> match_evaluate.Measured:
    return match_evaluate.evaluate(pd.DataFrame(rows, columns=["text", "acceptable"], dtype="str"), bench(), "test.csv", **more)


def test_measures_of_lines_with_known_answers():
    got = evaluated(("200 g carrots", "11124"), ("1 onion", "11124"), ("2 large eggs", "11124; 01123"), ("that mystery packet", "none"),
                    ("1 lemon", "none")).figures()
    assert (got["lines"], got["lines_with_an_entry"], got["lines_without"]) == (5, 3, 2)
    assert got["top_1"] == pytest.approx(2 / 3, abs=1e-4) and got["top_5"] == pytest.approx(2 / 3, abs=1e-4)
    assert got["coverage"] == pytest.approx(4 / 5) and got["coverage_of_lines_with_an_entry"] == 1
    assert got["precision_of_accepts"] == pytest.approx(2 / 4) and got["none_kept_out"] == pytest.approx(1 / 2)


def test_mistakes_are_ranked_by_potassium_against_the_nearest_right_entry():
    worst = evaluated(("1 onion", "11124;11457"), ("200 g spinach", "11124"), ("200 g carrots", "11124")).worst()
    # USDA SR26, mg of potassium per 100 g: raw onion 146, carrot 320, spinach 558
    assert worst["text"].tolist() == ["200 g spinach", "1 onion"]
    assert worst["potassium_difference_mg_per_100g"].tolist() == [558 - 320, 146 - 320]


def test_entries_that_the_table_does_not_have_are_left_out_and_counted():
    measured = evaluated(("1 onion", "11282;99999"), ("1 leek", "99999"))
    assert measured.unknown == 1 and measured.lines["acceptable"].tolist() == ["11282"]
    with pytest.raises(InputError, match="names no entry that table core has"):
        evaluated(("1 leek", "99999"))


def test_reliability_and_report():
    measured = match_evaluate.evaluate(pairs(60), bench(), "pairs.csv", with_baselines=True)
    table = measured.reliability()
    assert sum(row["lines"] for row in table) == len(measured.lines)
    assert set(measured.compared) == {"WRatio", "token_set_ratio", "character TF-IDF"}
    for got in measured.compared.values():
        assert 0.2 < got["top_1"] <= got["top_5"] <= 1
    shown = measured.text()
    for words in ("first candidate right", "calibration error", "By letters alone", "How sure it said it was"):
        assert words in shown
    json.dumps(measured.to_dict(), allow_nan=False)


def test_character_tfidf_agrees_with_the_formula_worked_by_hand():
    """Two names, one query; smoothed inverse document frequency ln((1 + n) / (1 + df)) + 1 and cosine, as in Manning, Raghavan,
    Schuetze, Introduction to Information Retrieval, chapter 6, in the smoothed form (from memory)."""
    runs = {name: [f" {name} "[start:start + size] for size in (2, 3, 4) for start in range(len(name) + 3 - size)] for name in ("pea", "pear")}
    known = sorted({run for found in runs.values() for run in found})
    weight = {run: np.log(3 / (1 + sum(run in found for found in runs.values()))) + 1 for run in known}
    vectors = {name: np.array([found.count(run) * weight[run] for run in known]) for name, found in runs.items()}
    cosine = vectors["pea"] @ vectors["pear"] / np.linalg.norm(vectors["pea"]) / np.linalg.norm(vectors["pear"])
    assert match_baselines._tfidf(["pea", "pear"])(["pea"])[0] == pytest.approx([1.0, cosine])


def test_baselines_name_each_entry_once():
    entries = pd.DataFrame({"entry_id": ["1", "2"], "name": ["Leeks, raw", "Onions, raw"], "common_names": ["leek; leeks", "onion"]})
    for found in match_baselines.baselines(["leek", "onions"], entries).values():
        assert found == [["1", "2"], ["2", "1"]]


# ---------------------------------------------------------------- the command

@pytest.fixture(scope="module")
def project(tmp_path_factory) -> Project:
    """A copy of the project with a second table, "quay": carrots again, and a food that core has not. Its figures are invented."""
    made = Project(tmp_path_factory.mktemp("match"))
    core = made.root / "reference" / "composition" / "core"
    quay = core.with_name("quay")
    quay.mkdir()
    entries = pd.read_csv(core / "entries.csv", dtype="str", keep_default_na=False)
    own = entries[entries["entry_id"].isin(["11124", "11282"])].copy()
    own.loc[own["entry_id"] == "11282", ["entry_id", "name", "common_names", "source_row"]] = ["q1", "Quaywort, raw", "quaywort", "quaywort"]
    own.to_csv(quay / "entries.csv", index=False)
    values = pd.read_csv(core / "values.csv", dtype="str", keep_default_na=False)
    kept = values[values["entry_id"].isin(["11124", "11282"])]
    kept.assign(entry_id=kept["entry_id"].replace({"11282": "q1"})).to_csv(quay / "values.csv", index=False)
    return made


def test_the_command_does_one_task_at_a_time_and_says_which(project, tmp_path):
    (tmp_path / "in.csv").write_text("text\n1 onion\n", encoding="utf-8")
    (tmp_path / "coded.csv").write_text("text,entry_id,grams\n1 onion,11282,100 g\n", encoding="utf-8")
    (tmp_path / "unlabelled.csv").write_text("text,acceptable\n1 onion,11282\n1 leek,\n", encoding="utf-8")
    expected = {
        ("match",): "Missing argument 'INPUT.csv', or one of --explain, --audit, --evaluate",
        ("match", "in.csv"): "Missing option '-o'",
        ("match", "in.csv", "--explain", "1 onion"): "--explain and INPUT.csv are different tasks",
        ("match", "--explain", "1 onion", "--audit", "coded.csv"): "--explain and --audit are different tasks",
        ("match", "--explain", "1 onion", "-o", "o.csv"): "-o goes with --audit or --evaluate",
        ("match", "--explain", ""): "is an empty line",
        ("match", "--explain", "1 onion", "--table", "nosuch"): "Choose one of: core",
        ("match", "--explain", "1 onion", "--table", "core,core"): "names a table twice",
        ("match", "in.csv", "-o", "o.csv", "--json"): "--json goes with --explain or --audit or --evaluate",
        ("match", "--audit", "coded.csv", "--baselines"): "--baselines goes with --evaluate",
        ("match", "--audit", "nowhere.csv"): "nowhere.csv: is not there. Name a CSV file with columns text and entry_id",
        ("match", "--audit", "in.csv"): "in.csv, line 1: has no column entry_id (it has: text)",
        ("match", "--audit", "coded.csv"): "coded.csv, line 2: grams is '100 g'",
        ("match", "--evaluate", "in.csv"): "has no column acceptable",
        ("match", "--evaluate", "unlabelled.csv"): "unlabelled.csv, line 3: does not say which entries are right",
    }
    for call, result in zip(expected, project.batch([list(call) for call in expected], tmp_path), strict=True):
        assert result.code == 2 and result.out == "", call
        assert expected[call] in result.err and "Traceback" not in result.err, (call, result.err)


def test_the_examples_of_the_project_are_explained_audited_and_evaluated(project, tmp_path):
    coded, labelled = EXAMPLES / "coded-lines.csv", EXAMPLES / "labelled-lines.csv"
    explained, as_json, audited, measured, told = project.batch([
        ["match", "--explain", "2 tbsp double cream"], ["match", "--explain", "some chicken", "--json"],
        ["match", "--audit", coded, "-o", "audited.csv"], ["match", "--evaluate", labelled, "-o", "measured.csv"],
        ["match", "--evaluate", labelled, "--json", "--baselines"]], tmp_path)
    assert [one.code for one in (explained, as_json, audited, measured, told)] == [0, 1, 1, 0, 0]
    assert all(one.err == "" for one in (explained, as_json, audited, measured, told))
    assert json.loads(as_json.out)["outcome"] == "review"
    with open(tmp_path / "audited.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 8 and list(rows[0]) == match_audit.COLUMNS and rows[-1]["finding"] == "agrees"
    assert "1053" in audited.out and "Write 01053" in audited.out
    assert json.loads(told.out)["none_kept_out"] == 1.0 and set(json.loads(told.out)["baselines"]) == {"WRatio", "token_set_ratio", "character TF-IDF"}
    assert (tmp_path / "measured.csv").read_text(encoding="utf-8").count("\n") == 13


def test_several_tables_are_asked_in_their_order(project, tmp_path):
    (tmp_path / "in.csv").write_text("text\n200 g carrots\n200 g quaywort\n", encoding="utf-8")
    calls = [["match", "in.csv", "-o", f"{table}.csv", "--table", table] for table in ("core", "quay", "core,quay", "quay,core")]
    explain = ["match", "--explain", "200 g quaywort", "--table", "core,quay"]
    *matched, explained = project.batch([*calls, explain], tmp_path)
    assert [one.code for one in matched] == [1, 0, 0, 0], [one.err for one in matched]
    read = {table: pd.read_csv(tmp_path / f"{table}.csv", dtype="str", keep_default_na=False) for table in ("core", "quay", "core,quay", "quay,core")}
    assert "table" not in read["core"] and read["core"]["outcome"].tolist()[0] == "accepted"
    assert read["core,quay"][["table", "entry_id"]].values.tolist() == [["core", "11124"], ["quay", "q1"]]
    assert read["quay,core"]["table"].tolist() == ["quay", "quay"]
    assert explained.code == 0 and "asked first: core: " in explained.out and "(quay)" in explained.out


def test_a_decision_that_no_longer_holds_is_told_by_its_row(tmp_path):
    project = Project(tmp_path)
    path = project.root / "mappings" / "foods.csv"
    path.write_text(path.read_text(encoding="utf-8").replace('"Mustard, prepared, yellow"', '"Mustard, made"', 1), encoding="utf-8")
    (tmp_path / "in.csv").write_text("text\n1 tsp mustard\n", encoding="utf-8")
    result, = project.batch([["match", "in.csv", "-o", "o.csv"]], tmp_path)
    assert len(result.said) == 1 and result.said[0].startswith("mappings/foods.csv:") and "'Mustard, made'" in result.said[0]
    assert (tmp_path / "o.csv").is_file()


def test_help_says_that_the_order_of_tables_is_a_preference(project, tmp_path):
    for shown in project.batch([["match", "--help"], ["run", "--help"], ["decide", "--help"]], tmp_path):
        assert shown.code == 0
    shown = project.batch([["match", "--help"], ["run", "--help"]], tmp_path)
    assert all("order of preference" in " ".join(one.out.split()) for one in shown)
