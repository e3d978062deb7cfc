"""Phosphorus by kind: from plants, from animals, and likely from additives; what is absorbed; and its ratio to protein.

People absorb phosphorus from phytate poorly, from animal foods about half, and from inorganic additives nearly all
(reviews in kidney disease, from memory: ``reference/phosphorus_kinds.csv``). A line's kind follows from the words of its
text and entry, else from the entry's cooking class. A food with phosphorus of two kinds (ham) is neither: it keeps
the wider range of both.

The published range of a kind is taken as the 90 % interval of one shared input, "absorption:<kind>": all
plant foods of a dish are absorbed well or badly together.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline import lineage, schema
from pipeline.problems import InputError, Problem
from pipeline.stages.suit_words import Lexicon, named
from pipeline.stages.total_sums import uses
from pipeline.suitability_form import PHOSPHORUS_KINDS, PhosphorusByKind, PhosphorusToProtein

KEY = ["recipe_id", "variant_id"]
PHOSPHORUS, PROTEIN = "P", "PROCNT"
ALL = "all"
WHERE = "reference/phosphorus_kinds.csv"
NOT_TOLD = "not-told"
NUMBERS = ("phosphorus_mg", "low_mg", "high_mg", "absorbed_mg", "absorbed_low_mg", "absorbed_high_mg")


def kinds(lines: pd.DataFrame, entries: pd.DataFrame, kind_rows: pd.DataFrame) -> pd.Series:
    """The kind of phosphorus of every line (index ``line_id``), one of ``PHOSPHORUS_KINDS``.

    ``lines`` has line_id, text, entry_id and entry_name; ``entries`` entry_id and cooking_class; ``kind_rows`` is
    ``reference/phosphorus_kinds.csv``. The words of the text may raise what the entry says (to an additive), and
    never lower it. Raises :class:`InputError` for a faulty row.
    """
    _check(kind_rows)
    words = kind_rows[kind_rows["scope"] == "words"].set_index("food")["kind"]
    classes = kind_rows[kind_rows["scope"] == "class"].set_index("food")["kind"]
    lexicon = Lexicon.of(words.index)
    cooking_class = lines["entry_id"].map(entries.set_index("entry_id")["cooking_class"])
    by_class = cooking_class.map(classes).fillna(NOT_TOLD)
    found = [_kind(text, name, group, lexicon, words)
             for text, name, group in zip(lines["text"], lines["entry_name"], by_class, strict=True)]
    return pd.Series(found, index=lines["line_id"], dtype="str")


def _kind(text: str, entry_name: str, by_class: str, lexicon: Lexicon, words: pd.Series) -> str:
    """What the entry's name says, else its class; the line's text adds an additive that it names."""
    by_name = [words[food] for food in named(entry_name, lexicon)]
    from_text = [kind for kind in (words[food] for food in named(text, lexicon)) if "additive" in kind]
    stated = _joined(by_name) if by_name else by_class
    if not from_text:
        return stated
    added = _joined(from_text)
    return added if stated in added or added == stated else _joined([stated, added])


def _joined(found: list[str]) -> str:
    """Several kinds as one: the same, the pair of two, or not told."""
    parts = sorted({part for kind in found for part in kind.split("-or-")}, key=("plant", "animal", "additive", NOT_TOLD).index)
    together = "-or-".join(parts)
    return together if together in PHOSPHORUS_KINDS else NOT_TOLD


def _check(rows: pd.DataFrame) -> None:
    ranges = rows[rows["scope"] == "kind"]
    sound = rows["scope"].isin(("kind", "class", "words")) & rows["kind"].isin(PHOSPHORUS_KINDS)
    ordered = (ranges["absorbed_low"] > 0) & (ranges["absorbed_low"] <= ranges["absorbed_high"]) & (ranges["absorbed_high"] <= 1)
    wrong = [*rows.index[~sound], *ranges.index[~ordered]]
    problems = [Problem(f"{WHERE}:{row + 2}", "has an unknown scope or kind, or a range that is none",
                        "Scope: kind, class, words; a row of scope kind gives 0 < absorbed_low <= absorbed_high <= 1", "wrong-kind-row")
                for row in sorted(set(wrong))]
    problems += [Problem(WHERE, f"has no range for the kind {kind!r}", "Add a row of scope kind", "missing-kind-row")
                 for kind in PHOSPHORUS_KINDS if kind not in set(ranges["food"])]
    if problems:
        raise InputError(problems)


def by_kind(
    contributions: pd.DataFrame, counted: pd.DataFrame, weighed: pd.DataFrame, cooked: pd.DataFrame, recipes: pd.DataFrame,
    variants: pd.DataFrame, inputs: pd.DataFrame, figures: pd.DataFrame, entries: pd.DataFrame, kind_rows: pd.DataFrame,
    routes: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Phosphorus by kind, per recipe and portion (model PhosphorusByKind, mg).

    Tables as their models; ``counted`` the accepted and counted rows of ``settled``. The intervals come from the
    same inputs as the figures', so lines that share one move together; those of the kinds do not add up to that of the sum.
    """
    parts = contributions[contributions["component"] == PHOSPHORUS]
    kind = kinds(counted, entries, kind_rows)
    labelled = parts.assign(component=parts["line_id"].map(kind))
    spread = _effects(labelled, counted, weighed, cooked, recipes, inputs, _routes(routes, kind))
    amounts = labelled.dropna(subset=["amount"]).groupby([*KEY, "component"]).agg(
        amount=("amount", "sum"), lines=("line_no", _numbers)).reset_index()
    amounts = amounts.merge(_ranges(kind_rows), on="component")
    table = pd.concat([_summed(amounts, spread, [*KEY, "component"]), _summed(amounts, spread, KEY).assign(component=ALL)])
    table = table.rename(columns={"component": "kind"})
    return _with_bases(table, variants, figures, kind_rows)


def _ranges(kind_rows: pd.DataFrame) -> pd.DataFrame:
    """The absorbed fraction of each kind, its middle and its standard uncertainty."""
    rows = kind_rows[kind_rows["scope"] == "kind"]
    low, high = rows["absorbed_low"], rows["absorbed_high"]
    return pd.DataFrame({"component": rows["food"], "fraction": (low + high) / 2, "uncertainty": lineage.standard_uncertainty(low, high)})


def _routes(routes: pd.DataFrame | None, kind: pd.Series) -> pd.DataFrame | None:
    if routes is None:
        return None
    mine = routes[(routes["component"] == PHOSPHORUS) & routes["line_id"].isin(kind.index)]
    return mine.assign(component=mine["line_id"].map(kind))


def _effects(parts, counted, weighed, cooked, recipes, inputs, routes) -> pd.DataFrame:
    """How each kind's phosphorus hangs from each input, as :func:`total_sums.uses` has it for the figures."""
    spread = uses(parts, counted, weighed, cooked, recipes, inputs, routes)
    return spread[spread["component"].isin(set(parts["component"]))]


def _summed(amounts: pd.DataFrame, spread: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Sums by kind or over all, with 90 % intervals of the phosphorus and of what is absorbed of it."""
    rows = amounts.assign(absorbed=amounts["amount"] * amounts["fraction"])
    total = rows.groupby(by).agg(
        phosphorus_mg=("amount", "sum"), absorbed_mg=("absorbed", "sum"), lines=("lines", _all_numbers)).reset_index()
    fraction = amounts.set_index("component")["fraction"].groupby(level=0).first()
    taken = spread.assign(effect=spread["effect"] * spread["component"].map(fraction))
    shares = rows.assign(input_id="absorption:" + rows["component"], effect=rows["amount"] * rows["uncertainty"])
    absorbed = pd.concat([taken, shares[[*KEY, "component", "input_id", "effect"]]], ignore_index=True)
    for name, effects in (("eaten", spread), ("taken", absorbed)):
        total = total.merge(lineage.combine(effects, by).rename(columns={"uncertainty": name}), on=by, how="left").fillna({name: 0.0})
    total["low_mg"], total["high_mg"] = lineage.figure_interval(total["phosphorus_mg"], total["eaten"])
    total["absorbed_low_mg"], total["absorbed_high_mg"] = lineage.figure_interval(total["absorbed_mg"], total["taken"])
    return total.drop(columns=["eaten", "taken"])


def _with_bases(table: pd.DataFrame, variants: pd.DataFrame, figures: pd.DataFrame, kind_rows: pd.DataFrame) -> pd.DataFrame:
    """Per recipe and per portion, with the standing of the figure of phosphorus; withheld where that is. The sum of all
    kinds cites the source of the range that holds them all."""
    standing = figures.loc[(figures["component"] == PHOSPHORUS) & figures["basis"].isin(("recipe", "portion")),
                           [*KEY, "basis", "status", "reason"]]
    nothing = variants[KEY].assign(kind=ALL)  # a variant without a counted line has its row too
    frame = pd.concat([table, nothing], ignore_index=True).drop_duplicates([*KEY, "kind"]).merge(standing, on=KEY)
    frame = frame.merge(variants[[*KEY, "portions"]], on=KEY)
    share = np.where(frame["basis"] == "portion", 1 / frame["portions"], 1.0)
    withheld = frame["status"] == "withheld"
    for name in NUMBERS:
        frame[name] = (frame[name].fillna(0.0) * share).where(~withheld)
    frame["lines"] = frame["lines"].fillna("")
    ranges = kind_rows[kind_rows["scope"] == "kind"].set_index("food")
    whole = ranges.at[NOT_TOLD, "source_id"]
    frame["source_id"] = frame["kind"].map(ranges["source_id"]).fillna(whole)
    for end in ("low", "high"):
        frame[f"absorption_{end}_fraction"] = frame["kind"].map(ranges[f"absorbed_{end}"])
    ordered = frame[schema.columns(PhosphorusByKind)].sort_values([*KEY, "basis", "kind"], ignore_index=True)
    return schema.checked(PhosphorusByKind, ordered, "phosphorus")


def to_protein(
    contributions: pd.DataFrame, counted: pd.DataFrame, weighed: pd.DataFrame, cooked: pd.DataFrame, recipes: pd.DataFrame,
    inputs: pd.DataFrame, figures: pd.DataFrame, routes: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Phosphorus to protein per variant, mg per g (model PhosphorusToProtein).

    First-order propagation of the ratio P/Q, dP/Q - P dQ/Q^2 (JCGM 100, 5.1.2), input by input: twice the meat is twice
    of both, and leaves the ratio alone. Null where a figure is withheld, or there is no protein.
    """
    parts = contributions[contributions["component"].isin((PHOSPHORUS, PROTEIN))]
    spread = _effects(parts, counted, weighed, cooked, recipes, inputs, routes)
    shown = figures[(figures["basis"] == "recipe") & figures["component"].isin((PHOSPHORUS, PROTEIN))]
    wide = shown.pivot(index=KEY, columns="component", values=["value", "status", "reason"])
    pairs = pd.DataFrame({
        "phosphorus": wide["value"][PHOSPHORUS].astype("float64"), "protein": wide["value"][PROTEIN].astype("float64"),
        "status": [_worse(*pair) for pair in zip(wide["status"][PHOSPHORUS], wide["status"][PROTEIN], strict=True)],
        "reason": [_both(*pair) for pair in zip(wide["reason"][PHOSPHORUS], wide["reason"][PROTEIN], strict=True)],
    }, index=wide.index).reset_index()
    pairs["mg_per_g"] = pairs["phosphorus"] / pairs["protein"].where(pairs["protein"] > 0)
    hangs = spread.merge(pairs.dropna(subset=["mg_per_g"]), on=KEY)
    per_unit = np.where(hangs["component"] == PHOSPHORUS, 1 / hangs["protein"], -hangs["mg_per_g"] / hangs["protein"])
    hangs["effect"] *= per_unit
    pairs = pairs.merge(lineage.combine(hangs, KEY), on=KEY, how="left").fillna({"uncertainty": 0.0})
    unknown = pairs["mg_per_g"].isna()
    pairs["low_mg_per_g"], pairs["high_mg_per_g"] = lineage.figure_interval(pairs["mg_per_g"], pairs["uncertainty"].where(~unknown))
    pairs["status"] = pairs["status"].where(~unknown, "withheld")
    pairs["reason"] = pairs["reason"].where(~(unknown & (pairs["reason"] == "")), "there is no protein to compare with")
    ordered = pairs[schema.columns(PhosphorusToProtein)].sort_values(KEY, ignore_index=True)
    return schema.checked(PhosphorusToProtein, ordered, "phosphorus")


def _worse(one: str, other: str) -> str:
    return max(one, other, key=schema.STATUSES.index)


def _both(one: str, other: str) -> str:
    return "; ".join(dict.fromkeys(reason for reason in (one, other) if reason))


def _numbers(line_numbers: pd.Series) -> str:
    return ", ".join(str(number) for number in sorted(set(line_numbers)))


def _all_numbers(lists: pd.Series) -> str:
    return _numbers(pd.Series([int(number) for one in lists for number in one.split(", ")]))
