"""A word of the line that contradicts the best entry keeps it from being accepted: strength, salt in tins, states.

What is expected is common practice of the kitchen and of published tables, no source.
"""

from __future__ import annotations

import pytest
from decision_kitchen import matched

from pipeline.stages import match_naming, match_words

ORDINARY_TOMATOES, UNSALTED_TOMATOES = "11531", "11885"


def answer(text: str):
    """The answer of the core to one line, without any decision."""
    return matched([text])[0].iloc[0]


@pytest.mark.parametrize("text", [
    "100 ml orange juice concentrate", "100 ml frozen orange juice concentrate", "100 ml concentrated orange juice", "100 ml orange juice, undiluted",
    "100 ml orange juice concentrate, thawed", "2 tbsp lemon juice concentrate", "100 ml apple juice concentrate", "100 ml milk, powdered",
    "2 tbsp powdered milk", "100 ml chicken stock, concentrated", "1 tbsp concentrated beef stock", "50 ml undiluted orange squash",
])
def test_a_concentrate_is_not_the_food_that_is_made_of_it(text):
    assert answer(text)["match_outcome"] != "accepted", answer(text)["entry_name"]


@pytest.mark.parametrize(("text", "entry"), [
    ("100 ml orange juice", "09209"), ("100 ml orange juice from concentrate", "09209"), ("100 ml orange juice, not from concentrate", "09209"),
    ("100 ml condensed milk", "01095"), ("100 ml evaporated milk", "01153"), ("2 tbsp skimmed milk powder", "01091"),
])
def test_what_is_no_concentrate_or_says_that_it_is_one_is_accepted(text, entry):
    found = answer(text)
    assert (found["match_outcome"], found["entry_id"]) == ("accepted", entry)


def test_a_name_that_says_how_a_concentrate_was_thinned_is_no_concentrate():
    thinned = match_words.told_tokens("Orange juice, frozen concentrate, unsweetened, diluted with 3 volume water")
    assert match_naming.CONCENTRATED.isdisjoint(thinned)
    assert match_naming.CONCENTRATED.isdisjoint(match_words.told_tokens("Orange juice, chilled, includes from concentrate"))
    assert "concentrate" in match_words.told_tokens("Orange juice, frozen concentrate, unsweetened, undiluted")


@pytest.mark.parametrize("text", ["1 (14.5 ounce) can diced tomatoes", "400 g tin chopped tomatoes", "2 tins plum tomatoes", "400 g tinned tomatoes"])
def test_a_plain_tin_is_the_ordinary_one(text):
    found = answer(text)
    assert (found["match_outcome"], found["entry_id"]) == ("accepted", ORDINARY_TOMATOES)


@pytest.mark.parametrize("text", ["1 can no-salt-added diced tomatoes", "400 g tin unsalted plum tomatoes", "1 tin no added salt chopped tomatoes"])
def test_a_tin_without_salt_is_that(text):
    found = answer(text)
    assert (found["match_outcome"], found["entry_id"]) == ("accepted", UNSALTED_TOMATOES)


@pytest.mark.parametrize("text", ["500 g passata", "200 ml tomato juice", "1 can pumpkin puree", "1 can tomato paste"])
def test_a_tin_that_only_stands_without_salt_is_for_a_person(text):
    found = answer(text)
    assert (found["match_outcome"], found["match_reason"]) == ("review", "level-differs")


@pytest.mark.parametrize("text", ["1 tin kidney beans, no salt added", "1 can unsalted sweetcorn", "1 can low sodium black beans", "1 tin unsalted chickpeas"])
def test_a_tin_without_salt_is_never_the_salted_one(text):
    assert answer(text)["match_outcome"] != "accepted"


@pytest.mark.parametrize("text", [
    "50 g dried tofu", "200 g cooked polenta", "200 g cooked semolina", "200 g cooked oats", "100 g dried mozzarella", "1 tin milk", "100 g dried carrots",
    "200 g cooked flour", "100 g smoked chicken", "100 g pickled tofu",
])
def test_a_state_in_which_the_table_does_not_have_the_food_is_for_a_person(text):
    found = answer(text)
    assert found["match_outcome"] != "accepted", found["entry_name"]


@pytest.mark.parametrize("text", ["200 g cold rice", "200 g rice, cold", "200 g reheated rice", "200 g cold pasta", "300 g cold potatoes", "200 g chilled noodles",
                                  "200 g cold chicken"])
def test_cold_or_reheated_food_is_not_taken_for_raw_or_dry(text):
    assert answer(text)["match_outcome"] != "accepted"


@pytest.mark.parametrize(("text", "entry"), [("200 g cold cooked rice", "20445"), ("100 ml cold milk", "01077"), ("20 g cold butter", "01001"),
                                             ("100 g cooked ham", "07029"), ("100 g dried breadcrumbs", "18079")])
def test_where_the_state_is_said_or_cannot_be_another_nothing_is_open(text, entry):
    found = answer(text)
    assert (found["match_outcome"], found["entry_id"]) == ("accepted", entry)
