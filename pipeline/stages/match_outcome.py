"""From the best candidate to an outcome: what no probability is high enough against.

An entry is accepted only when every word of the line that names a food is accounted for, the
line is about what the entry is about, its state is not another one, cooks do not use the
phrase for different foods, and the probability is above a threshold, which is higher where a
plausible runner-up would change potassium, phosphorus, sodium or protein of a typical portion by much.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline import decisions
from pipeline.stages import match_named_state, match_naming, match_state, match_words

# The chance that a phrase which cooks use for different foods means the one that its words fit best.
AMBIGUOUS_SHARE = 0.5
# A description that says itself that it leaves something open ("NS as to form": not specified).
UNSAID = re.compile(r"\bns as to\b|\bnot specified\b")
# What a wrong match of these can do to somebody with kidney disease; amounts in these units.
AT_STAKE = {"K": "mg", "P": "mg", "NA": "mg", "PROCNT": "g"}


class Asked(NamedTuple):
    """What a line asks: the phrase, its state, and what the words around it say.

    ``hint``: ``fresh``, ``dry`` or "" (the measure of a herb); ``beside``: words of the
    line that may complete a name; ``leftover``: words nobody has read; ``amount``:
    ``counted``, ``spooned`` or ``uncounted``; ``alternative``: the food after "or";
    ``remarks``: preparation and note, where a word may still change the food; ``line``: what names
    the line where a person decided on this one line (:meth:`pipeline.decisions.Standing.line_key`);
    ``levels``: percentages and ratios that the line says ("85% lean", "80/20").
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


def asked_by(line) -> Asked:
    """What a parsed line asks for."""
    parts = [part.strip() for part in line.preparation.split(",")]
    beside = tuple(dict.fromkeys(part for part in (*parts, line.unit, line.leftover) if part))
    if line.unit in match_state.DRIED_UNITS:
        amount = "spooned"
    else:
        amount = "counted" if line.quantity_low > 0 and line.unit in ("", "piece") else "uncounted"
    return Asked(line.phrase, line.state, match_state.hint(line.unit, line.preparation), beside, line.leftover, amount,
                 line.alternative, f"{line.preparation} {line.note}".strip(), levels=match_naming.levels(getattr(line, "text", "") or line.phrase))


def level_differs(asked: Asked, name: str) -> bool:
    """Whether the line says a percentage or a ratio that the name of the entry does not say."""
    wanted = asked.levels or match_naming.levels(asked.phrase)
    return bool(wanted) and not match_naming.has_level(wanted, name)


phrase_key = lru_cache(maxsize=65536)(decisions.phrase_key)


def state_asked(asked: Asked) -> str:
    """The state that the line asks for: the one it was read with, or "fresh" where the phrase says so and no other state."""
    said = phrase_key(asked.phrase).split()
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
    if not match_words.replaced_whole(match_words.told_tokens(asked.phrase), vocabulary):
        forms.add(" ".join(word for word in written.split() if match_words.singular(word) not in vocabulary.cuts))
    whens = {vocabulary.ambiguous.get(form) for form in forms}
    return "always" in whens or asked.amount in whens


def unread(asked: Asked, vocabulary: match_words.Vocabulary) -> set[str]:
    """The words outside the phrase that may name a food or change it: those left over, and
    telling ones among the remarks and the unit."""
    if not (asked.leftover or asked.remarks or asked.beside):
        return set()
    said_nothing = vocabulary.ignored | vocabulary.cuts
    left = {word for word in match_words.tokens(asked.leftover) if not word.isdigit() and word not in said_nothing}
    outside = told(asked, " ".join((*asked.beside, asked.remarks)), vocabulary)
    return left | outside | (set(match_words.tokens(asked.remarks)) & vocabulary.telling)


def told(asked: Asked, text: str, vocabulary: match_words.Vocabulary) -> set[str]:
    """The words of ``text`` that tell, of the food the phrase is about, that it is another one."""
    words = [word for word in match_words.tokens(asked.phrase) if word not in vocabulary.cuts and word in vocabulary.telling_of]
    return set().union(*(match_words.told_of(word, text, vocabulary) for word in words))


class Best(NamedTuple):
    """The best candidate: its probability, its features, and whether something of weight is at stake beside it."""

    probability: float
    features: dict[str, float]
    at_stake: bool = False


def doubt(best: Best, words_unread: bool, is_ambiguous: bool, accept_above: float, at_stake_above: float | None = None) -> str:
    """Why the best candidate must be looked at by a person, or "" when it need not be."""
    features = best.features
    if words_unread or features["asked_missing"] > 0 or features["guessed"] > 0 or features["classed"] > 0:
        return "words-not-covered"
    if features["head_agrees"] == 0 or features["head_missing"] > 0 or features["head_differs"] > 0:
        return "head-differs"
    if features["state_refused"] > 0 or features["facet_differs"] > 0:
        return "state-differs"
    needed = at_stake_above if best.at_stake and at_stake_above is not None else accept_above
    return "close-call" if is_ambiguous or best.probability < needed else ""


DOUBT_FEATURES = ("asked_missing", "guessed", "classed", "head_agrees", "head_missing", "head_differs", "state_refused", "facet_differs", "completed")


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
    counts as much (entries x AT_STAKE; null where not known), and from which probability a runner-up is plausible."""

    amounts: np.ndarray
    plausible_above: float
    accept_above: float

    def high(self, entry: int, others: list[tuple[int, float]]) -> bool:
        """Whether a plausible one of ``others`` (entry, probability) differs from ``entry`` by much."""
        plausible = [other for other, probability in others if probability >= self.plausible_above]
        if not plausible:
            return False
        return bool((np.nan_to_num(np.abs(self.amounts[plausible] - self.amounts[entry])) > 1.0).any())


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
    return Stakes(per_100g.to_numpy(dtype=float) * portion[:, None] / much, rule["plausible_above"], rule["accept_above_at_stake"])
