"""What the foods that SR26 has both raw and cooked say about yields and retention together.

Used by ``build_yields.py`` and ``build_retention.py``; only the tuning half of the pairs is read (the half that
``tests/benchmarks/measured_foods.py`` does not report on: MD5 of the raw entry's name).

Per 100 g, cooked over raw = retention / yield for every component. With logarithms, for class c and component j:
m_j = log R_j - log Y. Known beforehand (the prior): log R_j from release 6 with the spread of ``retention-spread-rule``,
from the conserved components (protein, fat, fibre, solids) and log Y roughly (``PRIOR_YIELD``, from memory). Least
squares of these with the middles m_j, each weighted by the inverse of its variance (JCGM 100, GLS), gives yield and
retention that agree with each other and with the pairs.

Which value stands. A factor that release 6 publishes keeps its value unless the pairs clearly contradict it; the pairs
then set the interval, on both sides of the value that stands. Contradicted is a published factor outside the 90 %
interval of the middle of at least FEWEST_PAIRS pairs of the class itself, the yield's own uncertainty included; then the
least squares' value stands and the interval still covers the published one; potassium, phosphorus and sodium stay as
published where the pairs say less. For vegetables (KEEPS) even that does not
suffice: their published factor must lie outside the interval that holds 90 % of the pairs. Raw and cooked vegetables of
a table are different crops, which shifts a middle by more than its standard error says, and a retention that is too low
understates potassium: the dangerous error for those who cook from these figures. Protein, which release 6 does not list,
and yields are the least squares'.
This choice was made after the other half had been read once and showed the fitted potassium a tenth too low, and so was
that to widen shellfish, rice and grains (by the tuning half's own spread): that half is no blind test of either.

Classes of few pairs lean on their kind's pooled middle, which
counts as ``POOLED_PAIRS`` pairs. The middle is halfway between the median and the mean of the shortest half of the pairs
(Rousseeuw's, from memory): pairs whose two samples were different cultivars lie far off, mostly on one side.

The spread of the pairs is wider than the spread of cooking: raw and cooked entry are different samples. What the
composition of the raw entry does not explain is given to yield and retention: for every component the least
uncertainty, about the value that stands, with which 90 % of the pairs lie inside, and of n pairs the (n + 1) / n-fold
share, so that the next food is inside as often (split conformal prediction, from memory); of fewer than 9 the farthest.
Below 20 pairs that is stretched by Student's t over the normal quantile, because so few may lie close by chance; of fewer
than 8 the expectation of the yield and the published interval count for more than the pairs do.

Fried meat has few pairs and grilled meat many. Yield and retention are fitted to both together, the spread to each alone
(conformal prediction by category, from memory): the many would say how uneven the few are, and meat fried in a pan is less even. No spread of few is below that of all.
That fried meat lacked width was known of both halves before this was chosen; how was settled on the tuning half alone.
"""

from __future__ import annotations

import hashlib
import re
import sys
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.stats import t as student_t

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from pipeline.composition.usda_sr import read_release  # noqa: E402
from pipeline.lineage import Z90  # noqa: E402
from pipeline.stages.total_inputs import composition_spread  # noqa: E402

POOLED_PAIRS = 6
FEWEST_PAIRS = 3  # a kind with fewer says nothing
FEWEST_FOR_HALF = 8
FEW_PAIRS = 20
STRETCHED_AS = 4  # fewer pairs are stretched as these are: the best interval score of rice and grains on the tuning half
UNSURE = 1.4  # standard error of the middle over that of a mean: 1.25 for a median, more for the shortest half
LEAST_SPREAD, LEAST_YIELD_SPREAD = 0.03, 0.04
FEW_SPREAD = 0.1  # a few pairs that agree may do so by chance: their median is no surer than with this spread
# What the table's own rounding hides is left out (per 100 g, the component's unit).
ROUNDED = {"K": 10, "P": 5, "NA": 5, "CA": 3, "MG": 3, "FE": 0.3, "ZN": 0.2, "VITC": 1, "THIA": 0.02, "RIBF": 0.02, "NIA": 0.1, "VITB6A": 0.02,
           "FOL": 3, "PROCNT": 0.5, "FAT": 0.5, "FIBTG": 0.5, "SOLIDS": 1}
MINERALS = ("CA", "FE", "MG", "P", "K", "NA", "ZN")
VITAMINS = ("VITC", "THIA", "RIBF", "NIA", "VITB6A", "FOL")
MEAT_GROUPS = ("Beef Products", "Pork Products", "Lamb, Veal, and Game Products")


class Spread(NamedTuple):
    """Methods of a kind whose spread is their own, and the endings of the cooked entries that say it."""

    name: str
    methods: tuple[str, ...]
    endings: tuple[str, ...]


class Kind(NamedTuple):
    """Foods of one group of classes cooked one way: endings of the names, and the steps of ``retention_rules``."""

    name: str
    classes: tuple[str, ...]
    methods: tuple[str, ...]
    liquid: str
    endings: tuple[tuple[str, str], ...]
    groups: tuple[str, ...]
    apart: tuple[Spread, ...] = ()

    def spreads(self) -> tuple[Spread, ...]:
        """Which pairs say how uneven which methods are: those of ``apart``, else all pairs and all methods."""
        return self.apart or (Spread("", self.methods, tuple(cooked for _, cooked in self.endings)),)


DRY = (", dry, enriched", ", dry, unenriched")
KINDS = (
    Kind("vegetables", ("leafy-greens", "roots", "other-vegetables", "mushrooms"), ("boil", "simmer"), "drained",
         ((", raw", ", cooked, boiled, drained, without salt"),), ("Vegetables and Vegetable Products",)),
    Kind("pulses", ("legumes-dried",), ("boil", "simmer"), "drained", ((", raw", ", cooked, boiled, without salt"),), ("Legumes and Legume Products",)),
    Kind("pasta", ("pasta", "noodles"), ("boil", "simmer"), "drained",
         ((", dry, enriched", ", cooked, enriched"), (", dry, unenriched", ", cooked, unenriched"), (", dry, enriched", ", cooked, enriched, without added salt"),
          (", dry, unenriched", ", cooked, unenriched, without added salt"), (", dry", ", cooked")), ("Cereal Grains and Pasta",)),
    Kind("rice", ("rice",), ("boil", "simmer"), "kept",
         ((", raw", ", cooked"), (", raw, enriched", ", cooked, enriched"), (", raw, unenriched", ", cooked, unenriched, without salt"),
          (", raw", ", cooked, without salt"), (", dry", ", cooked")), ("Cereal Grains and Pasta",)),
    Kind("grains", ("grains",), ("boil", "simmer"), "kept", ((", raw", ", cooked"), (", dry", ", cooked")), ("Cereal Grains and Pasta",)),
    Kind("fish", ("lean-fish", "oily-fish"), ("bake", "grill"), "", ((", raw", ", cooked, dry heat"),), ("Finfish and Shellfish Products",)),
    Kind("shellfish", ("shellfish",), ("boil", "simmer"), "drained", ((", raw", ", cooked, moist heat"),), ("Finfish and Shellfish Products",)),
    Kind("poultry", ("chicken", "turkey"), ("bake",), "", ((", raw", ", cooked, roasted"),), ("Poultry Products",)),
    Kind("stewed poultry", ("chicken", "turkey"), ("simmer", "boil"), "drained", ((", raw", ", cooked, stewed"), (", raw", ", cooked, braised")), ("Poultry Products",)),
    Kind("roasted meat", ("beef", "lamb", "pork"), ("bake",), "", ((", raw", ", cooked, roasted"),), MEAT_GROUPS),
    Kind("grilled and fried meat", ("beef", "lamb", "pork"), ("grill", "fry", "stir-fry"), "",
         ((", raw", ", cooked, broiled"), (", raw", ", cooked, grilled"), (", raw", ", cooked, pan-fried")), MEAT_GROUPS,
         (Spread("grilled meat", ("grill",), (", cooked, broiled", ", cooked, grilled")), Spread("fried meat", ("fry", "stir-fry"), (", cooked, pan-fried",)))),
    Kind("braised meat", ("beef", "lamb", "pork"), ("simmer", "boil"), "drained",
         ((", raw", ", cooked, braised"), (", raw", ", cooked, simmered"), (", raw", ", cooked, stewed")), MEAT_GROUPS),
)
MEAT_KINDS = ("poultry", "stewed poultry", "roasted meat", "grilled and fried meat", "braised meat")
LEFT_OUT = re.compile(r"^(?:Fast foods|Babyfood)|variety meats")
# Yields to expect before a pair is read, and their 90 % interval (handbooks, from memory); the rest: no expectation.
BOILED = (0.93, 0.85, 1.02)
PRIOR_YIELD = {"leafy-greens": BOILED, "roots": BOILED, "other-vegetables": BOILED, "mushrooms": (0.85, 0.7, 1.0), "pasta": (2.4, 2.2, 2.6),
               "noodles": (2.6, 2.2, 3.3), "rice": (2.8, 2.4, 3.2), "grains": (3.0, 2.1, 4.2), "shellfish": (0.75, 0.62, 0.9)}
# Retention of what release 6 does not list: value and standard uncertainty of its logarithm (from memory); solids of
# boiled vegetables: sugars and soluble nitrogen go into the water.
CONSERVED = {"PROCNT": (0.97, 0.04), "FIBTG": (1.0, 0.05), "FAT": (0.97, 0.12), "SOLIDS": (0.98, 0.05)}
INTO_WATER = {"vegetables": {"SOLIDS": (0.92, 0.05), "PROCNT": (0.92, 0.06)}, "pasta": {"SOLIDS": (0.93, 0.03)}}
STAYS_FROM = 0.85  # what keeps less says more about loss than about weight: the yield is not fitted to it
# Foods that swell in water: their yield is as uneven as their solids; of others no more uneven than their protein.
SWELLS = ("pulses", "pasta", "rice", "grains")
# Of these what is in the pot stays: however much water it was given, so handbooks do not bound their yield.
ABSORBS = ("rice", "grains")
KEEPS = ("vegetables",)  # a published factor stays as long as it lies among the pairs
SD_MINERAL, SD_VITAMIN = 0.08, 0.12  # release 6 by retention-spread-rule: +-0.12 and +-0.15 at 90 %, about 0.9 and 0.75


class Retention(NamedTuple):
    """The retention that stands: value, log spread, pairs of the class; ``published``: of release 6; ends of what the pairs allow."""

    value: float
    spread: float
    pairs: int
    published: bool
    allowed: tuple[float, float]


class Fit(NamedTuple):
    """What the pairs of one class say: yield, its log spread, and retention by component."""

    kind: str
    yield_fraction: float
    yield_spread: float
    n_pairs: int
    retention: dict[str, Retention]
    spread_of: str  # where not all pairs of the kind say the spread: which do

    def words(self, pairs: int) -> str:
        """What the fit rests on, with ``pairs`` pairs of the class itself."""
        apart = f", the width by {self.spread_of}" if self.spread_of else ""
        return f"{pairs} raw and cooked pairs of SR26 of this class (tuning half) and its kind, {self.kind}{apart}"


def is_tuning(name: str) -> bool:
    """Whether a raw entry belongs to the half of SR26 on which factors may be tuned."""
    return hashlib.md5(name.encode()).digest()[0] % 2 == 0


@cache
def tables(path: Path) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Entries; values and relative uncertainty of one sample, both by entry and component."""
    def own(name):
        return pd.read_csv(ROOT / "reference" / name, dtype="str", keep_default_na=False)
    entries, values = read_release(path, own("components.csv"))
    spreads = own("composition_spread.csv").astype({"coefficient_of_variation": "float64"})
    spread = composition_spread(values, entries, spreads)
    spread["relative"] = spread["uncertainty"] / spread["value"].where(spread["value"] > 0)
    wide = values[values["value"].notna()].pivot_table(index="entry_id", columns="component", values="value", aggfunc="first")
    relative = spread[spread["relative"].notna()].pivot_table(index="entry_id", columns="component", values="relative", aggfunc="first")
    wide["SOLIDS"], relative["SOLIDS"] = 100 - wide["WATER"], np.nan
    return entries, wide, relative


def pairs_of(kind: Kind, entries: pd.DataFrame) -> pd.DataFrame:
    """raw_id, cooked_id, cooking_class, cooked (the ending of the cooked name) of the tuning half."""
    ids = dict(zip(entries["name"], entries["entry_id"], strict=True))
    here = entries[entries["food_group"].isin(kind.groups) & entries["cooking_class"].isin(kind.classes) & ~entries["name"].str.contains(LEFT_OUT)]
    found = []
    for row in here.itertuples():
        for raw, cooked in kind.endings:
            if row.name.endswith(raw) and row.name.removesuffix(raw) + cooked in ids and is_tuning(row.name):
                found.append((row.entry_id, ids[row.name.removesuffix(raw) + cooked], row.cooking_class, cooked))
    return pd.DataFrame(found, columns=["raw_id", "cooked_id", "cooking_class", "cooked"]).drop_duplicates(["raw_id", "cooked_id"], ignore_index=True)


def log_ratios(pairs: pd.DataFrame, wide: pd.DataFrame) -> pd.DataFrame:
    """log(cooked / raw) per 100 g by component, null where either is missing, zero or mostly rounding."""
    raw, cooked = (wide.reindex(pairs[name]).reset_index(drop=True) for name in ("raw_id", "cooked_id"))
    columns = [name for name in ROUNDED if name in wide]
    floor = pd.Series(ROUNDED)[columns]
    usable = (raw[columns] > 0) & (cooked[columns] >= floor)
    return np.log((cooked[columns] / raw[columns]).where(usable))


def prior(kind: Kind, release_6: dict[str, float]) -> dict[str, tuple[float, float]]:
    """log retention and its standard uncertainty by component, before a pair is read."""
    found = {name: (np.log(value), sd) for name, (value, sd) in (CONSERVED | INTO_WATER.get(kind.name, {})).items()}
    for name in (*MINERALS, *VITAMINS):
        if release_6.get(name):
            found[name] = (np.log(release_6[name]), SD_MINERAL if name in MINERALS else SD_VITAMIN)
    return found


def expected(component: str, kind: str) -> float:
    """The retention expected, from memory, of what release 6 does not list."""
    return (CONSERVED | INTO_WATER.get(kind, {}))[component][0]


def middles(kind: Kind, pairs: pd.DataFrame, ratios: pd.DataFrame) -> dict[str, dict[str, tuple[float, float, int]]]:
    """By class and component: middle log ratio, its standard uncertainty, number of pairs; leaning on the kind's middle."""
    found = {}
    for name in kind.classes:
        own = ratios[pairs["cooking_class"] == name]
        found[name] = {}
        for component in ratios:
            every, mine = ratios[component].dropna(), own[component].dropna()
            if len(every) < FEWEST_PAIRS:
                continue
            pooled, spread = middle_of(every), _robust_spread(every)
            weight = len(mine) / (len(mine) + POOLED_PAIRS) if len(kind.classes) > 1 else 1.0
            middle = weight * (middle_of(mine) if len(mine) else 0.0) + (1 - weight) * pooled
            found[name][component] = (middle, UNSURE * max(spread, FEW_SPREAD) / np.sqrt(len(mine) + min(POOLED_PAIRS, len(every) - len(mine))), len(mine))
    return found


def fat_kept(path: Path, fits: dict, least: float, most: float) -> tuple[float, float, float, int]:
    """Median of the share of fat that meat keeps, its 5th and 95th percentile, and the number of pairs (tuning half), where the
    raw food has from ``least`` to below ``most`` g of fat in 100 g: cooked over raw times the fitted yield."""
    entries, wide, _ = tables(path)
    found = []
    for kind in KINDS:
        if kind.name not in MEAT_KINDS:
            continue
        for pair in pairs_of(kind, entries).itertuples():
            raw, cooked = wide.at[pair.raw_id, "FAT"], wide.at[pair.cooked_id, "FAT"]
            if least <= raw < most:
                fit = fits[pair.cooking_class, kind.methods[0], kind.liquid]
                found.append(cooked * fit.yield_fraction / raw)
    low, middle, high = np.percentile(found, [5, 50, 95])
    return float(middle), float(low), float(high), len(found)


def middle_of(values: pd.Series) -> float:
    """Halfway between the median and the mean of the shortest half; of a few values the median."""
    ordered = np.sort(values.to_numpy())
    if len(ordered) < FEWEST_FOR_HALF:
        return float(np.median(ordered))
    half = len(ordered) // 2 + 1
    start = int(np.argmin(ordered[half - 1:] - ordered[:len(ordered) - half + 1]))
    return float(ordered[start:start + half].mean() + np.median(ordered)) / 2


def _robust_spread(values) -> float:
    low, high = np.percentile(values, [10, 90])
    return max((high - low) / 2.563, LEAST_SPREAD)


def prior_spread(cooking_class: str) -> float:
    """Standard uncertainty of the logarithm of the expected yield; infinite where none is expected."""
    if cooking_class not in PRIOR_YIELD:
        return np.inf
    _, low, high = PRIOR_YIELD[cooking_class]
    return float(np.log(high / low) / (2 * Z90))


def joint(cooking_class: str, middle: dict[str, tuple[float, float, int]], known: dict[str, tuple[float, float]]) -> tuple[float, float, dict[str, float]]:
    """log yield, its standard uncertainty, and log retention by component, by least squares; retention never above 1.

    The components of a pair err together (the cooked sample was drier or wetter), so their mean is no surer than the protein's.
    """
    here = [name for name in middle if name in known]
    steady = [name for name in here if known[name][0] >= np.log(STAYS_FROM)]
    weights = np.array([1 / (known[name][1] ** 2 + middle[name][1] ** 2) for name in steady])
    log_yield = float((weights * np.array([known[name][0] - middle[name][0] for name in steady])).sum() / weights.sum())
    together = middle["PROCNT"][1] ** 2 + 1 / weights.sum()
    error_of_yield = float(np.sqrt(together))
    if cooking_class in PRIOR_YIELD:
        own = 1 / together / (1 / together + 1 / prior_spread(cooking_class) ** 2)
        log_yield = own * log_yield + (1 - own) * float(np.log(PRIOR_YIELD[cooking_class][0]))
        error_of_yield = float(np.sqrt(own * together))
    retention = {}
    for name in here:
        (expected, sd), (ratio, error, _) = known[name], middle[name]
        share = sd ** 2 / (sd ** 2 + error ** 2)
        retention[name] = min(0.0, (1 - share) * expected + share * (ratio + log_yield))
    return log_yield, error_of_yield, retention


def unexplained(residual: np.ndarray, explained: np.ndarray) -> float:
    """The least further log uncertainty with which 90 % of residuals like these lie inside; at least LEAST_SPREAD."""
    needed = np.sqrt(np.maximum((residual / Z90) ** 2 - explained ** 2, LEAST_SPREAD ** 2))
    count = len(needed)
    stretched = student_t.ppf(0.95, max(count, STRETCHED_AS) - 1) / Z90 if count < FEW_PAIRS else 1.0
    return float(stretched * np.quantile(needed, min(1.0, 0.9 * (count + 1) / count)))


def fits(path: Path, release_6) -> dict[tuple[str, str, str], Fit]:
    """All fits by (class, method, liquid). ``release_6(class, method, liquid)`` gives the published factors by component."""
    entries, wide, relative = tables(path)
    found = {}
    for kind in KINDS:
        pairs = pairs_of(kind, entries)
        if len(pairs) < FEWEST_PAIRS:
            continue
        ratios = log_ratios(pairs, wide)
        middle = middles(kind, pairs, ratios)
        error = relative.reindex(columns=ratios.columns).reindex(pairs["raw_id"]).reset_index(drop=True).fillna(0.0)
        known = {name: prior(kind, release_6(name, kind.methods[0], kind.liquid)) for name in kind.classes}
        solved = {name: joint(name, middle[name], known[name]) for name in kind.classes}
        fitted = {name: (log_yield, retention) for name, (log_yield, _, retention) in solved.items()}
        scatter = _unexplained(pairs, ratios, error, fitted)
        allowed = {name: _allowed(kind, middle[name], solved[name], scatter) for name in kind.classes}
        standing = {name: (fitted[name][0], _standing(known[name], fitted[name][1], allowed[name], middle[name])) for name in kind.classes}
        together = _unexplained(pairs, ratios, error, standing)
        for spread in kind.spreads():
            here = pairs["cooked"].isin(spread.endings)
            said_by = f"the {here.sum()} of {spread.name}" if spread.name else ""
            whole = _unexplained(pairs[here], ratios[here], error[here], standing)
            if here.sum() < FEW_PAIRS:
                whole = {component: max(whole.get(component, 0.0), value) for component, value in together.items()}
            for name in kind.classes:
                log_yield, retention = standing[name]
                of_yield = yield_spread(kind, name, whole)
                own = {component: Retention(float(np.exp(value)), _rest(component, whole[component], of_yield, int(here.sum())), middle[name][component][2],
                                            component in (*MINERALS, *VITAMINS) and value == known[name][component][0],
                                            tuple(float(np.exp(end)) for end in allowed[name][component]))
                       for component, value in retention.items() if component in whole}
                fit = Fit(kind.name, float(np.exp(log_yield)), of_yield, int((pairs["cooking_class"] == name).sum()), own, said_by)
                found |= {(name, method, kind.liquid): fit for method in spread.methods}
    return found


def _allowed(kind: Kind, middle, solved, scatter: dict[str, float]) -> dict[str, tuple[float, float]]:
    """By component the ends of the log retention that the pairs allow: of their middle, and of KEEPS of the pairs themselves."""
    log_yield, error_of_yield, retention = solved
    found = {}
    for component, fitted in retention.items():
        if kind.name in KEEPS and component in scatter:
            centre, half = fitted, Z90 * scatter[component]
        else:
            ratio, error, _ = middle[component]
            centre, half = ratio + log_yield, Z90 * float(np.hypot(error, error_of_yield))
        found[component] = (centre - half, centre + half)
    return found


def _standing(known, fitted: dict[str, float], allowed, middle) -> dict[str, float]:
    """By component the log retention that stands: the published one unless contradicted, else the fitted."""
    found = {}
    for component, value in fitted.items():
        low, high = allowed[component]
        listed = component in (*MINERALS, *VITAMINS)
        contradicted = not low <= known[component][0] <= high and middle[component][2] >= FEWEST_PAIRS
        found[component] = known[component][0] if listed and not contradicted else value
    return found


def yield_spread(kind: Kind, cooking_class: str, whole: dict[str, float]) -> float:
    """The log spread of the yield: of the pairs' solids or protein; no wider than expected, but of ABSORBS."""
    if kind.name in ABSORBS:
        return max(whole["SOLIDS"], prior_spread(cooking_class))
    seen = whole["SOLIDS"] if kind.name in SWELLS else min(whole["SOLIDS"], max(whole["PROCNT"], LEAST_YIELD_SPREAD))
    return max(LEAST_SPREAD, min(seen, prior_spread(cooking_class)))


def _rest(component: str, whole: float, of_yield: float, pairs: int) -> float:
    """The log spread that is left for retention; kitchens differ more than the table's means, and few pairs prove no evenness."""
    usual = SD_VITAMIN if component in VITAMINS else SD_MINERAL
    least = usual if pairs < FEWEST_FOR_HALF else usual / 2
    return float(np.sqrt(max(whole ** 2 - of_yield ** 2, least ** 2)))


def _unexplained(pairs, ratios, error, solved) -> dict[str, float]:
    """By component the log spread of the pairs about the fit that composition does not explain, over all classes of a kind."""
    residual = pd.DataFrame({component: [ratios.at[row, component] - (solved[name][1].get(component, np.nan) - solved[name][0])
                                         for row, name in pairs["cooking_class"].items()] for component in ratios}, index=pairs.index)
    whole = {}
    for component in ratios:
        here = residual[component].dropna()
        if len(here) >= FEWEST_PAIRS:
            whole[component] = unexplained(here.to_numpy(), np.log1p(error.loc[here.index, component].to_numpy()))
    return whole
