"""Variants: what changes a recipe, one built on another, and those that optional and to-serve lines make."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from pipeline import decisions
from pipeline.stages.ingest import Collection, ingest
from pipeline.stages.ingest_served import with_optional
from pipeline.stages.parse import parse
from pipeline.tables import Lines, Steps, Variants, checked

SOUP = """
id: soup
name: Soup
portions: 4
units: uk
ingredients: [2 leeks, 1 onion, 2 handfuls baby spinach]
method: [Boil.]
variants:
"""


def read(tmp_path: Path, text: str) -> Collection:
    (tmp_path / "soup.yaml").write_text(text, encoding="utf-8")
    return ingest(tmp_path / "soup.yaml")


def lines_of(found: Collection, variant_id: str) -> list[list]:
    return found.lines.loc[found.lines["variant_id"] == variant_id, ["line_no", "text", "origin"]].to_numpy().tolist()


# ---------------------------------------------------------------- written variants

def test_an_amount_is_changed_in_its_own_words(tmp_path):
    found = read(tmp_path, SOUP + "  - {id: less, change: [{line: baby spinach, from: 2 handfuls, to: 1 handful}]}\n")
    assert found.problems == []
    assert lines_of(found, "less") == [[1, "2 leeks", "base"], [2, "1 onion", "base"], [3, "1 handful baby spinach", "changed"]]


def test_a_variant_builds_on_another_one_wherever_it_is_written(tmp_path):
    found = read(tmp_path, SOUP + """
  - {id: for-two, of: no-greens, portions: 2, change: [{line: 200 g cod, from: 200 g, to: 150 g}]}
  - {id: no-greens, of: with-cod, leave_out: [spinach]}
  - {id: with-cod, add: [200 g cod], add_method: [Poach the cod.]}
""")
    assert found.problems == []
    assert lines_of(found, "no-greens") == [[1, "2 leeks", "base"], [2, "1 onion", "base"], [4, "200 g cod", "added"]]
    # A line that a variant added stays the point of what is built on it.
    assert lines_of(found, "for-two")[-1] == [4, "150 g cod", "added"]
    assert dict(zip(found.variants["variant_id"], found.variants["portions"])) == {"base": 4, "for-two": 2, "no-greens": 4, "with-cod": 4}
    assert found.steps.loc[found.steps["variant_id"] == "for-two", "text"].tolist() == ["Boil.", "Poach the cod."]


def test_variants_that_build_on_each_other_are_left_out_by_name(tmp_path):
    found = read(tmp_path, SOUP + "  - {id: one, of: two, add: [1 egg]}\n  - {id: two, of: one, add: [1 egg]}\n  - {id: fine, add: [1 egg]}\n")
    assert found.variants["variant_id"].tolist() == ["base", "fine"]
    assert [problem.code for problem in found.problems] == ["variant-of", "variant-of"]
    assert all("built on this one: the variants go round in a circle" in problem.what for problem in found.problems)


def test_a_mistyped_line_is_answered_with_the_nearest_one_and_what_rests_on_it_says_so(tmp_path):
    found = read(tmp_path, SOUP + "  - {id: one, leave_out: [2 leaks]}\n  - {id: two, of: one, add: [1 egg]}\n  - {id: three, leave_out: [a plum]}\n")
    told = {problem.what: problem.remedy for problem in found.problems}
    typo, far, rest = (next(what for what in told if words in what) for words in ("2 leaks", "a plum", "of 'one'"))
    assert "no line of the recipe matches '2 leaks'" in typo and told[typo].endswith("did you mean '2 leeks'?")
    assert "did you mean" not in told[far] and "which was left out itself" in rest


# ---------------------------------------------------------------- with and without

def served(tmp_path: Path, *ingredients: str) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    rows = "".join(f"  - {line}\n" for line in ingredients)
    found = read(tmp_path, f"id: soup\nname: Soup\nportions: 4\nunits: uk\ningredients:\n{rows}method: [Boil.]\n")
    words = decisions.load()
    vocabulary = (words.unit_words, words.sizes, words.states, words.preparations)
    parsed, _ = parse(found.lines, *vocabulary)
    made = with_optional(found.lines, parsed, found.variants, found.steps)
    for model, table in zip((Lines, Variants, Steps), made, strict=True):
        pd.testing.assert_frame_equal(checked(model, table, "test"), table)
    again = with_optional(made[0], parse(made[0], *vocabulary)[0], *made[1:])
    assert all(one is other for one, other in zip(again, made, strict=True))
    return made


def numbers(lines: pd.DataFrame) -> dict[str, list[int]]:
    return lines.groupby("variant_id")["line_no"].agg(list).to_dict()


PARSLEY, CREAM, RICE, BREAD = "parsley, to serve (optional)", "2 tbsp cream (optional)", "200 g rice, to serve", "4 slices bread, to serve"


@pytest.mark.parametrize(("more", "expected"), [
    ([], {}),
    ([PARSLEY], {"with-optional": [1, 2, 3]}),
    ([PARSLEY, CREAM], {"with-optional": [1, 2, 3, 4], "with-line-3": [1, 2, 3], "with-line-4": [1, 2, 4]}),
    ([PARSLEY, CREAM, "1 chilli (optional)", "1 lime (optional)"], {"with-optional": [1, 2, 3, 4, 5, 6]}),
    ([RICE], {"without-line-3": [1, 2]}),
    ([RICE, BREAD], {"without-line-3": [1, 2, 4], "without-line-4": [1, 2, 3], "without-served": [1, 2]}),
    ([RICE, PARSLEY], {"with-optional": [1, 2, 3, 4], "without-line-3": [1, 2]}),
])
def test_optional_and_to_serve_lines_make_variants(tmp_path, more, expected):
    lines, variants, steps = served(tmp_path, "2 leeks", "1 onion", *more)
    found = numbers(lines)
    assert found.pop("base") == list(range(1, 3 + len(more)))
    assert found == expected
    made = variants[variants["variant_id"] != "base"]
    assert set(made["kind"]) <= {"optional"} and (made["portions"] == 4).all()
    assert steps.groupby("variant_id")["text"].agg(list).to_dict() == {variant: ["Boil."] for variant in variants["variant_id"]}


def test_their_names_say_the_food(tmp_path):
    _, variants, _ = served(tmp_path, "2 leeks", RICE, PARSLEY, CREAM)
    assert dict(zip(variants["variant_id"], variants["name"])) == {
        "base": "As written", "with-line-3": "With parsley", "with-line-4": "With cream", "with-optional": "With the optional lines",
        "without-line-2": "Without rice"}


def test_a_dish_of_served_lines_alone_is_not_emptied(tmp_path):
    lines, _, _ = served(tmp_path, RICE, PARSLEY)
    assert set(numbers(lines)) == {"base", "with-optional"}
