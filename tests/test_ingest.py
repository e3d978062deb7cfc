"""Ingest: every format, every way of being broken, and the demo collection."""

from __future__ import annotations

import textwrap
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.problems import ERROR, WARNING, InputError
from pipeline.stages.ingest import ingest
from pipeline.stages.ingest_amounts import mass_of, portions_of, printed_amounts
from pipeline.stages.ingest_written import Notes, slug, words
from pipeline.tables import Lines, Published, Recipes, Steps, Variants, checked

DEMO = Path(__file__).resolve().parents[1] / "reference" / "demo"
GOOD = """\
id: good-soup
name: Good soup
portions: 4
units: uk
ingredients:
  - 2 leeks
  - 100 g rice
method:
  - Simmer it all for 20 minutes.
"""


def write(folder: Path, **files: str | bytes) -> Path:
    """Files of a collection; the last "_" of a name is the dot before its ending."""
    for name, content in files.items():
        content = content if isinstance(content, bytes) else textwrap.dedent(content).encode()
        (folder / ".".join(name.rsplit("_", 1))).write_bytes(content)
    return folder


def recipe(**changes: str) -> str:
    """GOOD under the id ``bad``, with single top-level keys replaced or, where empty, taken away."""
    blocks = {"id": "id: bad\n", "name": "name: Bad\n", "portions": "portions: 4\n", "units": "units: uk\n"}
    blocks |= {"ingredients": "ingredients:\n  - 2 leeks\n  - 1 onion\n", "method": "method:\n  - Boil.\n"}
    blocks |= {key: f"{value}\n" if value else "" for key, value in changes.items()}
    return "".join(blocks.values())


def only(collection, code: str):
    """The one problem of a collection, which must have this code."""
    assert [problem.code for problem in collection.problems] == [code], [str(problem) for problem in collection.problems]
    return collection.problems[0]


# ---------------------------------------------------------------- what a good collection gives

def test_a_recipe_becomes_tables_that_keep_its_words(tmp_path):
    found = ingest(write(tmp_path, soup_yaml=GOOD))
    assert found.problems == []
    assert found.recipes.iloc[0].to_dict() | {"finished_mass_g": 0} == {
        "recipe_id": "good-soup", "name": "Good soup", "portions": 4.0, "units_system": "uk", "food_form": "solid",
        "finished_mass_g": 0, "course": "", "source_file": "soup.yaml", "source_line": 1,
    }
    assert found.lines[["line_id", "text", "source_line"]].to_numpy().tolist() == [
        ["good-soup/base/1", "2 leeks", 6], ["good-soup/base/2", "100 g rice", 7]]
    assert found.steps["text"].tolist() == ["Simmer it all for 20 minutes."]
    assert found.files["bytes"].tolist() == [len(GOOD)] and found.files["sha256"].str.len().tolist() == [64]
    for model, table in ((Recipes, found.recipes), (Variants, found.variants), (Lines, found.lines), (Steps, found.steps), (Published, found.published)):
        pd.testing.assert_frame_equal(checked(model, table, "test"), table)


def test_a_list_several_documents_and_a_folder_below_are_read(tmp_path):
    (tmp_path / "below").mkdir()
    write(tmp_path / "below", deep_yml=GOOD)
    listed = "recipes:\n" + textwrap.indent(recipe(id="id: first"), "    ").replace("    id", "  - id", 1)
    write(tmp_path, list_yaml=listed, docs_yaml=recipe(id="id: second") + "---\n" + recipe(id="id: third"))
    found = ingest(tmp_path)
    assert found.problems == []
    assert found.recipes["recipe_id"].tolist() == ["first", "good-soup", "second", "third"]
    assert found.recipes.set_index("recipe_id")["source_file"]["good-soup"] == "below/deep.yml"
    assert found.recipes.set_index("recipe_id")["source_line"].to_dict() == {"first": 2, "good-soup": 1, "second": 1, "third": 11}


def test_headings_give_sections_and_a_line_with_a_colon_stays_a_line(tmp_path):
    ingredients = 'ingredients:\n  - 1 leek\n  - {heading: Top}\n  - ""\n  - 1 egg\n  - "For the sauce:"\n  - 2 tbsp milk'
    found = ingest(write(tmp_path, a_yaml=recipe(ingredients=ingredients)))
    assert found.lines[["text", "section"]].to_numpy().tolist() == [
        ["1 leek", ""], ["1 egg", "Top"], ["For the sauce:", "For the sauce"], ["2 tbsp milk", "For the sauce"]]
    assert only(found, "line-empty").where == "a.yaml, line 8"


def test_collection_file_gives_name_and_units(tmp_path):
    write(tmp_path, collection_yaml="name: Club\nunits: us\n", a_yaml=recipe(units=""), b_yaml=GOOD)
    found = ingest(tmp_path)
    assert found.name == "Club" and found.problems == []
    assert found.recipes["units_system"].tolist() == ["us", "uk"]


def test_units_that_nobody_gave_are_assumed_aloud(tmp_path):
    assert only(ingest(write(tmp_path, a_yaml=recipe(units=""))), "units-assumed").severity == WARNING


def test_a_collection_head_below_the_top_is_not_read_in_silence(tmp_path):
    (tmp_path / "below").mkdir()
    write(tmp_path / "below", collection_yaml="units: us\n", a_yaml=GOOD)
    assert only(ingest(tmp_path), "head-below").where == "below/collection.yaml"


def test_order_on_disk_does_not_matter(tmp_path):
    names = ["c", "a", "b"]
    folders = [tmp_path / "one", tmp_path / "two"]
    for folder, order in zip(folders, (names, names[::-1]), strict=True):
        folder.mkdir()
        for name in order:
            (folder / f"{name}.yaml").write_text(recipe(id=f"id: {name}", portions="portions: about 4"))
    first, second = (ingest(folder) for folder in folders)
    for table in ("recipes", "variants", "lines", "steps", "published", "printed_claims", "files"):
        pd.testing.assert_frame_equal(getattr(first, table), getattr(second, table))
    assert first.problems == second.problems and len(first.problems) == 3


def test_figures_and_claims_in_print_keep_their_unit_and_variant(tmp_path):
    printed = """
        published:
          - {printed_in: Leaflet, figures: {K: 210 mg, NA: 0.1 g, ENERC: 750 kJ / 180 kcal, P: lots}}
          - {printed_in: Card, variant: two, basis: 100g, figures: {K: [90 mg]}}
          - {printed_in: Card, variant: nowhere, figures: {K: 90 mg}}
          - {printed_in: Card, figures: {POTASIUM: 90 mg}}
        claims: [low-salt, {claim: high-fibre, printed_in: Card, variant: two}]
        variants: [{id: two, portions: 2}]
        """
    found = ingest(write(tmp_path, a_yaml=recipe() + textwrap.dedent(printed)), components={"K", "NA", "ENERC", "P"})
    assert found.published.drop(columns="recipe_id").to_numpy().tolist() == [
        ["base", "ENERC", "portion", 750.0, "kJ", "Leaflet"], ["base", "ENERC", "portion", 180.0, "kcal", "Leaflet"],
        ["base", "K", "portion", 210.0, "mg", "Leaflet"], ["base", "NA", "portion", 0.1, "g", "Leaflet"],
        ["two", "K", "100g", 90.0, "mg", "Card"]]
    assert found.printed_claims.to_numpy().tolist() == [["bad", "base", "low-salt", ""], ["bad", "two", "high-fibre", "Card"]]
    assert [(problem.code, problem.severity) for problem in found.problems] == [("printed-figure", WARNING)] * 3


# ---------------------------------------------------------------- variants

VARIANTS = """
variants:
  - id: with-cod
    name: With cod
    portions: 2
    add: [200 g cod]
    leave_out: [LEEKS]
    replace: [{line: 1 onion, with: 1 shallot}]
    add_method: [Poach the cod.]
  - {id: quick, method: [Microwave.], leave_out: [1 onion]}
"""


def test_variants_are_written_out_in_full(tmp_path):
    found = ingest(write(tmp_path, a_yaml=recipe() + VARIANTS))
    assert found.problems == []
    assert found.variants.drop(columns="recipe_id").to_numpy().tolist() == [
        ["base", "As written", "base", 4.0], ["quick", "quick", "written", 4.0], ["with-cod", "With cod", "written", 2.0]]
    cod = found.lines[found.lines["variant_id"] == "with-cod"]
    assert cod[["line_no", "text", "origin", "source_line"]].to_numpy().tolist() == [[2, "1 shallot", "replaced", 17], [3, "200 g cod", "added", 15]]
    assert found.steps[["variant_id", "step_no", "text"]].to_numpy().tolist() == [
        ["base", 1, "Boil."], ["quick", 1, "Microwave."], ["with-cod", 1, "Boil."], ["with-cod", 2, "Poach the cod."]]


@pytest.mark.parametrize(("change", "code"), [
    ("leave_out: [3 swedes]", "line-not-found"),
    ("leave_out: [2 leeks, 1 onion]", "no-lines"),
    ("leave_out: [2 leeks, leeks]", "line-named-twice"),
    ("leave_out: [2 leeks], replace: [{line: 2 leeks, with: 1 egg}]", "line-named-twice"),
    ("replace: [{line: 2 leeks}]", "replacement"),
    ("add: [5]", "line-not-text"),
    ("portions: 0", "portions-absurd"),
    ("name: Nothing", "variant-empty"),
    ("id: base, add: [1 egg]", "id-form"),
    ("id: with-optional, add: [1 egg]", "id-form"),
    ("id: without-line-2, add: [1 egg]", "id-form"),
    ("of: nothing, add: [1 egg]", "variant-of"),
    ("of: broken, add: [1 egg]", "variant-of"),
    ("change: [{line: 2 leeks, from: 2}]", "amount-change"),
    ("change: [{line: 2 leeks, from: 3, to: 1}]", "amount-not-found"),
    ("change: [{line: 2 leeks, from: 2, to: 1}], leave_out: [2 leeks]", "line-named-twice"),
    ("id: fine, add: [1 egg]", "variant-twice"),
])
def test_a_broken_variant_takes_nothing_else_down(tmp_path, change, code):
    change = change if change.startswith("id:") else f"id: broken, {change}"
    text = recipe() + f"variants:\n  - {{id: fine, add: [1 egg]}}\n  - {{{change}}}\n"
    found = ingest(write(tmp_path, a_yaml=text))
    problem = only(found, code)
    assert problem.severity == ERROR and "was left out" in problem.what and problem.where.startswith("a.yaml, line 1")
    assert found.variants["variant_id"].tolist() == ["base", "fine"]


@pytest.mark.parametrize(("named", "found_lines"), [("egg", 2), ("1 leek", 2), ("1 egg", 1), ("egg yolk", 1)])
def test_a_line_is_named_by_its_words_or_by_a_part_that_no_other_has(tmp_path, named, found_lines):
    text = recipe(ingredients="ingredients: [1 egg, 1 egg yolk, 1 leek, 1 leek]") + f"variants: [{{id: less, leave_out: [{named}]}}]\n"
    found = ingest(write(tmp_path, a_yaml=text))
    assert found.variants["variant_id"].tolist() == (["base"] if found_lines == 2 else ["base", "less"])
    if found_lines == 2:
        assert "2 lines of the recipe match" in only(found, "line-not-found").what


# ---------------------------------------------------------------- broken recipes and files

BROKEN = {
    "no portions": (recipe(portions=""), "no-portions", 1),
    "no lines": (recipe(ingredients=""), "no-lines", 1),
    "empty lines": (recipe(ingredients="ingredients:"), "no-lines", 1),
    "no name": (recipe(name=""), "no-name", 1),
    "portions zero": (recipe(portions="portions: 0"), "portions-absurd", 3),
    "portions negative": (recipe(portions="portions: -4"), "portions-absurd", 3),
    "portions absurd": (recipe(portions="portions: 1001"), "portions-absurd", 3),
    "portions infinite": (recipe(portions="portions: .inf"), "portions-unreadable", 3),
    "portions in cups": (recipe(portions="portions: 2 cups"), "portions-unreadable", 3),
    "portions of two kinds": (recipe(portions="portions: 1 loaf (12 slices)"), "portions-unreadable", 3),
    "portions a list": (recipe(portions="portions: [4, 6]"), "portions-unreadable", 3),
    "id form": (recipe(id="id: Bad Soup"), "id-form", 1),
    "units": (recipe(units="units: imperial"), "not-a-choice", 4),
    "mass": (recipe(units="finished_mass: 3 pints"), "finished-mass", 4),
    "a number as a line": (recipe(ingredients="ingredients:\n  - 2 leeks\n  - 3"), "line-not-text", 7),
    "a nested line": (recipe(ingredients="ingredients:\n  - 2 leeks\n  - [1 egg]"), "line-not-text", 7),
    "a line with a colon": (recipe(ingredients="ingredients:\n  - Note: 2 leeks"), "line-not-text", 6),
    "lines as text": (recipe(ingredients="ingredients: 2 leeks"), "not-a-list", 5),
    "a long line": (recipe(ingredients=f"ingredients:\n  - {'leek ' * 201}"), "line-too-long", 6),
    "10,000 lines": (recipe(ingredients="ingredients:\n" + "  - 1 leek\n" * 10_000), "too-many-lines", 1),
    "a control character": (recipe(ingredients='ingredients: ["1 \\u0007 leek"]'), "control-character", 5),
    "a lost character": (recipe(ingredients="ingredients: [\ufffd leek]"), "garbled", 5),
    "a fraction read as Latin-1": (recipe(ingredients="ingredients: [\u00c2\u00bd leek]"), "garbled", 5),
    "a key twice": (recipe() + "portions: 6\n", "key-twice", 10),
    "not a recipe": ("just some words\n", "not-a-recipe", 1),
    "YAML that breaks": ("name: [unclosed\nportions: 4\n", "yaml-broken", 2),
    "a YAML tag": ("name: !!python/object:os.system x\n", "yaml-tag", 1),
    "an unknown alias": (recipe(ingredients="ingredients: [*leek]"), "yaml-alias", 5),
    "deep nesting": ("a: " + "[" * 60 + "]" * 60, "yaml-nested", 1),
    "deep nesting in YAML, very": ("a: " + "[" * 100_000, "yaml-nested", 1),
    "an empty file": ("", "file-empty", None),
    "comments alone": ("# nothing\n", "file-empty", None),
    "Latin-1 bytes": (recipe().encode() + "note: \u00bd cup\n".encode("latin-1"), "encoding", 10),
    "Latin-1 bytes behind a mark": (b"\xef\xbb\xbf" + recipe().encode() + "note: \u00bd cup\n".encode("latin-1"), "encoding", 10),
    "an absurd mass": (recipe(units="finished_mass: 2000 kg"), "finished-mass", 4),
    "portions without end": (recipe(portions=f"portions: {'1' * 100_000}"), "portions-unreadable", 3),
    "a line of blanks": (recipe(ingredients=f"ingredients: ['a{' ' * 200_000}b']"), "line-too-long", 5),
    "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "not-text", None),
    "zero bytes": (recipe().encode() + b"\0", "not-text", None),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_recipe_is_named_and_takes_no_other_down(tmp_path, case):
    content, code, line = BROKEN[case]
    found = ingest(write(tmp_path, bad_yaml=content, good_yaml=GOOD))
    problem = only(found, code)
    assert problem.severity == ERROR and problem.stage == "ingest" and problem.remedy
    place = "bad.yaml" if line is None else f"bad.yaml, line {line}"
    assert problem.where == place or problem.where.startswith(f"{place}, column ")
    assert found.recipes["recipe_id"].tolist() == ["good-soup"]


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_recipe_alone_is_an_input_error(tmp_path, case):
    content, code, _ = BROKEN[case]
    with pytest.raises(InputError) as caught:
        ingest(write(tmp_path, bad_yaml=content))
    assert {problem.code for problem in caught.value.problems} in ({code, "collection-empty"}, {code, "collection-empty", "units-assumed"})


def test_an_alias_bomb_stays_small_and_is_refused(tmp_path):
    bomb = "a0: &a0 [x, x]\n" + "".join(f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]\n" for n in range(1, 30))
    found = ingest(write(tmp_path, bomb_yaml=bomb + "ingredients: *a29\n", good_yaml=GOOD))
    assert found.recipes["recipe_id"].tolist() == ["good-soup"]
    assert "line-not-text" in {problem.code for problem in found.problems}


def test_a_shared_value_by_alias_is_read(tmp_path):
    found = ingest(write(tmp_path, a_yaml=recipe(ingredients="ingredients: [&fat 1 tbsp oil, 1 leek, *fat]")))
    assert found.lines["text"].tolist() == ["1 tbsp oil", "1 leek", "1 tbsp oil"]


@pytest.mark.parametrize(("text", "code"), [
    (recipe() + "ingridients: [1 egg]\n", "unknown-key"),
    (recipe(id=""), "id-derived"),
    (recipe(method=""), "no-method"),
    (recipe(ingredients="ingredients:\n  - 1 tin #2 tomatoes\n  - 1 leek"), "comment-on-line"),
    (recipe(portions="portions: Serves 4-6"), "portions-uncertain"),
    (recipe(portions="portions: about 6"), "portions-uncertain"),
    (recipe(portions="portions: makes 12 muffins"), "portions-from-text"),
])
def test_a_doubt_is_a_warning_and_the_recipe_stays(tmp_path, text, code):
    found = ingest(write(tmp_path, a_yaml=text))
    assert only(found, code).severity == WARNING and len(found.recipes) == 1


def test_an_unknown_key_comes_with_the_one_that_may_be_meant(tmp_path):
    problem = only(ingest(write(tmp_path, a_yaml=recipe() + "varients: []\n")), "unknown-key")
    assert "'varients'" in problem.what and "'variants'" in problem.remedy and problem.where == "a.yaml, line 10"


def test_an_id_given_twice_drops_both_and_names_both(tmp_path):
    found = ingest(write(tmp_path, a_yaml=recipe(), b_yaml=recipe(), good_yaml=GOOD))
    assert [(problem.code, problem.where, problem.recipe_id) for problem in found.problems] == [
        ("id-twice", "a.yaml, line 1", "bad"), ("id-twice", "b.yaml, line 1", "bad")]
    assert "b.yaml, line 1" in found.problems[0].what
    assert found.recipes["recipe_id"].tolist() == ["good-soup"]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-be"])
def test_text_with_a_byte_order_mark_is_read(tmp_path, encoding):
    text = GOOD.replace("2 leeks", "½ leek, sautéed").replace("\n", "\r\n")
    mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
    found = ingest(write(tmp_path, a_yaml=mark + text.encode(encoding)))
    assert found.problems == [] and found.lines["text"][0] == "½ leek, sautéed" and found.lines["source_line"][1] == 7


def test_a_file_that_is_too_large_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.stages.ingest_files.LARGEST_FILE", len(GOOD))
    found = ingest(write(tmp_path, big_yaml=GOOD + "# padding", good_yaml=GOOD))
    assert only(found, "file-too-large").where == "big.yaml" and len(found.recipes) == 1


@pytest.mark.parametrize("prepare", [
    lambda folder: folder / "missing", lambda folder: folder,
    lambda folder: write(folder, notes_md="# Notes"), lambda folder: write(folder, a_docx="x") / "a.docx",
    lambda folder: write(folder, collection_yaml="name: Club"),
])
def test_a_missing_or_empty_collection_is_an_input_error(tmp_path, prepare):
    with pytest.raises(InputError) as caught:
        ingest(prepare(tmp_path))
    assert all(problem.where and problem.remedy for problem in caught.value.problems)


def test_other_files_are_left_out_aloud_and_hidden_ones_are_not(tmp_path):
    found = ingest(write(tmp_path, a_yaml=GOOD, b_docx="x", notes_md="x", **{".hidden_yaml": "["}))
    assert only(found, "file-kind").where == "b.docx"


# ---------------------------------------------------------------- numbers of the head

@pytest.mark.parametrize(("text", "portions", "warns"), [
    ("4", 4, False), ("4.5", 4.5, False), ("Serves 4", 4, False), ("4 servings", 4, False), ("Servings: 6", 6, False),
    ("serves four", 4, False), ("Serves 4-6", 4, True), ("4–6", 4, True), ("4 to 6 people", 4, True), ("about 4", 4, True),
    ("makes 12 muffins", 12, True), ("Serves 4 (makes 12 pieces)", 4, True), ("a dozen rolls", 12, True), ("1 loaf", 1, True),
    ("", None, False), ("enough", None, False), ("1/2", None, False), ("500 ml", None, False), ("makes 1.5 litres", None, False),
    ("12 x 30 g", None, False), ("0", None, False), ("-3", None, False), ("serves 2000", None, False), ("1,000", None, False),
    ("serves 4, 12 portions", None, False), ("nan", None, False), ("½", None, False),
])
def test_portions(text, portions, warns):
    notes = Notes("a.yaml")
    assert portions_of(text, 3, notes) == portions
    assert [problem.severity for problem in notes.problems] == ([ERROR] if portions is None else [WARNING] if warns else [])


def test_finished_mass_and_printed_amounts():
    notes = Notes("a.yaml")
    assert [mass_of(text, 1, notes) for text in ("1.2 kg", "850g", "about 2 kg")] == [1200, 850, 2000] and not notes.problems
    assert printed_amounts("0.3 g", 1, notes, "NA") == [(0.3, "g")] and printed_amounts("12 µg", 1, notes, "FOL") == [(12, "ug")]
    assert printed_amounts("920kJ/220kcal", 1, notes, "ENERC") == [(920, "kJ"), (220, "kcal")] and not notes.problems
    assert printed_amounts("920 kJ", 1, notes, "K") == [] and printed_amounts("5 mg", 1, notes, "ENERC") == [] and len(notes.problems) == 2


@given(st.text(max_size=60))
@settings(max_examples=150, deadline=None)
def test_any_text_gives_words_portions_and_an_id_without_a_crash(text):
    notes = Notes("a.yaml")
    kept, portions = words(text, 1, notes), portions_of(text, 1, notes)
    assert kept is None or (kept == kept.strip() and "\n" not in kept and kept.encode())
    assert portions is None or 0 < portions <= 1000
    assert slug(text) and slug(text) == slug(slug(text))


# ---------------------------------------------------------------- the demo collection

def test_the_demo_has_no_errors_and_the_wanted_variety():
    found = ingest(DEMO)
    assert [str(problem) for problem in found.problems if problem.severity == ERROR] == []
    assert {problem.code for problem in found.problems} <= {"portions-from-text", "portions-uncertain"}
    assert 26 <= len(found.recipes) <= 32 and len(found.files) == len(found.recipes) + 1
    assert set(found.recipes["course"]) == {"soup", "main", "side", "salad", "baking", "dessert", "sauce", "drink", "breakfast"}
    assert set(found.recipes["food_form"]) == {"solid", "liquid"} and found.recipes["finished_mass_g"].notna().sum() >= 4
    assert (found.variants["kind"] == "written").sum() >= 10 and (found.variants["kind"] == "version").sum() >= 3
    assert found.published["recipe_id"].nunique() >= 15 and found.printed_claims["recipe_id"].nunique() >= 5
    assert found.steps[found.steps["variant_id"] == "base"].groupby("recipe_id").size().between(4, 9).all()
    text = "\n".join(found.lines["text"])
    for words_of_a_cook in ("a glug", "a pinch", "1 small onion", "1 x 400 g tin", "2-3 cloves", "a handful", "to taste", "(optional)", "½", "wine"):
        assert words_of_a_cook in text
