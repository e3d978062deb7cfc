"""Against the curated core: two columns exchanged, a column in another unit, a value far from the same food there.

A table of ten foods is too small to be compared with itself. The core holds the foods that
kitchens use, and what they hold is known: a column that agrees with another column of the
core, or with its own after a factor of 10 or 1000, over the foods that both tables have, is
in the wrong place or the wrong unit. Foods are paired by the words of their names (the core
also by its common names) where their states do not contradict each other. A few wrong pairs do no
harm to a verdict on a column; one value is judged on a food of the very same name alone.

The method is the project's own; its numbers stand in ``reference/table_checks.csv``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import sparse

from pipeline.composition.check_pairs import name_words
from pipeline.composition.check_table import PER_GRAM, Rules, Table, finding_rows, joined, most_severe, parts

_ENDING = re.compile(r"(?:ies|e?s|e|y)$")
_SHORTEST = 4  # letters; of a shorter word the ending is a part of it ("pea", "rye")


class Compared(NamedTuple):
    """The foods of a table that the core has too: its values and the core's, in g per 100 g, row by row."""

    own: pd.DataFrame
    known: pd.DataFrame


def against_known(table: Table, known: Table | None, rules: Rules) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What the core says of the columns and of single values, and the values of the table with its columns put right.

    ``known`` is the curated core, laid out; without one nothing is found.
    """
    if known is None:
        return finding_rows({}), table.wide
    pairs = counterparts(table.entries, known.entries, rules)
    floors = _floors(rules)
    found, put_right = [], table
    for repair in (_exchanged, _slipped):
        rows, put_right = repair(put_right, known, pairs, floors, rules)
        found.append(rows)
    found.append(_far_from_the_same_food(put_right, known, pairs[pairs["exact"]], rules))
    return joined(found), put_right.wide


# ---------------------------------------------------------------- which foods both have

def counterparts(entries: pd.DataFrame, known: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """The foods of the core that are most like each entry by name: columns entry_id, known_id, exact.

    Both frames have name, common_names and state, with the index entry_id. Rare words weigh most; the
    core knows nothing of a word that none of its names has, and ``exact`` says that there is none and that
    all the others agree. An entry may have several that are as like.
    """
    ignored = frozenset(parts(rules["known-names"].words, ";"))
    names = _called(known)
    keys = _stems(names["called"], ignored)
    vocabulary = {word: place for place, word in enumerate(sorted(frozenset().union(*keys)))}
    own = _stems(entries["name"], ignored)
    of_keys, of_own = _occurrences(keys, vocabulary), _occurrences(own, vocabulary)
    weight = np.log1p(len(names) / of_keys.sum(axis=0).A1) if len(names) else np.zeros(0)
    shared = (of_own.multiply(weight).tocsr() @ of_keys.T).tocoo()
    together = (of_own @ weight)[shared.row] + (of_keys @ weight)[shared.col] - shared.data
    here, there = _states(entries, rules)[shared.row], names["state"].to_numpy()[shared.col]
    likeness = np.where((here == there) | (here == "") | (there == ""), shared.data / together, 0.0)
    unheard = np.array([any(word not in vocabulary for word in words) for words in own], dtype=bool)
    pairs = pd.DataFrame({
        "entry_id": entries.index.to_numpy()[shared.row], "known_id": names["entry_id"].to_numpy()[shared.col], "likeness": likeness,
        "exact": (likeness > 1 - 1e-9) & ~unheard[shared.row] & (here == there)})
    pairs = pairs[pairs["likeness"] >= rules["known-names"].low]
    best = pairs["likeness"] >= pairs.groupby("entry_id")["likeness"].transform("max") - 1e-9
    return pairs.loc[best, ["entry_id", "known_id", "exact"]].drop_duplicates(["entry_id", "known_id"], ignore_index=True)


def _states(entries: pd.DataFrame, rules: Rules) -> np.ndarray:
    """The state of each entry; that which its name tells, where the table says none."""
    words, state = name_words(entries["name"]), entries["state"].copy()
    for rule in rules.of("known-state"):
        tells = frozenset(parts(rule.words, ";"))
        state = state.mask((state == "") & words.map(lambda name, tells=tells: bool(name & tells)), rule.whole)
    return state.to_numpy()


def _called(known: pd.DataFrame) -> pd.DataFrame:
    """One row per name and common name: entry_id, state, called."""
    every = known["name"] + ";" + known["common_names"]
    rows = known[["entry_id", "state"]].assign(called=every.map(lambda names: parts(names, ";"))).explode("called")
    return rows.reset_index(drop=True)


def _stems(names: pd.Series, ignored: frozenset[str]) -> list[frozenset[str]]:
    return [frozenset(_stem(word) for word in words - ignored) for words in name_words(names)]


def _stem(word: str) -> str:
    """A word without its ending, so that singular and plural are one."""
    return _ENDING.sub("", word) if len(word) >= _SHORTEST else word


def _occurrences(names: list[frozenset[str]], vocabulary: dict[str, int]) -> sparse.csr_matrix:
    """Which name (row) has which word of the vocabulary (column)."""
    cells = [(row, vocabulary[word]) for row, words in enumerate(names) for word in words if word in vocabulary]
    rows, columns = zip(*cells, strict=True) if cells else ((), ())
    return sparse.csr_matrix((np.ones(len(cells)), (rows, columns)), shape=(len(names), len(vocabulary)))


# ---------------------------------------------------------------- columns

def _floors(rules: Rules) -> dict[str, float]:
    """Component -> the amount in g per 100 g below which two foods do not differ."""
    return {name: rule.absolute / PER_GRAM[rule.unit] for rule in rules.of("known-components") for name in parts(rule.components)}


def _compared(table: Table, known: Table, pairs: pd.DataFrame, components: list[str]) -> Compared:
    """The values of the paired entries; where several foods of the core are as like, the middle one's."""
    own = pd.DataFrame({name: table.grams(name) for name in components})
    theirs = pd.DataFrame({name: known.grams(name) for name in components})
    middle = theirs.reindex(pairs["known_id"]).groupby(pairs["entry_id"].to_numpy()).median()
    return Compared(own.reindex(middle.index), middle)


def _distance(own: pd.Series, known: pd.Series, floor: float) -> pd.Series:
    """How many powers of ten apart, where less than the floor is all one."""
    return np.log10((own + floor) / (known + floor)).abs()


def _gain(before: pd.Series, after: pd.Series, rule) -> float:
    """By how many powers of ten the foods come nearer; 0 unless nearly all that can tell say so and then agree."""
    known = before.notna() & after.notna()
    before, after = before[known], after[known]
    telling = (before - after).abs() >= rule.absolute
    if telling.sum() < rule.at_least_n or telling.mean() < rule.relative:
        return 0.0
    agreed = (before > after)[telling].mean() >= rule.high and after.median() <= rule.low
    return float((before - after)[telling].median()) if agreed else 0.0


def _exchanged(table: Table, known: Table, pairs: pd.DataFrame, floors: dict[str, float], rules: Rules) -> tuple[pd.DataFrame, Table]:
    """Pairs of columns that agree with the core when they are exchanged, the clearest first; and the table so."""
    rule, found = rules["known-exchanged"], []
    for one, other, compared in _clearest(table, known, pairs, floors, rule):
        wide = table.wide.copy()
        wide[[one, other]] = wide[[other, one]].to_numpy()
        table = table.with_values(wide)
        found.append(_column_finding(
            rule, rule.check, f"{one} + {other}", compared,
            f"{one} and {other} look exchanged in the whole table: the {compared} foods that the curated core has too agree with it when "
            f"{one} is read as {other} and {other} as {one}. The other checks are done on the exchanged columns",
            "Compare the two columns with the source, correct the profile or the file, and import again"))
    return joined(found), table


def _clearest(table: Table, known: Table, pairs: pd.DataFrame, floors: dict[str, float], rule) -> Iterator[tuple[str, str, int]]:
    """Columns to exchange with the number of foods compared, each column once."""
    names = [name for name in floors if table.has(name) and known.has(name)]
    own, theirs = _compared(table, known, pairs, names)
    apart = {(one, other): _distance(own[one], theirs[other], floors[other]) for one in names for other in names}
    gains = []
    for one, other in combinations(names, 2):
        if table.units[one] == table.units[other]:
            gain = _gain(apart[one, one] + apart[other, other], apart[one, other] + apart[other, one], rule)
            gains += [(gain, one, other)] if gain > 0 else []
    used: set[str] = set()
    for _, one, other in sorted(gains, reverse=True):
        if not used & {one, other}:
            used |= {one, other}
            yield one, other, int((apart[one, one] + apart[other, other]).notna().sum())


def _slipped(table: Table, known: Table, pairs: pd.DataFrame, floors: dict[str, float], rules: Rules) -> tuple[pd.DataFrame, Table]:
    """Columns that agree with the core when they are multiplied or divided by a factor of another unit; and the table so."""
    rule, found = rules["known-slip"], []
    for name in [name for name in floors if table.has(name) and known.has(name)]:
        compared = _compared(table, known, pairs, [name])
        own, theirs = compared.own[name], compared.known[name]
        before = _distance(own, theirs, floors[name])
        gains = []
        for factor in _factors(rules, name):
            gain = _gain(before, _distance(own * factor, theirs, floors[name]), rule)
            gains += [(gain, factor)] if gain > 0 else []
        if not gains:
            continue
        factor, count = max(gains)[1], int(before.notna().sum())
        times = f"{max(factor, 1 / factor):g} times too {'small' if factor > 1 else 'large'}"
        found.append(_column_finding(
            rule, "unit-slip", name, count,
            f"{name} looks {times} in the whole table: the {count} foods that the curated core has too agree with it in the other unit. "
            "The other checks are done so",
            "Compare the unit of the column with the source, correct the profile or the file, and import again"))
        table = table.with_values(table.wide.assign(**{name: table.wide[name] * factor}))
    return joined(found), table


def _factors(rules: Rules, name: str) -> Iterator[float]:
    for rule in rules.of("known-factor"):
        if name in (parts(rule.components) or [name]):
            yield rule.high
            yield 1 / rule.high


def _column_finding(rule, check: str, components: str, count: int, what: str, remedy: str) -> pd.DataFrame:
    return finding_rows({
        "severity": [rule.severity], "check": check, "entry_id": "", "entry_name": "", "component": components, "value": float(count),
        "expected_low": np.nan, "expected_high": np.nan, "unit": "foods compared", "what": what, "remedy": remedy,
        "source_id": rule.source_id})


# ---------------------------------------------------------------- single values

def _far_from_the_same_food(table: Table, known: Table, exact: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """Values a whole unit away from the food of the same name and state in the core; a zero of what it has plenty of too."""
    found = []
    names = known.entries["name"]
    called = exact.groupby("entry_id")["known_id"].first()
    for rule in rules.of("unlike-curated"):
        components = [name for name in parts(rule.components) if table.has(name) and known.has(name)]
        compared = _compared(table, known, exact, components)
        for name in components:
            own, theirs = compared.own[name], compared.known[name]
            enough = rule.absolute / PER_GRAM[rule.unit]
            far = ((own > theirs * rule.high) & (own >= enough)) | ((own * rule.high < theirs) & (theirs >= enough))
            ids = far.index[far]
            unit = table.units[name]
            shown = theirs[ids].to_numpy() * PER_GRAM[unit]
            found.append(finding_rows({
                "severity": rule.severity, "check": rule.check, "entry_id": ids.to_numpy(),
                "entry_name": table.entries["name"].reindex(ids).to_numpy(), "component": name,
                "value": table.wide[name].reindex(ids).to_numpy(), "expected_low": shown / rule.high, "expected_high": shown * rule.high,
                "unit": unit,
                "what": [f"More than {rule.high:g} times away from the same food in the curated core, {known_id} ({names[known_id]}), which has "
                         f"{amount:.4g} {unit}" for known_id, amount in zip(called.reindex(ids), shown, strict=True)],
                "remedy": "Compare the value and its unit with the source; if it is another food, its name should say so",
                "source_id": rule.source_id}))
    return most_severe(joined(found), ["entry_id", "component"])
