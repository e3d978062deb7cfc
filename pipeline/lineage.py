"""What each figure hangs from: input ids, and the propagation of uncertainty.

The model is the law of propagation of uncertainty (JCGM 100:2008, 5.1 and 5.2), first
order, with correlation by shared inputs: two amounts that use the same input move
together. Every input gives a value with a 90 % interval; its standard uncertainty is
(high - low) / (2 x 1.6449). A sum of products of positive quantities is skewed to the
right, so its 90 % interval is read from the lognormal distribution that has the same
mean and variance.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

# 95th percentile of the standard normal distribution: the ends of a 90 % interval.
Z90 = 1.6448536269514722


def standard_uncertainty(low, high):
    """Standard uncertainty of an input from its 90 % interval (JCGM 100, 4.3.4); same unit."""
    return (np.asarray(high, dtype=float) - np.asarray(low, dtype=float)) / (2 * Z90)


def interval(value, relative_uncertainty):
    """90 % interval ``(low, high)`` of positive quantities with mean ``value``.

    ``relative_uncertainty`` is one standard uncertainty over the value. Arrays or
    scalars; a value of 0 gives (0, 0).
    """
    mean = np.asarray(value, dtype=float)
    variance = np.square(np.asarray(relative_uncertainty, dtype=float))
    log_deviation = np.sqrt(np.log1p(variance))
    median = mean / np.sqrt(1 + variance)
    return median * np.exp(-Z90 * log_deviation), median * np.exp(Z90 * log_deviation)


def figure_interval(value, uncertainty):
    """90 % interval of figures from their absolute standard uncertainty (same unit).

    A figure of 0 with an uncertainty (a zero that a likely other entry does not share)
    gets [0, 1.6449 x uncertainty]. The figure itself always lies inside: with a very
    wide spread the mean of a lognormal can leave its own interval, which is then
    stretched to it. Raises nothing; null in, null out.
    """
    mean = np.asarray(value, dtype=float)
    spread = np.asarray(uncertainty, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(mean > 0, spread / mean, 0.0)
    low, high = interval(mean, relative)
    high = np.where(mean == 0, Z90 * spread, np.maximum(high, mean))
    return np.minimum(low, mean), high


def line_id(recipe_id: str, variant_id: str, line_no: int) -> str:
    """The key of one ingredient line of one variant."""
    return f"{recipe_id}/{variant_id}/{line_no}"


def recipe_of(line_ids: pd.Series) -> pd.Series:
    """The recipe of each line."""
    return line_ids.str.extract(r"^([^/]*)", expand=False)


def figure_id(recipe_id: str, variant_id: str, component: str, unit: str, basis: str) -> str:
    """The key of one figure; energy is told apart by its unit (``ENERC-kJ``, ``ENERC-kcal``)."""
    named = f"{component}-{unit}" if component == "ENERC" else component
    return f"{recipe_id}/{variant_id}/{named}/{basis}"


def combine(uses: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Absolute standard uncertainty of sums.

    ``uses`` has one row per summand and input it uses: the columns ``by`` (what is
    summed), ``input_id`` and ``effect`` (change of the summand for one standard
    uncertainty of the input, with its sign). Effects of one input add up before they
    are squared: that is the correlation. Returns ``by`` and ``uncertainty``.
    """
    shared = uses.groupby([*by, "input_id"], sort=True, observed=True)["effect"].sum().reset_index()
    shared["square"] = shared["effect"] ** 2
    total = shared.groupby(by, sort=True, observed=True)["square"].sum()
    return np.sqrt(total).rename("uncertainty").reset_index()


def shares(uses: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """The share of each input in the variance of each sum (rows sum to 1 per sum)."""
    shared = uses.groupby([*by, "input_id"], sort=True, observed=True)["effect"].sum().reset_index()
    shared["square"] = shared["effect"] ** 2
    whole = shared.groupby(by, observed=True)["square"].transform("sum")
    shared["share"] = np.where(whole > 0, shared["square"] / whole, 0.0)
    return shared.drop(columns="square")


# Inputs that stand per component, as the last part of their id: what an entry holds, what else was meant, what stays.
PER_COMPONENT = ("composition", "match", "retention", "routes")


def source_of(input_id: str) -> str:
    """What a reader calls one input: ``composition:core:11282:K`` and ``...:P`` are both the entry ``composition:core:11282``."""
    return input_id.rpartition(":")[0] if input_id.partition(":")[0] in PER_COMPONENT else input_id


def width_shares(uses: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """How much of the width of each sum comes from where, the largest first.

    ``uses`` as for :func:`combine`. A share is the part of the variance that would be gone
    if that input were known exactly (JCGM 100:2008, 5.2.2, term by term), so those of one
    sum add up to 1. Where a sum uses an input several times (the same onion entry on two
    lines), its effects are added before they are squared and it has one share. Inputs that
    stand per component are gathered by :func:`source_of`: for energy, what an entry holds of
    protein, fat and carbohydrate is one source.

    Returns ``by``, ``source``, ``kind`` (the input's kind, the first word of its id) and
    ``share``; sums without any uncertainty have no rows. Raises nothing.
    """
    parts = shares(uses, by)
    parts = parts[parts["share"] > 0]
    parts = parts.assign(source=parts["input_id"].map(source_of).astype("str"))
    gathered = parts.groupby([*by, "source"], sort=True, observed=True)["share"].sum().reset_index()
    gathered["kind"] = gathered["source"].str.extract(r"^([^:]*)", expand=False)
    return gathered.sort_values([*by, "share", "source"], ascending=[True] * len(by) + [False, True], kind="stable",
                                ignore_index=True)[[*by, "source", "kind", "share"]]
