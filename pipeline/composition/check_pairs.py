"""Checks between two entries: the same food raw and cooked, and entries that are there twice."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from pipeline.composition.check_table import Rules, Table, finding_rows, joined, parts

WORD = re.compile(r"[^\W_]+(?:[.,/]\d+)?%?")
# What a word says depends on these before it: "with salt, without peanuts" is not "without salt, with peanuts".
TURNING = re.compile(r"\b(with|without|no|not|non|low|free)\s+(?=\w)")


def name_words(names: pd.Series) -> pd.Series:
    """The words of each name as a frozen set, lower case; the order and the punctuation do not count."""
    return names.map(lambda name: frozenset(WORD.findall(name.lower())))


def raw_and_cooked(table: Table, rules: Rules) -> pd.DataFrame:
    """Pairs of entry ids (columns raw, cooked): the same name, words of state aside, in the same group."""
    ignored = frozenset(parts(rules["raw-cooked-words"].words, ";"))
    excluded = frozenset(parts(rules["raw-cooked-not"].words, ";"))
    words = name_words(table.entries["name"])
    state = table.entries["state"]
    frame = pd.DataFrame({
        "entry_id": table.entries.index, "state": state.to_numpy(), "food_group": table.entries["food_group"].to_numpy(),
        "key": [" ".join(sorted(name - ignored)) for name in words], "usable": [not name & excluded for name in words],
    })
    frame = frame[frame["usable"] & (frame["key"] != "")]
    raw, cooked = frame[frame["state"] == "raw"], frame[frame["state"] == "cooked"]
    pairs = raw.drop_duplicates(["food_group", "key"], keep=False).merge(cooked, on=["food_group", "key"], suffixes=("_raw", "_cooked"))
    return pairs[["entry_id_raw", "entry_id_cooked"]].set_axis(["raw", "cooked"], axis=1)


def raw_against_cooked(table: Table, rules: Rules) -> pd.DataFrame:
    """Amounts per fat-free dry matter that rise in cooking, or fall below what leaching can do.

    Cooking takes water and fat out and leaches minerals; it adds none. So per g of fat-free dry
    matter a mineral can hardly rise. Entries with salt, breading or anything else added are left out.
    """
    pairs = raw_and_cooked(table, rules)
    if pairs.empty or not table.has("WATER", "FAT"):
        return finding_rows({})
    dry = 100 - table.grams("WATER") - table.grams("FAT")
    before, after = dry.reindex(pairs["raw"]).to_numpy(), dry.reindex(pairs["cooked"]).to_numpy()
    found = []
    for rule in rules.of("raw-against-cooked"):
        driest = rule.at_least_n  # with hardly any dry matter the ratio says nothing
        for name in parts(rule.components):
            if not table.has(name):
                continue
            raw, cooked = table.wide[name].reindex(pairs["raw"]).to_numpy(), table.wide[name].reindex(pairs["cooked"]).to_numpy()
            with np.errstate(divide="ignore", invalid="ignore"):
                expected = raw / before * after
                ratios = cooked / expected
                wrong = (cooked > rule.high * expected + rule.absolute) | (cooked < rule.low * expected - rule.absolute)
            wrong &= np.minimum(before, after) >= driest
            names = table.entries["name"].reindex(pairs["raw"]).to_numpy()
            found.append(finding_rows({
                "severity": rule.severity, "check": rule.check, "entry_id": pairs["cooked"].to_numpy()[wrong],
                "entry_name": table.entries["name"].reindex(pairs["cooked"]).to_numpy()[wrong], "component": name,
                "value": cooked[wrong], "expected_low": rule.low * expected[wrong], "expected_high": rule.high * expected[wrong],
                "unit": table.units[name],
                "what": [f"Per fat-free dry matter {ratio:.2f} times the raw food {raw_id} ({raw_name})" for ratio, raw_id, raw_name
                         in zip(ratios[wrong], pairs["raw"].to_numpy()[wrong], names[wrong], strict=True)],
                "remedy": "Compare both entries with the source: one of them, or its water, may be wrong or of another food",
                "source_id": rule.source_id,
            }))
    return joined(found)


def duplicates(entries: pd.DataFrame, table: Table, rules: Rules) -> pd.DataFrame:
    """Entry ids that occur twice, names that mean the same, and entries with the same values."""
    twice = entries["entry_id"].duplicated()
    found = [_rows(table, rules["duplicate-id"], list(entries.loc[twice, "entry_id"]),
                   ["The entry id occurs a second time"] * int(twice.sum()), "Give one of them another id, or remove it")]
    same_values = _same_values(table, rules)
    same_names = _same_names(table)
    both = sorted(set(same_values) & set(same_names))
    for rule_id, earlier, ids, words in (
        ("duplicate-entry", same_names, both, "The same words in the name and the same values as {} ({})"),
        ("duplicate-name", same_names, sorted(set(same_names) - set(both)), "The same words in the name as {} ({}), and other values"),
        ("duplicate-values", same_values, sorted(set(same_values) - set(both)), "The same values as {} ({}), and another name"),
    ):
        rule = rules[rule_id]
        texts = [words.format(earlier[entry_id], table.entries.at[earlier[entry_id], "name"]) for entry_id in ids]
        found.append(_rows(table, rule, ids, texts, "Keep one of them, or say in the name what sets them apart"))
    return joined(found)


def _same_names(table: Table) -> dict[str, str]:
    """Entry -> the first entry whose name has the same words, in any order."""
    key = table.entries["name"].map(lambda name: " ".join(sorted(WORD.findall(TURNING.sub(r"\1", name.lower())))))
    first = pd.Series(table.entries.index, index=table.entries.index).groupby(key).transform("first")
    return {entry_id: other for entry_id, other in first.items() if entry_id != other}


def _same_values(table: Table, rules: Rules) -> dict[str, str]:
    """Entry -> the first entry of its group with the very same values, where it has enough that are not zero."""
    enough = (table.wide > 0).sum(axis=1) >= rules["duplicate-values"].at_least_n
    wide = table.wide[enough]
    marks = pd.util.hash_pandas_object(wide.fillna(-1.0), index=False)
    key = table.entries.loc[wide.index, "food_group"] + "/" + marks.astype("str")
    first = pd.Series(wide.index, index=wide.index).groupby(key).transform("first")
    return {entry_id: other for entry_id, other in first.items() if entry_id != other}


def _rows(table: Table, rule, entry_ids: list[str], what: list[str], remedy: str) -> pd.DataFrame:
    return finding_rows({
        "severity": rule.severity, "check": rule.check, "entry_id": entry_ids,
        "entry_name": [table.entries.at[entry_id, "name"] for entry_id in entry_ids], "component": "", "value": np.nan,
        "expected_low": np.nan, "expected_high": np.nan, "unit": "", "what": what, "remedy": remedy, "source_id": rule.source_id,
    })
