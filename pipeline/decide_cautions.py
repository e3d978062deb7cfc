"""What a person should know before a decision is written: it is not refused, but it may not be what they meant."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pandas as pd

from pipeline import decisions
from pipeline.match_bench import Bench
from pipeline.phrases import ANY, pattern_fits, pattern_words, phrase_key
from pipeline.stages import match_words
from pipeline.stages.match import Asked, Matcher
from pipeline.stages.match_outcome import is_salt

SHOWN = 5
# The kinds of mappings/words.csv whose words are phrases that name a food.
NAMING_KINDS = ("synonym", "region", "ambiguous", "known", "class")


def cautions(row: Mapping[str, str], bench: Bench, lines: pd.DataFrame) -> tuple[str, ...]:
    """What speaks against a proposed match, in one sentence each.

    ``row``: the row for ``mappings/foods.csv``; ``bench``: matching as it is without it; ``lines``: model Parsed of the collection.
    """
    if row["kind"] != "match":
        return ()
    found = [_nothing_shared(row, bench, lines)]
    if row["scope"] == decisions.PATTERN:
        found += [_other_foods(row, bench, lines), _only_plain_salts(row, bench)]
    return tuple(f"Careful: {told}" for told in found if told)


def _nothing_shared(row: Mapping[str, str], bench: Bench, lines: pd.DataFrame) -> str:
    vocabulary = bench.matchers[0].vocabulary
    common = bench.table.entries.set_index("entry_id")["common_names"].get(row["entry_id"], "")
    named = _words((row["entry_name"], *common.split(";")), vocabulary)
    if _words(_phrases(row, lines), vocabulary) & named:
        return ""
    return f"\"{row['phrase']}\" and the entry {row['entry_id']} {row['entry_name']} have no word in common, and no synonym"


def _words(texts: Iterable[str], vocabulary: match_words.Vocabulary) -> set[str]:
    """Their words, and those that stand for them in names."""
    said = [match_words.told_tokens(text) for text in texts]
    return {word for tokens in said for word in (*tokens, *match_words.translated(tokens, vocabulary))} - vocabulary.ignored


def _phrases(row: Mapping[str, str], lines: pd.DataFrame) -> list[str]:
    """What the decision is about: its words, those of a pattern without its gaps, or the food of the line."""
    if row["scope"] == decisions.PATTERN:
        return [choice.replace(ANY, "") for word in pattern_words(row["phrase"]) for choice in word.split("|")]
    if row["scope"] == decisions.LINE:
        return lines.loc[lines["text"].map(decisions.line_key) == decisions.line_key(row["phrase"]), "phrase"].tolist()
    return [row["phrase"]]


def _other_foods(row: Mapping[str, str], bench: Bench, lines: pd.DataFrame) -> str:
    """The phrases that the pattern means and that are accepted for another entry today."""
    fits, matcher = pattern_fits(row["phrase"]), bench.matchers[0]
    asked = [Asked(phrase, row["state"]) for phrase in _known_phrases(bench, lines) if fits(phrase)]
    others = [(one, answer) for one, (answer, _) in zip(asked, matcher.answers(asked), strict=True)
              if answer["match_outcome"] == "accepted" and answer["entry_id"] != row["entry_id"]]
    if not others:
        return ""
    others.sort(key=lambda pair: not _kept(pair[1], row, matcher))
    told = "; ".join(f"\"{one.phrase}\" is {answer['entry_id']} {answer['entry_name']}" + ("" if _kept(answer, row, matcher) else " (would change)")
                     for one, answer in others[:SHOWN])
    more = f"; and {len(others) - SHOWN} more" if len(others) > SHOWN else ""
    return f"it also means foods that are other entries today, and remain so where much is at stake: {told}{more}"


def _kept(answer: Mapping[str, str], row: Mapping[str, str], matcher: Matcher) -> bool:
    return answer["decision_id"] != "" or matcher.far_apart(answer["entry_id"], row["entry_id"])


def _known_phrases(bench: Bench, lines: pd.DataFrame) -> list[str]:
    """The phrases of the collection, of the vocabulary and of the tables, once each."""
    words = bench.mappings.words
    listed = words.loc[words["kind"].isin(NAMING_KINDS), "word"]
    common = bench.table.entries["common_names"].str.split(";").explode()
    return [key for key in dict.fromkeys(pd.concat([lines["phrase"], common, listed]).map(phrase_key)) if key]


def _only_plain_salts(row: Mapping[str, str], bench: Bench) -> str:
    matcher = bench.matchers[0]
    food = bench.table.entries.set_index("entry_id")["cooking_class"].get(row["entry_id"], "")
    if not is_salt(row["entry_name"], food):
        return ""
    return ("a salt may hold potassium, so a pattern settles only those whose every word is among "
            f"{', '.join(sorted(matcher.vocabulary.plain_salt))}; decide on others by their phrase")
