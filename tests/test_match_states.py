"""Ways of cooking behind the food, percentages beside it, and skins that stay on.

100 g of a baked potato are not 100 g of a raw one: a line that says how the food was cooked gets an entry that was cooked so, or
goes to a person. Names, states and refuse are those of the curated core (USDA SR26); what cooks mean by the words is common
practice, no source.
"""

from __future__ import annotations

from functools import cache

import pytest
from test_match import answer, matcher

from pipeline import match_bench
from pipeline.stages.match import Asked
from pipeline.stages.match_outcome import ways
from pipeline.stages.match_state import made_agreement
from pipeline.stages.match_words import Way


@cache
def bench() -> match_bench.Bench:
    return match_bench.open_bench("core")


def outcome(text: str) -> tuple[str, str, str]:
    row = answer(text)
    return row["match_outcome"], row["match_reason"], row["entry_id"]


@pytest.mark.parametrize("text", [
    "300 g carrots, roasted", "500 g potatoes, mashed", "500 g potatoes, peeled and mashed", "1 cup cauliflower, roasted", "200 g spinach, steamed",
    "200 g chicken breast, fried", "2 aubergines, barbecued", "1 lb parsnips, peeled and roasted", "1 cup mashed sweet potatoes", "200 g chestnuts, roasted",
    "2 slices white bread, toasted",
])
def test_what_was_cooked_in_a_way_that_no_entry_was_goes_to_a_person(text):
    assert outcome(text)[:2] == ("review", "cooked-otherwise")


@pytest.mark.parametrize(("text", "entry_id"), [
    ("200 g jacket potatoes, baked", "11674"), ("4 salmon fillets, grilled", "15237"), ("2 baked potatoes", "11674"), ("200 g carrots, boiled", "11125"),
    ("4 rashers bacon, fried", "10862"), ("50 g sesame seeds, toasted", "12024"), ("6 slices bacon, cooked and crumbled", "10862"),
])
def test_an_entry_that_was_cooked_so_is_taken(text, entry_id):
    assert outcome(text) == ("accepted", "matched", entry_id)


@pytest.mark.parametrize(("text", "entry_id"), [
    ("500 g potatoes for roasting", "11352"), ("1 kg roasting potatoes", "11352"), ("500 g potatoes, chopped for mashing", "11352"),
    ("500 g potatoes, to be mashed", "11352"), ("4 baking potatoes", "11352"), ("2 ripe bananas, mashed", "09040"), ("1 avocado, mashed", "09037"),
    ("2 tbsp pine nuts, toasted", "12147"), ("1 tsp cumin seeds, toasted", "02014"), ("100 g walnuts, toasted and chopped", "12155"),
    ("50 g toasted sesame seeds", "12024"), ("1 tin chickpeas, drained and roasted", "16358"),
])
def test_what_is_still_to_be_cooked_or_hardly_changes_is_taken_as_it_is(text, entry_id):
    assert outcome(text) in {("accepted", "matched", entry_id), ("accepted", "decided", entry_id)}


def test_a_decision_on_the_plain_food_is_not_one_on_the_cooked_food():
    """What a person said of onions does not hold for onions that are roasted already, unless it was said of the cooked food."""
    found = matcher()
    decided = type("Row", (), {"kind": "match", "scope": "phrase", "entry_id": "11282", "entry_name": "Onions, raw", "state": "", "decision_id": "onion"})
    ruling = type("Ruling", (), {"decision": decided})
    assert found._settled(Asked("onion"), ruling)[0]["entry_id"] == "11282"
    assert found._settled(Asked("onion", behind="roasted"), ruling) is None
    decided.state = "cooked"
    assert found._settled(Asked("onion", behind="roasted"), ruling)[0]["entry_id"] == "11282"


def test_ways_of_cooking_are_read_where_they_change_the_food():
    words = matcher().vocabulary

    def said(*asked) -> list[str]:
        return [way.word for way in ways(Asked(*asked[:2], behind=asked[2]), words)]
    assert said("carrots", "", "peeled and roasted") == ["roasted"]
    assert said("potatoes", "cooked", "boiled and mashed") == ["boiled"] and said("potatoes", "", "mashed") == ["mashed"]
    assert said("bananas", "", "mashed") == [] and said("chickpeas", "canned", "roasted") == [] and said("carrots", "", "chopped") == []


@pytest.mark.parametrize(("state", "cooking_class", "names", "agreement"), [
    ("cooked", "roots", {"boiled"}, -1), ("cooked", "roots", {"baked"}, 1), ("cooked", "roots", set(), 1), ("raw", "roots", set(), -1),
    ("dried", "nuts-seeds", set(), 1), ("raw", "nuts-seeds", set(), -1),
])
def test_an_entry_answers_by_the_way_that_its_name_says(state, cooking_class, names, agreement):
    roasted = Way("roasted", frozenset({"roasted", "baked"}), frozenset({"nuts-seeds"}), frozenset())
    assert made_agreement("", "", (roasted,), state, cooking_class, frozenset(), frozenset(names)) == agreement
    nothing_agrees = Way("mashed", frozenset(), frozenset(), frozenset({"potato"}))
    assert made_agreement("", "", (nothing_agrees,), "cooked", "potatoes", frozenset(), frozenset()) == -1


@pytest.mark.parametrize(("text", "entry_id"), [
    ("500 g 80/20 beef mince", "23572"), ("1 lb ground beef (80/20)", "23572"), ("500 g 80% lean beef mince", "23572"), ("200 ml milk (2%)", "01079"),
    ("1 cup 2% milk", "01079"), ("500 g lean beef mince (5% fat)", "23557"),
])
def test_a_percentage_finds_its_entry_wherever_it_stands(text, entry_id):
    assert outcome(text) == ("accepted", "matched", entry_id)


def test_a_percentage_that_no_entry_has_goes_to_a_person():
    assert outcome("500 g beef mince (12% fat)")[:2] == ("review", "level-differs")


def test_bacon_is_not_fried_bacon():
    """The core has it fried only; cooks buy it raw, and a rasher loses half its weight."""
    assert outcome("6 rashers bacon")[:2] == ("review", "state-differs")


@pytest.mark.outside_data
def test_minced_chuck_is_not_a_fried_patty(imported_sr26):
    """USDA SR26 calls its cooked patties "ground chuck" too (23573); what a cook weighs is raw."""
    whole = match_bench.open_bench("usda-sr26", decided=False, root=imported_sr26)
    found, _ = whole.match(whole.read(["1 lb ground chuck", "6 rashers bacon", "2 slices white bread, toasted"]))
    assert found["entry_id"].tolist() == ["23572", "10123", "18070"] and (found["match_outcome"] == "accepted").all()


# ---------------------------------------------------------------- the peel

def edible(texts: list[str]) -> list[float]:
    parsed = bench().read(texts)
    matched, _ = bench().match(parsed)
    weighed = bench().grams(parsed, matched["entry_id"].tolist())
    return (weighed["edible_g"] / weighed["mass_g"]).round(3).tolist()


def test_a_skin_that_stays_on_is_not_taken_off():
    kept = ["500 g potatoes, skins left on", "500 g potatoes, with their skins", "500 g potatoes, not peeled", "500 g potatoes, unpeeled",
            "500 g potatoes, scrubbed", "500 g jacket potatoes", "2 jacket potatoes", "500 g potatoes in their jackets", "300 g carrots, scrubbed",
            "500 g potatoes, do not peel", "500 g potatoes, skin on, cut into wedges", "500 g potatoes, un-peeled",
            "500 g potatoes, washed but not peeled"]
    assert edible(kept) == [1.0] * len(kept)
    off = ["500 g potatoes", "500 g potatoes, peeled", "500 g potatoes, scrubbed and peeled", "500 g potatoes, without skin", "500 g potatoes, with skin removed"]
    assert max(edible(off)) < 1
