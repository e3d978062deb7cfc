"""Recipes in schema.org JSON-LD.

Source: schema.org, types Recipe, HowToStep, HowToSection, HowToDirection, HowToTip, ItemList, PropertyValue,
QuantitativeValue and NutritionInformation (https://schema.org/Recipe and the pages it refers to), and JSON-LD
1.1 (W3C) for @graph, @id, @type and @value; from memory. Every example is written for this test.
"""

from __future__ import annotations

import json

import pytest

from pipeline.problems import ERROR, WARNING, InputError
from pipeline.stages.ingest import ingest

SOUP = {
    "@context": "https://schema.org", "@type": "Recipe", "name": "Leek soup", "inLanguage": "en-GB", "recipeYield": "4",
    "recipeIngredient": ["2 leeks", "100 g rice"], "recipeInstructions": "Simmer for 20 minutes.",
}


def load(folder, content, name="a.json"):
    text = content if isinstance(content, str) else json.dumps(content, indent=1)
    (folder / name).write_text(text)
    return ingest(folder)


def codes(collection):
    return [problem.code for problem in collection.problems]


# ---------------------------------------------------------------- where the recipe stands in the document

@pytest.mark.parametrize("wrap", [
    lambda soup: soup,
    lambda soup: [soup],
    lambda soup: {"@context": "https://schema.org", "@graph": [{"@type": "WebSite", "name": "x"}, soup]},
    lambda soup: soup | {"@type": ["Recipe", "NewsArticle"]},
    lambda soup: soup | {"@type": "https://schema.org/Recipe"},
    lambda soup: {"schema:" + key if key[0] != "@" else key: value for key, value in soup.items()} | {"@type": "schema:Recipe"},
    lambda soup: {"@type": "WebPage", "mainEntity": soup},
    lambda soup: {"@type": "ItemList", "itemListElement": [{"@type": "ListItem", "position": 1, "item": soup}]},
])
@pytest.mark.parametrize("name", ["a.json", "a.jsonld"])
def test_a_recipe_is_found_wherever_it_stands(tmp_path, wrap, name):
    found = load(tmp_path, wrap(SOUP), name)
    assert found.problems == []
    assert found.recipes[["recipe_id", "name", "portions", "units_system"]].to_numpy().tolist() == [["leek-soup", "Leek soup", 4.0, "uk"]]
    assert found.lines["text"].tolist() == ["2 leeks", "100 g rice"] and found.steps["text"].tolist() == ["Simmer for 20 minutes."]


def test_lines_know_the_line_of_the_file(tmp_path):
    text = '{\n "@type": "Recipe", "name": "Soup", "inLanguage": "en-GB",\n "recipeYield": 4,\n "recipeIngredient": [\n  "1 \\u00bd leeks",\n\n  "1 \\"big\\" egg"],\n "recipeInstructions": "Boil."}'
    found = load(tmp_path, text)
    assert found.lines[["text", "source_line"]].to_numpy().tolist() == [["1 ½ leeks", 5], ['1 "big" egg', 7]]


# ---------------------------------------------------------------- ids

@pytest.mark.parametrize(("given", "expected"), [
    ({"identifier": "bay-7"}, "bay-7"),
    ({"identifier": {"@type": "PropertyValue", "propertyID": "club", "value": "Bay 7"}}, "bay-7"),
    ({"identifier": 12}, "12"),
    ({"@id": "https://example.org/recipes/bay-soup/#recipe"}, "bay-soup"),
    ({"@id": "_:b0"}, "leek-soup"),
    ({"@id": "#recipe", "url": "https://example.org/soup%20one.html?x=1"}, "soup-one"),
    ({"url": "https://example.org/"}, "leek-soup"),
    ({"name": "Crème & leek"}, "creme-leek"),
])
def test_the_id_comes_from_identifier_address_or_name(tmp_path, given, expected):
    assert load(tmp_path, SOUP | given).recipes["recipe_id"].tolist() == [expected]


def test_equal_ids_are_numbered_aloud_and_in_the_order_of_files(tmp_path):
    (tmp_path / "b.json").write_text(json.dumps([SOUP, SOUP]))
    found = load(tmp_path, SOUP)
    assert found.recipes[["recipe_id", "source_file"]].to_numpy().tolist() == [
        ["leek-soup", "a.json"], ["leek-soup-2", "b.json"], ["leek-soup-3", "b.json"]]
    assert codes(found) == ["id-numbered"] * 2 and all(problem.severity == WARNING for problem in found.problems)


def test_a_given_id_keeps_its_name_before_a_derived_one(tmp_path):
    (tmp_path / "z.yaml").write_text("id: leek-soup\nname: Other\nportions: 2\nunits: uk\ningredients: [1 leek]\nmethod: [Boil.]\n")
    found = load(tmp_path, SOUP)
    assert found.recipes.set_index("recipe_id")["source_file"].to_dict() == {"leek-soup": "z.yaml", "leek-soup-2": "a.json"}


# ---------------------------------------------------------------- ingredients

@pytest.mark.parametrize(("ingredients", "expected"), [
    ("2 leeks", ["2 leeks"]),
    ("2 leeks\n1 egg", ["2 leeks", "1 egg"]),
    (["&frac12; leek", "salt &amp; pepper", "1 &amp;frac14; cr&egrave;me"], ["½ leek", "salt & pepper", "1 ¼ crème"]),
    (["<b>2</b> leeks", "1 <a href='/x'>egg</a>"], ["2 leeks", "1 egg"]),
    (["1 cup < 250 ml", "1 <secret> egg"], ["1 cup < 250 ml", "1 <secret> egg"]),
    (["1<sup>1</sup>/<sub>2</sub> cups milk"], ["1 1/2 cups milk"]),
    ([{"@value": "2 leeks", "@language": "en"}], ["2 leeks"]),
    ([" 2  leeks "], ["2  leeks"]),
])
def test_ingredients_keep_their_words(tmp_path, ingredients, expected):
    found = load(tmp_path, SOUP | {"recipeIngredient": ingredients})
    assert found.problems == [] and found.lines["text"].tolist() == expected


def test_the_older_name_of_ingredients_is_read(tmp_path):
    older = {key: value for key, value in SOUP.items() if key != "recipeIngredient"} | {"ingredients": ["1 leek"]}
    assert load(tmp_path, older).lines["text"].tolist() == ["1 leek"]


def test_item_lists_give_sections(tmp_path):
    lists = [{"@type": "ItemList", "name": "Sauce", "itemListElement": [{"@type": "ListItem", "item": "1 egg"}, "1 lemon"]}]
    assert load(tmp_path, SOUP | {"recipeIngredient": lists}).lines[["text", "section"]].to_numpy().tolist() == [["1 egg", "Sauce"], ["1 lemon", "Sauce"]]


def test_a_property_value_becomes_one_line_aloud(tmp_path):
    found = load(tmp_path, SOUP | {"recipeIngredient": [{"@type": "PropertyValue", "name": "rice", "value": 200, "unitText": "g"}]})
    assert found.lines["text"].tolist() == ["200 g rice"] and codes(found) == ["line-composed"]


@pytest.mark.parametrize("ingredient", [5, True, ["nested"], {"@type": "Thing"}])
def test_an_ingredient_that_is_no_text_withholds_the_recipe(tmp_path, ingredient):
    with pytest.raises(InputError, match="not text"):
        load(tmp_path, SOUP | {"recipeIngredient": ["1 leek", ingredient]})


# ---------------------------------------------------------------- instructions

@pytest.mark.parametrize(("instructions", "expected"), [
    ("Boil.\nDrain.", ["Boil.", "Drain."]),
    ("<ol><li>Boil &amp; stir.</li><li>Drain.</li></ol>", ["Boil & stir.", "Drain."]),
    ("Boil.<br/>Drain.", ["Boil.", "Drain."]),
    (["Boil.", "Drain."], ["Boil.", "Drain."]),
    ([{"@type": "HowToStep", "text": "Boil."}, {"@type": "HowToStep", "name": "Drain."}], ["Boil.", "Drain."]),
    ([{"@type": "HowToSection", "name": "Soup", "itemListElement": [{"@type": "HowToStep", "text": "Boil."}]},
      {"@type": "HowToSection", "name": "End", "itemListElement": {"@type": "HowToStep", "text": "Drain."}}], ["Boil.", "Drain."]),
    ([{"@type": "HowToStep", "name": "Start", "itemListElement": [
        {"@type": "HowToDirection", "text": "Boil."}, {"@type": "HowToTip", "text": "Drain."}]}], ["Boil.", "Drain."]),
    ({"@type": "ItemList", "itemListElement": [{"@type": "ListItem", "item": {"@type": "HowToStep", "text": "Boil."}}, "Drain."]}, ["Boil.", "Drain."]),
    ([["Boil."], ["Drain."]], ["Boil.", "Drain."]),
])
def test_instructions_become_steps(tmp_path, instructions, expected):
    found = load(tmp_path, SOUP | {"recipeInstructions": instructions})
    assert found.problems == [] and found.steps["text"].tolist() == expected


def test_no_instructions_and_a_step_without_text_are_warnings(tmp_path):
    assert codes(load(tmp_path, SOUP | {"recipeInstructions": None})) == ["no-method"]
    assert codes(load(tmp_path, SOUP | {"recipeInstructions": ["Boil.", {"@type": "VideoObject"}]})) == ["step-not-text"]


# ---------------------------------------------------------------- yield

@pytest.mark.parametrize(("said", "portions"), [
    (4, 4), ("4", 4), (4.0, 4), ("Serves 4", 4), (["4", "4 servings"], 4), (["6"], 6),
    ({"@type": "QuantitativeValue", "value": 4, "unitText": "servings"}, 4), ({"@type": "QuantitativeValue", "minValue": 4, "maxValue": 6}, 4),
])
def test_yield(tmp_path, said, portions):
    found = load(tmp_path, SOUP | {"recipeYield": said})
    assert found.recipes["portions"].tolist() == [portions] and found.problems == []


def test_several_yields_and_ranges_are_told(tmp_path):
    assert codes(load(tmp_path, SOUP | {"recipeYield": ["4", "8 cups"]})) == ["portions-several"]
    assert codes(load(tmp_path, SOUP | {"recipeYield": "4-6"})) == ["portions-uncertain"]


@pytest.mark.parametrize("said", [None, "", [], "2 cups", ["1 loaf", "12 slices"], 0, -2, 1e9, {"@type": "QuantitativeValue"}])
def test_a_yield_that_is_no_number_of_portions_withholds_the_recipe(tmp_path, said):
    with pytest.raises(InputError) as caught:
        load(tmp_path, SOUP | {"recipeYield": said})
    assert caught.value.problems[0].code.startswith(("portions-", "no-portions"))


# ---------------------------------------------------------------- nutrition

def test_nutrition_becomes_figures_in_print(tmp_path):
    nutrition = {
        "@type": "NutritionInformation", "servingSize": "1 bowl", "calories": "250 kcal", "sodiumContent": "1,320 mg",
        "carbohydrateContent": "30 g", "fatContent": "9", "proteinContent": "8 grams", "fiberContent": "3 g fiber",
    }
    found = load(tmp_path, SOUP | {"nutrition": nutrition})
    assert found.problems == [] and set(found.published["printed_in"]) == {"a.json, nutrition"}
    assert found.published[["component", "basis", "value", "unit"]].to_numpy().tolist() == [
        ["CHOAVLDF", "portion", 30.0, "g"], ["ENERC", "portion", 250.0, "kcal"], ["FAT", "portion", 9.0, "g"],
        ["FIBTG", "portion", 3.0, "g"], ["NA", "portion", 1320.0, "mg"], ["PROCNT", "portion", 8.0, "g"]]


def test_nutrition_per_100_g_and_in_us_terms(tmp_path):
    nutrition = {"servingSize": "100 g", "carbohydrateContent": "12 g", "calories": "90 calories"}
    found = load(tmp_path, SOUP | {"inLanguage": "en-US", "nutrition": nutrition})
    assert found.published[["component", "basis"]].to_numpy().tolist() == [["CHOCDF", "100g"], ["ENERC", "100g"]]
    assert found.recipes["units_system"].tolist() == ["us"]


@pytest.mark.parametrize("nutrition", [{"sodiumContent": "a little"}, {"potassiumContent": "300"}, {"unsaturatedFatContent": "3 g"}, {"calories": "30 g"}])
def test_a_figure_that_cannot_be_read_is_left_out_aloud(tmp_path, nutrition):
    found = load(tmp_path, SOUP | {"nutrition": nutrition})
    assert codes(found) == ["printed-figure"] and found.published.empty and len(found.recipes) == 1


# ---------------------------------------------------------------- broken documents

@pytest.mark.parametrize(("text", "code", "where"), [
    ('{"@type": "Recipe",\n "name": }', "json-broken", "a.json, line 2, column 10"),
    ("", "json-broken", "a.json, line 1, column 1"),
    ('{"@type": "Person", "name": "x"}', "no-recipe", "a.json"),
    ("[" * 100_000, "json-nested", "a.json"),
    (json.dumps(SOUP | {"recipeIngredient": ["<!--" * 50_000]}), "line-too-long", "a.json, line 1"),
    ('{"a": ' + "9" * 5000 + "}", "json-broken", "a.json"),
    (json.dumps(SOUP)[:-1] + ', "recipeYield": "8"}', "key-twice", "a.json, line 1"),
    (json.dumps(SOUP | {"recipeIngredient": ["1 \ud800 leek"]}), "control-character", "a.json, line 1"),
    (json.dumps(SOUP | {"name": "a \ud800"}), "control-character", "a.json, line 1"),
    (json.dumps(SOUP | {"name": None}), "no-name", "a.json, line 1"),
    (json.dumps(SOUP | {"recipeIngredient": []}), "no-lines", "a.json, line 1"),
])
def test_a_broken_document_says_where_and_takes_no_other_down(tmp_path, text, code, where):
    (tmp_path / "good.json").write_text(json.dumps(SOUP | {"name": "Good"}))
    found = load(tmp_path, text)
    assert [(problem.code, problem.where, problem.severity) for problem in found.problems] == [(code, where, ERROR)]
    assert found.recipes["recipe_id"].tolist() == ["good"]
