"""Audit: what is in print against today's figures and verdicts.

Tolerances are those of the European Commission's guidance of December 2012, rounded
at their ends as it says (``tolerance``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from pipeline.harm import HARM_ABOVE, SAME_CLAIM
from pipeline.policy import MASS_UNITS, MOLAR_MASS, in_mg
from pipeline.problems import ERROR, NOTE, WARNING, Problem
from pipeline.rounding import Rule
from pipeline.stages import tolerance
from pipeline.stages.audit_findings import basis_mass_g, finding, known, slug
from pipeline.stages.conditions import BASIS_WORDS, FAILS, UNCERTAIN, Figure, Index, plain, satisfies

# What a printed figure is of today's when a unit slipped, and what slipped.
SLIPS = {
    "sodium": ((2.5, "salt printed as sodium"), (0.0025, "salt in g printed as sodium in mg"),
               (0.4, "divided by 2.5 as if it had been salt"), (400.0, "divided by 2.5 as if it had been salt, and g and mg exchanged")),
    "salt": ((0.4, "sodium printed as salt"), (400.0, "sodium in mg printed as salt in g"),
             (2.5, "multiplied by 2.5 as if it had been sodium"), (0.0025, "multiplied by 2.5 as if it had been sodium, and g and mg exchanged")),
    "mass": ((1000.0, "g and mg, or mg and ug, exchanged"), (0.001, "g and mg, or mg and ug, exchanged")),
    "energy": ((4.184, "kJ printed as kcal"), (1 / 4.184, "kcal printed as kJ")),
}
# A claim on sodium is at risk by a printed figure of salt as well.
SALT = {"NA": ("NA", "NACL"), "NACL": ("NA", "NACL")}
SLIP_WITHIN = 0.10
PORTIONS_WITHIN = 0.10
BASIS_PRINTED = {**BASIS_WORDS, "recipe": "per recipe"}
# (recipe_id, variant_id, component) -> claims in print that do not hold for certain
AtRisk = dict[tuple[str, str, str], tuple[str, ...]]


@dataclass(frozen=True)
class Comparison:
    """One printed figure beside today's, both per ``basis`` and in ``unit``; ``written`` as it stands in print."""

    recipe_id: str
    variant_id: str
    component: str
    basis: str
    printed_in: str
    unit: str
    printed: float
    written: str
    today: Figure
    band: tuple[float, float]
    source_id: str
    within: bool
    mass_g: float

    @property
    def beyond(self) -> bool:
        """Whether no part of today's interval is within the tolerance."""
        return self.today.low > self.band[1] or self.today.high < self.band[0]

    @property
    def agrees(self) -> bool:
        """Whether the printed number lies in today's interval: then nothing has to have slipped.
        The tolerance cannot tell: 0.15 g sodium per 100 g hides salt printed as sodium."""
        return satisfies(self.printed, ">=", self.today.low) and satisfies(self.printed, "<=", self.today.high)

    @property
    def understated(self) -> bool:
        """Print promises clearly less than there is, of something that can do harm."""
        return self.component in HARM_ABOVE and self.printed < self.today.low and not self.agrees

    @property
    def key(self) -> tuple[str, ...]:
        named = f"{self.component}-{self.unit}" if self.component == "ENERC" else self.component
        return named, self.basis, slug(self.printed_in)


def drift(
    index: Index, published: pd.DataFrame, tolerances: pd.DataFrame, rounding: Rule, variants: pd.DataFrame, at_risk: AtRisk,
) -> tuple[list[dict], list[Problem]]:
    """Findings for every printed figure, and suspected slips.

    Within tolerance is a note, or a warning where print understates what can do harm or stands beside a claim that does
    not hold (``at_risk``); outside is an error, or a warning where today's interval still reaches the band.
    """
    portions = {(row.recipe_id, row.variant_id): row.portions for row in variants.itertuples(index=False)}
    found, withheld, strange = comparisons(index, published, tolerances, rounding)
    rows = [_withheld(row, figure) for row, figure in withheld] + [_drift_row(one, at_risk) for one in found]
    for one in found:
        if not one.agrees:
            rows += slips(one) + _other_basis(one, index)
    return rows + _portion_counts(found, index, portions), [_not_comparable(row) for row in strange]


def comparisons(
    index: Index, published: pd.DataFrame, tolerances: pd.DataFrame, rounding: Rule,
) -> tuple[list[Comparison], list[tuple], list]:
    """Every printed figure beside today's: (those that can be compared, [(printed, today's figure that is withheld)],
    those for which there is no figure at all)."""
    masses, allowed = basis_mass_g(index), tolerance.tolerances_of(tolerances)
    own_units: dict[tuple[str, ...], list[str]] = {}
    for *key, unit in index:
        own_units.setdefault(tuple(key), []).append(unit)
    found, withheld, strange = [], [], []
    for row in published.itertuples(index=False):
        unit, printed = _in_figure_unit(own_units, row)
        if not unit:
            strange.append(row)
            continue
        today = known(index, row.recipe_id, row.variant_id, row.basis, row.component, unit)
        if today is None:
            withheld.append((row, index[(row.recipe_id, row.variant_id, row.basis, row.component, unit)]))
            continue
        found.append(_compare(row, unit, printed, today, masses, allowed, rounding))
    return found, withheld, strange


def _in_figure_unit(own_units: dict, row) -> tuple[str, float]:
    """The printed number in the unit of today's figure; ("", nan) when there is none to compare with."""
    own = own_units.get((row.recipe_id, row.variant_id, row.basis, row.component), [])
    if row.unit in own:
        return row.unit, row.value
    convertible = row.unit in MASS_UNITS or (row.unit == "mmol" and row.component in MOLAR_MASS)
    masses = [unit for unit in own if unit in MASS_UNITS]
    if not convertible or not masses:
        return "", math.nan
    return masses[0], in_mg(row.component, row.value, row.unit) / in_mg(row.component, 1.0, masses[0])


def _not_comparable(row) -> Problem:
    return Problem(
        where=f"{row.recipe_id}/{row.variant_id}: published {row.component} {row.value:g} {row.unit} ({row.printed_in})",
        what="there is no figure today that it could be compared with",
        remedy="Write the component as a tagname of reference/components.csv, in a unit that fits it",
        code="printed-figure-unknown", severity=WARNING, stage="audit", recipe_id=row.recipe_id)


def _withheld(row, figure: Figure) -> dict:
    return finding("drift", row.recipe_id, row.variant_id, _printed_key(row), WARNING,
                   f"{row.printed_in or 'print'} gives {row.component} {plain(row.value)} {row.unit} {BASIS_PRINTED[row.basis]}; "
                   f"today's figure is withheld: {figure.reason}",
                   "Settle the lines named before this figure is printed again", component=row.component, unit=row.unit)


def _printed_key(row) -> tuple[str, ...]:
    named = f"{row.component}-{row.unit}" if row.component == "ENERC" else row.component
    return named, row.basis, slug(row.printed_in)


def _compare(row, unit: str, printed: float, today: Figure, masses: dict, allowed: tolerance.Tolerances, rounding: Rule) -> Comparison:
    mass_g = 100.0 if row.basis == "100g" else masses.get((row.recipe_id, row.variant_id, row.basis), math.nan)
    band = None if math.isnan(mass_g) else tolerance.band(allowed, rounding, row.component, row.value, row.unit, mass_g, unit)
    if band is None:
        ends, source_id = _around(printed, today), ""
        within = satisfies(today.value, ">=", ends[0]) and satisfies(today.value, "<=", ends[1])
    else:
        factor = tolerance.units_apart(row.component, row.unit, unit)
        ends, source_id, within = (float(band.low) * factor, float(band.high) * factor), band.source_id, band.holds(today.value / factor)
    return Comparison(row.recipe_id, row.variant_id, row.component, row.basis, row.printed_in, unit, printed,
                      f"{plain(row.value)} {row.unit}", today, ends, source_id, within, mass_g)


def _around(printed: float, today: Figure) -> tuple[float, float]:
    """Without a published tolerance: as far from the printed value as today's interval is wide."""
    return max(0.0, printed - (today.high - today.value)), printed + (today.value - today.low)


def _drift_row(one: Comparison, at_risk: AtRisk) -> dict:
    claims = at_risk.get((one.recipe_id, one.variant_id, one.component), ())
    if one.within:
        severity, judged = (WARNING, "within tolerance, yet print understates it") if one.understated else (
            WARNING if claims else NOTE, "within tolerance")
    else:
        severity, judged = (ERROR, "outside tolerance") if one.beyond else (WARNING, "outside tolerance, though its interval reaches it")
    judged += f"; claim at risk: {', '.join(claims)}" if claims else ""
    return finding(
        "drift", one.recipe_id, one.variant_id, one.key, severity,
        f"{one.printed_in or 'print'} gives {one.component} {plain(one.printed)} {one.unit} {BASIS_PRINTED[one.basis]}; today's figure is "
        f"{plain(one.today.value)} {one.unit} (90 % interval {plain(one.today.low)} to {plain(one.today.high)}): {judged}",
        "None needed" if severity == NOTE else "Correct it in print, or find what changed since it was printed",
        component=one.component, value=one.today.value, expected=one.band, unit=one.unit, source_id=one.source_id)


# ---------------------------------------------------------------- what may have slipped

def slips(one: Comparison) -> list[dict]:
    """The finding of a unit that may have slipped in a printed figure; none where nothing fits."""
    if one.today.value <= 0 or one.printed <= 0 or one.agrees:
        return []
    ratio = one.printed / one.today.value
    kinds = ("energy",) if one.component == "ENERC" else {"NA": ("sodium", "mass"), "NACL": ("salt", "mass")}.get(one.component, ("mass",))
    for factor, slipped in (pair for kind in kinds for pair in SLIPS[kind]):
        if abs(ratio / factor - 1) <= SLIP_WITHIN:
            return [finding("unit-slip", one.recipe_id, one.variant_id, one.key, WARNING,
                            f"{one.component} in print is {plain(ratio)} times today's figure, about {plain(factor)}: {slipped}?",
                            "Check the unit and the name of the component against the printed page", component=one.component,
                            value=one.printed, expected=(one.today.low, one.today.high), unit=one.unit)]
    return []


def _other_basis(one: Comparison, index: Index) -> list[dict]:
    """The printed figure may be the right number for another basis."""
    for basis in ("recipe", "portion", "100g"):
        other = known(index, one.recipe_id, one.variant_id, basis, one.component, one.unit)
        if basis == one.basis or other is None or other.value <= 0 or abs(one.printed / other.value - 1) > PORTIONS_WITHIN:
            continue
        return [finding("basis-slip", one.recipe_id, one.variant_id, one.key, WARNING,
                        f"{one.component} in print {BASIS_PRINTED[one.basis]} fits today's figure {BASIS_PRINTED[basis]}, "
                        f"{plain(other.value)} {one.unit}",
                        "Check on the printed page what the figure is given for", component=one.component, value=one.printed,
                        expected=(other.low, other.high), unit=one.unit)]
    return []


def _portion_counts(compared: list[Comparison], index: Index, portions: dict) -> list[dict]:
    """All figures of one printing that fit one other number of portions."""
    printings: dict[tuple[str, str, str], list[Comparison]] = {}
    for one in compared:
        if one.basis == "portion" and one.printed > 0:
            printings.setdefault((one.recipe_id, one.variant_id, one.printed_in), []).append(one)
    rows = []
    for (recipe_id, variant_id, printed_in), figures in sorted(printings.items()):
        now = portions[(recipe_id, variant_id)]
        # Salt and sodium are often printed in the wrong unit: what slipped says nothing about portions.
        sound = [one for one in figures if not slips(one)]
        count = _fitting_count(sound, now)
        if count and not all(one.agrees for one in sound):
            rows.append(finding("portion-count", recipe_id, variant_id, (slug(printed_in),), WARNING,
                                f"the {len(sound)} figures of {printed_in or 'print'} fit {count} portions; the recipe is computed for {plain(now)}",
                                "Check the number of portions on the printed page", value=float(count), expected=(now, now), unit="portions"))
    return rows


def _fitting_count(figures: list[Comparison], now: float) -> int:
    """The whole number of portions that every figure fits, 0 when none does. One figure alone
    has to fit half or twice the number: with any number allowed, something always fits."""
    counts = [one.today.value * now / one.printed for one in figures if one.today.value > 0]
    if not counts:
        return 0
    count = round(sorted(counts)[len(counts) // 2])
    if count < 1 or count == now or any(abs(each / count - 1) > PORTIONS_WITHIN for each in counts):
        return 0
    return count if len(counts) > 1 or count in (now / 2, now * 2) else 0


# ---------------------------------------------------------------- claims in print

def claims_at_risk(printed_claims: pd.DataFrame, verdicts: pd.DataFrame) -> AtRisk:
    """The claims in print that fail or are uncertain for somebody, by (recipe, variant, component that decides)."""
    doubtful = verdicts[verdicts["verdict"].isin([FAILS, UNCERTAIN])]
    judged = {key: rows for key, rows in doubtful.groupby(["recipe_id", "variant_id", "claim"])["component"]}
    found: dict[tuple[str, str, str], set[str]] = {}
    for row in printed_claims.itertuples(index=False):
        claim = row.claim.strip().lower()
        deciding = judged.get((row.recipe_id, row.variant_id, SAME_CLAIM.get(claim, claim)), ())
        for component in {part for parts in deciding for one in parts.split("+") for part in SALT.get(one, (one,))}:
            found.setdefault((row.recipe_id, row.variant_id, component), set()).add(claim)
    return {key: tuple(sorted(claims)) for key, claims in found.items()}


def claims_in_print(printed_claims: pd.DataFrame, verdicts: pd.DataFrame) -> list[dict]:
    """Findings for each claim in print that does not hold, for each audience it is judged for.

    ``printed_claims`` has recipe_id, variant_id, claim and, where said, printed_in.
    """
    printed_of = pd.MultiIndex.from_frame(printed_claims[["recipe_id", "variant_id"]])
    asked = verdicts[pd.MultiIndex.from_frame(verdicts[["recipe_id", "variant_id"]]).isin(printed_of)]
    judged = {key: rows for key, rows in asked.groupby(["recipe_id", "variant_id", "claim"])}
    rows = []
    for printed in printed_claims.to_dict("records"):
        key = (printed["recipe_id"], printed["variant_id"])
        claim, where = printed["claim"].strip().lower(), printed.get("printed_in", "")
        found = judged.get((*key, SAME_CLAIM.get(claim, claim)))
        if found is None:
            rows.append(finding("printed-claim", *key, (slug(claim), "unknown", slug(where)), WARNING,
                                f"{where or 'print'} claims {claim!r}, which nothing here judges",
                                "Write it as a claim of reference/claims.csv or of the policy, or take it out of print"))
            continue
        rows += [_claim_row(key, claim, where, verdict) for verdict in found.to_dict("records") if verdict["verdict"] != "holds"]
    return rows


def _claim_row(key, claim: str, where: str, verdict: dict) -> dict:
    upper_or_lower = (math.nan, math.nan) if math.isnan(verdict["limit"]) else (verdict["limit"], verdict["limit"])
    said = {"fails": "does not hold", "uncertain": "is uncertain", "not-assessable": "cannot be assessed"}[verdict["verdict"]]
    return finding("printed-claim", *key, (slug(claim), verdict["audience"], slug(where)), ERROR if verdict["verdict"] == "fails" else WARNING,
                   f"{where or 'print'} claims {claim!r}, which {said} for {verdict['audience']}: {verdict['reason']}",
                   "Take the claim out of print, or change the recipe until it holds",
                   component=verdict["component"], value=verdict["value"], expected=upper_or_lower, unit=verdict["unit"],
                   source_id=verdict["source_id"])
