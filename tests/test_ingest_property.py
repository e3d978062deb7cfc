"""Whatever stands where a recipe should: ingest gives tables or an InputError, and every problem says where."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.problems import InputError
from pipeline.stages.ingest import ingest
from pipeline.stages.ingest_yaml import RECIPE_KEYS, VARIANT_KEYS

SCHEMA_KEYS = (
    "name", "recipeYield", "recipeIngredient", "recipeInstructions", "nutrition", "identifier", "@id", "url",
    "recipeCategory", "inLanguage", "@type", "text", "value", "itemListElement", "item", "sodiumContent", "calories",
)
_words = st.sampled_from(["", " ", "2 leeks", "1 egg", "4", "Serves 4-6", "base", "K", "210 mg", "portion", "Recipe", "½ cup", "<b>", "&amp;"])
_leaves = st.one_of(st.none(), st.booleans(), st.integers(-5, 2000), st.floats(), _words, st.text(max_size=8))


def _values(keys: tuple[str, ...]) -> st.SearchStrategy:
    return st.recursive(_leaves, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(keys) | st.text(max_size=5), inner, max_size=4), max_leaves=8)


def _outcome(content: str | bytes, name: str, **beside: str) -> None:
    """``beside``: further CSV files of the folder."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8", "surrogatepass"))
        for other, text in beside.items():
            (Path(folder) / f"{other}.csv").write_text(text, encoding="utf-8")
        try:
            problems = ingest(folder).problems
        except InputError as error:
            problems = error.problems
    assert all(problem.where and problem.what and problem.remedy and problem.code for problem in problems)


@given(st.dictionaries(st.sampled_from(SCHEMA_KEYS), _values(SCHEMA_KEYS)))
@settings(max_examples=150, deadline=None)
def test_any_json(item):
    good = {"name": "Soup", "recipeYield": 4, "recipeIngredient": ["1 leek"]}
    _outcome(json.dumps(good | item | {"@type": "Recipe"}), "a.json")


@given(st.dictionaries(st.sampled_from(RECIPE_KEYS), _values(RECIPE_KEYS + VARIANT_KEYS + ("heading", "line", "with", "figures"))))
@settings(max_examples=150, deadline=None)
def test_any_yaml(item):
    _outcome(json.dumps({"id": "a", "name": "A", "portions": 2, "ingredients": ["1 leek", "1 egg"]} | item), "a.yaml")


@given(st.binary(max_size=80) | st.text(max_size=80), st.sampled_from(["a.yaml", "a.json", "a.xlsx", "recipes.csv"]))
@settings(max_examples=150, deadline=None)
def test_any_bytes(content, name):
    _outcome(content, name)


@given(st.lists(st.lists(_words | st.text(max_size=5), max_size=4), max_size=5))
@settings(max_examples=80, deadline=None)
def test_any_sheet(rows):
    import csv
    import io

    out = io.StringIO()
    csv.writer(out).writerows([["recipe_id", "text", "line_no"], *rows])
    _outcome(out.getvalue(), "lines.csv", recipes="recipe_id,name,portions\nbase,Base,4\n")
