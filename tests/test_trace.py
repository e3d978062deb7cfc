"""Trace: every kind of figure reads right, and the arithmetic in its text multiplies out to what it says.

The numbers are read back from the printed text by a parser of this test and recomputed; nothing of the
pipeline's arithmetic is used. Two numbers with six significant digits agree to a part in a hundred thousand.
"""

from __future__ import annotations

import json
import math
import re
import time
from pathlib import Path

import pandas as pd
import pytest
import small_release
from command_line import Project

from pipeline import trace as tracing
from pipeline import trace_view
from pipeline.problems import InputError
from pipeline.released import Evidence

COLLECTION = """
recipes:
  - id: soup
    name: Soup with everything
    portions: 4
    units: uk
    finished_mass: 1.1 kg
    ingredients: [400 g potatoes, "1 onion, chopped", 2 tbsp sunflower oil, 1/4 tsp salt, 300 ml red wine]
    method: [Boil the potatoes for 15 minutes and drain., Fry the onion in the oil., Add the wine and salt and simmer for 20 minutes.]
    variants:
      - {id: with-cod, name: With cod, add: ["200 g cod fillet, skinned"], portions: 3}
  - id: open
    name: A line that nobody settled
    portions: 2
    units: uk
    ingredients: [300 g carrots, one of those packets]
    method: [Boil the carrots for 10 minutes and drain.]
"""
KINDS = (
    "soup/base/K/portion", "soup/base/K/recipe", "soup/base/K/100g", "soup/with-cod/K/100g", "soup/base/NACL/portion",
    "soup/base/ENERC-kJ/portion", "soup/base/ENERC-kcal/100g", "soup/with-cod/ENERC-kJ/recipe", "soup/base/WATER/portion",
    "soup/base/CHOAVLDF/portion", "open/base/K/portion", "open/base/ENERC-kJ/100g",
)
NUMBER = r"\(?-?\d+(?:\.\d+)?(?:e[+-]?\d+)?\)?"
UNIT = r"(?: (?!x\b)[A-Za-z%][A-Za-z/]*(?: (?:edible|kept|as purchased|cooked))?)?"
TERM = rf"{NUMBER}{UNIT}"
EQUATION = re.compile(rf"({TERM}(?: [x/+] (?:{TERM}))*) = ({NUMBER})")
PRECISION = 2e-5


@pytest.fixture(scope="module")
def released(tmp_path_factory) -> tuple[Project, Evidence]:
    project = Project(tmp_path_factory.mktemp("trace"))
    return project, Evidence(small_release.build(project.root, COLLECTION))


def equations(text: str) -> list[tuple[str, float, float]]:
    """Each ``a x b / c = d`` of a text: as written, what its left side comes to, what it says."""
    found = []
    for left, right in EQUATION.findall(text):
        tokens = re.findall(rf"({NUMBER})|( [x/+] )", left)
        expression = "".join(number.strip("()") if number else {"x": "*"}.get(sign.strip(), sign.strip()) for number, sign in tokens)
        found.append((f"{left} = {right}", recomputed(expression), float(right.strip("()"))))
    return found


def recomputed(expression: str) -> float:
    total = 0.0
    for summand in re.split(r"(?<![eE])\+", expression):
        factors = re.split(r"([*/])", summand)
        product = float(factors[0])
        for sign, factor in zip(factors[1::2], factors[2::2], strict=True):
            product = product * float(factor) if sign == "*" else product / float(factor)
        total += product
    return total


@pytest.mark.parametrize("figure_id", KINDS)
def test_the_arithmetic_multiplies_out(released, figure_id):
    traced = tracing.trace(released[1], figure_id)
    text = trace_view.text(traced, released[1].release)
    found = equations(text)
    assert len(found) >= text.count(" edible x ") > 0
    for written, left, right in found:
        assert math.isclose(left, right, rel_tol=PRECISION, abs_tol=1e-9), written
    assert [row for row in text.splitlines() if " = " in row and not EQUATION.search(row)] == []


def test_the_parser_of_this_test_sees_a_wrong_sum():
    assert equations("├─ 2 x 15 ml x 1.03 g/ml = 30.9 g as purchased; 30.9 g x 0.5 edible = 15.45 g") == [
        ("2 x 15 ml x 1.03 g/ml = 30.9", pytest.approx(30.9), 30.9), ("30.9 g x 0.5 edible = 15.45", pytest.approx(15.45), 15.45)]
    (_, left, right), = equations("ENERC of the recipe: 10 + 20 + (-5) = 26 kJ")
    assert left == 25 and right == 26


@pytest.mark.parametrize("figure_id", KINDS)
def test_the_tree_adds_up_to_the_figure(released, figure_id):
    """The lines' amounts, read from the text, sum to each component; components to the figure; the figure is the released one."""
    evidence = released[1]
    figure = evidence.row("figures", figure_id=figure_id)
    root = tracing.trace(evidence, figure_id).root
    withheld = figure["status"] == "withheld"
    if withheld:
        assert "no value" in root.text and str(figure["reason"]) in root.text
        assert any(child.text.startswith("withheld until these lines are settled") for child in root.children)
        assert any("one of those packets" in leaf.text for child in root.children for leaf in child.children)
        assert not any(" per " in child.text and "=" in child.text for child in root.children)
    else:
        basis = next(child for child in root.children if child.text.startswith(("per ", "whole recipe")))
        said = equations(basis.text)
        last = said[0][2] if said else float(re.search(rf"({NUMBER}) \S+$", basis.text)[1])
        assert math.isclose(last, figure["value"], rel_tol=PRECISION)
    components = [child for child in root.children if re.match(r"[A-Z0-9]+(?: of the recipe's lines)?: \S+ \S+(?:,| x )", child.text)
                  and " lines" in child.text]
    assert components
    for component in components:
        total = float(re.search(rf": ({NUMBER}) ", component.text)[1])
        amounts = [float(found[1]) for line in component.children if (found := re.search(rf"\": ({NUMBER}) (?:g|mg|ug)", line.text))]
        assert math.isclose(sum(amounts), total, rel_tol=1e-4, abs_tol=1e-6), component.text


def test_every_component_of_energy_is_named_with_its_factor_of_the_regulation(released):
    """EU 1169/2011 Annex XIV: protein 17, fat 37, carbohydrate 17, fibre 8, alcohol 29 kJ/g; fibre is taken from the
    carbohydrate by difference, so it enters with 8 - 17."""
    text = trace_view.text(tracing.trace(released[1], "soup/base/ENERC-kJ/portion"), released[1].release)
    for component, factor in (("PROCNT", "17"), ("FAT", "37"), ("CHOCDF", "17"), ("FIBTG", "-9"), ("ALC", "29")):
        assert re.search(rf"─ {component}: {NUMBER} g x {factor} kJ/g = ", text), component


def test_salt_is_sodium_times_two_and_a_half(released):
    """EU 1169/2011 Annex I: salt = sodium x 2.5."""
    text = trace_view.text(tracing.trace(released[1], "soup/base/NACL/portion"), released[1].release)
    assert re.search(rf"─ NA: {NUMBER} mg x 0.0025 g/mg = {NUMBER} g, from 5 lines", text)


def test_a_finished_weight_and_a_variant_read_right(released):
    base, variant = (tracing.trace(released[1], figure_id).root for figure_id in ("soup/base/K/100g", "soup/with-cod/K/100g"))
    assert "/ 1100 g" in base.children[0].text and "the finished weight as written" in base.children[0].text
    assert "the cooked weight" in variant.children[0].text and len(variant.children[0].children) == 6
    whole = float(re.search(rf"/ ({NUMBER}) g = ", variant.children[0].text)[1])
    cooked = [float(re.search(rf"= ({NUMBER}) g cooked", line.text)[1]) for line in variant.children[0].children]
    assert math.isclose(sum(cooked), whole, rel_tol=1e-4)
    assert any("cod fillet" in line.text for line in variant.children[0].children)


def test_each_source_is_cited_once_and_every_citation_leads_somewhere(released):
    traced = tracing.trace(released[1], "soup/base/ENERC-kJ/portion")
    text = trace_view.text(traced, released[1].release)
    tree, _, sources = text.partition("\nSources\n")
    numbers = {int(found) for found in re.findall(r"\[(\d+)\]", tree)}
    assert numbers == set(range(1, len(traced.sources) + 1))
    assert all(sources.count(f"[{number}] ") == 1 for number in numbers)
    assert len({source["source_id"] for source in traced.sources}) == len(traced.sources)
    assert "usda-sr26" in sources and "(published)" in sources and "USDA SR26, 11352" in tree
    assert "not in the release" not in sources
    assert all(source["citation"] not in tree for source in traced.sources)


def test_the_largest_shares_of_the_width_come_first(released):
    traced = tracing.trace(released[1], "soup/base/K/portion")
    width = next(child for child in traced.root.children if "interval wide" in child.text)
    told = [child.text for child in width.children if "other inputs" not in child.text]
    shares = [float(text.split(" %")[0]) for text in told]
    assert len(told) == 6 and shares == sorted(shares, reverse=True) and 0 < sum(shares) <= 100.5


@pytest.mark.parametrize("figure_id", ["soup/base/K/portion", "soup/base/K/100g", "soup/with-cod/ENERC-kJ/recipe", "soup/base/WATER/100g"])
@pytest.mark.parametrize("explain", [False, True])
def test_the_shares_of_the_width_add_up_to_the_whole(released, figure_id, explain):
    traced = tracing.trace(released[1], figure_id, explain=explain)
    width = next(child for child in traced.root.children if "interval wide" in child.text)
    shares = [float(child.text.split(" %")[0]) for child in width.children]
    assert sum(shares) == pytest.approx(100, abs=0.06 * len(shares))
    assert len(shares) > 7 if explain else len(shares) <= 7
    assert not (explain and any("other inputs" in child.text for child in width.children))


def test_an_explained_share_names_its_input_in_words(released):
    traced = tracing.trace(released[1], "soup/base/K/100g", explain=True)
    width = next(child for child in traced.root.children if "interval wide" in child.text)
    words = "\n".join(child.text for child in width.children)
    assert "the weight of the finished dish  [finished-mass:soup]" in words  # per 100 g it counts, per portion it does not
    assert 'how much is meant in "400 g potatoes"' in words and "what Potato, flesh and skin, raw holds  [composition:core:11352]" in words
    portion = trace_view.text(tracing.trace(released[1], "soup/base/K/portion", explain=True), released[1].release)
    assert "finished-mass:soup" not in portion


def test_the_second_route_is_told_beside_the_first(released):
    """Potatoes boiled without skin are 11367 in USDA SR26: 328 mg of potassium per 100 g."""
    text = trace_view.text(tracing.trace(released[1], "soup/base/K/portion"), released[1].release)
    assert re.search(r"two routes, per 100 g raw: [\d.]+ mg \(.*\) by retention, used here; [\d.]+ mg \(.*\) from the cooked entry 11367, 328 mg x", text)


def test_the_cautions_stand_under_the_figure(released):
    text = trace_view.text(tracing.trace(released[1], "soup/base/K/portion"), released[1].release)
    assert "Cautions" in text and "ask your renal dietitian" in text


def test_a_human_decision_is_told_with_who_when_and_why():
    """A stand-in for a release, because no decision need be in use in the demo."""
    class Tables:
        def row(self, name, **key):
            return pd.Series({"what": "leek -> 11246", "decided_by": "the data steward", "decided_on": "2026-01-05",
                              "reason": "the only raw leek"}) if key["decision_id"] == "leek-1" else None

    tracer = tracing._Tracer.__new__(tracing._Tracer)
    tracer.evidence = Tables()
    node, = tracer._decision("leek-1")
    assert node.text == "decision leek-1 by the data steward on 2026-01-05: leek -> 11246; the only raw leek"
    assert tracer._decision("") == tracer._decision("other") == []


@pytest.mark.parametrize("words, figure_id", [
    (["soup/base/K/100g"], "soup/base/K/100g"), (["soup", "K"], "soup/base/K/portion"), (["soup", "k"], "soup/base/K/portion"),
    (["soup", "ENERC"], "soup/base/ENERC-kJ/portion"), (["soup", "ENERC-kcal"], "soup/base/ENERC-kcal/portion")])
def test_a_figure_is_found(released, words, figure_id):
    assert tracing.find_figure(released[1], words) == figure_id


@pytest.mark.parametrize("words, near", [
    (["soup/base/KK/portion"], "soup/base/K/portion"), (["soap", "K"], "soup/base/K/portion"), (["12345678901234567890", "?"], "figures.csv lists the ids")])
def test_a_figure_that_is_not_there_has_neighbours(released, words, near):
    with pytest.raises(InputError, match=re.escape(near)):
        tracing.find_figure(released[1], words)


def test_the_command_is_quick_and_gives_json(released, tmp_path):
    project, evidence = released
    before = time.monotonic()
    done = project.run("trace", "soup", "ENERC", "--json", cwd=project.root)
    taken = time.monotonic() - before
    told = json.loads(done.out)
    assert done.code == 0 and done.err == "" and taken < 6.0  # under 2 s on an idle machine; others may be at work
    assert told["figure_id"] == "soup/base/ENERC-kJ/portion" and told["rests_on"] and told["sources"][0]["citation"]


def test_a_damaged_table_is_one_clear_message(released, tmp_path):
    import shutil

    copy = tmp_path / "copy"
    shutil.copytree(released[1].release, copy)
    (copy / "figures.parquet").write_bytes(b"no parquet")
    with pytest.raises(InputError, match="figures.parquet: cannot be read"):
        tracing.find_figure(Evidence(copy), ["soup", "K"])
    (copy / "figures.parquet").unlink()
    with pytest.raises(InputError, match="has no table figures"):
        Evidence(Path(copy)).table("figures")
