"""How often the method is read right on recipes the reader was not written for, and whether
its confidence says so.

Each set was written before the reader met it, measured at first contact, and then used to mend
the general causes of its errors. The figures of the first contact stand beside each bound, with those
after mending. Sets E and J have not been learned from.
"""

from pathlib import Path

import pandas as pd
import pytest
from ruamel.yaml import YAML

from pipeline.stages.cook import _main_step
from pipeline.stages.cook_names import line_of
from pipeline.stages.cook_outcome import CONFIDENCE, MISREAD
from pipeline.stages.cook_reading import read_method
from pipeline.stages.cook_words import vocabulary

ROOT = Path(__file__).resolve().parents[1]
VERBS = pd.read_csv(ROOT / "mappings" / "cooking_verbs.csv", dtype=str, keep_default_na=False)


def recipes(name):
    file = "method_labels_mended.yaml" if name == "mended" else f"method_labels_blind_{name}.yaml"
    return YAML(typ="safe").load((ROOT / "tests" / "data" / file).read_text(encoding="utf-8"))


def steps_of(chain):
    return tuple((part.partition(":")[0], part.partition(":")[2]) for part in chain.split(" > "))


def same(label, found):
    """A label without a liquid on "bake" takes either: they differ only in meat drippings."""
    return label[0] == found[0] and (label[1] == found[1] or label[1] == "")


def one_cooking(step):
    """Boiled and simmered in the same liquid take the same yields and retention codes (but eggs)."""
    return ("simmer", step[1]) if step[0] == "boil" else step


def water(chain, bake_counts):
    """What became of the cooking water: the pivot of the potassium figure."""
    liquids = [liquid for method, liquid in chain if method != "bake" or bake_counts]
    return "drained" if "drained" in liquids else "kept" if "kept" in liquids else "dry"


def measured(name):
    """One row per line of a set: right in the main step (``strict``; ``right`` takes boil and simmer as one), and in the water."""
    rows = []
    for recipe in recipes(name):
        lines = [line_of(f"{recipe['id']}/base/{number}", phrase, cooking_class, next((word for word in more if word.startswith(("For ", "To "))), ""),
                         "serve" in more, "cooked" in more)
                 for number, (phrase, cooking_class, _, *more) in enumerate(recipe["lines"], start=1)]
        for line, reading in zip(recipe["lines"], read_method(lines, recipe["steps"], vocabulary(VERBS)), strict=True):
            chain = steps_of(line[2])
            label, found = _main_step(chain), _main_step(reading.steps)
            baked_wet = any(step == ("bake", "kept") for step in chain)
            rows.append({"recipe": recipe["id"], "line": line[0], "label": line[2], "found": reading.chain, "rule": reading.rule,
                         "confidence": reading.confidence, "strict": same(label, found), "right": same(one_cooking(label), one_cooking(found)),
                         "water": water(chain, True) == water(reading.steps, baked_wet)})
    return pd.DataFrame(rows)


def calibration_error(table):
    """Mean of |confidence - rate of right ones| over the rules, weighted by their lines."""
    by_rule = table.groupby("rule").agg(lines=("right", "size"), right=("right", "mean"), confidence=("confidence", "mean"))
    return float(((by_rule["confidence"] - by_rule["right"]).abs() * by_rule["lines"]).sum() / len(table))


def wrong(table, column):
    return "\n" + table[~table[column]].to_string()


@pytest.mark.parametrize(("name", "number", "lines"), [("a", 40, 320), ("b", 25, 200), ("c", 30, 240), ("d", 30, 320), ("e", 30, 320), ("f", 12, 120), ("g", 20, 160), ("h", 16, 120), ("i", 15, 100), ("j", 26, 260), ("mended", 90, 800)])
def test_sets_are_large_and_new(name, number, lines):
    found = recipes(name)
    assert len(found) >= number
    assert sum(len(recipe["lines"]) for recipe in found) >= lines
    ids = [recipe["id"] for recipe in found]
    assert len(ids) == len(set(ids))
    ids = [recipe["id"] for other in ("a", "b", "d", "e", "f", "mended") for recipe in recipes(other)]
    assert len(ids) == len(set(ids))


def test_set_a_stays_mended():
    """First contact: strict 0.799, right 0.810, water 0.881; after mending on it 0.989, 1.0, 0.992."""
    table = measured("a")
    assert table["strict"].mean() >= 0.97, wrong(table, "strict")
    assert table["water"].mean() >= 0.97, wrong(table, "water")


def test_set_b_stays_mended():
    """First contact (229 lines): strict 0.817, right 0.865, water 0.930; after mending on it 0.969, 1.0, 0.983."""
    table = measured("b")
    assert table["strict"].mean() >= 0.95, wrong(table, "strict")
    assert table["right"].mean() >= 0.97, wrong(table, "right")
    assert table["water"].mean() >= 0.97, wrong(table, "water")


def test_set_c_stays_mended():
    """First contact (251 lines): strict 0.825, right 0.829, water 0.892; after mending on it 0.996, 1.0, 1.0."""
    table = measured("c")
    assert table["strict"].mean() >= 0.97, wrong(table, "strict")
    assert table["right"].mean() >= 0.97, wrong(table, "right")
    assert table["water"].mean() >= 0.97, wrong(table, "water")


def test_set_d_stays_mended():
    """First contact (329 lines): strict 0.736, right 0.736, water 0.872; after mending on it 0.973, 0.973, 0.988.

    Its labels call couscous and noodles under boiling water "soak"; the other sets, and the reader, "boil".
    """
    table = measured("d")
    assert table["strict"].mean() >= 0.95, wrong(table, "strict")
    assert table["right"].mean() >= 0.96, wrong(table, "right")
    assert table["water"].mean() >= 0.97, wrong(table, "water")


def test_set_e_at_first_contact():
    """Never learned from: strict 0.929, right 0.936, water 0.917; of the sure lines 0.960 right, mean confidence 0.877."""
    table = measured("e")
    assert table["strict"].mean() >= 0.92, wrong(table, "strict")
    assert table["right"].mean() >= 0.93, wrong(table, "right")
    assert table["water"].mean() >= 0.91, wrong(table, "water")
    sure = table[table["confidence"] >= 0.9]
    assert len(sure) >= 220 and sure["right"].mean() >= 0.95, wrong(sure, "right")
    assert table["confidence"].mean() <= table["right"].mean()


def test_set_f_stays_mended():
    """First contact (120 lines): right 0.667, water 0.883; with fifteen labels that broke the conventions put right 0.775 and 0.958; after mending on it 1.0."""
    table = measured("f")
    assert table["strict"].mean() >= 0.97, wrong(table, "strict")
    assert table["water"].mean() >= 0.97, wrong(table, "water")


def test_set_g_stays_mended():
    """First contact (167 lines): strict 0.826, right 0.832, water 0.892, of 94 sure lines 0.872 right; after mending on it 0.958, 0.970, 0.988."""
    table = measured("g")
    assert table["right"].mean() >= 0.95, wrong(table, "right")
    assert table["water"].mean() >= 0.97, wrong(table, "water")


def test_set_h_stays_mended():
    """First contact (125 lines): strict 0.840, right 0.864, water 0.936, of 94 sure lines 0.872 right; after mending on it 0.952, 0.976, 0.960."""
    table = measured("h")
    assert table["right"].mean() >= 0.95, wrong(table, "right")
    assert table["water"].mean() >= 0.95, wrong(table, "water")


def test_set_i_stays_mended():
    """First contact (106 lines): strict and right 0.877, water 0.925, of 70 sure lines 0.914 right; after mending on it 0.991."""
    table = measured("i")
    assert table["right"].mean() >= 0.96, wrong(table, "right")
    assert table["water"].mean() >= 0.96, wrong(table, "water")


def test_set_j_at_first_contact():
    """Never learned from, by another hand: strict and right 0.849, water 0.926; of 105 sure lines 0.943 right, mean confidence 0.803."""
    table = measured("j")
    assert table["right"].mean() >= 0.84, wrong(table, "right")
    assert table["water"].mean() >= 0.92, wrong(table, "water")
    sure = table[table["confidence"] >= 0.9]
    assert len(sure) >= 95 and sure["right"].mean() >= 0.93, wrong(sure, "right")
    assert table["confidence"].mean() <= table["right"].mean()


def test_the_groups_of_causes_stay_mended():
    """First contact (838 lines): right 0.841, by group 0.797, 0.853, 0.902, 0.863, 0.790, 0.900, 0.848, 0.762; after mending on each 0.998."""
    table = measured("mended")
    assert table["right"].mean() >= 0.97, wrong(table, "right")
    assert table["water"].mean() >= 0.97, wrong(table, "water")


# Lines and right lines at first contact, by rule, of sets B (229 lines), C (251) and D (329): each set as the reader
# of the day read it before anything was mended on it, with the signs of doubt of ``cook_outcome.in_doubt`` applied to
# what it read. They are the only lines with which the confidences can be compared; the sets are mended on now.
FIRST_CONTACT = {
    "named": (118, 110), "pot": (219, 212), "group": (1, 1), "pronoun": (17, 17), "implied": (19, 15), "raw-named": (30, 15), "raw-served": (39, 39),
    "raw-at-end": (38, 32), "liquid-likely": (6, 6), "liquid-unsaid": (9, 8), "implausible": (46, 3), "raw-unlikely": (8, 0), "beside-doubt": (126, 92),
    "beside-unclear": (118, 96), "not-mentioned": (9, 1), "seasoning-not-mentioned": (6, 1),
}
# The same of the sure lines alone, by set: 95 % and more right were asked for.
SURE_AT_FIRST_CONTACT = {"b": (139, 132), "c": (136, 134), "d": (118, 112)}


def test_confidence_is_the_rate_of_right_lines_at_first_contact():
    """Over all lines within 0.05; no rule that was met ten times promises more than 0.04 above its rate."""
    met = {rule: count for rule, count in FIRST_CONTACT.items() if count[0] >= 10}
    assert sum(lines for lines, _ in FIRST_CONTACT.values()) == 229 + 251 + 329
    assert not {rule: right / lines for rule, (lines, right) in met.items() if CONFIDENCE[rule] > right / lines + 0.04}
    error = sum(lines * abs(CONFIDENCE[rule] - right / lines) for rule, (lines, right) in FIRST_CONTACT.items()) / 809
    assert error <= 0.05


def test_sure_lines_were_right_at_first_contact():
    """The rules that count as sure (0.9 or more): 96 % of 393 lines, and 94.9 % or more in each set."""
    sure = {rule: count for rule, count in FIRST_CONTACT.items() if CONFIDENCE[rule] >= 0.9}
    assert sum(lines for lines, _ in sure.values()) == sum(lines for lines, _ in SURE_AT_FIRST_CONTACT.values())
    assert sum(right for _, right in sure.values()) == sum(right for _, right in SURE_AT_FIRST_CONTACT.values())
    assert sum(right for _, right in sure.values()) / sum(lines for lines, _ in sure.values()) >= 0.95


@pytest.mark.parametrize("name", ["b", "c", "d"])
def test_confidence_does_not_promise_too_much(name):
    """On the sets it was mended on it promises less than is right there, and by rule not much less."""
    table = measured(name)
    assert calibration_error(table) <= 0.1
    assert table["confidence"].mean() <= table["right"].mean()


@pytest.mark.parametrize("name", ["b", "c", "d"])
def test_sure_lines_are_right(name):
    """Read with 0.9 or more: 95 % and more right (with the confidences of their day 97.7, 92.5 and 79.8 % were at first contact)."""
    table = measured(name)
    sure = table[table["confidence"] >= 0.9]
    assert len(sure) >= 120
    assert sure["right"].mean() >= 0.95, wrong(sure, "right")


def test_one_plain_misreading_puts_the_recipe_in_doubt():
    """Pasta that nobody cooks: a figure made of such lines is marked for checking (threshold in reference/rules.csv)."""
    lines = [line_of(f"r/base/{n}", phrase, kind) for n, (phrase, kind) in enumerate([("penne", "pasta"), ("leeks", "other-vegetables")], start=1)]
    penne, leeks = read_method(lines, ["Weigh the penne.", "Steam the leeks for 5 minutes."], vocabulary(VERBS))
    assert (penne.rule, leeks.rule) == ("raw-unlikely", "beside-doubt")
    below = pd.read_csv(ROOT / "reference" / "rules.csv", index_col=0)["value"]["check_confidence_below"]
    assert float(below) > penne.confidence
    assert leeks.confidence < CONFIDENCE["named"]


def test_every_confidence_is_that_of_a_rule():
    table = pd.concat([measured(name) for name in ("a", "b", "c", "d", "mended")])
    assert set(table["rule"]) <= set(CONFIDENCE)
    assert (table["confidence"] == table["rule"].map(CONFIDENCE)).all()
