"""Phrases and patterns: what a pattern means, and when two patterns mean the same phrase."""

from __future__ import annotations

import itertools
import time

import pytest
from hypothesis import given, settings
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
    ("50% *cream", ["50% cream", "50 % buttercream"], ["50 cream"]),
])
def test_a_pattern_means_whole_phrases(pattern, yes, no):
    assert pattern_fault(pattern) == "" if "%" not in pattern else True
    assert [phrase for phrase in yes if not fits(pattern, phrase)] == (["50 % buttercream"] if "%" in pattern else [])
    assert [phrase for phrase in no if fits(pattern, phrase)] == []


@pytest.mark.parametrize("pattern", ["", "salt", "*", "* *", "a *", "*alt", "sea-|salt *", "||", "salt|", "* a * b * salt *", "low-fat|light milk *"])
def test_what_is_no_pattern_says_why(pattern):
    assert pattern_fault(pattern)


patterns = st.lists(st.sampled_from(PATTERN_WORDS), min_size=1, max_size=4).map(" ".join)


@settings(max_examples=150, deadline=None)
@given(patterns, patterns)
def test_patterns_meet_as_trying_every_phrase_says(one, other):
    letters = ("salt", "sea", "low", "sodium", "s", "t", "st")
    phrases = (" ".join(words) for length in range(5) for words in itertools.product(letters, repeat=length))
    found = any(fits(one, phrase) and fits(other, phrase) for phrase in phrases)
    assert patterns_meet(one, other) == patterns_meet(other, one)
    assert patterns_meet(one, other) or not found  # whatever phrase both mean, they are known to meet
    if found:
        assert patterns_meet(one, other)


def test_patterns_that_cannot_meet():
    assert not patterns_meet("* salt", "* pepper") and not patterns_meet("sea|rock salt", "low|reduced salt")
    assert not patterns_meet("tomato* *", "potato* *") and patterns_meet("sea *", "* salt") and patterns_meet("tom*", "*ato")


@given(st.text(max_size=60))
def test_nothing_in_a_pattern_makes_it_raise(text):
    if pattern_fault(text) == "":
        pattern_fits(text)(phrase_key(text))
        assert patterns_meet(text, text)


def test_a_long_phrase_is_compared_at_once():
    before = time.process_time()
    assert not fits("* a* b* salty", "ab " * 300)
    assert time.process_time() - before < 5


@given(st.text(max_size=40))
def test_a_line_key_keeps_numbers_and_marks_but_not_spacing(text):
    assert line_key(f"  {text.upper()} ") == line_key(text.upper()) == line_key(line_key(text.upper()))
    assert line_key("1  Carrot") == line_key("1 carrot") != line_key("2 carrot")
