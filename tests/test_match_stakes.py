"""The match stage: what no probability is high enough against, what is at stake, and which runners-up count.

Figures are those of the curated core; what counts as much, and how much of a food a line brings to a portion, is
common practice, no source (``reference/rules.csv``).
"""

from __future__ import annotations

import pandas as pd
import pytest
from test_match import TABLE, answer, asked, kitchen, matcher, parsed

from pipeline.decisions import standing_decisions
from pipeline.stages.match import Asked, Matcher, doubt, line_answers
from pipeline.stages.match_outcome import Best, meant, stakes


@pytest.mark.parametrize(("change", "unread", "choice", "reason"), [
    ({}, False, "", ""), ({"asked_missing": 1.0}, False, "", "words-not-covered"), ({}, True, "", "words-left-over"),
    ({}, True, "salt-in-doubt", "salt-in-doubt"), ({"guessed": 1.0, "asked_missing": 1.0}, False, "", "word-guessed"),
    ({"classed": 1.0}, False, "", "class-only"),
    ({"head_agrees": 0.0}, False, "", "head-differs"), ({"head_missing": 1.0}, False, "", "head-differs"),
    ({"state_refused": 1.0}, False, "", "state-differs"), ({"facet_differs": 1.0}, False, "", "level-differs"),
    ({}, False, "ambiguous-words", "ambiguous-words"), ({}, False, "decisions-conflict", "decisions-conflict"),
])
def test_no_probability_is_high_enough_against_a_rule(change, unread, choice, reason):
    best = matcher().ranked(Asked("carrot"))[0]
    sure = Best(1.0, {**best.features, **change})
    assert doubt(sure, unread, choice, 0.85) == reason
    assert doubt(sure._replace(probability=0.84), False, "", 0.85) != ""


def test_a_chance_that_is_too_low_says_whether_another_entry_could_be_meant():
    low = Best(0.84, matcher().ranked(Asked("carrot"))[0].features)
    assert doubt(low, False, "", 0.85) == "not-sure"
    assert doubt(low._replace(rivals=True), False, "", 0.85) == "close-call"
    assert doubt(low._replace(features={**low.features, "state_refused": 1.0}), False, "", 0.85, made=True) == "cooked-otherwise"


def test_more_at_stake_needs_more_certainty():
    """The threshold of a line: the ordinary one, or the higher one where a plausible runner-up is another matter."""
    best = Best(0.9, matcher().ranked(Asked("carrot"))[0].features)
    assert doubt(best, False, "", 0.85, 0.95) == ""
    assert doubt(best._replace(at_stake=True), False, "", 0.85, 0.95) == "much-at-stake"
    assert doubt(best._replace(at_stake=True, probability=0.96), False, "", 0.85, 0.95) == ""
    assert doubt(best._replace(at_stake=True), False, "", 0.85, None) == ""


def _rules(**changed: float) -> pd.DataFrame:
    rules = kitchen()[0].rules
    return rules.assign(value=[changed.get(rule, value) for rule, value in zip(rules["rule_id"], rules["value"], strict=True)])


def test_what_is_at_stake_is_counted_in_a_typical_portion():
    """100 g of tinned tomato puree against paste is another potassium by the core's own figures; 2 g of a herb against another is not."""
    _, _, core = kitchen()
    names = core.entries["name"].tolist()
    paste, puree, basil, thyme = (names.index(name) for name in (
        "Tomato products, canned, paste, without salt added", "Tomato products, canned, puree, without salt added", "Spices, basil, dried",
        "Spices, thyme, dried"))
    found = stakes(core.entries, core.values, _rules())
    assert found.high(paste, [(puree, 0.05)]) and found.high(puree, [(paste, 0.05)])
    assert not found.high(paste, [(puree, 0.02)])  # not a plausible one
    assert not found.high(basil, [(thyme, 0.4)])  # 800 mg per 100 g, 16 mg in 2 g
    assert stakes(core.entries, core.values, _rules(**{"typical_portion_g_herbs-spices": 100.0})).high(basil, [(thyme, 0.4)])
    assert not stakes(core.entries, core.values, _rules(much_K=5000.0, much_NA=5000.0, much_P=5000.0, much_PROCNT=500.0)).high(paste, [(puree, 0.05)])
    assert found.high(paste, []) is False and stakes(core.entries, None, _rules()) is None


def test_a_runner_up_that_differs_much_sends_the_line_to_a_person():
    """A tin of tomato puree is paste or thin puree: the likelier one is not likely enough."""
    reference, mappings, core = kitchen()

    def outcome(**more) -> str:
        found = Matcher(core.entries, TABLE, mappings.words, reference.match_weights, standing_decisions(mappings.foods.iloc[:0], TABLE, core.entries)[0],
                        0.85, reference.rule("review_above"), **more)
        return line_answers(parsed(["1 tin tomato puree"]), found)[0]["match_outcome"][0]
    assert outcome(values=core.values, rules=_rules()) == "review"
    harmless = _rules(much_K=5000.0, much_NA=5000.0, much_P=5000.0, much_PROCNT=500.0)
    assert outcome(values=core.values, rules=harmless) == outcome()


def test_only_what_could_be_meant_is_a_doubt_about_the_amounts():
    """The tin is no doubt about raw potatoes, nor the powder about skimmed milk; the winner stands alone there."""
    plain = {"asked_missing": 0.0, "facet_differs": 0.0, "guessed": 0.0, "state_agrees": 0.2}
    assert meant(plain) and meant({**plain, "state_agrees": 0.0})
    for change in ({"asked_missing": 1.0}, {"facet_differs": 1.0}, {"guessed": 1.0}, {"state_agrees": -0.3}):
        assert not meant({**plain, **change}), change
    for text in ("500 g potatoes, peeled", "250ml skimmed milk", "1 small cucumber", "2 salmon fillets"):
        row, candidates = matcher(False).answer(asked(text))
        assert row["match_outcome"] == "accepted" and [one["entry_id"] for one in candidates] == [row["entry_id"]], text


@pytest.mark.parametrize(("text", "entry_id"), [
    ("4 chicken fillets", "05062"), ("1 beef stock cube", "06076"), ("1 chicken stock cube", "06081"), ("2 tsp bread soda", "18372"),
    ("2 tins chickpeas in water, drained", "16358"),
])
def test_a_name_in_several_words_is_not_read_word_by_word(text, entry_id):
    """A fillet is no whole chicken, a stock cube no stock, bread soda (Ireland) no bread: common practice, no source."""
    row = answer(text, decided=False)
    assert (row["match_outcome"], row["entry_id"]) == ("accepted", entry_id), row


@pytest.mark.parametrize("text", ["100 ml chickpea water", "2 tbsp aquafaba", "1 kg mixed shellfish", "500 g shelfish", "6 water biscuits"])
def test_a_food_that_is_not_there_is_not_the_nearest_word(text):
    assert answer(text, decided=False)["match_outcome"] != "accepted"


def test_the_calibration_does_not_make_a_runner_up_likelier():
    """A winner whose state is wrong is doubted; what it loses goes to "none of these", not to the next one."""
    for text in ("1 tin butter beans, drained", "1 tin tomato puree", "2 tbsp white vinegar"):
        ranked = matcher(False).ranked(asked(text))
        shares = [1 / (1 + sum(one.score / (1 - one.score) for one in ranked)) * first.score / (1 - first.score) for first in ranked]
        assert all(one.probability <= share + 1e-3 for one, share in zip(ranked[1:], shares[1:], strict=True)), text
