"""The worklist: the line that would settle most comes first, and every line says what to do."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline import tables
from pipeline.decisions import command
from pipeline.stages.worklist import worklist

LINES = [  # recipe, variant, line, text, outcome, reason, counted, confidence
    ("alone", "base", 1, "some chicken", "review", "no-quantity", True, 0.5),
    ("alone", "with-rice", 1, "some chicken", "review", "no-quantity", True, 0.5),
    ("pair", "base", 1, "that paste", "none", "no-candidate", True, 0.1),
    ("pair", "base", 2, "1 packet mix", "review", "close-call", True, 0.3),
    ("settled", "base", 1, "1 onion", "accepted", "settled", True, 0.95),
    ("settled", "base", 2, "a herb of some kind", "accepted", "settled", True, 0.4),
    ("settled", "base", 3, "mystery, optional", "none", "no-candidate", False, 0.0),
]


def made(lines=LINES, phrase: str = "") -> pd.DataFrame:
    rows = []
    for recipe, variant, number, text, outcome, reason, counted, confidence in lines:
        accepted = outcome == "accepted"
        rows.append({
            "recipe_id": recipe, "variant_id": variant, "line_no": number, "text": text, "quantity_low": None, "quantity_high": None,
            "unit": "", "phrase": phrase or text, "state": "", "optional": not counted, "table": "core", "entry_id": "00001" if accepted else "",
            "entry_name": "", "match_confidence": 1.0, "outcome": outcome, "mass_g": 1.0, "mass_low_g": 1.0, "mass_high_g": 1.0,
            "edible_g": 1.0, "method": "raw", "yield_fraction": 1.0, "cooked_g": 1.0, "reason": reason, "counted": counted,
            "confidence": confidence, "line_id": f"{recipe}/{variant}/{number}"})
    return tables.Settled.validate(pd.DataFrame(rows))


def ranked(lines=LINES, phrase: str = "", nearest: str = "pair/base/2", low: bool = True) -> pd.DataFrame:
    settled = made(lines, phrase)
    variants = settled[["recipe_id", "variant_id"]].drop_duplicates()
    figures = variants.merge(pd.DataFrame({"number": range(10)}), how="cross")
    waiting = set(settled.loc[settled["counted"] & (settled["outcome"] != "accepted"), "recipe_id"])
    figures["status"] = ["withheld" if recipe in waiting else "check" for recipe in figures["recipe_id"]]
    figures["reason"] = "low confidence" if low else ""
    verdicts = variants.assign(verdict=["not-assessable" if recipe in waiting else "holds" for recipe in variants["recipe_id"]])
    candidates = pd.DataFrame([(nearest, rank, f"0000{rank}", f"Mix {rank}", 1.0, 0.5 / rank) for rank in (1, 2, 3, 4)],
                              columns=tables.columns(tables.Candidates)).astype({"line_id": "str", "entry_id": "str", "entry_name": "str"})
    return worklist(settled, candidates, figures, verdicts, 0.7)


def test_a_line_that_alone_withholds_figures_comes_first_its_variants_added_up():
    first = ranked().iloc[0]
    assert (first["recipe_id"], first["figures_withheld"], first["verdicts_waiting"]) == ("alone", 20, 2)


def test_settled_headings_and_lines_that_do_not_count_are_not_on_it():
    found = ranked()
    assert sorted(found["text"]) == ["1 packet mix", "a herb of some kind", "some chicken", "that paste"]
    assert found["rank"].tolist() == [1, 2, 3, 4]


def test_a_doubtful_line_comes_last_with_the_figures_it_leaves_to_check():
    last = ranked().iloc[-1]
    assert (last["text"], last["figures_withheld"], last["figures_to_check"]) == ("a herb of some kind", 0, 10)
    assert "Confirm the entry" in last["remedy"]


def test_three_candidates_are_named_with_their_probability():
    row = ranked().set_index("text").loc["1 packet mix"]
    assert row["candidates"] == "00001 Mix 1 (0.50); 00002 Mix 2 (0.25); 00003 Mix 3 (0.17)"


def test_nothing_to_settle_is_an_empty_list():
    assert ranked([LINES[4]]).empty


@pytest.mark.parametrize("reason", sorted(set(tables.LINE_REASONS) - {"settled", "decided", "optional-left-out", "heading", "not-food"}))
def test_every_reason_has_a_remedy_that_names_a_place(reason):
    line = ("one", "base", 1, "a line", "none", reason, True, 0.0)
    remedy = ranked([line]).iloc[0]["remedy"]
    assert any(place in remedy for place in ("recipe", "mappings/", "reference/", "line"))
    assert "{" not in remedy


@pytest.mark.parametrize(("reason", "settled_by"), [
    ("close-call", 'potash decide "food" 00001 --by NAME --reason WHY'), ("not-sure", 'potash decide "food" 00001 --by NAME --reason WHY'),
    ("no-candidate", 'potash decide "food" ENTRY_ID --by NAME --reason WHY'), ("state-differs", 'potash decide "food" ENTRY_ID --by NAME --reason WHY'),
    ("salt-in-doubt", 'potash decide "food" --never --by NAME --reason WHY'),
    ("cooked-otherwise", 'potash decide "100 g food" ENTRY_ID --recipe one --by NAME --reason WHY'),
    ("words-left-over", 'potash decide "100 g food" ENTRY_ID --recipe one --by NAME --reason WHY'),
])
def test_the_command_is_there_and_names_an_entry_only_where_it_may_be_the_one(reason, settled_by):
    """What is known to be wrong (raw for roasted, table salt for another salt) must not be one paste away."""
    row = ranked([("one", "base", 1, "100 g food", "review", reason, True, 0.3)], phrase="food", nearest="one/base/1").iloc[0]
    assert row["remedy"].endswith(settled_by)


def test_a_line_for_which_nothing_waits_is_not_on_it():
    assert ranked([("settled", "base", 1, "a herb", "accepted", "settled", True, 0.4)], low=False).empty
    assert len(ranked([("settled", "base", 1, "a herb", "accepted", "settled", True, 0.4)])) == 1


def test_a_collection_without_any_candidate_has_a_worklist():
    """No phrase of it is like any entry (a table in another language): the candidates are a table without rows."""
    settled = made([("alone", "base", 1, "200 g wibbly", "none", "no-candidate", True, 0.0)])
    figures = settled[["recipe_id", "variant_id"]].assign(status="withheld", reason="")
    verdicts = pd.DataFrame(columns=["recipe_id", "variant_id", "verdict"])
    for candidates in (tables.empty(tables.Candidates), tables.empty(tables.Candidates).astype({"probability": "float64", "entry_id": "object"})):
        rows = worklist(settled, candidates, figures, verdicts, 0.5)
        assert rows["text"].tolist() == ["200 g wibbly"] and rows["candidates"].tolist() == [""]


def test_the_command_can_be_pasted_whatever_the_words():
    """A shell reads back the words as they stand (POSIX quoting, by the standard library)."""
    import shlex

    for words in ("1 lb ground beef (80/20)", "5\" tortilla", "cook's $1 mix", "crème fraîche!", "back\\slash"):
        assert shlex.split(command(words, "01053", recipe="a-dish"))[2:6] == [words, "01053", "--recipe", "a-dish"]
    assert "--table usda-sr26" in command("milk", "01077", table="usda-sr26") and "--table" not in command("milk", "01077", table="core")
