"""Suitability and allergens: lines labelled by hand before the code saw them (``tests/data/suit_lines.csv``), and what must
always hold. The labels are common practice and knowledge of what foods are made of; the 14 allergens are those of
Regulation (EU) No 1169/2011, Annex II, from memory. An ``entry_name`` of "" is a line that is not settled."""

from functools import lru_cache
from pathlib import Path

import pandas as pd
import pytest
from hand_figures import reference_file
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import schema
from pipeline.problems import InputError
from pipeline.stages import suit_allergens, suit_diets
from pipeline.stages.suit import suit
from pipeline.stages.suit_words import Lexicon, named, said, without
from pipeline.suitability_form import ALLERGENS, DIETS, AllergenStatements, DietVerdicts, SuitabilityEvidence

LABELLED = pd.read_csv(Path(__file__).parent / "data" / "suit_lines.csv", dtype="str", keep_default_na=False).to_dict("records")
CONTAINS, MAY = suit_allergens.CONTAINS, suit_allergens.MAY
ORDER = {CONTAINS: 2, MAY: 1, "not-assessed": 0}


def row(text, entry_name="", cooking_class="", other="", *, optional=False, outcome=None):
    """A labelled line made by hand; settled when it has an entry."""
    return {"text": text, "entry_name": entry_name, "cooking_class": cooking_class, "other": other, "optional": optional,
            "outcome": outcome or ("accepted" if entry_name else "none")}


def dish(*rows):
    """The tables of one dish with these lines, in this order: settled, parsed, entries, variants, as suit takes them."""
    lines = [{"optional": False, "outcome": "accepted" if one["entry_name"] else "none", **one} for one in rows]
    settled = pd.DataFrame([{
        "recipe_id": "dish", "variant_id": "base", "line_no": number, "line_id": f"dish/base/{number}", "text": one["text"], "phrase": "",
        "entry_id": f"e:{one['entry_name']}" if one["entry_name"] else "", "entry_name": one["entry_name"], "outcome": one["outcome"],
        "counted": one["outcome"] != "not-food" and not one["optional"]} for number, one in enumerate(lines, 1)])
    parsed = pd.DataFrame([{"line_id": f"dish/base/{number}", "alternative": one["other"]} for number, one in enumerate(lines, 1)])
    entries = pd.DataFrame({"entry_id": f"e:{one['entry_name']}", "cooking_class": one["cooking_class"]} for one in lines if one["entry_name"])
    entries = entries.drop_duplicates("entry_id") if len(entries) else pd.DataFrame({"entry_id": [], "cooking_class": []}, dtype="str")
    return settled, parsed, entries, pd.DataFrame({"recipe_id": ["dish"], "variant_id": ["base"]})


def suited(*rows):
    """The three tables for one dish."""
    return suit(*dish(*rows), reference_file("allergens"), reference_file("diets"))


@lru_cache(maxsize=1)
def labelled_tables():
    """Every labelled line as a dish of its own (variant ``line-<number>``), in one call."""
    settled, parsed, entries, _ = dish(*LABELLED)
    ids = [f"line-{number}" for number in settled["line_no"]]
    settled["variant_id"], settled["line_id"] = ids, [f"dish/{one}/1" for one in ids]
    parsed["line_id"] = settled["line_id"]
    variants = pd.DataFrame({"recipe_id": "dish", "variant_id": ids})
    return suit(settled, parsed, entries, variants, reference_file("allergens"), reference_file("diets"))


def diet(*rows):
    return suited(*rows)["suitability"].set_index("diet")


def allergen(*rows):
    return suited(*rows)["allergens"].set_index("allergen")


@lru_cache(maxsize=1)
def ready():
    return suit_allergens.allergens(reference_file("allergens")), suit_diets.diets(reference_file("diets"))


def test_there_are_more_than_150_labelled_lines():
    assert len(LABELLED) >= 150 and len({one["text"] for one in LABELLED}) == len(LABELLED)
    assert {name for one in LABELLED for name in one["contains"].split(";")} - {""} == set(ALLERGENS)


@pytest.mark.parametrize("number, labelled", list(enumerate(LABELLED, 1)), ids=[one["text"] for one in LABELLED])
def test_a_labelled_line(number, labelled):
    tables = labelled_tables()
    verdicts, statements = (tables[name][tables[name]["variant_id"] == f"line-{number}"] for name in ("suitability", "allergens"))
    found = verdicts.set_index("diet")["verdict"]
    assert {name: found[name] for name in DIETS} == {name: labelled[name] for name in DIETS}, verdicts["reason"].tolist()
    stated = statements.set_index("allergen")["status"]
    assert set(stated.index[stated == CONTAINS]) == {one for one in labelled["contains"].split(";") if one}
    assert {one for one in labelled["may"].split(";") if one} <= set(stated.index[stated == MAY])
    assert not {one for one in labelled["absent"].split(";") if one} & set(stated.index[stated != "not-assessed"])


PLAIN = row("1 onion, chopped", "Onions, raw", "other-vegetables")
MYSTERY = row("that jar from the back of the shelf")
lines = st.lists(st.sampled_from(LABELLED), min_size=1, max_size=4)


@settings(max_examples=15, deadline=None)
@given(lines, st.sampled_from(LABELLED))
def test_adding_a_line_never_removes_an_allergen_nor_makes_a_dish_suit(rows, added):
    before, after = suited(*rows), suited(*rows, added)
    stated = [tables["allergens"]["status"].map(ORDER) for tables in (before, after)]
    assert (stated[1] >= stated[0]).all()
    verdicts = [tables["suitability"]["verdict"].map(schema_order) for tables in (before, after)]
    assert (verdicts[1] <= verdicts[0]).all()


def schema_order(verdict):
    return ("does-not-suit", "unknown", "suits").index(verdict)


@settings(max_examples=12, deadline=None)
@given(lines, st.randoms(use_true_random=False))
def test_the_order_of_lines_does_not_matter(rows, chance):
    shuffled = list(rows)
    chance.shuffle(shuffled)
    for name, answer in (("suitability", "verdict"), ("allergens", "status")):
        assert suited(*rows)[name][answer].tolist() == suited(*shuffled)[name][answer].tolist()


@settings(max_examples=12, deadline=None)
@given(lines)
def test_a_dish_with_an_unread_line_suits_nobody_for_certain(rows):
    found = diet(*rows, MYSTERY)["verdict"]
    assert "suits" not in set(found)


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=60))
def test_no_words_are_taken_for_a_settled_line_or_for_free_of_anything(text):
    tables = suited(row(text))
    assert "suits" not in set(tables["suitability"]["verdict"])
    assert not tables["allergens"]["reason"].str.contains("free from").any()


def test_an_unsettled_line_still_shows_what_its_words_show():
    found = diet(row("some chicken", "Chicken, broilers or fryers, meat and skin, raw", "chicken", outcome="review"), PLAIN)
    assert found.at["vegetarian", "verdict"] == "does-not-suit" and "line 1: chicken (meat)" in found.at["vegetarian", "reason"]
    found = allergen(row("some mustard"), PLAIN)
    assert found.at["mustard", "status"] == CONTAINS and found.at["fish", "reason"].endswith("not settled: line 1")


def test_the_entry_of_an_unsettled_line_is_a_doubt_and_no_finding():
    found = allergen(row("that white stuff", "Milk, whole, 3.25% milkfat", "milk", outcome="review"))
    assert found.at["milk", "status"] == MAY and "not settled" in found.at["milk", "reason"]


def test_reasons_name_the_line_and_what_in_it():
    found = diet(PLAIN, row("1 tbsp Worcestershire sauce", "Sauce, worcestershire", "stock-sauce"))
    assert found.at["vegetarian", "lines"] == "2" and "anchovy" in found.at["vegetarian", "reason"]
    found = diet(row("60 g parmesan", "Cheese, parmesan, grated", "cheese"))
    assert "animal rennet" in found.at["vegetarian", "reason"] and "label" in found.at["vegetarian", "reason"]


def test_an_optional_line_is_said_and_does_not_decide():
    cheese = row("parmesan, to serve (optional)", "Cheese, parmesan, grated", "cheese", optional=True)
    found = diet(PLAIN, cheese)
    assert found.at["vegetarian", "verdict"] == "suits" and "without the optional line 2: parmesan" in found.at["vegetarian", "reason"]
    stated = allergen(PLAIN, cheese)
    assert stated.at["milk", "status"] == MAY and "optional" in stated.at["milk", "reason"]


def test_a_dish_without_a_counted_line_is_unknown():
    found = diet(row("For the sauce:", outcome="not-food"), row("parsley (optional)", "Parsley, fresh", "herbs-spices", optional=True))
    assert set(found["verdict"]) == {"unknown"} and found.at["vegan", "reason"] == "no line is counted"


def test_a_vegan_product_keeps_its_doubt():
    found = suited(row("50 g vegan cheese, grated", "Tofu, raw, firm, prepared with calcium sulfate", "legumes-cooked"))
    verdicts = found["suitability"].set_index("diet")
    assert verdicts.at["vegan", "verdict"] == "suits" and "read the label" in verdicts.at["vegan", "reason"]
    milk = found["allergens"].set_index("allergen").loc["milk"]
    assert milk["status"] == MAY and '"vegan"' in milk["reason"]
    counted_as_milk = diet(row("50 g vegan cheese, grated", "Cheese, cheddar", "cheese"))
    assert counted_as_milk.at["vegan", "verdict"] == "unknown" and "counted as" in counted_as_milk.at["vegan", "reason"]


@pytest.mark.parametrize("text, label", [
    ("vegan cheese", "vegan"), ("cheese (vegan)", "vegan"), ("cheese, dairy-free", "dairy free"), ("vegan-friendly cheese", "vegan"),
    ("cheese for vegans", ""), ("not vegan cheese", ""), ("for vegans use cheese", ""), ("vegan bacon or cheese", ""), ("ham and vegan cheese", "vegan"),
    ("cheese vegan", "")])
def test_a_label_word_is_said_of_what_follows_it(text, label):
    (hit,) = said(text, Lexicon.of(["cheese"]), Lexicon.of(["vegan", "dairy free"]))
    assert hit.label == label


def test_the_longest_name_takes_its_words_with_it():
    lexicon = Lexicon.of(["butter", "peanut butter", "butter bean", "milk", "coconut milk"])
    assert named("Peanut butter, butter beans and Coconut Milks", lexicon) == ["peanut butter", "butter bean", "coconut milk"]
    assert without("30 g butter or oil, melted", "oil") == "30 g butter or  , , melted" and without("butter", "lard") == "butter"


@pytest.mark.parametrize("text, entry_name, cooking_class, vegetarian", [
    ("2 tbsp salsa con queso", "Dip, salsa con queso, medium", "stock-sauce", "unknown"),
    ("1 pasta mix with extras", "Pasta mix, with extras, unprepared", "other", "unknown"),
    ("corn flour coating", "Snack, with corn flour coating, fried", "other", "unknown"),
    ("1 hotdog", "Fast foods, hotdog, with corn flour coating", "other", "does-not-suit"),
    ("100 ml orange juice", "Orange juice, chilled, includes from concentrate", "drinks", "suits"),
    ("2 tbsp plum sauce", "Sauce, plum, ready-to-serve", "stock-sauce", "suits"),
    ("40 g cornflakes", "Cereals ready-to-eat, corn flakes", "grains", "unknown"),
])
def test_a_food_of_which_a_part_is_known_does_not_suit_for_certain(text, entry_name, cooking_class, vegetarian):
    assert diet(row(text, entry_name, cooking_class)).at["vegetarian", "verdict"] == vegetarian


def test_every_row_of_the_files_reads_as_itself():
    """A name that another row's words would swallow could never be found."""
    allergens, diets = ready()
    for one, lexicon in [*allergens.lexicons.items(), ("diets", diets.lexicon)]:
        names = {food for group in lexicon.names.values() for _, food in group}
        assert all(named(food, lexicon) == [food] for food in names), one


def test_tables_are_as_declared():
    tables = suited(*LABELLED[:20])
    for name, model in (("suitability_evidence", SuitabilityEvidence), ("suitability", DietVerdicts), ("allergens", AllergenStatements)):
        assert schema.violations(model, tables[name], "test", "none") == []
    broken = tables["allergens"].assign(status="free")
    assert schema.violations(AllergenStatements, broken, "test", "none")
    broken = tables["suitability"].assign(verdict="unknown", reason="")
    assert schema.violations(DietVerdicts, broken, "test", "none")


@pytest.mark.parametrize("name, make, column, value, code", [
    ("allergens", suit_allergens.allergens, "allergen", "cheese", "wrong-allergen-row"),
    ("allergens", suit_allergens.allergens, "level", "free", "wrong-allergen-row"),
    ("diets", suit_diets.diets, "vegan", "yes", "wrong-diet-row"),
    ("diets", suit_diets.diets, "scope", "brand", "wrong-diet-row"),
])
def test_a_faulty_reference_row_is_named(name, make, column, value, code):
    rows = reference_file(name).copy()
    rows.loc[5, column] = value
    with pytest.raises(InputError) as caught:
        make(rows)
    (problem,) = caught.value.problems
    assert problem.code == code and problem.where.endswith(f"{name}.csv:7")
