"""Phrases and patterns: what a pattern means, and when two patterns mean the same phrase."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline.phrases import line_key, pattern_fault, pattern_fits, patterns_meet, phrase_key

WORDS = ("salt", "sea", "low", "sodium")
PATTERN_WORDS = (*WORDS, "*", "sea|low", "s*", "*t")


def fits(pattern: str, phrase: str) -> bool:
    return pattern_fits(pattern)(phrase_key(phrase))


@pytest.mark.parametrize(("pattern", "yes", "no"), [
    ("* salt", ["salt", "sea salt", "Flaky Sea-Salt"], ["salted", "salt flakes", "salt and pepper"]),
    ("salt *", ["salt", "salt flakes", "salt and pepper"], ["sea salt", "saltpetre"]),
    ("* salt substitute|alternative *", ["salt substitute", "low-sodium salt alternative crystals"], ["salt", "substitute for salt"]),
    ("tomato* ketchup", ["tomato ketchup", "tomatoes ketchup"], ["ketchup", "tomato brown ketchup"]),
    ("crème *", ["creme fraiche", "Crème fraîche"], ["ice creme"]),
    ("50% *cream", ["50% cream", "50% buttercream"], ["50 cream", "50 % buttercream"]),
])
def test_a_pattern_means_whole_phrases(pattern, yes, no):
    assert pattern_fault(pattern) == ""
    assert [phrase for phrase in yes if not fits(pattern, phrase)] == []
    assert [phrase for phrase in no if fits(pattern, phrase)] == []


@pytest.mark.parametrize("pattern", ["", "salt", "*", "* *", "a *", "*alt", "sea-|salt *", "||", "salt|", "* a * b * salt *", "low-fat|light milk *"])
def test_what_is_no_pattern_says_why(pattern):
    assert pattern_fault(pattern)


# Of two patterns of three words or fewer, a phrase that both mean has four words at most: trying those settles it.
patterns = st.lists(st.sampled_from(PATTERN_WORDS), min_size=1, max_size=3).map(" ".join)


@settings(max_examples=150, deadline=None)
@given(patterns, patterns)
def test_patterns_meet_as_trying_every_phrase_says(one, other):
    letters = ("salt", "sea", "low", "sodium", "s", "t", "st")
    phrases = (" ".join(words) for length in range(5) for words in itertools.product(letters, repeat=length))
    found = any(fits(one, phrase) and fits(other, phrase) for phrase in phrases)
    assert patterns_meet(one, other) == patterns_meet(other, one) == found


def test_patterns_that_cannot_meet():
    assert not patterns_meet("* salt", "* pepper") and not patterns_meet("sea|rock salt", "low|reduced salt")
    assert not patterns_meet("tomato* *", "potato* *") and patterns_meet("sea *", "* salt") and patterns_meet("tom*", "*ato")


@given(st.text(max_size=60) | st.text(alphabet="abst *|-é%", max_size=20))
@example("salt*|(sea)")
@example("sal[t *")
@example("\\d+salt *")
def test_nothing_in_a_pattern_makes_it_raise(text):
    fault = pattern_fault(text)
    assert isinstance(fault, str)
    pattern_fits(text)(phrase_key(text))
    assert fault or patterns_meet(text, text)


def test_a_long_phrase_is_compared_without_trying_every_split():
    # Tried one by one, the splits of 900 letters between three stars would take longer than anybody waits.
    assert not fits("* a* b* salty", "ab " * 300)


@given(st.text(max_size=40))
def test_a_line_key_keeps_numbers_and_marks_but_not_spacing(text):
    assert line_key(f"  {text.upper()} ") == line_key(text.upper()) == line_key(line_key(text.upper()))
    assert line_key("1  Carrot") == line_key("1 carrot") != line_key("2 carrot")
