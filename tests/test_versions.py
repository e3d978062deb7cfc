"""Versions of a recipe: planted differences are all found, equal versions differ in nothing. Invented dishes."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pandas as pd
import pytest
import straight
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import job as jobs
from pipeline import versions_view
from pipeline.problems import InputError
from pipeline.released import Evidence
from pipeline.stages import audit_method, method_words, versions
from pipeline.versions_form import EFFECTS

POT = """
  - id: {id}
    name: {id}
    portions: 4
    ingredients: [{ingredients}]
    method: [{method}]
    versions:
      - as: made
        where: film of a Tuesday
{version}
"""
LINES = ["400 g potatoes, peeled and diced", "1 x 400 g tin chickpeas, drained", "100 g carrots, grated", "2 tbsp olive oil",
         "a handful of basil leaves", "black pepper, to taste"]
PARSLEY = "a handful of parsley, chopped (optional)"
METHOD = ["Boil the potatoes for 15 minutes and drain.", "Mix with the chickpeas, carrots, oil and herbs, and season with the pepper."]
# The same words to a cook, in another order.
VARIED = ["black pepper, to taste", "handful basil leaves", "2 tablespoons olive oil", "carrots, grated, 100 g", "1 x 400 g tin of chickpeas, drained", "0.4 kg potatoes, peeled and diced"]
VARIED_METHOD = ["Cook the potatoes in boiling water for 15 minutes, then drain.", "Mix with the chickpeas, carrots, oil and herbs and season with pepper."]
PLANTED = {  # recipe: (the version, the kinds and codes that have to be found)
    "herbs-dropped": ("leave_out: [basil]", [("dropped", "")]),
    "optional-dropped": ("leave_out: [parsley]", [("dropped", "")]),
    "oil-added": ('add: ["1 tbsp rapeseed oil"]', [("added", "")]),
    "oil-again": ('add: ["1 tbsp olive oil"]', [("added", "")]),
    "amount": ('replace: [{line: potatoes, with: "600 g potatoes, peeled and diced"}]', [("changed", "amount")]),
    "amount-unit": ('replace: [{line: olive oil, with: "2 tsp olive oil"}]', [("changed", "amount")]),
    "state": ('replace: [{line: chickpeas, with: "240 g dried chickpeas"}]', [("changed", "state")]),
    "unpeeled": ('replace: [{line: potatoes, with: "400 g potatoes, unpeeled and diced"}]', [("changed", "preparation")]),
    "undrained": ('replace: [{line: chickpeas, with: "1 x 400 g tin chickpeas, undrained"}]', [("changed", "state")]),
    "portions": ("portions: 3", [("portions", "")]),
    "counted": ('replace: [{line: parsley, with: "a handful of parsley, chopped"}]', [("changed", "optional")]),
    "steamed": ('method: ["Steam the potatoes for 20 minutes.", "%s"]' % METHOD[1], [("changed", "cooking")]),
    "salted-water": ('method: ["Boil the potatoes in salted water for 15 minutes and drain.", "%s"]' % METHOD[1], [("method", "salted-water")]),
    "drizzled": ('add_method: ["Drizzle with a little more olive oil at the table."]', [("method", "fat-at-the-end")]),
    "two-at-once": ('portions: 2, leave_out: [basil], add: ["1 tbsp rapeseed oil"]', [("dropped", ""), ("added", ""), ("portions", "")]),
}


def quoted(lines):
    return ", ".join(f'"{line}"' for line in lines)


def recipe(name, version, ingredients=LINES, method=METHOD):
    keys = "\n".join(f"        {part.strip()}" for part in version.split(", ") if part) if version.startswith("portions") else f"        {version}"
    return POT.format(id=name, ingredients=quoted(ingredients), method=quoted(method), version=keys)


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> dict[str, pd.DataFrame]:
    """The released tables of one dish with every planted difference, and with equal versions in other words and orders."""
    shuffled = [random.Random(seed).sample(VARIED, len(VARIED)) for seed in range(3)]
    equal = [recipe(f"equal-{number}", f"ingredients: [{quoted(lines)}]\n        method: [{quoted(METHOD if number % 2 else VARIED_METHOD)}]")
             for number, lines in enumerate(shuffled)]
    planted = [recipe(name, version, [*LINES, PARSLEY] if "parsley" in version else LINES) for name, (version, _) in PLANTED.items()]
    folder = tmp_path_factory.mktemp("versions")
    (folder / "club.yaml").write_text("recipes:" + "".join([*planted, *equal, recipe("as-analysed", "note: nothing else")]), encoding="utf-8")
    job = jobs.prepare_job(folder / "club.yaml", "core")
    assert [str(problem) for problem in job.collection.problems if problem.severity == "error"] == []
    return straight.tables(job)


def of(made, name):
    rows = made["versions"]
    return rows[rows["recipe_id"] == name]


@pytest.mark.parametrize("name", PLANTED)
def test_a_planted_difference_is_found_and_nothing_else(made, name):
    found = [(kind, changed) for kind, changed in zip(of(made, name)["kind"], of(made, name)["changed"], strict=True)]
    assert [row for row in found if row not in PLANTED[name][1]] == []
    assert {*found} == {*PLANTED[name][1]}


@pytest.mark.parametrize("name", ["equal-0", "equal-1", "equal-2", "as-analysed"])
def test_two_equal_versions_differ_in_nothing(made, name):
    assert of(made, name).empty
    figures = made["version_figures"][made["version_figures"]["recipe_id"] == name]
    assert len(figures) > 50 and figures["difference"].abs().max() < 1e-9
    assert not figures["beyond_intervals"].any() and (figures["verdicts"] == "").all()


@pytest.mark.parametrize("column", EFFECTS)
def test_the_effects_of_all_differences_are_the_difference_of_the_figures(made, column):
    component, unit = EFFECTS[column]
    figures = made["version_figures"]
    figures = figures[(figures["component"] == component) & (figures["unit"] == unit) & (figures["basis"] == "portion")].set_index("recipe_id")
    told = made["versions"].groupby("recipe_id")[column].sum()
    for name in PLANTED:
        assert told[name] == pytest.approx(figures.at[name, "difference"], abs=1e-9), name


def test_what_a_difference_weighs_and_says(made):
    row = of(made, "amount").iloc[0]
    assert (row["mass_g"], row["from_mass_g"], row["line_no"], row["from_line_no"]) == (600, 400, 1, 1)
    assert row["what"] == '"600 g potatoes, peeled and diced" for "400 g potatoes, peeled and diced": 600 g instead of 400 g'
    assert row["potassium_mg"] > 50
    dropped = of(made, "herbs-dropped").iloc[0]
    assert (dropped["line_no"], dropped["from_text"], dropped["what"]) == (0, "a handful of basil leaves", '"a handful of basil leaves" is left out')
    assert dropped["potassium_mg"] < 0
    optional = of(made, "optional-dropped").iloc[0]
    assert optional["potassium_mg"] == 0 and "in no figure" in optional["what"]
    assert of(made, "steamed").iloc[0]["what"].endswith("steam instead of boil with the water poured away")


def test_fewer_portions_are_larger_ones_and_what_is_to_taste_follows_them(made):
    figures = made["version_figures"].set_index(["recipe_id", "component", "basis"])
    three = figures.loc[("portions", "K", "portion")]
    assert three["value"] == pytest.approx(three["from_value"] * 4 / 3, rel=0.01)
    assert len(of(made, "portions")) == 1  # the pepper for three is no difference of its own


def test_sodium_of_a_version_that_salts_its_water_is_to_be_checked(made):
    figures = made["figures"][(made["figures"]["recipe_id"] == "salted-water") & made["figures"]["component"].isin(["NA", "NACL"])]
    doubted = figures["reason"].str.contains("salted-water")
    assert set(figures.loc[doubted, "variant_id"]) == {"as-made"} and doubted.sum() == 6
    judged = made["verdicts"][(made["verdicts"]["recipe_id"] == "salted-water") & made["verdicts"]["component"].isin(["NA", "NACL"])]
    assert not ((judged["variant_id"] == "as-made") & (judged["verdict"] == "holds") & (judged["comparator"] == "<=")).any()
    found = made["findings"][made["findings"]["check"] == "salted-water"]
    assert set(zip(found["recipe_id"], found["variant_id"], found["component"], strict=True)) == {("salted-water", "as-made", one) for one in ("NA", "NACL")}


@pytest.mark.parametrize("salt, said", [("a pinch of salt", 0), ("salt, to taste (optional)", 2), ("unsalted butter", 2)])
def test_salt_that_a_counted_line_gives_is_in_the_figures(salt, said):
    settled = pd.DataFrame([("dish", "base", salt.partition(",")[0].removeprefix("a pinch of "), "optional" not in salt)],
                           columns=["recipe_id", "variant_id", "phrase", "counted"])
    steps = pd.DataFrame([("dish", "base", 1, "Boil in salted water.")], columns=["recipe_id", "variant_id", "step_no", "text"])
    assert len(audit_method.salted_water(settled, steps)) == said


def test_the_worklist_does_not_ask_twice_for_a_line_of_two_versions(made):
    assert not made["worklist"].duplicated(["recipe_id", "text"]).any()


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=st.permutations(range(1, 7)), name=st.sampled_from(["amount", "state", "herbs-dropped", "steamed", "portions", "equal-1"]),
       loud=st.booleans())
def test_neither_order_nor_capitals_change_what_is_found(made, order, name, loud):
    wanted = made["lines"]["recipe_id"] == name
    here = {table: frame[frame["recipe_id"] == name] for table, frame in made.items() if table in versions.NEEDED and "recipe_id" in frame}
    here["lines"] = made["lines"][wanted].copy()
    version = here["lines"]["variant_id"] == "as-made"
    here["lines"].loc[version, "line_no"] = [order[(number - 1) % 6] for number in here["lines"].loc[version, "line_no"]]
    here["lines"].loc[version, "text"] = here["lines"].loc[version, "text"].str.upper() if loud else here["lines"].loc[version, "text"]
    here["lines"] = here["lines"].sample(frac=1, random_state=order[0])
    here |= {table: made[table] for table in ("parsed", "cooked", "contributions")}
    found = versions.differences(here, name, "base", "as-made")
    kept = sorted((row["kind"], row["changed"], row["from_text"], round(float(row["potassium_mg"]), 6)) for row in found)
    rows = of(made, name).to_dict("records")
    assert kept == sorted((row["kind"], row["changed"], row["from_text"], round(row["potassium_mg"], 6)) for row in rows)


def test_back_is_the_opposite_of_forth(made):
    forth, back = (versions.differences(made, "two-at-once", *pair) for pair in (("base", "as-made"), ("as-made", "base")))
    assert {row["kind"] for row in forth} == {row["kind"] for row in back} == {"dropped", "added", "portions"}
    assert sum(row["potassium_mg"] for row in forth) == pytest.approx(-sum(row["potassium_mg"] for row in back))


# ---------------------------------------------------------------- figures and verdicts, by hand

def test_intervals_that_meet_explain_a_difference(hand):
    beside = hand({"K": (100, 90, 110), "P": (100, 90, 110)}, {"K": (115, 110, 125), "P": (115, 111, 125)}).set_index("component")
    assert beside["difference"].tolist() == [15, 15]
    assert not beside.at["K", "beyond_intervals"] and beside.at["P", "beyond_intervals"]


def test_a_withheld_figure_exceeds_nothing(hand):
    row = hand({"K": (100, 90, 110)}, {"K": (None, None, None)}).iloc[0]
    assert pd.isna(row["difference"]) and not row["beyond_intervals"]


def test_a_verdict_that_changes_is_told_with_its_figure(hand):
    row = hand({"K": (100, 90, 110)}, {"K": (900, 800, 990)}, verdicts=("holds", "fails")).set_index("component").loc["K"]
    assert row["verdicts"] == "low-potassium for haemodialysis: holds -> fails"
    assert hand({"K": (100, 90, 110)}, {"K": (101, 91, 111)}, verdicts=("holds", "holds"))["verdicts"].tolist() == [""]


@pytest.fixture(scope="module")
def hand():
    from hand_figures import figure, figures, recipes

    def beside(old, new, verdicts=("holds", "holds")):
        rows = [figure(name, *ends, basis="portion", variant=variant) for variant, given_ in (("base", old), ("as-made", new))
                for name, ends in given_.items()]
        judged = pd.DataFrame([("dish", variant, "haemodialysis", "low-potassium", verdict, "K", "portion")
                               for variant, verdict in zip(("base", "as-made"), verdicts, strict=True)],
                              columns=["recipe_id", "variant_id", "audience", "claim", "verdict", "component", "basis"])
        return versions.figures_beside({"figures": figures(*rows), "recipes": recipes(), "verdicts": judged}, "dish", "base", "as-made")
    return beside


# ---------------------------------------------------------------- potash versions

class InMemory(Evidence):
    """A release whose tables were never written."""

    def __init__(self, tables: dict[str, pd.DataFrame], folder: Path):
        super().__init__(folder)
        self._tables = dict(tables)


def test_the_command_shows_differences_figures_and_cautions(made, tmp_path):
    (tmp_path / "CAUTIONS.txt").write_text("Ask your dietitian.", encoding="utf-8")
    evidence = InMemory(made, tmp_path)
    found = versions_view.compared(evidence, "two-at-once", None, None)
    text = versions_view.text(found, tmp_path)
    assert text.startswith("two-at-once: as made (film of a Tuesday), beside as analysed\n  1. \"a handful of basil leaves\" is left out\n")
    assert "3. 2 portions instead of 4" in text and "more than the intervals explain" in text and text.endswith("  Ask your dietitian.")
    salted, = versions_view.compared(evidence, "salted-water", None, None)
    assert "(check: the audit doubts it: salted cooking water)" in versions_view.text([salted], tmp_path)
    assert found[0].differs and json.loads(json.dumps(versions_view.to_dict(found), allow_nan=False))["comparisons"][0]["to"] == "as-made"


def test_any_two_variants_can_be_compared_and_equal_ones_do_not_differ(made, tmp_path):
    evidence = InMemory(made, tmp_path)
    found, = versions_view.compared(evidence, "two-at-once", "as-made", "as-analysed")
    assert (found.before, found.after) == ("as-made", "base") and {row["kind"] for row in found.differences} == {"added", "dropped", "portions"}
    equal, = versions_view.compared(evidence, "equal-0", None, None)
    assert not equal.differs and "No line, amount or cooking differs." in versions_view.text([equal], tmp_path)


@pytest.mark.parametrize(("call", "said"), [
    (("no-such-dish", None, None), "is not in this release"), (("amount", "as-printed", None), "Name one of: as-made, base"),
    (("amount", "as-made", None), "has no version")])
def test_what_cannot_be_compared_says_what_to_do(made, tmp_path, call, said):
    with pytest.raises(InputError, match=said):
        versions_view.compared(InMemory(made, tmp_path), *call)


# ---------------------------------------------------------------- the words of a method

@pytest.mark.parametrize("steps, found", [
    (["Cook the pasta in plenty of boiling salted water."], {"salted-water"}), (["Salt the cooking water well."], {"salted-water"}),
    (["Add a pinch of salt to the boiling water, then the rice."], {"salted-water"}), (["Boil in water with a little salt."], {"salted-water"}),
    (["Boil in unsalted water."], set()), (["Don't salt the water."], set()), (["Do not add salt to the water."], set()), (["Season with salt."], set()),
    (["Fry the onion.", "Drizzle over the oil and serve."], {"fat-at-the-end"}), (["Dot with butter and serve."], {"fat-at-the-end"}),
    (["Drizzle with oil and roast for 30 minutes."], set()), (["Dot with butter.", "Bake until golden."], set()), (["Serve without more oil."], set()),
    (["Brush the tin with oil.", "Bake."], set()), ([], set()),
])
def test_what_the_method_says_that_no_line_tells(steps, found):
    assert method_words.features(steps) == found
