"""Tins that the method drains: "Drain and rinse the chickpeas" makes "1 tin chickpeas" a drained one.

Potassium and sodium of the brine go with it, so the words must be plain: the sentence drains, names the
food by the last word of its phrase, which no other line has, and keeps nothing ("drain, reserving the juice" changes
nothing). Common practice, no source.
"""

from __future__ import annotations

import re
from collections import Counter

import pandas as pd

from pipeline.stages.cook_names import line_of, singular
from pipeline.stages.cook_water import THROWN
from pipeline.stages.cook_words import sentences

CANNED, DRAINED = "canned", "drained"
# "drain the beans", "drain and rinse the beans", "tip in the drained beans"; not what was boiled with it is drained of.
DRAINS = re.compile(r"\bdrain(?: (?:and|then) rinse| well| thoroughly)?,? (?:the |your |both |all the |each )?(?:tins? of |cans? of |tinned |canned )?(?P<food>[\w' -]+)|"
                    r"\bdrained(?: and rinsed)? (?:tinned |canned )?(?P<done>[\w' -]+)")
KEEPS = re.compile(r"\b(?:reserv|keep|kept|sav(?:e|ing)|retain|catch|don['’]t|do not|not|without|over an? (?:bowl|jug))\w*\b")
ENDS = re.compile(r"\b(?:and|then|in|into|to|with|on|of|from|before|well|thoroughly)\b")


def drained_by_method(parsed: pd.DataFrame, lines: pd.DataFrame, steps: pd.DataFrame) -> pd.DataFrame:
    """``parsed`` (model Parsed) with the state ``drained`` where the steps of the line's variant drain its tin.

    ``lines``, ``steps``: the models of those names. Other rows stay as they are.
    """
    tins = parsed[(parsed["state"] == CANNED) & (parsed["unit"].isin(("tin", "jar")) | parsed["each_unit"].ne(""))]
    if tins.empty or steps.empty:
        return parsed
    texts = {key: group.sort_values("step_no")["text"].tolist() for key, group in steps.groupby(["recipe_id", "variant_id"], sort=False)}
    of_line = dict(zip(lines["line_id"], zip(lines["recipe_id"], lines["variant_id"], strict=True), strict=True))
    called = Counter((of_line[line_id], line_of(line_id, phrase, "").head) for line_id, phrase in zip(parsed["line_id"], parsed["phrase"], strict=True))
    foods: dict[tuple[str, str], set[str]] = {}
    changed = []
    for line_id, phrase in zip(tins["line_id"], tins["phrase"], strict=True):
        key = of_line[line_id]
        if key not in foods:
            foods[key] = _drained_foods(texts.get(key, []))
        head = line_of(line_id, phrase, "").head
        if head and head in foods[key] and called[key, head] == 1:
            changed.append(line_id)
    return parsed.assign(state=parsed["state"].mask(parsed["line_id"].isin(changed), DRAINED))


def _drained_foods(texts: list[str]) -> set[str]:
    """The words, in the singular, of what the sentences drain and keep nothing of."""
    found: set[str] = set()
    for text in texts:
        for sentence in sentences(text.lower()):
            if KEEPS.search(sentence) and not THROWN.search(sentence):
                continue
            for drained in DRAINS.finditer(sentence):
                named = ENDS.split(drained["food"] or drained["done"] or "")
                words = named[0] if named[0].strip() else ""
                found |= {singular(word) for word in re.findall(r"[a-zà-ÿ-]+", words)}
                found |= _next_of_list(sentence[drained.end():] if not named[1:] else " ".join(named[1:2]))
    return found


def _next_of_list(text: str) -> set[str]:
    """ "drain the beans and the sweetcorn": the second food, where the word before it says that it is one."""
    more = re.match(r"\s*(?:the|both)\s+([\w' -]+)", text)
    return {singular(word) for word in re.findall(r"[a-zà-ÿ-]+", ENDS.split(more[1])[0])} if more else set()
