"""A recipe as made and as printed, as a team writes it. Invented dishes."""

from __future__ import annotations

import pytest

from pipeline.problems import ERROR
from pipeline.stages.ingest import ingest

RECIPE = """id: pot
name: Pot
portions: 4
units: uk
ingredients: [2 leeks, 1 onion, 1 tbsp oil]
method: [Boil.]
"""


def read(tmp_path, more):
    (tmp_path / "pot.yaml").write_text(RECIPE + more, encoding="utf-8")
    return ingest(tmp_path / "pot.yaml")


def test_versions_are_variants_of_their_own(tmp_path):
    found = read(tmp_path, """
versions:
  - as: made
    where: film of a Tuesday
    leave_out: [onion]
    add: [1 shallot]
    add_method: [Drizzle with oil.]
  - as: printed
    portions: 2
    ingredients: [1 shallot, 2 leeks]
    method: [Steam.]
  - {as: printed, id: as-printed-again, where: second leaflet}
""")
    assert found.problems == []
    assert found.variants.drop(columns="recipe_id").to_numpy().tolist() == [
        ["as-made", "As made (film of a Tuesday)", "version", 4.0], ["as-printed", "As printed", "version", 2.0],
        ["as-printed-again", "As printed (second leaflet)", "version", 4.0], ["base", "As written", "base", 4.0]]
    lines = {name: rows[["line_no", "text", "origin"]].to_numpy().tolist() for name, rows in found.lines.groupby("variant_id")}
    assert lines["as-made"] == [[1, "2 leeks", "base"], [3, "1 tbsp oil", "base"], [4, "1 shallot", "added"]]
    assert lines["as-printed"] == [[1, "1 shallot", "added"], [2, "2 leeks", "base"]]
    assert lines["as-printed-again"] == lines["base"]  # nothing is said to differ
    steps = {name: rows["text"].tolist() for name, rows in found.steps.groupby("variant_id")}
    assert (steps["as-made"], steps["as-printed"]) == (["Boil.", "Drizzle with oil."], ["Steam."])


def test_what_is_in_print_may_name_the_version_that_it_describes(tmp_path):
    found = read(tmp_path, """
published:
  - {printed_in: Card, version: printed, figures: {K: 210 mg}}
  - {printed_in: Card, figures: {K: 200 mg}}
claims: [low-salt, {claim: high-fibre, version: as-printed}]
versions: [{as: printed, portions: 2, published: [{printed_in: Poster, figures: {P: 90 mg}}]}]
""")
    assert found.problems == []
    assert found.published[["variant_id", "component", "value"]].to_numpy().tolist() == [
        ["as-printed", "K", 210.0], ["as-printed", "P", 90.0], ["base", "K", 200.0]]
    assert found.printed_claims[["variant_id", "claim"]].to_numpy().tolist() == [["as-printed", "high-fibre"], ["base", "low-salt"]]


@pytest.mark.parametrize(("version", "code"), [
    ("where: a film", "version-as"), ("as: filmed", "version-as"), ("as: made, ingredients: [1 egg], add: [1 leek]", "version-twice"),
    ("as: made, leave_out: [swede]", "line-not-found"), ("as: made, ingredients: []", "no-lines"), ("as: made, ingredients: 2 leeks", "not-a-list"),
    ("as: made, portions: 0", "portions-absurd"), ("as: made, id: base", "id-form"), ("as: printed, portions: 3", "variant-twice"),
    ("as: made, ingredients: [{egg: 1}]", "line-not-text"),
])
def test_a_broken_version_is_one_clear_error_and_the_rest_goes_on(tmp_path, version, code):
    found = read(tmp_path, f"versions:\n  - {{as: printed, portions: 2}}\n  - {{{version}}}\n")
    errors = [problem for problem in found.problems if problem.severity == ERROR]
    assert [problem.code for problem in errors] == [code]
    assert "was left out" in errors[0].what and errors[0].where.startswith("pot.yaml, line 9") and errors[0].remedy
    assert found.variants["variant_id"].tolist() == ["as-printed", "base"]


def test_versions_that_are_no_list_stop_the_recipe_with_one_error(tmp_path):
    (tmp_path / "sound.yaml").write_text(RECIPE.replace("id: pot", "id: sound"), encoding="utf-8")
    (tmp_path / "pot.yaml").write_text(RECIPE + "versions: as made\n", encoding="utf-8")
    found = ingest(tmp_path)
    assert [problem.code for problem in found.problems if problem.severity == ERROR] == ["not-a-list"]
    assert found.recipes["recipe_id"].tolist() == ["sound"]


def test_an_unknown_key_of_a_version_is_told(tmp_path):
    found = read(tmp_path, "versions: [{as: made, leaveout: [onion]}]\n")
    problem, = found.problems
    assert problem.code == "unknown-key" and "leave_out" in problem.remedy
