"""From the best candidate to an outcome: what no probability is high enough against.

An entry is accepted only when every word of the line that names a food is accounted for, the
line is about what the entry is about, its state is not another one, cooks do not use the
phrase for different foods, and the probability is above a threshold, which is higher where a
plausible runner-up would change potassium, phosphorus, sodium or protein of a typical portion by much.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline import decisions
from pipeline.stages import match_forms, match_index, match_named_state, match_naming, match_state, match_words

# The chance that a phrase which cooks use for different foods means the one that its words fit best.
AMBIGUOUS_SHARE = 0.5
# A description that says itself that it leaves something open ("NS as to form": not specified).
UNSAID = re.compile(r"\bns as to\b|\bnot specified\b")
SALT = "salt"
# What a wrong match of these can do to somebody with kidney disease; amounts in these units.
AT_STAKE = {"K": "mg", "P": "mg", "NA": "mg", "PROCNT": "g"}


class Asked(NamedTuple):
    """What a line asks: the phrase, its state, and what the words around it say.

    ``hint``: ``fresh``, ``dry`` or "" (the measure of a herb); ``beside``: words of the
    line that may complete a name; ``leftover``: words nobody has read; ``amount``:
    ``counted``, ``spooned`` or ``uncounted``; ``alternative``: the food after "or";
    ``remarks``: preparation and note, where a word may still change the food; ``line``: what names
    the line where a person decided on this one line (:meth:`pipeline.decisions.Standing.line_key`);
    ``levels``: percentages and ratios that the line says ("85% lean", "80/20"); ``behind``: what it says behind
    the food, where a way of cooking may stand ("carrots, roasted").
    """

    phrase: str
    state: str = ""
    hint: str = ""
    beside: tuple[str, ...] = ()
    leftover: str = ""
    amount: str = ""
    alternative: str = ""
    remarks: str = ""
    line: str = ""
    levels: tuple[float, ...] = ()
    behind: str = ""


def asked_by(line) -> Asked:
    """What a parsed line asks for."""
    parts = [part.strip() for part in re.split("[,;]", line.preparation)]
    beside = tuple(dict.fromkeys(part for part in (*parts, line.unit, line.leftover) if part))
    if line.unit in match_state.DRIED_UNITS:
        amount = "spooned"
    else:
        amount = "counted" if line.quantity_low > 0 and line.unit in ("", "piece") else "uncounted"
    return Asked(line.phrase, line.state, match_state.hint(line.unit, line.preparation), beside, line.leftover, amount,
                 line.alternative, f"{line.preparation} {line.note}".strip(), levels=match_naming.levels(getattr(line, "text", "") or line.phrase), behind=_behind(line))


# A kind of a food is named in so many words.
KIND_WORDS = 3


def with_kind(asked: Asked, index: match_index.Index, vocabulary: match_words.Vocabulary, decided: Callable[[str], bool] = lambda phrase: False) -> Asked:
    """What a line asks with its left-over words as the kind of the food where a name has them all ("milk (soya)" is soya milk) or
    people decided on the two together, or without them where they are the food once more ("aubergine (eggplant)"); else as it
    was, and the words are a doubt."""
    said, food = match_words.told_tokens(asked.leftover), match_words.told_tokens(asked.phrase)
    if not food or SALT in food or not 1 <= len(said) <= KIND_WORDS or any(word.isdigit() for word in said):
        return asked  # what stands beside salt is judged as a doubt about salt
    taken = asked._replace(leftover="", beside=tuple(text for text in asked.beside if text != asked.leftover))
    if set(match_words.translated(said, vocabulary)) <= set(match_words.translated(food, vocabulary)):
        return taken
    name = index.written.get(frozenset((*food, *said)), ())
    if name[-1:] == said[-1:]:
        return taken._replace(phrase=f"{asked.phrase} {asked.leftover}")  # "chicken (breast)"
    named = taken._replace(phrase=f"{asked.leftover} {asked.phrase}")
    return named if name or decided(named.phrase) or any(index.together(form.words) for form in forms(named, index, vocabulary) if not form.repaired) else asked


# What is still to happen to a food is no state of it: "to be mashed", "for roasting".
_TO_COME = re.compile(r"\b(?:to be|for|before|until|if)\b[^,;()]*")


def _behind(line) -> str:
    """What the line says behind the food; words that reading took for the state ("steamed") are in its text alone."""
    said = line.preparation
    if line.state == match_state.COOKED and getattr(line, "text", ""):
        elsewhere = set(match_words.tokens(" ".join((line.phrase, line.note, line.alternative, line.leftover))))
        said = " ".join(word for word in match_words.plain(_TO_COME.sub(" ", line.text)).split() if not elsewhere.issuperset(match_words.tokens(word)))
    return _TO_COME.sub(" ", said)


# Beside one of these states a way of cooking is still to come: the state names the food as it is weighed ("1 tin chickpeas, roasted").
_MAY_BE_MADE = frozenset({"", "raw", match_state.COOKED})


def ways(asked: Asked, vocabulary: match_words.Vocabulary) -> tuple[match_words.Way, ...]:
    """The ways of cooking that the line says behind the food."""
    if not asked.behind or asked.state not in _MAY_BE_MADE:
        return ()
    food = set(match_words.tokens(asked.phrase))
    said = [vocabulary.ways[word] for word in dict.fromkeys(match_words.tokens(asked.behind)) if word in vocabulary.ways]
    found = tuple(way for way in said if not way.foods or way.foods & food)
    return tuple(way for way in found if way.says) or found  # "boiled and mashed" is boiled


def forms(asked: Asked, index: match_index.Index, vocabulary: match_words.Vocabulary) -> list[match_forms.Form]:
    """The readings of what a line asks."""
    levels = asked.levels or match_naming.levels(asked.phrase)
    return match_forms.readings(asked.phrase, state_asked(asked), ways(asked, vocabulary), levels, index, vocabulary, asked.beside)


def level_differs(asked: Asked, name: str) -> bool:
    """Whether the line says a percentage or a ratio that the name of the entry does not say."""
    wanted = asked.levels or match_naming.levels(asked.phrase)
    return bool(wanted) and not match_naming.has_level(wanted, name)


def name_differs(asked: Asked, name: str, vocabulary: match_words.Vocabulary) -> str:
    """Why the published name of the best entry contradicts the line where no feature tells it, or ""."""
    if level_differs(asked, name):
        return "level-differs"
    if _UNDRAINED.search(asked.remarks.lower()) and "drained solids" in name.lower():
        return "state-differs"
    if _IN_JUICE.search(asked.phrase.lower()) and _A_JUICE.search(name.lower()):
        return "head-differs"
    return "state-differs" if strength_differs(asked, name, vocabulary) else ""


# Prunes in juice are no prune juice, though a reading without "in" has the same words.
_IN_JUICE = re.compile(r"\bin (?:\w+ ){0,3}juice\b")
_A_JUICE = re.compile(r"^[^,]*\bjuice\b(?! pack)")
# The brine or juice of the tin goes into the dish.
_UNDRAINED = re.compile(r"\b(?:undrained|not drained|do not drain|don't drain|with (?:all )?(?:its |their |the )?(?:juices?|liquid|brine))\b")


def strength_differs(asked: Asked, name: str, vocabulary: match_words.Vocabulary) -> bool:
    """Whether the entry is a concentrate, by its published name, and the line does not say so ("tomato soup", condensed soup)."""
    said = match_words.told_tokens(asked.phrase)
    return not match_naming.CONCENTRATED.intersection(match_words.told_tokens(name)) <= {*said, *match_words.translated(said, vocabulary)}


phrase_key = lru_cache(maxsize=65536)(decisions.phrase_key)


# How a food was kept tells more of it than that it came out of a tin or jar.
KEPT_SO = frozenset({"pickled", "smoked"})


def state_asked(asked: Asked) -> str:
    """The state that the line asks for: the one it was read with, what the phrase says of how the food in a tin was kept, or
    "fresh" where the phrase says so and no other state."""
    said = phrase_key(asked.phrase).split()
    kept = match_named_state.states_said(said) & KEPT_SO
    if asked.state in ("drained", "canned") and kept:
        return match_named_state.main_state(kept)  # "pickled beetroot, drained" is pickled
    if asked.state == "" and "fresh" in said and match_named_state.states_said(said) <= {"raw", match_state.FRESH}:
        return match_state.FRESH
    return asked.state


def keys(phrase: str, vocabulary: match_words.Vocabulary) -> tuple[str, ...]:
    """The forms in which a phrase is looked up: as written, and without words that say nothing."""
    written = phrase_key(phrase)
    kept = " ".join(word for word in written.split() if match_words.singular(word) not in vocabulary.ignored)
    return tuple(dict.fromkeys(key for key in (written, kept) if key))


def ambiguous(asked: Asked, completed: bool, vocabulary: match_words.Vocabulary) -> bool:
    """Whether cooks use the phrase, in such an amount and without a state, for different foods, or a
    word of it tells of another food; ``completed``: words beside it name the food in full."""
    if told(asked, asked.phrase, vocabulary) or UNSAID.search(match_words.plain(asked.phrase)):
        return True
    forms = {*keys(asked.phrase, vocabulary), *match_words.phrase_forms(asked.phrase, vocabulary)}
    written = phrase_key(asked.phrase)
    said = f"{asked.state} {written}".strip()
    if "ever" in {vocabulary.ambiguous.get(form) for form in (*forms, said)}:
        return True
    if asked.state or asked.hint == match_state.FRESH or completed:
        return False
    if told(asked, f"{asked.phrase} {asked.remarks}", vocabulary, vocabulary.open_of):
        return True
    if not match_words.replaced_whole(match_words.told_tokens(asked.phrase), vocabulary):
        forms.add(" ".join(word for word in written.split() if match_words.singular(word) not in vocabulary.cuts))
    whens = {vocabulary.ambiguous.get(form) for form in forms}
    return "always" in whens or asked.amount in whens


def unread(asked: Asked, vocabulary: match_words.Vocabulary) -> set[str]:
    """The words outside the phrase that may name a food or change it: those left over, and
    telling ones among the remarks and the unit."""
    if not (asked.leftover or asked.remarks or asked.beside):
        return set()
    said_nothing = vocabulary.ignored | vocabulary.cuts | {f"{level:g}%" for level in asked.levels}  # a percentage is compared by itself
    leftover, remarks = (re.sub(match_naming.FROM_CONCENTRATE, "", match_words.plain(text)) for text in (asked.leftover, asked.remarks))
    left = {word for word in match_words.tokens(leftover) if not word.isdigit() and word not in said_nothing}
    outside = told(asked, " ".join((*asked.beside, asked.remarks)), vocabulary)
    return left | outside | (set(match_words.tokens(remarks)) & vocabulary.telling)


def told(asked: Asked, text: str, vocabulary: match_words.Vocabulary, telling_of: dict[str, frozenset[str]] | None = None) -> set[str]:
    """The words of ``text`` that tell, of the food the phrase is about, that it is another one (or what ``telling_of`` lists)."""
    telling = vocabulary.telling_of if telling_of is None else telling_of
    words = [word for word in match_words.tokens(asked.phrase) if word not in vocabulary.cuts and word in telling]
    return set().union(*(match_words.told_of(word, text, telling, vocabulary) for word in words))


def is_salt(name: str, cooking_class: str) -> bool:
    """Whether an entry is a salt: by its cooking class, or by the first word of its name."""
    return cooking_class == SALT or match_words.tokens(name)[:1] == (SALT,)


def plain_salt(asked: Asked, vocabulary: match_words.Vocabulary) -> bool:
    """Whether every word beside "salt" is one of a salt that is sodium chloride: "K salt" and "smart seasoning" are not."""
    said = match_words.tokens(asked.phrase)
    return SALT in said and vocabulary.plain_salt.issuperset(set(said) - {SALT})


class Best(NamedTuple):
    """The best candidate: its probability, its features, whether something of weight is at stake beside it, and
    whether another candidate could be meant."""

    probability: float
    features: dict[str, float]
    at_stake: bool = False
    rivals: bool = False


def doubt(best: Best, words_unread: bool, open_choice: str, accept_above: float, at_stake_above: float | None = None, made: bool = False) -> str:
    """Why the best candidate must be looked at by a person (a code of ``tables.LINE_REASONS``), or "" when it need not be.

    ``open_choice``: why no candidate can be the one, whatever its chance ("" where nothing is open); ``made``: whether
    the line says a way of cooking behind the food.
    """
    features = best.features
    if features["state_refused"] > 0 and made:
        return "cooked-otherwise"
    if words_unread:
        return "salt-in-doubt" if open_choice == "salt-in-doubt" else "words-left-over"
    if features["guessed"] > 0:
        return "word-guessed"
    if features["classed"] > 0:
        return "class-only"
    if features["asked_missing"] > 0:
        return "words-not-covered"
    if features["head_agrees"] == 0 or features["head_missing"] > 0 or features["head_differs"] > 0:
        return "head-differs"
    if features["state_refused"] > 0:
        return "state-differs"
    if features["facet_differs"] > 0 or features["unsalted_tin"] > 0:
        return "level-differs"
    return open_choice or _unsure(best, accept_above, at_stake_above)


def _unsure(best: Best, accept_above: float, at_stake_above: float | None) -> str:
    """What speaks against a best candidate that only its chance can speak against."""
    needed = at_stake_above if best.at_stake and at_stake_above is not None else accept_above
    if best.probability >= needed:
        return ""
    if best.probability >= accept_above:
        return "much-at-stake"
    return "close-call" if best.rivals else "not-sure"


def open_choice(asked: Asked, is_ambiguous: bool, is_disputed: bool, is_refused: bool, vocabulary: match_words.Vocabulary) -> str:
    """Why a person must choose, whatever the words say: people decided against each other, one of two foods was ruled
    out, the salt may hold potassium, or cooks use the words for different foods; "" where nothing of that holds."""
    if is_disputed:
        return "decisions-conflict"
    if is_refused:
        return "alternative-refused"
    if SALT in match_words.tokens(asked.phrase) and (is_ambiguous or unread(asked, vocabulary)):
        return "salt-in-doubt"
    return "ambiguous-words" if is_ambiguous else ""


DOUBT_FEATURES = ("asked_missing", "guessed", "classed", "head_agrees", "head_missing", "head_differs", "state_refused", "facet_differs", "unsalted_tin", "completed")


# None of the 690 lines that the core accepts out of fold was wrong: a runner-up below this probability is rated too high already.
MEANT_ABOVE = 0.02
MEANT_FEATURES = ("asked_missing", "facet_differs", "guessed", "state_agrees")


def meant(features: dict[str, float]) -> bool:
    """Whether a runner-up could be what the cook means: it has every word, and its state and its levels of
    salt, fat and sugar are not others. Only such ones are a doubt about the amounts of a line."""
    return not any(features[feature] > 0 for feature in MEANT_FEATURES[:-1]) and features["state_agrees"] >= 0


@dataclass(frozen=True)
class Stakes:
    """What a wrong choice changes: per entry the amounts at stake in a typical portion, in units of what
    counts as much (entries x AT_STAKE; null where not known), that portion (entries, in 100 g), and from which probability a runner-up is plausible."""

    amounts: np.ndarray
    portions: np.ndarray
    plausible_above: float
    accept_above: float

    def high(self, entry: int, others: list[tuple[int, float]]) -> bool:
        """Whether a plausible one of ``others`` (entry, probability) differs from ``entry`` by much."""
        plausible = [other for other, probability in others if probability >= self.plausible_above]
        if not plausible:
            return False
        return bool((np.nan_to_num(np.abs(self.amounts[plausible] - self.amounts[entry])) > 1.0).any())

    def far_apart(self, one: int, other: int) -> bool:
        """Whether 100 g of two entries differ by much."""
        first, second = (self.amounts[entry] / self.portions[entry] for entry in (one, other))
        return bool((np.nan_to_num(np.abs(first - second)) > 1.0).any())


def stakes(entries: pd.DataFrame, values: pd.DataFrame | None, rules: pd.DataFrame | None) -> Stakes | None:
    """The stakes of a table, or None without figures (``values``: model Values) or rules.

    ``rules``: ``reference/rules.csv``: ``much_<component>`` is what counts as much, in the component's unit;
    ``typical_portion_g`` and ``typical_portion_g_<cooking class>`` say how much of a food a line brings to a portion.
    """
    if values is None or rules is None:
        return None
    rule = dict(zip(rules["rule_id"], rules["value"], strict=True))
    if "accept_above_at_stake" not in rule:
        return None
    wanted = values[values["component"].isin(AT_STAKE)]
    per_100g = wanted.pivot(index="entry_id", columns="component", values="value").reindex(index=entries["entry_id"], columns=list(AT_STAKE))
    usual = rule["typical_portion_g"]
    portion = np.array([rule.get(f"typical_portion_g_{food}", usual) for food in entries["cooking_class"]]) / 100.0
    much = np.array([rule[f"much_{component}"] for component in AT_STAKE])
    return Stakes(per_100g.to_numpy(dtype=float) * portion[:, None] / much, portion, rule["plausible_above"], rule["accept_above_at_stake"])
