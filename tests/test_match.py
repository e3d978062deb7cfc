"""The match stage: labelled lines, calibration, known traps, invariance, decisions in the stage.

``tests/data/match_pairs.csv`` holds ingredient lines as British and American cooks write them,
written for this project, with every entry of the core that would be acceptable, or "none". They
were labelled before the stage read them. Those of the sets ``tune`` and ``held`` were then used to
improve words, names and weights, so they guard against change more than they measure; a line that was
relabelled after a look is of ``tune``. Those of the set ``fresh`` were written after that and read once: top-1 0.976 of 125 lines with an acceptable
entry, 108 of them accepted (0.86), all 108 right, none of the 39 others accepted, expected
calibration error 0.04. Some of their words were added afterwards too.

Measured today without any decision, all sets: top-1 0.992, accepted 0.975 of the lines with an
acceptable entry, precision of the accepted 1.000, none of 187 lines without an acceptable entry
accepted, expected calibration error 0.030. The weights have learned from these lines; out of fold (no line
judged by weights that have seen its food) it is 0.993, 0.975, 1.000 and 0.030, but the words were written with them in view.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import yaml
from decision_kitchen import TABLE, kitchen, matched, parsed
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline import decisions, match_bench, tables
from pipeline.stages import match_state, match_words
from pipeline.stages.match import Asked, Matcher
from pipeline.stages.match_model import CERTAINTY, CERTAINTY_FEATURES

ROOT = Path(__file__).resolve().parents[1]


@cache
def pairs() -> pd.DataFrame:
    return pd.read_csv(ROOT / "tests" / "data" / "match_pairs.csv", dtype="str", keep_default_na=False)


@cache
def matcher(decided: bool = True) -> Matcher:
    reference, mappings, core = kitchen()
    foods = mappings.foods if decided else mappings.foods.iloc[:0]
    standing, _ = decisions.standing_decisions(foods, TABLE, core.entries)
    return Matcher(core.entries, TABLE, mappings.words, reference.match_weights, standing,
                   reference.rule("accept_above"), reference.rule("review_above"), values=core.values, rules=reference.rules)


def asked(text: str) -> Asked:
    return match_bench.asked(parsed([text]))[0]


def answer(text: str, decided: bool = True) -> dict:
    return matcher(decided).answer(asked(text))[0]


@cache
def measured(decided: bool) -> pd.DataFrame:
    """The pairs with the best candidate, its probability, and whether it is acceptable."""
    _, mappings, _ = kitchen()
    found, candidates, _ = matched(pairs()["text"].tolist(), mappings.foods if decided else None)
    best = candidates[candidates["rank"] == 1].set_index("line_id")
    table = pairs().assign(outcome=found["match_outcome"])
    table["best"] = found["line_id"].map(best["entry_id"]).fillna("")
    table["probability"] = found["line_id"].map(best["probability"]).fillna(0.0)
    table["matchable"] = table["acceptable"] != "none"
    table["right"] = [entry in acceptable.split(";") for entry, acceptable in zip(table["best"], table["acceptable"], strict=True)]
    return table


def reliability(table: pd.DataFrame, parts: int = 10) -> pd.DataFrame:
    """By tenth (or another part) of probability: lines, mean probability, share that is right."""
    part = np.minimum((table["probability"] * parts).astype(int), parts - 1)
    return table.groupby(part).agg(lines=("right", "size"), said=("probability", "mean"), found=("right", "mean"))


def test_the_labels_name_entries_of_the_core():
    entries = set(kitchen()[2].entries["entry_id"])
    named = {entry for acceptable in pairs()["acceptable"] for entry in acceptable.split(";")} - {"none"}
    assert named <= entries
    assert pairs()["text"].is_unique and len(pairs()) >= 850
    assert (pairs()["acceptable"] == "none").sum() >= 170


@pytest.mark.parametrize("part", ["all", "held", "fresh"])
@pytest.mark.parametrize("decided", [False, True])
def test_labelled_lines(part, decided):
    table = measured(decided)
    table = table if part == "all" else table[table["set"] == part]
    matchable, accepted = table[table["matchable"]], table[table["outcome"] == "accepted"]
    wrong = accepted.loc[~accepted["right"], "text"].tolist()
    assert matchable["right"].mean() >= 0.96
    assert accepted["right"].mean() >= 0.99, wrong
    assert (matchable["outcome"] == "accepted").mean() >= 0.90
    assert not wrong or table.loc[table["text"].isin(wrong), "matchable"].all(), wrong  # "none" is never accepted


@pytest.mark.parametrize("decided", [False, True])
def test_probabilities_mean_what_they_say(decided):
    table = measured(decided)
    found = reliability(table)
    error = (found["lines"] * (found["said"] - found["found"]).abs()).sum() / len(table)
    assert error <= 0.05, f"\n{found.round(3)}"
    assert found.loc[9, "found"] >= 0.98 and found.loc[0, "found"] <= 0.05
    fifths = reliability(table, 5)  # two of the lower tenths hold five or six lines, of which two or three say nothing
    assert fifths.loc[[0, 1], "lines"].min() >= 10
    assert fifths.loc[[0, 1], "found"].max() <= 0.3, f"\n{fifths.round(3)}"


def test_runners_up_do_not_make_an_absurd_interval():
    """What the other candidates would change stays below a fifth of potassium, phosphorus and protein
    on accepted lines: a pickle in brine is no reason to doubt the sodium of a cucumber."""
    _, mappings, core = kitchen()
    found, candidates, _ = matched(pairs()["text"].tolist(), mappings.foods)
    accepted = found.loc[found["match_outcome"] == "accepted", ["line_id", "entry_id"]]
    others = candidates.merge(accepted, on="line_id", suffixes=("", "_own")).query("entry_id != entry_id_own")
    for component, floor in [("K", 10.0), ("P", 10.0), ("PROCNT", 1.0), ("NA", 40.0)]:
        value = core.values[core.values["component"] == component].set_index("entry_id")["value"]
        square = others["probability"] * (others["entry_id"].map(value) - others["entry_id_own"].map(value)) ** 2
        spread = np.sqrt(square.groupby(others["line_id"]).sum())
        own = accepted.set_index("line_id")["entry_id"].map(value).reindex(spread.index).clip(lower=floor)
        assert (spread / own).max() < 0.2, component


@pytest.mark.parametrize("text", [
    "1 tsp potassium salt", "1 tsp salt substitute", "a pinch of low-sodium salt", "½ tsp reduced-sodium salt", "salt (low sodium)",
    "1 tsp salt, potassium-based", "1 tsp low sodium salt alternative", "1 tsp salt replacer", "1 tsp salt (or low-sodium salt)",
    "1 tsp potassium chloride", "1 tsp salt or salt substitute", "1 tsp kalium salt", "1 tsp lite salt", "1 tsp smoked salt",
    "1 tsp celery salt", "1 tsp pottasium salt", "1 tsp salt blend with potasium", "SALT SUBSTITUTE", "1 tsp low salt salt",
])
def test_a_potassium_salt_is_never_salt(text):
    for decided in (False, True):
        row = answer(text, decided)
        if "or " in text and not decided:
            continue  # the first of two is coded, unless it was decided that the second must not be
        assert row["match_outcome"] != "accepted", row


@pytest.mark.parametrize("text", [
    "vegetable stock", "500 ml vegetable or chicken stock", "1 vegetable stock cube", "that curry paste", "leftover roast veg", "2 tbsp pesto",
    "oat milk", "200 ml coconut milk drink", "rice pudding", "potato salad", "peanut brittle", "orange squash", "ginger beer", "fish fingers",
    "1 tbsp rice vinegar", "vegan butter", "almond essence", "chicken seasoning", "tinned mackerel", "6 rashers streaky bacon",
    "2 tbsp fresh oregano", "bilberries", "masala", "halloumi", "smoked tofu", "2 peppers", "1 pepper", "200 g tuna", "500 g chicken", "1 tsp coriander",
    "100 ml cream", "250 g mixed beans", "a handful of tarragon", "", "?!", "g g g",
])
def test_what_a_person_must_settle_is_not_accepted(text):
    for decided in (False, True):
        assert answer(text, decided)["match_outcome"] != "accepted"


@pytest.mark.parametrize("text", [
    "300 ml cooking water from the potatoes", "100 ml pasta water", "a ladle of the reserved pasta water", "100 ml potato water",
    "200 ml vegetable water", "100 ml soaking water", "the soaking liquid", "100 ml reserved cooking liquid", "reserved liquid",
    "water, reserved", "200 ml water reserved from the potatoes", "200 ml water (from boiling the vegetables)",
    "250 ml hot water saved from the pasta", "100 ml of the starchy cooking water", "poaching liquid", "100 ml blanching water",
    "200 ml boiling water from the potatoes",
])
def test_water_that_something_was_cooked_in_is_never_tap_water(text):
    """What leaches out of vegetables goes into their water: common practice, no source."""
    for decided in (False, True):
        assert answer(text, decided)["match_outcome"] != "accepted"


@pytest.mark.parametrize("text", [
    "1 litre water", "1 litre cold water", "500 ml boiling water", "hot water", "iced water", "100 ml warm water", "boiling water from the kettle",
    "water from the tap", "water for cooking the pasta", "water to cover",
])
def test_plain_water_stays_water(text):
    row = answer(text)
    assert (row["match_outcome"], row["entry_id"]) == ("accepted", "14429")


@pytest.mark.parametrize("text", [
    "500 ml reduced-salt chicken stock", "500 ml low-salt chicken stock", "500 ml chicken stock (low salt)", "1 low-salt beef stock cube",
    "500 ml reduced sodium chicken broth", "1 tsp low-salt bouillon powder", "chicken stock made from a reduced-salt cube", "1 tbsp reduced-salt soy sauce",
    "1 stock cube", "2 stock cubes", "1 tsp bouillon powder", "1 stock pot", "1 chicken stock pot", "500 ml beef stock", "500 ml fish stock", "500 ml chicken stock", "1 litre hot chicken stock", "200 g turkey breast slices",
    "leftover potatoes", "200 g cooked potatoes", "200 g potatoes, cooked", "leftover vegetables", "1 sachet jelly", "jelly", "1 tsp chilli powder",
    "1 tsp mild chilli powder", "200 ml almond milk", "200 ml Almond Milks", "Greek yoghurt", "200 g Greek-style yogurt", "200 g natural Greek yogurt",
    "100 g natural yoghurt", "1 tbsp gravy granules", "1 tbsp chilli sauce", "2 tbsp vinaigrette", "50 g dry roasted peanuts", "50 g roasted cashews",
    "100 g salad leaves", "20 g dried mushrooms", "50 g milk powder", "1 dressed crab", "100 g black pudding",
])
def test_a_name_whose_british_food_is_not_the_entry_is_not_accepted(text):
    """Common practice and labels from memory; see the notes of mappings/words.csv."""
    assert answer(text, decided=False)["match_outcome"] != "accepted"


@pytest.mark.parametrize(("text", "entry_id"), [
    ("1 chicken stock cube", "06081"), ("1 beef stock cube", "06076"), ("200 g 0% fat Greek yoghurt", "01256"), ("200 g fat-free Greek yoghurt", "01256"),
    ("200 g leftover boiled potatoes", "11367"), ("1 tbsp redcurrant jelly", "19300"), ("500 ml homemade beef stock", "06170"),
    ("200 g low-fat yogurt", "01117"), ("50 g unsalted roasted peanuts", "16390"), ("1 tsp soy sauce", "16123"),
])
def test_the_same_food_named_in_full_is_accepted(text, entry_id):
    row = answer(text, decided=False)
    assert (row["match_outcome"], row["entry_id"]) == ("accepted", entry_id), row


@pytest.mark.parametrize(("text", "entry_id"), [
    ("500 ml ready-made chicken stock", "06194"), ("400 ml tin coconut milk", "12118"), ("1 tin butter beans, drained", "16073"), ("75 g butter beans, dried", "16071"),
    ("50 g raisins", "09298"), ("50 g sultanas", "09297"), ("6 prunes, chopped", "09291"), ("3 figs", "09089"), ("3 dried figs", "09094"), ("4 fresh apricots", "09021"),
    ("4 dried apricots", "09032"), ("100 g cranberries", "09078"), ("4 tomatoes, chopped", "11529"), ("1 tin chopped tomatoes", "11531"),
    ("2 onions, chopped", "11282"), ("4 rollmops", "15041"), ("a pinch of pepper", "02030"), ("2 skinless chicken thighs", "05096"),
    ("8 chicken thighs, bone in and skin on", "05091"), ("4 crab sticks", "15138"), ("500 g lamb, diced", "17059"), ("75 g uncooked macaroni", "20499"),
    ("a handful of basil", "02044"), ("1 tsp basil", "02003"), ("1 sprig of thyme", "02049"), ("1 tsp thyme", "02042"),
    ("2 bay leaves", "02004"), ("1 tsp smoked paprika", "02028"), ("500 g frozen cauliflower florets", "11137"),
])
def test_what_needs_no_person_is_accepted(text, entry_id):
    row = answer(text, decided=False)
    assert (row["match_outcome"], row["entry_id"]) == ("accepted", entry_id), row


@pytest.mark.parametrize(("asked_state", "hint", "state", "cooking_class", "said", "expected"), [
    ("", "", "raw", "roots", (), 1), ("", "", "dried", "roots", (), -1), ("", "", "dried", "pasta", (), 1),
    ("raw", "", "dried", "rice", (), 1), ("", "dry", "dried", "herbs-spices", (), 1), ("", "fresh", "dried", "herbs-spices", (), -1),
    ("smoked", "", "", "legumes-cooked", (), -1), ("smoked", "", "dried", "herbs-spices", ("smoked",), 1),
    ("frozen", "", "cooked", "leafy-greens", ("frozen", "cooked"), -1), ("drained", "", "canned", "legumes-cooked", (), 0),
    ("cooked", "", "cooked", "leafy-greens", ("frozen", "cooked"), pytest.approx(0.2)), ("fresh", "", "dried", "pasta", (), -1),
])
def test_states_agree_as_cooks_mean_them(asked_state, hint, state, cooking_class, said, expected):
    """Common practice, no source."""
    assert match_state.agreement(asked_state, hint, state, cooking_class, frozenset(said)) == expected


def test_every_state_has_its_agreements():
    assert set(match_state.AGREEMENT) == {*tables.STATES, "fresh"}


@pytest.mark.parametrize(("word", "singular"), [
    ("tomatoes", "tomato"), ("berries", "berry"), ("leaves", "leaf"), ("radishes", "radish"), ("peas", "pea"), ("chives", "chive"),
    ("couscous", "couscous"), ("asparagus", "asparagus"), ("anchovies", "anchovy"), ("potatoes", "potato"), ("olives", "olive"), ("watercress", "watercress"),
])
def test_singular(word, singular):
    translated = match_words.translated(match_words.tokens(word), matcher().vocabulary)
    assert match_words.singular(word) == singular or translated == (singular,)


LINES = [row.text for row in pd.read_csv(ROOT / "tests" / "data" / "match_pairs.csv", dtype="str", keep_default_na=False).itertuples()]


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(LINES), st.integers(1, 4))
@example("1 cup low sodium chicken broth", 2)
def test_case_and_spacing_do_not_matter(text, spaces):
    usual = asked(text)
    changed = usual._replace(phrase=(" " * spaces).join(usual.phrase.upper().split(" ")) + " ")
    assert matcher().answer(changed) == matcher().answer(usual)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(["purée", "puree", "crème brûlée", "jalapeño", "sautéed onions", "gruyère", "frisée"]), st.sampled_from(["NFC", "NFD"]))
def test_accents_do_not_matter(phrase, form):
    bare = "".join(mark for mark in unicodedata.normalize("NFKD", phrase) if not unicodedata.combining(mark))
    assert matcher().answer(Asked(unicodedata.normalize(form, phrase))) == matcher().answer(Asked(bare))


@pytest.mark.parametrize(("one", "other"), [
    ("skinless boneless chicken breast", "boneless skinless chicken breast"), ("unsalted roasted peanuts", "roasted unsalted peanuts"),
    ("split red lentils", "red split lentils"), ("long grain white rice", "white long grain rice"), ("strong white bread flour", "white strong bread flour"),
])
def test_the_order_of_modifiers_does_not_matter(one, other):
    first, second = matcher().answer(Asked(one))[0], matcher().answer(Asked(other))[0]
    assert first["entry_id"] == second["entry_id"] and first["match_outcome"] == second["match_outcome"] == "accepted"


def test_the_head_of_a_phrase_does_matter():
    assert matcher().answer(Asked("pudding rice"))[0]["match_outcome"] == "accepted"
    assert matcher().answer(Asked("rice pudding"))[0]["match_reason"] == "head-differs"


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60), st.sampled_from(tables.STATES), st.text(max_size=20))
@example("\x00", "", "\ud7ff")
@example("ß ﬁ ½ 🥕", "canned", ",,,")
@example("half half halves", "", "florets")
def test_no_text_makes_it_raise(phrase, state, beside):
    row, candidates = matcher().answer(Asked(phrase, state, beside=(beside,), leftover=beside, alternative=beside, remarks=beside))
    assert row["match_outcome"] in tables.OUTCOMES
    assert sum(candidate["probability"] for candidate in candidates) <= 1.0 + 1e-5


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(LINES), st.text(alphabet="bcdfghjklmnpqrstvwxz", min_size=7, max_size=12))
def test_an_unknown_word_is_never_accepted(text, word):
    usual = asked(text)
    row, _ = matcher().answer(usual._replace(phrase=f"{word} {usual.phrase}", beside=()))
    assert row["match_outcome"] != "accepted"


def test_the_same_lines_give_the_same_answers_in_any_order():
    texts = LINES[::7]
    first, _, _ = matched(texts)
    second, _, _ = matched(texts[::-1])
    columns = ["entry_id", "match_confidence", "match_outcome", "match_reason"]
    pd.testing.assert_frame_equal(first[columns], second[columns].iloc[::-1].reset_index(drop=True))


def test_candidates_are_ranked_and_share_at_most_one():
    _, candidates, _ = matched(LINES)
    for _, group in candidates.groupby("line_id"):
        assert group["rank"].tolist() == list(range(1, len(group) + 1))
        assert group["probability"].is_monotonic_decreasing
    assert candidates.groupby("line_id")["probability"].sum().max() <= 1.0 + 1e-5


def _demo_lines() -> list[str]:
    """Every ingredient line of the demo collection, those of its variants too."""
    found: list[str] = []
    for path in sorted((ROOT / "reference" / "demo").glob("*.yaml")):
        recipe = yaml.safe_load(path.read_text(encoding="utf-8"))
        found += [line for line in recipe.get("ingredients", ()) if isinstance(line, str)]
        for variant in recipe.get("variants", ()):
            found += [*variant.get("add", ()), *(change["with"] for change in variant.get("replace", ()))]
    return list(dict.fromkeys(found))


def test_the_demo_leaves_only_the_lines_that_nobody_can_guess():
    _, mappings, _ = kitchen()
    lines = _demo_lines()
    found, _, problems = matched(lines, mappings.foods)
    open_lines = {text for text, outcome in zip(lines, found["match_outcome"], strict=True) if outcome in ("review", "none")}
    assert len(lines) > 150 and problems == []
    assert open_lines == {"some chicken", "one packet of the usual stock mix", "a jar of that curry paste", "leftover roast veg from Sunday"}


def test_what_is_not_a_food_is_not_matched():
    found, candidates, _ = matched(["For the sauce:", "1 carrot"])
    assert found["match_outcome"].tolist() == ["not-food", "accepted"]
    assert set(candidates["line_id"]) == {found.at[1, "line_id"]}


def test_every_feature_has_a_weight_and_every_weight_a_feature():
    reference, _, _ = kitchen()
    features = matcher().ranked(Asked("carrot"))[0].features
    weights = set(reference.match_weights["feature"])
    assert set(features) == {feature for feature in weights if not feature.startswith(CERTAINTY)}
    assert {feature.removeprefix(CERTAINTY) for feature in weights if feature.startswith(CERTAINTY)} == set(CERTAINTY_FEATURES)


def test_no_two_replacements_chase_each_other():
    """A word is replaced once: what it becomes is not replaced again by a regional word."""
    _, mappings, _ = kitchen()
    known = match_words.vocabulary(mappings.words)
    for row in mappings.words[mappings.words["kind"] == "synonym"].itertuples():
        once = match_words.translated(match_words.tokens(row.word), known)
        back = match_words.translated(once, known)
        assert match_words.tokens(row.word) != back or once == back, row.word


def test_the_kinds_of_words_are_the_documented_ones():
    _, mappings, _ = kitchen()
    assert set(mappings.words["kind"]) == {*match_words.REPLACING, "ignore", "cut", "known", "ambiguous", "telling", "class", "made", "made-of", "made-keeps",
                                           "state-open", "salt-plain"}
    whens = mappings.words.loc[mappings.words["kind"] == "ambiguous", "means"]
    assert set(whens) <= {"always", "counted", "uncounted", "spooned", "ever"}
