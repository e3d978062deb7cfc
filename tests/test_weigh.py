"""Weigh: exact numbers, the reasons for no number, planted breakage, and properties."""

from pathlib import Path
from unittest import mock

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import lineage, sources, tables
from pipeline.composition.household import measures_of
from pipeline.problems import InputError
from pipeline.stages import weigh as stage
from pipeline.stages.weigh_density import find_density
from pipeline.stages.weigh_lookup import find_edible, find_measure, open_books
from pipeline.stages.weigh_names import Food, food_key

ROOT = Path(__file__).resolve().parents[1] / "reference"
BOOK_NAMES = ("measures", "edible_portions", "densities", "amount_spread", "amount_rules")
REFERENCE = {name: sources.read_csv(ROOT / f"{name}.csv", *sources.FILES[name]) for name in BOOK_NAMES}

OPENED = open_books(**REFERENCE)[0]

# Entries of the form of a composition table; refuse and classes as a published table gives them.
ENTRIES = pd.DataFrame(
    [("onion", "Onions, raw", "onion", "raw", "other-vegetables", 0.10), ("leek", "Leeks, raw", "leek", "raw", "other-vegetables", 0.56),
     ("potato", "Potatoes, flesh and skin, raw", "potato", "raw", "potatoes", 0.25),
     ("chickpea-drained", "Chickpeas, canned, drained solids", "chickpea", "drained", "legumes-cooked", 0.0),
     ("olive-oil", "Oil, olive", "olive oil", "", "fats-oils", 0.0), ("salt", "Salt, table", "salt", "", "salt", 0.0),
     ("rice", "Rice, white, raw", "rice", "", "rice", 0.0), ("pepper", "Pepper, black", "black pepper", "dried", "herbs-spices", 0.0),
     ("salsify", "Salsify, raw", "", "raw", "roots", 0.13), ("chicken", "Chicken, meat, raw", "chicken", "raw", "chicken", 0.52),
     ("milk", "Milk, whole", "milk", "", "milk", 0.0), ("apricot", "Apricots, raw", "apricot", "raw", "fruit", 0.07)],
    columns=["entry_id", "name", "common_names", "state", "cooking_class", "refuse_fraction"],
).assign(food_group="", refuse_description="skin", source_id="usda-sr26", source_row="row")[tables.columns(tables.Entries)]

BLANK = {"kind": "food", "quantity_low": np.nan, "quantity_high": np.nan, "unit": "", "each_quantity": np.nan, "each_unit": "",
         "size": "", "phrase": "", "state": "", "preparation": "", "optional": False, "amount_rule": "stated", "alternative": "",
         "note": "", "leftover": "", "parse_confidence": 1.0, "parse_reason": ""}


def weigh_rows(*rows, portions=4.0, units_system="uk", **changed):
    """Weighs made-up parsed lines; each is a dict with `entry` (accepted) and columns of Parsed."""
    parsed, matched, lines = [], [], []
    for number, row in enumerate(rows, start=1):
        row = dict(row)
        entry, outcome, reason = row.pop("entry", ""), row.pop("outcome", None), row.pop("match_reason", "")
        quantity = row.pop("quantity", None)
        if quantity is not None:
            row["quantity_low"], row["quantity_high"] = quantity if isinstance(quantity, tuple) else (quantity, quantity)
        line_id = f"soup/base/{number}"
        row.setdefault("text", row.get("phrase", "") or "line")
        parsed.append({**BLANK, "line_id": line_id, **row})
        matched.append({"line_id": line_id, "table": "core", "entry_id": entry, "entry_name": entry, "match_confidence": 0.9,
                        "match_outcome": outcome or ("accepted" if entry else "none"), "match_reason": reason, "decision_id": ""})
        lines.append({"recipe_id": "soup", "variant_id": "base", "line_no": number, "line_id": line_id, "text": row["text"],
                      "section": "", "origin": "base", "source_file": "soup.yaml", "source_line": number})
    recipes = pd.DataFrame([{"recipe_id": "soup", "name": "Soup", "portions": portions, "units_system": units_system, "food_form": "solid",
                             "finished_mass_g": np.nan, "course": "", "source_file": "soup.yaml", "source_line": 1}])
    variants = pd.DataFrame([{"recipe_id": "soup", "variant_id": "base", "name": "", "kind": "base", "portions": portions}])
    arguments = (pd.DataFrame(parsed)[tables.columns(tables.Parsed)], pd.DataFrame(matched), pd.DataFrame(lines), recipes, variants, ENTRIES)
    if changed:
        return stage.weigh(*arguments, **{**REFERENCE, **changed})
    with mock.patch.object(stage, "open_books", lambda *_: (OPENED, [])):  # opened once: the properties ask hundreds of times
        return stage.weigh(*arguments, **REFERENCE)


def one(**row):
    portions, system = row.pop("portions", 4.0), row.pop("units_system", "uk")
    frame, _ = weigh_rows(row, portions=portions, units_system=system)
    return frame.iloc[0]


# ---------------------------------------------------------------- exact numbers

def test_a_mass_is_as_purchased_and_loses_its_refuse_once():
    row = one(text="500 g leeks, trimmed", phrase="leeks", quantity=500, unit="g", entry="leek", preparation="trimmed")
    assert (row.mass_g, row.measure_id, row.edible_id, row.edible_fraction) == (500.0, "unit:gram", "leek", 0.62)
    assert row.edible_g == 500.0 * 0.62


def test_a_published_piece_weight_is_edible_already():
    # USDA SR26, 11080, weight 2: 1 beet = 82 g, edible portion: its refuse of 33 % is off.
    row = one(text="2 medium beetroots, peeled", phrase="beetroots", quantity=2, size="medium", entry="beetroot")
    assert (row.mass_g, row.edible_fraction, row.edible_id, row.edible_g) == (164.0, 1.0, "", 164.0)


@pytest.mark.parametrize(("food", "british", "american"), [("onion", 135.0, 110.0), ("carrot", 80.0, 61.0), ("leek", 125.0, 89.0)])
def test_a_british_vegetable_is_no_american_one(food, british, american):
    """USDA SR26, 11282 weight 6, 11124 weight 5, 11246 weight 2; the British weights are from memory."""
    assert one(phrase=food, quantity=1, entry=food).mass_g == british
    assert one(phrase=food, quantity=1, entry=food, units_system="us").mass_g == american


@pytest.mark.parametrize("text, fraction", [
    ("400 g potatoes, peeled and diced", 0.85), ("400 g potatoes", 0.85), ("400 g peeled potatoes", 1.0),
    ("400 g potatoes (peeled weight)", 1.0), ("400 g potatoes, unpeeled", 1.0), ("400 g potatoes, skin on", 1.0),
    ("400 g diced potatoes", 1.0),
])
def test_wording_decides_whether_refuse_is_still_there(text, fraction):
    assert one(text=text, phrase="potatoes", quantity=400, unit="g", entry="potato").edible_fraction == fraction


def test_refuse_is_not_taken_off_frozen_canned_or_spooned_food():
    assert one(text="400 g frozen leeks", phrase="leeks", state="frozen", quantity=400, unit="g", entry="leek").edible_g == 400
    assert one(text="2 tbsp leek", phrase="leek", quantity=2, unit="tablespoon", entry="leek").edible_fraction == 1


def test_a_counted_piece_as_bought_loses_its_refuse_whatever_was_done_to_it():
    boiled = one(text="2 hard-boiled eggs", phrase="eggs", state="cooked", quantity=2)
    peeled = one(text="2 medium peeled potatoes", phrase="potatoes", quantity=2, size="medium", entry="potato")
    assert (boiled.mass_g, boiled.edible_g) == (120.0, 120.0 * 0.88)
    assert (peeled.mass_g, peeled.edible_g) == (426.0, 426.0 * 0.85)
    tinned = one(text="1 tin chopped tomatoes", phrase="chopped tomatoes", quantity=1, unit="tin")
    assert (tinned.mass_g, tinned.edible_g) == (400.0, 400.0)


def test_an_entry_without_curated_row_answers_with_its_own_refuse_only_where_it_is_sold_so():
    row = one(text="200 g salsify", phrase="salsify", quantity=200, unit="g", entry="salsify")
    assert row.edible_id == "entry-refuse:salsify" and row.edible_fraction == 1 - 0.13
    assert row.edible_low == pytest.approx(1 - 1.5 * 0.13) and row.edible_high == pytest.approx(1 - 0.5 * 0.13)
    meat = one(text="200 g pheasant", phrase="pheasant", quantity=200, unit="g", entry="milk")
    assert meat.edible_fraction == 1


def test_uk_and_us_pints_of_milk_differ():
    british = one(phrase="milk", quantity=1, unit="pint", entry="milk")
    american = one(phrase="milk", quantity=1, unit="pint", entry="milk", units_system="us")
    assert british.mass_g == 1 * 568.26125 * british.density_g_per_ml
    assert american.mass_g == 1 * 473.176473 * american.density_g_per_ml
    assert british.density_id == american.density_id == "milk"


def test_an_ambiguous_cup_says_so():
    row = one(phrase="rice", quantity=1, unit="cup", entry="rice")
    assert (row.measure_value, row.measure_low) == (250.0, pytest.approx(236.5882365))
    assert "cup taken as 250 ml" in row.assumption
    assert one(phrase="rice", quantity=1, unit="cup", entry="rice", units_system="us").assumption == ""


def test_so_many_of_a_stated_size_multiply():
    row = one(text="2 x 400 g tins chopped tomatoes", phrase="chopped tomatoes", quantity=2, unit="tin", each_quantity=400, each_unit="g")
    assert (row.quantity, row.measure_id, row.mass_g, row.edible_g) == (800.0, "unit:gram", 800.0, 800.0)


@pytest.mark.parametrize("row, mass_g", [
    (dict(text="1 x 400 g tin chickpeas, drained", quantity=1, unit="tin", each_quantity=400, each_unit="g", state="drained"), 240),
    (dict(text="2 x 400 g tins chickpeas, drained", quantity=2, unit="tin", each_quantity=400, each_unit="g", state="drained"), 480),
    (dict(text="1 tin chickpeas, drained", quantity=1, unit="tin", state="drained"), 240),
    (dict(text="1 tin chickpeas", quantity=1, unit="tin", entry=""), 400),
    (dict(text="1 x 400 g carton chickpeas, drained", quantity=1, unit="carton", each_quantity=400, each_unit="g", state="drained"), 240),
    (dict(text="400 g can of chickpeas, drained", quantity=400, unit="g", state="drained"), 240),
    (dict(text="2 x 400 g canned chickpeas, drained", quantity=2, each_quantity=400, each_unit="g", state="drained"), 480),
    (dict(text="400 g tinned chickpeas, drained", quantity=400, unit="g", state="drained"), 400),
    (dict(text="200 g drained tinned chickpeas", quantity=200, unit="g", state="drained"), 200),
    (dict(text="1 tin chickpeas (240 g drained weight)", quantity=1, unit="tin", each_quantity=240, each_unit="g", state="drained"), 240),
])
def test_the_liquid_of_a_tin_counts_once_and_only_where_it_is_kept(row, mass_g):
    assert one(phrase="chickpeas", **{"entry": "chickpea-drained", **row}).mass_g == pytest.approx(mass_g)


@pytest.mark.parametrize("text, phrase, entry, mass_g, fraction", [
    ("240 g canned chickpeas, drained", "chickpeas", "chickpea-drained", 240, 0.6),
    ("400 g tinned potatoes, drained", "potatoes", "potato", 400, 0.62),
])
def test_a_bare_mass_of_canned_food_is_taken_as_drained_and_doubted(text, phrase, entry, mass_g, fraction):
    """The careful side for potassium is more food; the interval reaches what the tin's weight would leave
    (240 of 400 g of pulses, 248 of 400 g of potatoes: as on labels, from memory)."""
    row = one(text=text, phrase=phrase, quantity=mass_g, unit="g", state="drained", entry=entry)
    assert (row.mass_g, row.measure_id) == (mass_g, "unit:gram")
    assert row.quantity_low <= fraction * mass_g and row.mass_low_g <= fraction * mass_g
    assert "taken as the drained weight" in row.assumption
    for sure in ("drained weight", "no liquid named"):
        plain = text.replace("drained", sure)
        known = one(text=plain, phrase=phrase, quantity=mass_g, unit="g", state="drained", entry=entry)
        assert known.mass_low_g > 0.95 * mass_g and "taken as" not in known.assumption


def test_drained_contents_are_assumed_with_a_drained_entry_and_said():
    row = one(text="1 x 400 g tin chickpeas", phrase="chickpeas", quantity=1, unit="tin", each_quantity=400, each_unit="g",
              entry="chickpea-drained")
    assert row.mass_g == pytest.approx(240) and "as in the matched entry" in row.assumption


def test_a_range_uses_its_middle_and_widens_its_ends():
    row = one(phrase="rice", quantity=(200, 300), unit="g", entry="rice")
    assert (row.quantity, row.quantity_low, row.quantity_high) == (250.0, 200 * 0.96, 300 * 1.04)


def test_the_interval_is_the_lognormal_one_of_the_factors():
    row = one(phrase="milk", quantity=1, unit="cup", entry="milk")
    parts = [("quantity", "quantity_low", "quantity_high"), ("measure_value", "measure_low", "measure_high"),
             ("density_g_per_ml", "density_low", "density_high")]
    variance = sum(((row[high] - row[low]) / (2 * 1.6448536269514722) / row[value]) ** 2 for value, low, high in parts)
    low, high = lineage.interval(row.mass_g, variance ** 0.5)
    assert (row.mass_low_g, row.mass_high_g) == pytest.approx((low, high))


def test_a_size_that_is_not_said_is_assumed_and_wider():
    unsaid = one(phrase="onion", quantity=1, entry="onion")
    medium = one(phrase="onion", quantity=1, size="medium", entry="onion")
    assert unsaid.mass_g == medium.mass_g == 135.0
    assert unsaid.mass_low_g < medium.mass_low_g and unsaid.mass_high_g > medium.mass_high_g
    assert unsaid.assumption == "medium size assumed" and medium.assumption == ""


def test_a_unit_is_read_wherever_it_is_written():
    for row in (dict(phrase="cod", unit="fillet"), dict(phrase="cod fillets"), dict(phrase="cod fillet", unit="fillet")):
        assert one(quantity=2, **row).measure_id == "cod-fillet"


def test_juice_and_zest_are_not_the_whole_fruit():
    whole, juice = one(phrase="lemon", quantity=1), one(phrase="lemon", quantity=1, preparation="juiced")
    assert (whole.mass_g, juice.mass_g) == (58.0, 48.0)
    assert one(phrase="lemon juice", quantity=1, preparation="juiced").mass_g == 48.0


def test_a_dried_fruit_is_not_a_fresh_one():
    assert one(phrase="apricots", quantity=2, entry="apricot").mass_g == 70.0
    assert one(phrase="apricots", state="dried", quantity=2).mass_g == 15.0
    assert one(phrase="peaches", state="dried", quantity=2).weigh_reason == "no-entry"


def test_bone_in_is_heavier_and_loses_its_bone():
    bare = one(text="4 boneless chicken thighs", phrase="boneless chicken thighs", quantity=4)
    bony = one(text="4 chicken thighs, bone in", phrase="chicken thighs", preparation="bone in", quantity=4)
    assert bare.mass_g == 420.0 and bony.mass_g == 660.0 and bony.edible_g < bony.mass_g


# ---------------------------------------------------------------- amounts that are not numbers

def test_salt_to_taste_is_a_rule_per_portion():
    row = one(text="salt, to taste", phrase="salt", amount_rule="to-taste", entry="salt", portions=6.0)
    assert (row.quantity, row.measure_id, row.mass_g) == (6.0, "rule:salt-to-taste", 3.0)
    assert row.measure_low == 0.0 and "no amount written" in row.assumption


def test_what_nobody_should_guess_is_not_guessed():
    for row in (dict(phrase="rice", amount_rule="to-serve", entry="rice"), dict(phrase="chicken", amount_rule="none", entry="chicken"),
                dict(text="oil for deep frying", phrase="oil", amount_rule="for-cooking", entry="olive-oil"),
                dict(text="sprigs of thyme", phrase="thyme", unit="sprig")):
        found = one(**row)
        assert found.weigh_reason == "no-quantity" and np.isnan(found.mass_g) and np.isnan(found.edible_g)


def test_a_knob_without_a_number_is_one_knob():
    row = one(text="knob of butter", phrase="butter", unit="knob")
    assert row.quantity == 1.0 and "one assumed" in row.assumption and row.quantity_low < 1 < row.quantity_high


@pytest.mark.parametrize("row, reason", [
    (dict(phrase="salt", quantity=3, unit="kg", entry="salt"), "absurd-quantity"),
    (dict(phrase="salt", quantity=201, unit="g", entry="salt"), "absurd-quantity"),
    (dict(phrase="salt", quantity=200, unit="g", entry="salt"), ""),
    (dict(phrase="rice", quantity=30, unit="kg", entry="rice"), "absurd-quantity"),
    (dict(phrase="rice", quantity=33, unit="kg", entry="milk"), "absurd-quantity"),
    (dict(phrase="rice", quantity=0, unit="g", entry="rice"), "absurd-quantity"),
    (dict(phrase="rice", quantity=2, unit="rasher", entry="rice"), "no-measure"),
    (dict(phrase="something odd", quantity=2), "no-entry"),
    (dict(phrase="something odd", quantity=2, unit="tablespoon"), "no-entry"),
    (dict(phrase="roast thing", quantity=2, unit="ladle", entry="chicken", text="2 ladles"), ""),
    (dict(phrase="For the sauce", kind="heading"), "not-food"),
    (dict(phrase="foil", quantity=1, outcome="not-food"), "not-food"),
    (dict(phrase="", kind="unreadable"), "unreadable"),
])
def test_every_line_ends_in_a_mass_or_a_closed_reason(row, reason):
    found = one(**row)
    assert found.weigh_reason == reason and reason in stage.REASONS
    assert np.isnan(found.mass_g) == (reason != "")


def test_an_entry_of_a_class_without_density_says_no_density():
    without = REFERENCE["densities"].query("scope != 'class'")
    frame, _ = weigh_rows(dict(phrase="unheard of", quantity=100, unit="ml", entry="salsify"), densities=without)
    assert frame.loc[0, "weigh_reason"] == "no-density"


def test_a_big_kitchen_is_not_absurd():
    assert one(phrase="rice", quantity=30, unit="kg", entry="rice", portions=400.0).mass_g == 30000.0


def test_an_absurd_amount_is_told_with_its_place():
    _, problems = weigh_rows(dict(text="30 kg rice", phrase="rice", quantity=30, unit="kg", entry="rice"))
    assert [problem.code for problem in problems] == ["absurd-quantity"]
    assert "soup.yaml:1" in str(problems[0]) and "30 kg rice" in str(problems[0])


def test_a_line_without_an_accepted_match_is_weighed_by_its_name_only():
    review = one(phrase="onion", quantity=1, entry="leek", outcome="review")
    assert review.measure_id == "onion-piece"


# ---------------------------------------------------------------- the row is enough to recompute it

def test_mass_and_edible_mass_are_the_exact_products():
    frame, _ = weigh_rows(
        dict(phrase="milk", quantity=1.3, unit="pint", entry="milk"), dict(phrase="potatoes", text="7 potatoes", quantity=7, entry="potato"),
        dict(phrase="olive oil", text="olive oil", quantity=1, unit="glug", entry="olive-oil"),
        dict(phrase="salt", amount_rule="to-taste", entry="salt"), dict(phrase="leeks", quantity=333, unit="g", entry="leek", text="333 g leeks"))
    for row in frame.itertuples():
        mass = row.quantity * row.measure_value
        mass = mass * row.density_g_per_ml if row.measure_unit == "ml" else mass
        assert mass == row.mass_g and mass * row.edible_fraction == row.edible_g


def test_the_result_is_a_valid_table_in_the_order_of_the_lines():
    frame, _ = weigh_rows(dict(phrase="onion", quantity=1), dict(phrase="?", kind="unreadable"), dict(phrase="rice", quantity=1, unit="cup"))
    assert frame["line_id"].tolist() == ["soup/base/1", "soup/base/2", "soup/base/3"]
    assert tables.violations(tables.Weighed, frame, "weigh", "none") == []


def test_no_lines_give_an_empty_table():
    frame, problems = stage.weigh(
        tables.empty(tables.Parsed), tables.empty(tables.Matched), tables.empty(tables.Lines), tables.empty(tables.Recipes),
        tables.empty(tables.Variants), ENTRIES, **REFERENCE)
    assert len(frame) == 0 and problems == []


# ---------------------------------------------------------------- reference data, and what breaks it

def test_the_reference_rows_of_this_stage_are_all_usable():
    assert open_books(**REFERENCE)[1] == []


def test_an_interval_that_was_recalled_does_not_cite_the_published_weight():
    """USDA SR26 WEIGHT.txt gives one weight a row and a standard deviation for few; no low and high."""
    measures = REFERENCE["measures"]
    published = measures[measures["source_id"] == "usda-sr26"]
    assert len(published) > 300 and (published["spread_source_id"] == "kitchen-from-memory").all()
    others = measures[measures["source_id"] != "usda-sr26"]
    assert (others["spread_source_id"] == others["source_id"]).all()


def test_the_reference_files_are_sorted_and_big_enough():
    for name, key, least in (("measures", "measure_id", 350), ("edible_portions", "edible_id", 100), ("densities", "density_id", 150),
                             ("amount_rules", "rule_id", 15), ("amount_spread", "spread_id", 6)):
        ids = REFERENCE[name][key]
        assert len(ids) >= least and ids.is_unique and ids.tolist() == sorted(ids), name


@pytest.mark.parametrize("table, column, value", [
    ("measures", "low", 1e6), ("measures", "middle", -1.0), ("densities", "high", 0.0), ("edible_portions", "high", 1.5),
    ("amount_rules", "middle", np.nan), ("measures", "scope", "planet"),
])
def test_a_broken_reference_row_is_named_and_not_used(table, column, value):
    broken = REFERENCE[table].copy()
    broken.loc[3, column] = value
    books, problems = open_books(**{**REFERENCE, table: broken})
    assert len(problems) == 1 and problems[0].code == "reference-row"
    assert str(broken.iloc[3, broken.columns.get_loc({"measures": "measure_id", "densities": "density_id", "edible_portions": "edible_id",
                                                      "amount_rules": "rule_id"}[table])]) in problems[0].where


def test_a_second_row_for_the_same_thing_is_named():
    twice = pd.concat([REFERENCE["densities"], REFERENCE["densities"].iloc[[0]].assign(density_id="again")], ignore_index=True)
    problems = open_books(**{**REFERENCE, "densities": twice})[1]
    assert len(problems) == 1 and "again" in problems[0].where


def test_a_missing_kind_of_spread_stops_the_run():
    fewer = REFERENCE["amount_spread"].query("kind != 'spoon'")
    with pytest.raises(InputError, match="spoon"):
        open_books(**{**REFERENCE, "amount_spread": fewer})


def test_entry_beats_name_beats_class_beats_any():
    base = {"size": "", "preparation": "", "low": 1.0, "middle": 1.0, "high": 1.0, "unit": "g", "basis": "edible", "source_id": "x",
            "spread_source_id": "x", "source_row": "", "note": "", "measure": "handful"}
    keyed = [("entry", "E1"), ("name", "spinach"), ("class", "leafy-greens"), ("any", "")]
    rows = pd.DataFrame([{**base, "measure_id": scope, "scope": scope, "scope_key": key} for scope, key in keyed])
    food = Food("baby spinach", "", "E1", "Spinach, raw", "spinach", "leafy-greens")
    for left in range(4):
        books, _ = open_books(**{**REFERENCE, "measures": rows.iloc[left:]})
        assert find_measure(books, food, "handful", "", "")[0].measure_id == keyed[left][0]


def test_names_are_found_in_plural_with_leading_words_and_accents():
    assert food_key("Crème fraîche") == "creme fraiche"
    books = OPENED
    assert find_density(books, Food("crème fraîche", "")).density_id == "creme-fraiche"
    assert find_edible(books, Food("large floury potatoes", "")).edible_id == "potato"
    assert find_measure(books, Food("vine-ripened tomatoes", ""), "piece", "small", "")[0].measure_id == "tomato-piece-small"


# ---------------------------------------------------------------- properties

UNITS = st.sampled_from(["g", "kg", "oz", "lb", "ml", "l", "pint", "fl oz", "teaspoon", "tablespoon", "cup", "", "handful", "pinch", "tin"])
FOODS = st.sampled_from([("onion", "onion"), ("rice", "rice"), ("milk", "milk"), ("potatoes", "potato"), ("mystery", ""), ("leeks", "leek")])


@settings(max_examples=60, deadline=None)
@given(food=FOODS, unit=UNITS, quantity=st.floats(0.05, 20), factor=st.sampled_from([2, 3, 10]))
def test_mass_is_linear_in_the_quantity_and_inside_its_interval(food, unit, quantity, factor):
    phrase, entry = food
    frame, _ = weigh_rows(dict(phrase=phrase, entry=entry, unit=unit, quantity=quantity),
                          dict(phrase=phrase, entry=entry, unit=unit, quantity=quantity * factor), portions=1000.0)
    first, second = frame.iloc[0], frame.iloc[1]
    assert first.weigh_reason == second.weigh_reason
    if first.weigh_reason:
        return
    assert second.mass_g == pytest.approx(first.mass_g * factor)
    for row in (first, second):
        assert row.mass_low_g <= row.mass_g <= row.mass_high_g
        assert 0 <= row.edible_low <= row.edible_fraction <= row.edible_high <= 1
        assert row.edible_g <= row.mass_g


@settings(max_examples=40, deadline=None)
@given(words=st.text(max_size=40), unit=UNITS, quantity=st.one_of(st.none(), st.floats(0, 1e9)))
def test_any_words_end_in_an_outcome(words, unit, quantity):
    row = one(text=words or "x", phrase=words, unit=unit, quantity=quantity)
    assert row.weigh_reason in stage.REASONS
    assert np.isnan(row.mass_g) == (row.weigh_reason != "")


# ---------------------------------------------------------------- measures of an imported table

# Household weights as in USDA SR26, WEIGHT.txt: (entry of these tests, NDB number and sequence, words, grams).
SR26_WEIGHTS = (
    ("egg", "01123:06", ("piece", "medium", ""), 44.0), ("egg", "01123:01", ("piece", "large", ""), 50.0),
    ("egg", "01123:07", ("piece", "small", ""), 38.0), ("large egg alone", "01129:03", ("piece", "large", ""), 50.0), ("large slice alone", "18069:04", ("slice", "large", ""), 30.0),
    ("chilli", "11819:01", ("piece", "", ""), 45.0),
    ("chilli", "11819:02", ("cup", "", "chopped"), 150.0), ("soda", "18372:01", ("teaspoon", "", ""), 4.6),
    ("cardoon", "none:01", ("piece", "", ""), 60.0), ("turnip", "none:02", ("piece", "large", ""), 183.0),
)


def american(*entries):
    """The curated measures, and those of SR26 for these entries, as an American table's."""
    parts = (0.75, 1.25)  # the importer's range of anything counted
    rows = [{"measure_id": f"usda-sr26:{row}", "scope": "entry", "scope_key": entry, "measure": measure, "size": size, "preparation": preparation,
             "low": parts[0] * grams, "middle": grams, "high": parts[1] * grams, "unit": "g", "basis": "edible", "source_id": "usda-sr26",
             "spread_source_id": "usda-sr26", "source_row": row, "note": "", "table": "usda-sr26", "kitchen": "us"}
            for entry, row, (measure, size, preparation), grams in SR26_WEIGHTS if entry in entries]
    return pd.concat([REFERENCE["measures"].assign(table="", kitchen=""), pd.DataFrame(rows)], ignore_index=True)


def imported(entry, phrase, units_system="uk", **row):
    """One line of a food whose entry has household weights of SR26, weighed by both."""
    added = ENTRIES.iloc[[0]].assign(entry_id=entry, name=phrase, common_names=phrase, cooking_class="eggs", refuse_fraction=0.0, state="raw")
    with mock.patch(f"{__name__}.ENTRIES", pd.concat([ENTRIES, added], ignore_index=True)):
        frame, problems = weigh_rows({"text": phrase, "phrase": phrase, "entry": entry, **row}, units_system=units_system,
                                     measures=american(entry))
    assert not problems
    return frame.iloc[0]


def test_an_american_egg_is_not_a_british_one():
    british = imported("egg", "egg", quantity=1, size="medium")
    assert (british.measure_id, british.measure_value) == ("egg-piece-medium", 58.0)  # a graded size is its own country's
    assert (british.measure_low, british.measure_high) == (53.0, 63.0)
    american_egg = imported("egg", "egg", "us", quantity=1, size="medium")
    assert (american_egg.measure_id, american_egg.mass_g) == ("usda-sr26:01123:06", 44.0)


def test_a_curated_row_of_the_recipes_own_kitchen_goes_before_the_table():
    """American recipes mean large eggs, 50 g without the shell (SR26 01123, weight 1); SR26 01129 knows the large one alone, and no step leads down from it."""
    for entry in ("egg", "large egg alone"):
        row = imported(entry, "egg", "us", quantity=4)
        assert (row.measure_id, row.mass_g, row.edible_g) == ("us-egg-piece", 200.0, 200.0)
    # SR26 18069, "slice, large": 30 g; the usual slice is not 0.66 of it where one was weighed.
    assert imported("large slice alone", "white bread", "us", quantity=2, unit="slice").measure_id.startswith("white-bread")
    assert imported("egg", "egg", "us", quantity=1, size="small").measure_id == "usda-sr26:01123:07"  # a size of its own


def test_a_weight_of_another_kitchen_beyond_the_interval_widens_it():
    # Curated: a British finger chilli of 6 to 40 g. SR26 11819, "1 pepper": 45 g.
    row = imported("chilli", "red chilli", quantity=1)
    assert (row.measure_id, row.measure_value, row.mass_g) == ("red-chilli-piece+usda-sr26:11819:01", 14.0, 14.0)
    assert (row.measure_low, row.measure_high) == (6.0, 1.25 * 45)
    assert "usda-sr26 gives 45 g: the interval reaches over both" in row.assumption
    other_way = imported("chilli", "red chilli", "us", quantity=1)
    assert (other_way.measure_id, other_way.measure_value) == ("usda-sr26:11819:01+red-chilli-piece", 45.0)
    assert (other_way.measure_low, other_way.measure_high) == (6.0, 1.25 * 45)


def test_a_weight_as_bought_is_compared_with_one_as_eaten_by_the_edible_part():
    # 60 g in the shell (50 to 72) is 52.8 g eaten; the 44 g of SR26 01123 are 50 g in the shell: within it.
    row = imported("egg", "egg", quantity=2)
    assert row.measure_id == "egg-piece" and row.edible_fraction == pytest.approx(0.88)
    heavier = american("egg")
    heavier.loc[heavier["measure_id"] == "usda-sr26:01123:06", ["low", "middle", "high"]] = [66.0, 88.0, 110.0]
    with mock.patch(f"{__name__}.american", lambda *_: heavier):
        wide = imported("egg", "egg", quantity=2)
    assert wide.measure_id == "egg-piece+usda-sr26:01123:06" and wide.mass_g == 120.0
    assert (wide.measure_low, wide.measure_high) == (50.0, pytest.approx(110 / 0.88))


def test_the_table_fills_in_where_the_curated_rows_say_less():
    # no curated row names the food: the table's goes before one for its class or for any food
    assert imported("cardoon", "zorblefruit", quantity=2).measure_id == "usda-sr26:none:01"
    # a size that only the table has
    books = open_books(**{**REFERENCE, "measures": american("turnip")})[0]
    food = Food("bird eye chilli", "", "turnip", "Chilli", "bird eye chilli", "other-vegetables")
    assert find_measure(books, food, "piece", "large", "").measure.measure_id == "usda-sr26:none:02"
    assert find_measure(books, food, "piece", "", "").measure.measure_id == "bird-eye-chilli-piece"
    # a cup of something chopped: no density says that
    assert imported("chilli", "red chilli", quantity=1, unit="cup", preparation="chopped").measure_id == "usda-sr26:11819:02"


def test_a_spoon_is_of_the_recipes_own_kitchen_where_a_density_answers():
    # SR26 18372: 1 tsp = 4.6 g, of an American teaspoon
    row = imported("soda", "bicarbonate of soda", quantity=1, unit="teaspoon")
    assert row.measure_id == "unit:uk_teaspoon" and row.density_id


def test_a_boneless_thigh_never_weighs_what_a_whole_one_does():
    # SR26 05096, thigh, meat only, raw, sequences 1 to 3: "1 thigh = 193 g" beside "1 thigh with skin = 189 g".
    published = pd.DataFrame(
        [("01", 3.0, "3", "oz", 85.0), ("02", 1.0, "1", "thigh", 193.0), ("03", 1.0, "1", "thigh with skin", 189.0)],
        columns=["sequence", "amount", "amount_text", "description", "grams"],
    ).assign(measure_id=lambda rows: "usda-sr26:05096:" + rows["sequence"], entry_id="chicken", food="Chicken, dark meat, thigh, meat only, raw",
             standard_deviation=np.nan, source_id="usda-sr26", source_row="USDA SR26, 05096")
    unit_words = pd.read_csv(ROOT.parent / "mappings" / "unit_words.csv", dtype="str", keep_default_na=False)
    measures = measures_of(published, unit_words)
    assert set(measures["measure"]) == {"oz", "1 thigh", "thigh with skin"}  # nobody writes these two
    every = pd.concat([REFERENCE["measures"].assign(table="", kitchen=""), measures.assign(spread_source_id="usda-sr26", table="usda-sr26", kitchen="us")],
                      ignore_index=True)
    line = dict(text="4 skinless boneless chicken thighs", phrase="chicken", unit="thigh", quantity=4, preparation="skinless boneless", entry="chicken")
    for system in ("uk", "us"):
        frame, _ = weigh_rows(line, units_system=system, measures=every)
        assert (frame.iloc[0].measure_id, frame.iloc[0].edible_g) == ("chicken-thigh", 420.0)
    alone = measures_of(published[published["sequence"] == "02"], unit_words)
    assert alone["measure"].tolist() == ["thigh"]  # nothing beside it makes it doubtful


def test_where_only_the_entry_is_open_the_likeliest_one_tells_the_class():
    row = dict(phrase="salsify", quantity=1, unit="cup", entry="salsify", outcome="review")
    frame, _ = weigh_rows({**row, "match_reason": "close-call"}, {**row, "match_reason": "head-differs"}, row, {**row, "outcome": "accepted"})
    assert frame["density_id"].tolist() == ["class-roots", "", "", "class-roots"]
    assert frame["weigh_reason"].tolist() == ["", "no-entry", "no-entry", ""]
