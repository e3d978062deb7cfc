"""Ordinary lines with the allergens that a dietitian expects of them, written down before they were read
(``tests/data/allergen_lines.csv``; common practice and knowledge of what made-up foods hold, no source).

A missed allergen is the worst error: each that is expected has to be shown, as contained or as perhaps contained."""

from pathlib import Path

import pandas as pd
from hand_figures import reference_file
from test_suit import dish

from pipeline.stages.suit import suit
from pipeline.suitability_form import ALLERGENS

LINES = pd.read_csv(Path(__file__).parent / "data" / "allergen_lines.csv", dtype="str", keep_default_na=False)
# Contained in many, and not in every one: the label decides.
MAY_DO = {("100 g crab sticks", "crustaceans"), ("2 tsp vegetable bouillon powder", "celery")}


def shown():
    """By line and allergen, what is said of it."""
    rows = LINES.assign(other="").to_dict("records")
    found = suit(*dish(*rows), reference_file("allergens"), reference_file("diets"))["suitability_evidence"]
    texts = dict(enumerate(LINES["text"], 1))
    answers: dict[tuple[str, str], set[str]] = {}
    for row in found.itertuples(index=False):
        answers.setdefault((texts[row.line_no], row.subject), set()).add(row.answer)
    return answers


def test_no_expected_allergen_is_missed():
    answers = shown()
    expected = [(row.text, one, "contains") for row in LINES.itertuples() for one in row.contains.split(";") if one]
    expected += [(row.text, one, "may") for row in LINES.itertuples() for one in row.may.split(";") if one]
    assert {one for _, one, _ in expected} == set(ALLERGENS) and len(expected) > 250
    assert [one for one in expected if one[:2] not in answers] == []
    weaker = [one[:2] for one in expected if one[2] == "contains" and "contains" not in answers[one[:2]]]
    assert set(weaker) <= MAY_DO


def test_what_is_contained_for_certain_is_nothing_that_nobody_expects():
    allowed = {(row.text, one) for row in LINES.itertuples() for one in (*row.contains.split(";"), *row.may.split(";"))}
    assert {key for key, said in shown().items() if "contains" in said} - allowed == {("1 tbsp prawn crackers", "cereals-with-gluten")}
