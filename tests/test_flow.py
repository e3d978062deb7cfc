"""The flow's own small rules: how a collection is cut, what a broken recipe is called, what is shown."""

from __future__ import annotations

import errno
import re

import pandas as pd
import pytest

from pipeline import flow, steps, summary

COUNT = 40


def bundle(count: int, changed: str = "") -> steps.Bundle:
    ids = [f"dish-{number}" for number in range(count)]
    tables = {name: pd.DataFrame({"recipe_id": ids, "text": [f"as it was {one == changed}" for one in ids]}) for name in steps.BY_RECIPE}
    tables["recipes"] = pd.DataFrame({"recipe_id": ids, "source_file": "a.yaml", "source_line": range(1, count + 1)})
    return tables


def test_every_recipe_is_in_one_partition_and_the_tables_keep_together():
    parts = steps.partitions(bundle(COUNT))
    ids = [recipe for part in parts for recipe in part["recipes"]["recipe_id"]]
    assert sorted(ids) == sorted(bundle(COUNT)["recipes"]["recipe_id"]) and len(parts) > 1
    for part in parts:
        assert all(set(part[name]["recipe_id"]) == set(part["recipes"]["recipe_id"]) for name in steps.BY_RECIPE)


def test_one_changed_recipe_changes_one_partition():
    before, after = steps.partitions(bundle(COUNT)), steps.partitions(bundle(COUNT, changed="dish-7"))
    different = [place for place, (one, other) in enumerate(zip(before, after, strict=True))
                 if any(not one[name].equals(other[name]) for name in steps.BY_RECIPE)]
    assert len(different) == 1 and "dish-7" in set(before[different[0]]["recipes"]["recipe_id"])


def test_a_partition_is_halved_down_to_single_recipes():
    waiting, single = [bundle(7)], []
    while waiting:
        part = waiting.pop()
        (single if len(part["recipes"]) == 1 else waiting).extend([part] if len(part["recipes"]) == 1 else steps.halves(part))
    assert sorted(part["recipes"]["recipe_id"].iloc[0] for part in single) == [f"dish-{number}" for number in range(7)]


def test_a_broken_recipe_is_told_in_one_line():
    problem = steps.broken_recipe(bundle(1), ValueError("a page\n" * 200))
    assert problem.where == "a.yaml, line 1" and "\n" not in str(problem) and len(str(problem)) < 500


@pytest.mark.parametrize("number, code", [(errno.ENOSPC, "disk-full"), (errno.EDQUOT, "disk-full"), (errno.EACCES, "not-writable")])
def test_a_disk_that_fails_is_no_recipes_fault(number, code):
    assert steps.disk_trouble(OSError(number, "so it is", "/a/file")).code == code


def test_every_stage_has_a_task_and_its_own_code():
    assert tuple(flow.TASKS) == steps.STAGES == tuple(steps.CODE)
    names = {stage: {path.name for path in files} for stage, files in flow.CODE.items()}
    assert "cook.py" in names["cook"] and "cook.py" not in names["match"]
    assert all("steps.py" in files for files in names.values())


def test_in_a_pipe_one_plain_line_per_finished_stage(capsys):
    with summary.progress({"read": 2, "match": 2, "weigh": 1}) as advance:
        for stage, reused in (("read", True), ("match", False), ("read", True), ("match", True), ("weigh", False)):
            advance(stage, reused)
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.splitlines() == [
        "potash: read (kept from an earlier run)", "potash: match (1 of 2 kept)", "potash: weigh"]


def told(**changes) -> dict:
    zero = {"ready": 0, "check": 0, "withheld": 0}
    return {"collection": "A club", "recipes": 1, "variants": 2, "figures": {**zero, "ready": 1234}, "lines": {"accepted": 7},
            "verdicts": {"holds": 3}, "not_used": [], "warnings": 0, "implausible": [], "potassium_hazards": [], "settle_first": [],
            "swaps": {"cases": 0, "answered": 0, "not_searched": 0}, "protein_additions": {"cases": 0, "answered": 0, "not_searched": 0},
            "in_print": {"figures": 0, "recipes": 0, "not_confirmed": 0, "claims": 0, "worst": []}, "kept_results": 0,
            "stage_results": 7, "release": "output/a-club-1", "state": "written", "exit_code": 0, **changes}


def test_the_summary_lines_up_its_counts():
    rows = summary.text(told()).splitlines()
    assert rows[0] == "A club: 1 recipe, 2 variants" and "Every line that counts is settled." in rows
    ends = {row.index(word) for row, word in zip(rows[1:4], ("ready", "settled", "hold"), strict=True)}
    assert len(ends) == 1


def test_the_summary_names_what_to_do():
    line = {"rank": 1, "recipe_id": "soup", "line_no": 3, "text": "some " * 40, "reason": "no-quantity", "figures_withheld": 1,
            "verdicts_waiting": 2, "candidates": "1 Leek (0.9); 2 Onion (0.1)", "remedy": "Write an amount"}
    worst = [{"recipe_id": "soup", "variant_id": "with-cod", "printed_in": "Leaflet", "says": "K 210 mg per portion", "today": "480.3 mg",
              "correction": "Print K 480 mg per portion"}]
    problems = [{"where": f"a.yaml, line {number}", "what": "has no portions", "remedy": "Write portions:"} for number in range(7)]
    text = summary.text(told(settle_first=[line], not_used=problems, in_print={
        "figures": 4, "recipes": 2, "not_confirmed": 1, "claims": 0, "worst": worst}))
    assert "soup, line 3" in text and "it says no amount (1 figure, 2 verdicts)" in text and "nearest: 1 Leek (0.9)\n" in text
    assert "1. soup (with-cod), Leaflet: K 210 mg per portion; today 480.3 mg\n     Print K 480 mg per portion\n" in text
    assert "a.yaml, line 4: has no portions. Write portions:" in text and "and 2 more in problems.csv" in text
    assert not re.search(r"no-quantity|not_used|None", text) and max(map(len, text.splitlines())) < 160


def test_a_potassium_salt_stands_right_behind_the_counts_once_for_all_variants():
    flag = {"severity": "error", "recipe_id": "soup", "line_no": 3, "through": "salt substitute", "remedy": "Name another salt",
            "what": 'POTASSIUM HAZARD: "1 tsp salt substitute" names potassium salt substitute'}
    flags = pd.DataFrame([{**flag, "variant_id": variant} for variant in ("base", "with-cod")]
                         + [{**flag, "variant_id": "base", "severity": "warning", "what": "cola"}])
    found = summary._hazards(flags)
    assert len(found) == 1
    rows = summary.text(told(potassium_hazards=found)).splitlines()
    assert rows[4] == 'POTASSIUM HAZARD: "1 tsp salt substitute" names potassium salt substitute (soup, line 3). Name another salt'
    many = summary.text(told(potassium_hazards=found * 8))
    assert many.count("POTASSIUM HAZARD") == 5 and "and 3 more potassium hazards in additives.csv" in many


def test_the_summary_says_what_a_change_would_put_right():
    quiet = summary.text(told())
    assert "swaps.csv" not in quiet and "protein_additions.csv" not in quiet
    text = summary.text(told(swaps={"cases": 5, "answered": 2, "not_searched": 1}, protein_additions={"cases": 4, "answered": 3, "not_searched": 1}))
    assert "by audience: 5; leaving out or reducing gives 2 its verdicts again, 1 wait for figures in doubt (swaps.csv)" in text
    assert "by audience: 4; an addition does for 3, in 1 another limit does not hold to begin with (protein_additions.csv)" in text
    assert max(map(len, text.splitlines())) < 160


def test_every_reason_code_has_words():
    from pipeline.tables import LINE_REASONS

    settled = {"settled", "decided", "optional-left-out", "heading", "not-food"}
    assert set(summary.REASON_WORDS) == set(LINE_REASONS) - settled
