"""Salt: alternatives that may hold potassium, and words that say a food is without it.

That salt with less sodium is mostly made with potassium chloride is common knowledge of the trade, no source; the wordings were
written for this project.
"""

from __future__ import annotations

import pytest
from test_parse import read
from test_parse_weights import read_above

from pipeline.match_bench import open_bench

OPEN = {  # the line -> the alternative that is kept
    "1 tsp salt (or diet-salt)": "diet-salt", "1 tsp salt (or Ternsalt)": "ternsalt", "1 tsp salt (use Ternsalt if you can)": "use ternsalt if you can", "1 tsp salt, or a low sodium alternative": "a low sodium alternative",
    "1 tsp salt or potassium chloride": "potassium chloride", "1 tsp salt, or low-sodium": "low-sodium", "1 tsp salt or salt substitute": "salt substitute", "1 tsp salt, or use a low-sodium one": "use a low-sodium one",
    "1 tsp salt (or a reduced-sodium version)": "a reduced-sodium version", "1 tsp salt or potassium salt": "potassium salt",
    "1 tsp sea salt/diet-salt": "diet-salt", "1 tsp salt – or diet-salt": "diet-salt", "1 tsp salt [or lite salt]": "lite salt",
    "1 tsp salt (use diet-salt if you can)": "use diet-salt if you can", "1 tsp salt (diet-salt if possible)": "diet-salt if possible",
    "1 tsp salt; reduced-sodium salt may be used": "reduced-sodium salt may be used", "1 tsp sea salt (or your usual replacement)": "your usual replacement",
    "a pinch of salt, or potassium chloride": "potassium chloride", "1 tsp salt or a healthier choice": "a healthier choice",
    "1/2 tsp salt, preferably low-sodium": "preferably low-sodium", "1 tsp table salt (or a kidney-friendly one)": "a kidney-friendly one",
    "1 tsp salt (can be replaced by a salt substitute)": "can be replaced by a salt substitute", "1 tsp celery salt or diet-salt": "diet-salt",
    "salt and pepper (or diet-salt)": "diet-salt", "salt and freshly ground black pepper, or low sodium salt": "low sodium salt",
    "salt/pepper (or salt substitute)": "salt substitute", "salt to taste, or a low-salt alternative if preferred": "a low-salt alternative",
    "Salt (try a low sodium one)": "try a low sodium one", "1 tsp salt – swap for diet-salt if you like": "swap for diet-salt if you like",
}


@pytest.mark.parametrize("text, alternative", OPEN.items())
def test_an_alternative_of_salt_that_may_hold_potassium_is_kept_and_held_for_review(text, alternative):
    found = read(text)
    assert found["phrase"].startswith(("salt", "sea salt", "table salt", "celery salt"))
    assert (found["alternative"], found["leftover"]) == (alternative, alternative)
    assert "salt-alternative" in found["parse_reason"] and found["parse_confidence"] <= read_above()


def test_no_such_line_is_accepted_as_table_salt_not_even_by_a_decision_on_salt_and_pepper():
    bench = open_bench("core")
    parsed = bench.read(list(OPEN))
    matched, _ = bench.match(parsed)
    assert "accepted" not in set(matched["match_outcome"])
    in_doubt = {"salt-in-doubt", "alternative-refused", "words-left-over"}  # the last two where the alternative was ruled out by a decision
    by_itself = matched[~parsed["phrase"].str.contains("pepper|celery")]  # for these no entry stands at all
    assert set(by_itself["match_reason"]) <= in_doubt and (by_itself["match_reason"] == "salt-in-doubt").sum() >= 17


def test_what_describes_a_salt_that_is_named_as_such_is_no_alternative():
    found = read("1 tsp reduced-sodium salt (part potassium chloride)")
    assert (found["phrase"], found["alternative"], found["note"]) == ("reduced-sodium salt", "", "part potassium chloride")


@pytest.mark.parametrize("text", [
    "1 tsp kosher salt or 1/2 tsp sea salt", "1 tsp salt (or to taste)", "1 tsp salt, or more to taste", "1 tsp salt (optional)",
    "salt or soy sauce, to taste", "1 tsp sea salt or table salt", "1 tsp salt, or less", "1 tsp fine sea salt (or 1 1/2 tsp kosher salt)",
    "1 tsp salt or 2 tsp soy sauce", "1 tsp salt, plus extra for the pasta water", "200 g salt cod or haddock", "salt and vinegar crisps or plain crisps",
])
def test_other_remarks_and_alternatives_beside_salt_are_no_doubt_of_that_kind(text):
    assert "salt-alternative" not in read(text)["parse_reason"]


@pytest.mark.parametrize("text, phrase, note", [
    ("200 g tinned sweetcorn, no salt or sugar", "no salt tinned sweetcorn", "or sugar"),
    ("tinned sweetcorn, no salt or sugar", "no salt tinned sweetcorn", "or sugar"),
    ("200 g tinned sweetcorn (no added salt or sugar)", "no added salt tinned sweetcorn", "or sugar"),
    ("200 g tinned sweetcorn without salt or sugar", "without salt tinned sweetcorn", "or sugar"),
    ("200 g tinned sweetcorn, without added salt", "without added salt tinned sweetcorn", ""),
    ("200 g tinned sweetcorn, without salt", "without salt tinned sweetcorn", ""), ("200 g tinned sweetcorn, no salt", "no salt tinned sweetcorn", ""),
    ("200 g tinned sweetcorn in water, no added salt or sugar", "no added salt tinned sweetcorn in water", "or sugar"),
    ("1 tin no salt or sugar sweetcorn", "no salt sweetcorn", "or sugar"), ("1 tin sweetcorn with no added salt or sugar", "no added salt sweetcorn", "or sugar"),
    ("200 g peanut butter, no added sugar or salt", "no added salt peanut butter", "sugar or"),
    ("200 g tinned peas, no sugar or salt added", "no salt added tinned peas", "sugar or"),
    ("200 g tinned peas with no salt and no sugar", "no salt tinned peas", "and no sugar"), ("200 g tinned peas (no salt, no sugar)", "no salt tinned peas", "no sugar"),
    ("200 g peanuts, no salt or oil", "no salt peanuts", "or oil"), ("100 g almond butter (no added sugar, salt or oil)", "no added salt almond butter", "sugar; or oil"),
    ("1 tin tomatoes without salt", "without salt tomatoes", ""), ("1 tin sweetcorn, salt-free", "salt-free sweetcorn", ""),
])
def test_words_that_say_a_food_is_without_salt_are_said_of_the_food(text, phrase, note):
    found = read(text)
    assert (found["phrase"], found["note"], found["alternative"], found["leftover"]) == (phrase, note, "", "")
    assert found["parse_confidence"] == (1 if found["quantity_low"] > 0 else 0.7)


def test_pasta_cooked_without_salt_is_still_pasta():
    assert read("200 g pasta, cooked without salt")["phrase"] == "pasta"


def test_unsalted_sweetcorn_is_never_coded_to_the_salted_tin():
    """The core has sweetcorn canned with salt only (USDA SR26, 11172: 195 mg of sodium in 100 g)."""
    bench = open_bench("core")
    matched, _ = bench.match(bench.read(["200 g tinned sweetcorn, no salt or sugar", "200 g tinned sweetcorn without salt or sugar"]))
    assert "accepted" not in set(matched["match_outcome"])
