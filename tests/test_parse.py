"""The parse stage: labelled lines, properties, accounting and bad input.

``tests/data/parse_lines.csv`` holds lines as British and American cooks write them, written for
this project. About a hundred were labelled before the stage first read them; the labels of the
others were set beside the stage's reading and checked line by line, so they guard against change
more than they measure it.

``tests/data/parse_blind_a.csv`` and ``parse_blind_b.csv`` were written and labelled as somebody
marks a printed line, before the stage read them: quantity and unit are the first stated ones. When
it first read them, 81 % and 80 % were exact as marked, 94 % and 93 % by the conventions of
``pipeline/stages/parse.py``, and the food words stood in the phrase of 98 % and 98 %. They are of odd
lines. ``parse_blind_c.csv`` is of ordinary ones, labelled in the same way by somebody who had not seen the stage:
at first reading 94 % exact as marked, 99 % by the conventions, the food words in 98 %. Then bay leaves, fillets,
stock cubes and juiced lemons, which its labels count without a unit, were counted so. ``parse_blind_d.csv`` is of lines as they
stand on American recipe pages, ``parse_blind_e.csv`` of odd ones of that kind: at first reading 95 % and 88 % exact as marked,
100 % and 96 % by the conventions, the food words in all. ("1 cup plus 2 tablespoons" is their sum, a dozen are twelve.)
"""

from __future__ import annotations

import math
import re
from functools import cache
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline.problems import WARNING
from pipeline.stages import parse as parse_stage
from pipeline.stages.parse import REASONS, account, parse, parse_text, vocabulary
from pipeline.stages.parse_measure import SIZES
from pipeline.stages.parse_words import clean, tokenise
from pipeline.tables import AMOUNT_RULES, LINE_KINDS, STATES, Lines, Parsed, checked
from pipeline.units import SYSTEMS, grams_per, millilitres_per

ROOT = Path(__file__).resolve().parents[1]


def _csv(path: Path) -> pd.DataFrame:
    return pd.read_csv(path, dtype=str, keep_default_na=False)


@cache
def _mappings() -> tuple[pd.DataFrame, ...]:
    return tuple(_csv(ROOT / "mappings" / f"{name}.csv") for name in ("unit_words", "sizes", "states", "preparations"))


@cache
def _known():
    return vocabulary(*_mappings())


@cache
def _labelled() -> pd.DataFrame:
    return _csv(ROOT / "tests" / "data" / "parse_lines.csv")


def read(text: str) -> dict:
    return parse_text(text, _known())


def lines_of(texts: list[str]) -> pd.DataFrame:
    rows = [{"recipe_id": "tern", "variant_id": "base", "line_no": n, "line_id": f"tern/base/{n}", "text": text, "section": "",
             "origin": "base", "source_file": "tern.yaml", "source_line": n + 4} for n, text in enumerate(texts, start=1)]
    return checked(Lines, pd.DataFrame(rows), "test")


def _shown(number: float) -> str:
    return "" if math.isnan(number) else format(round(number, 4), "g")


# ---------------------------------------------------------------- labelled lines

def test_there_are_enough_labelled_lines_and_each_once():
    assert len(_labelled()) >= 220
    assert not _labelled()["text"].duplicated().any()


def test_quantity_and_unit_are_exact_on_the_labelled_lines():
    wrong = []
    for row in _labelled().itertuples():
        found = read(row.text)
        if (_shown(found["quantity_low"]), _shown(found["quantity_high"]), found["unit"]) != (row.quantity_low, row.quantity_high, row.unit):
            wrong.append(row.text)
    assert len(wrong) <= 0.004 * len(_labelled()), wrong  # measured: 2 of 636


def test_the_phrase_holds_the_food_words_of_the_labelled_lines():
    missing = [row.text for row in _labelled().itertuples() if not set(row.food_words.split()) <= set(read(row.text)["phrase"].split())]
    assert len(missing) <= 0.002 * len(_labelled()), missing  # measured: none


@pytest.mark.parametrize("column", ["kind", "state", "optional", "amount_rule"])
def test_the_other_columns_of_the_labelled_lines(column):
    wrong = []
    for row in _labelled().to_dict("records"):
        found = read(row["text"])[column]
        found = ("yes" if found else "") if column == "optional" else found
        if found != row[column]:
            wrong.append((row["text"], found, row[column]))
    assert len(wrong) <= 0.002 * len(_labelled()), wrong  # measured: none, but for one amount_rule


def test_the_phrase_carries_no_preparation_or_amount():
    for text in ("2 small onions, finely chopped", "finely chopped onions 2", "2 onions finely chopped (small)"):
        assert read(text)["phrase"] == "onions", text


# ---------------------------------------------------------------- lines labelled before they were read

def _unit_of(word: str) -> str:
    found = _known().units.exactly([token.low for token in tokenise(word.rstrip("."))])
    return found[0] if found else word


def _same(one: float, other: float) -> bool:
    return abs(one - other) < 0.002


def _as_marked(found: dict, low: str, high: str, unit: str) -> bool:
    if found["kind"] != "food" or low == "":
        return math.isnan(found["quantity_low"]) and found["unit"] == unit
    return _same(found["quantity_low"], float(low)) and _same(found["quantity_high"], float(high)) and found["unit"] == unit


def _length_in(text: str, number: float, unit: str) -> bool:
    """Whether a reading is the length that stands in the line: "5cm piece", "1 (2-inch) piece", "an inch"."""
    written = re.search(r"([\d.]+)[ -]?(?:inch|cm)", text)
    return unit in ("inch", "cm") and number == (float(written[1]) if written else 1)


def _by_convention(text: str, found: dict, low: str, high: str, unit: str) -> bool:
    """Whether the reading differs from the mark only by a convention that ``parse`` documents."""
    got, of = found["quantity_low"], found["unit"]
    if low == "":  # a pinch is one pinch; a few are two to four
        return (got == 1 and of in (unit, "thumb") or "few" in found["parse_reason"] and got in (2, 3) or _length_in(text, got, of)
                or got == 1 and _length_in(text, found["each_quantity"], found["each_unit"]))
    marked = float(low)
    other = read(found["note"].split(";")[0].strip() + " butter") if found["note"] else found
    return (
        _same(got, marked) and (of in (f"heaped {unit}", f"thick {unit}", f"thin {unit}") or unit == "" and of in ("leg", "breast", "piece")
                               or of == "" and _unit_of(found["phrase"].rpartition(" ")[2]) == unit != "")
        or got == 1 and found["each_unit"] == unit and _same(found["each_quantity"], marked)  # "400 g tin": one tin of 400 g
        or unit == "dozen" and of == "" and _same(got, 12 * marked)
        or of == unit and marked < got <= 1.5 * marked and ("plus" in text or "+" in text)
        or unit == "piece" and _length_in(text, got, of)
        or other is not found and _same(other["quantity_low"], marked) and other["unit"] == unit  # the other of two measures
    )


@pytest.mark.parametrize("name, lines, as_marked, by_convention, foods", [
    # measured: 0.887, 0.996, 0.998; 0.872, 0.975, 0.995; 0.975, 1, 0.985; 0.951, 1, 1; 0.886, 0.970, 1
    ("a", 540, 0.88, 0.995, 0.995), ("b", 200, 0.87, 0.97, 0.99), ("c", 400, 0.97, 0.995, 0.98), ("d", 160, 0.945, 0.995, 0.995), ("e", 130, 0.88, 0.965, 0.995),
])
def test_lines_labelled_before_they_were_read(name, lines, as_marked, by_convention, foods):
    table = _csv(ROOT / "tests" / "data" / f"parse_blind_{name}.csv")
    assert len(table) >= lines and not table["text"].duplicated().any()
    exact, meant, named, wrong = 0, 0, 0, []
    for row in table.itertuples():
        found = read(row.text)
        if row.kind in ("heading", "note-line"):
            same = also = held = found["kind"] != "food"
        else:
            mark = (row.quantity_low, row.quantity_high, _unit_of(row.unit))
            same = _as_marked(found, *mark)
            also = same or _by_convention(row.text, found, *mark)
            held = all(word.lower().rstrip("s") in found["phrase"] for word in row.food_words.split(";") if word)
        exact, meant, named = exact + same, meant + also, named + held
        wrong += [] if also and held else [row.text]
    assert (exact / len(table) >= as_marked, meant / len(table) >= by_convention, named / len(table) >= foods) == (True, True, True), wrong


@pytest.mark.parametrize("text, low, high, unit, phrase", [
    ("turmeric powder - 1/2 tsp", 0.5, 0.5, "teaspoon", "turmeric powder"), ("2 fillet steaks", 2, 2, "", "fillet steaks"),
    ("500 g peeled weight potatoes", 500, 500, "g", "potatoes"), ("250g prepared weight squash", 250, 250, "g", "squash"),
    ("salt and pepper, 1/4 teaspoon each", 0.25, 0.25, "teaspoon", "salt and pepper"),
    ("mashed potato, 300 g", 300, 300, "g", "mashed potato"), ("whites of 2 eggs", 2, 2, "", "egg whites"), ("yolk of 1 egg", 1, 1, "", "egg yolk"),
    ("2 eggs, yolks only", 2, 2, "", "egg yolks"), ("lemon juice from 1 lemon", 1, 1, "", "lemon juice"),
    ("one dozen eggs", 12, 12, "", "eggs"), ("1-2 dozen clams", 12, 24, "", "clams"), ("1 doz. eggs", 12, 12, "", "eggs"),
    ("5 # potatoes", 5, 5, "lb", "potatoes"), ("1# ground beef", 1, 1, "lb", "ground beef"), ("1 #10 can tomatoes", 1, 1, "tin", "tomatoes"),
    ("1 No. 2 can tomatoes", 1, 1, "tin", "tomatoes"), ("quarter teaspoon cloves", 0.25, 0.25, "teaspoon", "cloves"),
    ("one cup and a half of flour", 1.5, 1.5, "cup", "flour"), ("1 l/2 cups flour", 1.5, 1.5, "cup", "flour"), ("1+1/2 cups milk", 1.5, 1.5, "cup", "milk"),
    ("2+ cups flour", 2, 2, "cup", "flour"), ("3 (to 4) tablespoons water", 3, 4, "tablespoon", "water"), ("2 or more cloves of garlic", 2, 2, "clove", "garlic"),
    ("c. 300g beetroot", 300, 300, "g", "beetroot"), ("2 tablesoons butter", 2, 2, "tablespoon", "butter"), ("3 ouces cream cheese", 3, 3, "oz", "cream cheese"),
    ("2 pinto beans", 2, 2, "", "pinto beans"), ("7-inch tortilla", 1, 1, "", "tortilla"), ("2-inch ginger", 2, 2, "inch", "ginger"),
    ("3 1-inch-thick slices bread", 3, 3, "slice", "bread"), ("2 cups 1/2-inch diced potatoes", 2, 2, "cup", "potatoes"),
    ("1 tablespoon seeded and minced jalapeno", 1, 1, "tablespoon", "jalapeno"), ("2 cups flour, plus 2 tablespoons flour", 2.125, 2.125, "cup", "flour"),
    ("4 chicken thighs", 4, 4, "", "chicken thighs"), ("3 celery ribs", 3, 3, "rib", "celery ribs"), ("2 racks baby back ribs", 2, 2, "rack", "baby back ribs"),
    ("a pinch or two of salt", 1, 2, "pinch", "salt"), ("1 package, 8 ounces, cream cheese", 1, 1, "packet", "cream cheese"), ("fillet of sole, 1 lb", 1, 1, "lb", "fillet of sole"),
    ("1 lb pork shoulder, fat trimmed", 1, 1, "lb", "pork shoulder"), ("bay leaf", 1, 1, "", "bay leaf"), ("1/2 a 410g tin of lentils", 0.5, 0.5, "tin", "lentils"),
])
def test_lines_that_were_once_misread(text, low, high, unit, phrase):
    found = read(text)
    assert (found["quantity_low"], found["quantity_high"], found["unit"], found["phrase"]) == (low, high, unit, phrase)


@pytest.mark.parametrize("text, phrase", [
    ("1 tbsp each: oregano, basil, thyme", "oregano and basil and thyme"), ("100g each of raisins, sultanas and currants", "raisins and sultanas and currants"),
    ("oil, salt, pepper", "oil and salt and pepper"), ("salt and pepper each", "salt and pepper"), ("salt/pepper", "salt/pepper"),
])
def test_a_list_of_foods_is_kept_whole_and_is_in_doubt(text, phrase):
    found = read(text)
    assert found["phrase"] == phrase and "two-foods" in found["parse_reason"] and found["parse_confidence"] <= 0.6 and found["leftover"] == ""


@pytest.mark.parametrize("text, phrase, alternative", [
    ("1 lb ground beef, turkey or chicken", "ground beef", "turkey or chicken"), ("1 cup apple, orange or cranberry juice", "apple juice", "orange or cranberry juice"),
    ("1 pound penne or other short pasta", "penne", "other short pasta"), ("1 teaspoon fresh parsley, chopped or 1/2 teaspoon dried parsley", "fresh parsley", "1/2 teaspoon dried parsley"),
])
def test_alternatives_that_share_words(text, phrase, alternative):
    found = read(text)
    assert (found["phrase"], found["alternative"], found["state"]) == (phrase, alternative, "")


def test_what_is_said_of_the_alternative_is_not_said_of_the_food():
    found = read("1 cup fresh mushrooms, sliced or 1 (4 ounce) can mushrooms, drained")
    assert (found["state"], found["alternative"]) == ("", "1 can mushrooms, drained")


# ---------------------------------------------------------------- what the words mean

@pytest.mark.parametrize("text, each, unit", [
    ("2 x 400 g tins chickpeas", 400, "g"), ("1 (14 ounce) can tomatoes", 14, "oz"), ("1 tin (400g) plum tomatoes", 400, "g"),
    ("1 × 400 g tin, drained, chickpeas", 400, "g"), ("2 salmon fillets (about 120 g each)", 120, "g"), ("1 (3 1/2 pound) chicken", 3.5, "lb"),
    ("4 x 150 g salmon fillets", 150, "g"), ("half a 400g tin of chickpeas", 400, "g"), ("1-15 oz can corn", 15, "oz"), ("2-15 oz cans corn", 15, "oz"), ("1 tub/250g mascarpone", 250, "g"),
    ("2 cans (14.5 Oz. Can) tomatoes", 14.5, "oz"), ("1 (12-count) package tortillas", 12, "piece"), ("9-inch pie crust", 9, "inch"),
    ("8 to 10 (about 2 1/4 pounds) chicken thighs", 0.25, "lb"), ("2 large (1 lb total) carrots", 0.5, "lb"),
])
def test_the_size_of_one(text, each, unit):
    found = read(text)
    assert (found["each_quantity"], found["each_unit"]) == (each, unit)


def test_a_measure_behind_several_pieces_is_of_all_of_them_and_lowers_the_confidence():
    found = read("2 chicken breasts (300 g)")
    assert (found["each_quantity"], found["parse_reason"]) == (150, "size-may-be-total")
    assert found["parse_confidence"] < read("2 chicken breasts (150 g each)")["parse_confidence"]


def test_each_at_the_end_may_be_of_each_eater():
    assert (read("1 chicken breast each")["parse_reason"], read("4 salmon fillets, 120 g each")["parse_reason"]) == ("for-each", "")


@pytest.mark.parametrize("text, disagree", [
    ("115 g / 4 oz butter", False), ("225g/8oz flour", False), ("100 g / 8 oz butter", True), ("1 lb/450g potatoes", False),
    ("500 ml (1 pint) milk", False), ("1 litre/1 pint stock", True), ("1 cup (240 ml) milk", False), ("1 cup (500 ml) milk", True),
    ("25 g/1 oz butter", False), ("400g/10oz tin tomatoes", True),
])
def test_dual_measures_are_compared(text, disagree):
    assert ("measures-disagree" in read(text)["parse_reason"]) is disagree


@pytest.mark.parametrize("text, quantity, unit, each, note", [
    ("8 oz/225 g plain flour", 8, "oz", None, "225 g"), ("225g/8oz plain flour", 225, "g", None, "8oz"),
    ("1 cup (240 ml) milk", 1, "cup", (240, "ml"), ""), ("2 cups (240 g) plain flour", 2, "cup", (120, "g"), ""),
    ("1/2 pint/300 ml milk", 0.5, "pint", (600, "ml"), ""), ("1 tbsp (15 ml) oil", 1, "tablespoon", None, "15 ml"),
    ("1 tbsp (14 g) butter", 1, "tablespoon", (14, "g"), ""),
])
def test_of_two_measures_the_first_stays_and_a_surer_one_sizes_it(text, quantity, unit, each, note):
    """The first of two masses is taken; grams say what a spoon holds, millilitres what a cup or a pint does, which differ between countries."""
    found = read(text)
    assert (found["quantity_low"], found["unit"], found["note"]) == (quantity, unit, note)
    assert each is None and pd.isna(found["each_quantity"]) or (found["each_quantity"], found["each_unit"]) == each


def test_units_compare_by_published_definitions():
    """NIST SP 811 (2008) appendix B: 1 lb = 453.59237 g, 1 US gallon = 3785.411784 ml, 1 in = 2.54 cm;
    UK Weights and Measures Act 1985 schedule 1: 1 gallon = 4546.09 ml."""
    assert SIZES["lb"][1] == 453.59237
    assert SIZES["oz"][1] == pytest.approx(453.59237 / 16)
    assert SIZES["stone"][1] == pytest.approx(14 * 453.59237)
    assert SIZES["gallon"][1:] == (3785.411784, 4546.09)
    assert SIZES["pint"][1:] == pytest.approx((3785.411784 / 8, 4546.09 / 8))
    assert SIZES["fl oz"][1:] == pytest.approx((4546.09 / 160, 3785.411784 / 128))
    assert SIZES["inch"][1] == 2.54


def test_units_compare_as_the_one_unit_registry_defines_them():
    for unit, (dimension, low, high) in SIZES.items():
        if dimension == "mass":
            assert grams_per(unit).middle == pytest.approx(low, rel=1e-6) and low == high, unit
        if dimension == "volume":
            sizes = [millilitres_per(unit, system) for system in SYSTEMS]
            assert low <= min(size.low for size in sizes) * 1.000001 and max(size.high for size in sizes) <= high * 1.000001, unit


@pytest.mark.parametrize("text, phrase, alternative", [
    ("500 ml vegetable or chicken stock", "vegetable stock", "chicken stock"), ("75 g butter or margarine", "butter", "margarine"),
    ("2 tbsp olive oil or 25 g butter", "olive oil", "25 g butter"), ("1 tbsp red or white wine vinegar", "red wine vinegar", "white wine vinegar"),
    ("1 tbsp fresh or 1 tsp dried thyme", "fresh thyme", "1 tsp dried thyme"), ("1 large or 2 small onions", "onions", "2 small onions"),
    ("butter or olive oil", "butter", "olive oil"),
])
def test_the_first_alternative_is_taken_and_the_other_kept(text, phrase, alternative):
    found = read(text)
    assert (found["phrase"], found["alternative"]) == (phrase, alternative)
    assert "alternatives" in found["parse_reason"]


def test_extra_to_serve_is_a_note_and_the_amount_stands():
    found = read("25 g butter, plus extra for greasing")
    assert (found["quantity_low"], found["amount_rule"], found["note"]) == (25, "stated", "plus extra for greasing")


def test_two_foods_in_one_line_say_so():
    found = read("1/2 tsp each salt and pepper")
    assert (found["phrase"], found["parse_reason"], found["note"]) == ("salt and pepper", "two-foods", "each")


def test_a_second_food_behind_a_plus_is_not_lost():
    found = read("2 eggs plus 1 egg yolk")
    assert (found["quantity_low"], found["leftover"], found["parse_reason"]) == (2, "1 egg yolk", "plus-food")
    assert found["parse_confidence"] < 0.5


@pytest.mark.parametrize("text, low, unit, phrase, state", [
    ("1 tsp salt and 1/2 tsp pepper", 1, "teaspoon", "salt", ""),
    ("1 rack of ribs", 1, "rack", "rack of ribs", ""),
    ("1 chicken or vegetable stock cube", 1, "", "chicken stock cube", ""),
    ("250 g firm tofu, patted dry and cubed", 250, "g", "firm tofu", ""),
    ("100 g dried chickpeas, soaked overnight and cooked", 100, "g", "dried chickpeas", "dried"),
    ("5% fat mince, 500 g", 500, "g", "5% fat mince", ""),
    ("100 g pot barley", 100, "g", "pot barley", ""),
    ("125 ml dry white wine", 125, "ml", "dry white wine", ""),
    ("a carrot or two", 1, "", "carrot", ""),
])
def test_lines_that_invite_a_dangerous_misreading(text, low, unit, phrase, state):
    found = read(text)
    assert (found["quantity_low"], found["unit"], found["phrase"], found["state"]) == (low, unit, phrase, state)


def test_words_that_cannot_be_placed_lower_the_confidence():
    found = read("200 g rice, blimmering")
    assert (found["leftover"], found["parse_reason"]) == ("blimmering", "leftover-words")
    assert found["parse_confidence"] < read("200 g rice")["parse_confidence"]


# ---------------------------------------------------------------- lines that must not be guessed

@pytest.mark.parametrize("text, reason", [
    ("-200 g rice", "negative-quantity"), ("1e9 g rice", "absurd-quantity"), ("9999 kg rice", "absurd-quantity"), ("1/0 cup rice", "absurd-quantity"),
    ("0 eggs", "absurd-quantity"), ("5000 eggs", "absurd-quantity"), ("12345", "no-food-words"), ("200 g", "no-food-words"), ("½", "no-food-words"),
    ("1 onion " * 200, "too-long"),
])
def test_an_unreadable_line_gives_no_quantity_and_a_problem_that_says_where(text, reason):
    table, problems = parse(lines_of([text, "200 g rice"]), *_mappings())
    row = table.iloc[0]
    assert (row["kind"], row["parse_confidence"]) == ("unreadable", 0)
    assert reason in row["parse_reason"].split(";")
    assert math.isnan(row["quantity_low"]) and row["phrase"] == ""
    assert [(problem.where, problem.code) for problem in problems] == [("tern.yaml:5", reason)]
    assert problems[0].remedy
    assert table.iloc[1]["kind"] == "food"


def test_a_dash_with_a_space_is_a_bullet():
    assert read("- 200 g rice")["quantity_low"] == 200
    assert read("– 200 g rice")["quantity_low"] == 200


def test_disagreeing_measures_are_a_warning():
    _, problems = parse(lines_of(["100 g / 8 oz butter"]), *_mappings())
    assert [(problem.code, problem.severity) for problem in problems] == [("measures-disagree", WARNING)]


# ---------------------------------------------------------------- properties

_WORDS = st.sampled_from(
    "200 g rice 1 1/2 ½ 2-3 x 400 tins ( ) , - – of or and plus juice lemon tbsp chopped drained small a half the for to taste serve optional / ; : . % "
    "onion butter each about oz cup frying salt pepper £ 🍅 1e9 0 -5 cm piece".split())
_LINES = st.one_of(st.text(max_size=80), st.lists(_WORDS, max_size=14).map(" ".join), st.lists(_WORDS, max_size=10).map("".join))


@settings(max_examples=600, deadline=None)
@given(_LINES)
@example("a")
@example("1 (")
@example("((((((((()))")
@example("or or or")
@example("1/2/3 / 4 / or")
@example("½½½ ½")
@example("plus + plus")
def test_no_text_makes_it_raise_and_every_row_is_valid(text):
    found = read(text)
    assert found["state"] in STATES and found["amount_rule"] in AMOUNT_RULES
    assert 0 <= found["parse_confidence"] <= 1
    assert all(reason in REASONS for reason in found["parse_reason"].split(";") if reason)
    assert not found["quantity_low"] > found["quantity_high"]
    assert math.isnan(found["each_quantity"]) or found["each_quantity"] > 0


@settings(max_examples=30, deadline=None)
@given(st.lists(_LINES, min_size=1, max_size=3))
def test_the_table_always_satisfies_its_model(texts):
    table, _ = parse(lines_of(texts), *_mappings())
    assert len(table) == len(texts)
    Parsed.validate(table)


@settings(max_examples=600, deadline=None)
@given(st.one_of(_LINES, st.sampled_from(list(_labelled()["text"]))))
def test_every_token_is_accounted_for(text):
    told = account(text, _known())
    if len(text) <= 1000:
        assert [token for token, _ in told] == [token.text for token in tokenise(clean(text))]
    assert all(role for _, role in told)
    found = read(text)
    if found["kind"] == "unreadable":
        assert found["leftover"] == text
        return
    for token, role in told:
        if role in ("preparation", "note", "leftover"):
            assert token in found[role]
        if role in ("phrase", "alternative"):
            word = token.lower().replace("(s)", "s").replace("(es)", "es")
            word = word.removesuffix("es").removesuffix("s") if found["phrase"].endswith((" juice", " zest")) else word  # limes: lime juice
            assert word in found[role].lower() or token == "–", (text, role, token)
        if role == "joint":
            assert not token.isdigit() or token == told[0][0], (text, token)


_ANY = st.text(alphabet=st.characters(), max_size=120)  # control characters, surrogates, marks, right-to-left and picture characters too


@settings(max_examples=300, deadline=None)
@given(_ANY)
@example("\x00\x07 2 cups\x1b[31m rice")
@example("\u202eecir g 002")
@example("אורז 2 כוסות")
@example("🧈" * 50)
@example("\ud800 1 cup rice")
def test_any_character_is_read_or_kept(text):
    """No character is lost: the tokens hold all that is not a space, and each has a role."""
    found, told = read(text), account(text, _known())
    assert "".join("".join(token for token, _ in told).split()) == "".join(clean(text).split())
    assert all(role for _, role in told) and found["text"] == text


@pytest.mark.parametrize("text", ["1 cup rice, " * 850, "🍅" * 10_000, "ש" * 10_000, "\x01" * 10_000, "½ " * 5_000])
def test_ten_thousand_characters_are_one_unreadable_line(text):
    found = read(text)
    assert (found["kind"], found["parse_reason"], found["leftover"]) == ("unreadable", "too-long", text)


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(list(_labelled()["text"])), st.sampled_from(["  ", " \t", "\u00a0"]))
def test_wider_spaces_change_nothing(text, space):
    one, other = read(text), read(text.replace(" ", space))
    assert {name: " ".join(str(value).split()) for name, value in one.items() if name not in ("text", "leftover")} == {
        name: " ".join(str(value).split()) for name, value in other.items() if name not in ("text", "leftover")}


@settings(deadline=None)
@given(st.integers(2, 9), st.integers(50, 900), st.sampled_from(["g tins chickpeas", "ml bottles tomato juice", "g packs feta"]))
def test_a_multiplication_counts_and_keeps_the_size(times, size, food):
    found, one = read(f"{times} x {size} {food}"), read(f"1 x {size} {food}")
    assert found["quantity_low"] == times * one["quantity_low"]
    assert (found["each_quantity"], found["each_unit"], found["phrase"]) == (size, one["each_unit"], one["phrase"])


_FOODS = st.sampled_from(["rice", "onions", "tins chickpeas", "g plain flour", "tbsp olive oil", "cloves garlic", "x 400 g tins tomatoes", "cups milk", "handfuls spinach"])


@settings(deadline=None)
@given(st.integers(1, 100), _FOODS)
def test_twice_the_number_is_twice_the_quantity(number, food):
    one, two = read(f"{number} {food}"), read(f"{2 * number} {food}")
    assert two["quantity_low"] == 2 * one["quantity_low"]
    assert (two["unit"], two["phrase"], two["state"]) == (one["unit"], one["phrase"], one["state"])


@settings(deadline=None)
@given(st.sampled_from([text for text in _labelled()["text"] if " t " not in text and " T " not in text and ";" not in text]), st.sampled_from(["upper", "lower", "title"]), st.sampled_from(["", " ", "\t", "\u00a0 ", "  "]))
def test_case_and_outer_spaces_do_not_change_quantity_and_unit(text, case, space):
    """But for "T" and "t", a tablespoon and a teaspoon, and the names of HTML entities."""
    changed = text.title() if case == "title" and text.isascii() and "'" not in text else text.upper() if case == "upper" and text.isascii() else text.lower()
    one, other = read(text), read(f"{space}{changed}{space}")
    assert (_shown(other["quantity_low"]), other["unit"], other["kind"]) == (_shown(one["quantity_low"]), one["unit"], one["kind"])


@pytest.mark.parametrize("written", ["1 1/2", "1½", "1 ½", "1-1/2", "1.5", "1,5", "1 and a half", "one and a half"])
def test_one_and_a_half_however_it_is_written(written):
    found = read(f"{written} cups plain flour")
    assert (found["quantity_low"], found["quantity_high"], found["unit"], found["phrase"]) == (1.5, 1.5, "cup", "plain flour")


# ---------------------------------------------------------------- bounds

def test_no_lines_give_an_empty_table():
    table, problems = parse(lines_of(["rice"]).iloc[:0], *_mappings())
    assert len(table) == 0 and problems == []
    Parsed.validate(table)


@pytest.mark.parametrize("text", ["(" * 100_000, "1" * 100_000, "1 " * 50_000, "a," * 50_000, "½" * 100_000, "1/" * 50_000, "<" * 100_000, "&" * 100_000,
                                  "(" * 999, "1/" * 499, "a or " * 199, "chopped and " * 80, ", " * 499, "<" * 999, "9" * 999])
def test_long_and_hostile_lines_come_to_an_end_and_lose_nothing(text):
    found = read(text)
    assert found["text"] == text and found["kind"] in LINE_KINDS
    assert "".join(part for part, _ in account(text, _known())).replace(" ", "") == clean(text).replace(" ", "")


def test_a_repeated_text_is_read_once(monkeypatch):
    seen = []
    monkeypatch.setattr(parse_stage, "parse_text", lambda text, known: seen.append(text) or parse_text(text, known))
    table, _ = parse(lines_of(["2 onions, finely chopped", "1 leek"] * 40), *_mappings())
    assert len(table) == 80 and seen == ["2 onions, finely chopped", "1 leek"]


def test_the_vocabularies_are_sorted_closed_and_without_repeats():
    for name, column, closed in (("states", "state", set(STATES)), ("preparations", "kind", None)):
        table = _csv(ROOT / "mappings" / f"{name}.csv")
        assert list(table["word"]) == sorted(table["word"]) and not table["word"].duplicated().any()
        assert closed is None or set(table[column]) <= closed
