"""What in print must change, the most harmful first.

Print that promises less potassium, phosphorus or salt than there is comes first, where it is outside the tolerance or by an
amount that matters in a portion (rules.csv, much_K and the like); then claims that fail, claims that are uncertain, figures
outside the tolerance, smaller understatements, and what cannot be confirmed today. What is within the tolerance and understates
nothing stays. A claim is also held against the recipe as made and as printed, where that is worse than as analysed: a reader
cooks what is printed and filmed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from pipeline import tables
from pipeline.harm import HARM_ABOVE, HARM_ORDER, SAME_CLAIM
from pipeline.names import component_names
from pipeline.reason_words import in_words, lower
from pipeline.rounding import GUIDANCE, Rule, printed, rounding_rule
from pipeline.sources import Reference
from pipeline.stages.audit_drift import BASIS_PRINTED, Comparison, comparisons, slips
from pipeline.stages.conditions import BASIS_WORDS, COMPARATORS, index_figures, plain
from pipeline.stages.tolerance import units_apart
from pipeline.versions_form import HARMS

BASE, VERSION = "base", "version"
GRAVITY = {"holds": 0, "uncertain": 1, "not-assessable": 1, "fails": 2}
CLAIM_HARM = {"fails": "claim-fails", "uncertain": "claim-uncertain", "not-assessable": "not-confirmed", "holds": "not-confirmed"}
CLAIM_SAID = {"holds": "it holds", "fails": "it fails", "uncertain": "it is uncertain", "not-assessable": "it cannot be assessed"}
NEEDED = ("figures", "published", "printed_claims", "verdicts", "variants")


def print_changes(given: Mapping[str, pd.DataFrame], reference: Reference) -> pd.DataFrame:
    """Model PrintChanges, from the tables of a release named in ``NEEDED`` and its tolerances, rounding and rules."""
    rule = rounding_rule(reference.rounding, GUIDANCE)
    speaker = _Speaker(component_names(reference.components))
    claims = _Claims(given, speaker)
    found, withheld, strange = comparisons(index_figures(given["figures"]), given["published"], reference.tolerances, rule)
    portions = given["variants"].set_index(["recipe_id", "variant_id"])["portions"]
    rows = []
    for one in found:
        share = portions[one.recipe_id, one.variant_id] if one.basis == "recipe" else 1.0
        harm = _harm(one, (one.today.value - one.printed) / share, reference)
        rows += [_figure_row(one, harm, rule, claims, speaker)] if harm else []
    rows += [_unknown_figure(row, "withheld", f"today's figure is withheld: {in_words(figure.reason)}", speaker) for row, figure in withheld]
    rows += [_unknown_figure(row, "no such figure", "there is no figure today that it could be compared with", speaker) for row in strange]
    rows += claims.rows()
    rows.sort(key=_place)
    table = pd.DataFrame([{**row, "rank": rank} for rank, row in enumerate(rows, start=1)], columns=tables.columns(tables.PrintChanges))
    return tables.checked(tables.PrintChanges, table, "print_changes")


@dataclass(frozen=True)
class _Speaker:
    """Says what people read in print: "potassium", not K."""

    components: dict[str, str]

    def name(self, component: str) -> str:
        """The name of a component, or of several that are joined by "+"."""
        return " and ".join(lower(self.components.get(one, one)) for one in component.split("+"))


def _place(row: dict) -> tuple:
    """Where a row stands: by harm; what is certain before what is not; the component that can do most harm; the farthest apart."""
    number, today = row["printed_value"], row["value"]
    apart = abs(math.log(today / number)) if number > 0 and today > 0 else 0.0 if number == today or math.isnan(number) else math.inf
    reaches = row["low"] <= row["band_high"] and row["high"] >= row["band_low"]
    component = row["component"].split("+")[0]
    return (HARMS.index(row["harm"]), reaches, HARM_ORDER.index(component) if component in HARM_ORDER else len(HARM_ORDER), -apart,
            row["recipe_id"], row["variant_id"], row["component"], row["basis"], row["unit"], row["printed_in"], row["claim"], row["audience"],
            row["printed_value"])


_UNKNOWN = dict.fromkeys(("printed_value", "value", "low", "high", "band_low", "band_high"), math.nan)


# ---------------------------------------------------------------- figures

def _harm(one: Comparison, short: float, reference: Reference) -> str:
    """The harm of a printed figure that is ``short`` by so much per portion or 100 g; "" where it may stay."""
    if not one.understated:
        return "" if one.within else "outside-tolerance"
    if not one.within:
        return "understated"
    # Annex I of Regulation (EU) No 1169/2011: salt = sodium x 2.5.
    matters = reference.rule("much_NA") * 2.5 / 1000 if one.component == "NACL" else reference.rule(f"much_{one.component}")
    return "understated" if short > matters else "understated-slightly"


def _figure_row(one: Comparison, harm: str, rule: Rule, claims: _Claims, speaker: _Speaker) -> dict:
    allowed = f"{plain(one.band[0])} to {plain(one.band[1])} {one.unit}"
    stands = f"within the tolerance ({allowed})" if one.within else f"outside the tolerance ({allowed})" + (
        "" if one.beyond else ", though its interval reaches it")
    if one.component in HARM_ABOVE or not one.within:
        stands += f"; print {'understates' if one.printed < one.today.value else 'overstates'} it"
    at_risk = claims.beside(one.recipe_id, one.variant_id, one.component)
    return {
        **_named(one), "harm": harm, "unit": one.unit, "printed_value": one.printed,
        "claim": "", "audience": "", "value": one.today.value, "low": one.today.low, "high": one.today.high,
        "band_low": one.band[0], "band_high": one.band[1], "says": f"{speaker.name(one.component)} {one.written} {BASIS_PRINTED[one.basis]}",
        "today": f"{plain(one.today.value)} {one.unit} (90 % interval {plain(one.today.low)} to {plain(one.today.high)})",
        "correction": _correction(one, rule, claims, speaker), "source_id": one.source_id,
        "why": "; ".join([stands, *([f"claim at risk: {', '.join(at_risk)}"] if at_risk else []), *(row["what"] for row in slips(one))])}


def _named(row) -> dict:
    return {"recipe_id": row.recipe_id, "variant_id": row.variant_id, "printed_in": row.printed_in, "component": row.component, "basis": row.basis}


def _correction(one: Comparison, rule: Rule, claims: _Claims, speaker: _Speaker) -> str:
    """What to print instead: rounded, never over the limit of a claim that fails; nothing that nobody has looked at yet."""
    unit = one.written.rpartition(" ")[2]
    unit = unit if (one.component, unit) in rule.bands else one.unit
    value = one.today.value / units_apart(one.component, unit, one.unit)
    limit, comparator = claims.failing_limit(one, unit)
    shown = f"{plain(value)} {unit}" if (one.component, unit) not in rule.bands else printed(
        one.component, value, unit, rule, limit, comparator).text
    new = f"{speaker.name(one.component)} {shown} {BASIS_PRINTED[one.basis]}"
    if one.today.status == "ready":
        return f"Print {new}"
    return f"Take it out; print {new} once somebody has looked at it: {in_words(one.today.reason)}"


def _unknown_figure(row, today: str, why: str, speaker: _Speaker) -> dict:
    return {
        **_UNKNOWN, **_named(row), "harm": "not-confirmed", "unit": row.unit, "printed_value": row.value, "claim": "", "audience": "",
        "says": f"{speaker.name(row.component)} {plain(row.value)} {row.unit} {BASIS_PRINTED[row.basis]}", "today": today,
        "correction": "Take it out until there is a figure that confirms it", "why": why, "source_id": ""}


# ---------------------------------------------------------------- claims

class _Claims:
    """The claims in print with their verdicts, for what they describe and for the versions of the recipe."""

    def __init__(self, given: Mapping[str, pd.DataFrame], speaker: _Speaker):
        self.speaker, self.printed = speaker, given["printed_claims"]
        variants = given["variants"]
        versions = variants[variants["kind"] == VERSION]
        self.versions = {recipe: list(zip(rows["variant_id"], rows["name"], strict=True)) for recipe, rows in versions.groupby("recipe_id")}
        wanted = given["verdicts"]["recipe_id"].isin(self.printed["recipe_id"])
        self.judged: dict[tuple[str, str, str], dict[str, dict]] = {}
        for row in given["verdicts"][wanted].to_dict("records"):
            self.judged.setdefault((row["recipe_id"], row["variant_id"], row["claim"]), {})[row["audience"]] = row

    def _of(self, recipe_id: str, variant_id: str, claim: str) -> dict[str, dict]:
        claim = claim.strip().lower()
        return self.judged.get((recipe_id, variant_id, SAME_CLAIM.get(claim, claim)), {})

    def _verdicts(self, recipe_id: str, variant_id: str) -> Iterator[tuple[str, dict]]:
        for row in self.printed.itertuples(index=False):
            if (row.recipe_id, row.variant_id) == (recipe_id, variant_id):
                yield from ((row.claim.strip().lower(), verdict) for verdict in self._of(recipe_id, variant_id, row.claim).values())

    def beside(self, recipe_id: str, variant_id: str, component: str) -> list[str]:
        """Claims in print on this component that fail or are uncertain."""
        return sorted({claim for claim, verdict in self._verdicts(recipe_id, variant_id)
                       if verdict["verdict"] in ("fails", "uncertain") and component in verdict["component"].split("+")})

    def failing_limit(self, one: Comparison, unit: str) -> tuple[float | None, str | None]:
        """The limit (in ``unit``) and comparator of a claim in print that the figure fails; (None, None) without one."""
        for _, verdict in self._verdicts(one.recipe_id, one.variant_id):
            if verdict["verdict"] == "fails" and (verdict["component"], verdict["basis"], verdict["unit"]) == (one.component, one.basis, one.unit):
                return verdict["limit"] / units_apart(one.component, unit, one.unit), verdict["comparator"]
        return None, None

    def rows(self) -> list[dict]:
        """Every claim in print that does not hold, or by figures to be checked, for each audience; a claim that nothing judges once."""
        rows = []
        for row in self.printed.itertuples(index=False):
            found = self._of(row.recipe_id, row.variant_id, row.claim)
            if not found:
                rows.append(_unknown_claim(row))
            for audience, verdict in found.items():
                if verdict["verdict"] != "holds":
                    rows.append(_claim_row(row, verdict, self.speaker, verdict["reason"], "Take the claim out, or change the recipe until it holds"))
                elif verdict["status"] == "check":
                    rows.append(_claim_row(row, verdict, self.speaker, f"it holds by figures that are not ready: {verdict['reason']}",
                                           "Let somebody look at the figures before it is printed again"))
                if row.variant_id == BASE:
                    rows += self._in_versions(row, audience, verdict)
        return rows

    def _in_versions(self, row, audience: str, analysed: dict) -> Iterator[dict]:
        """The claim where a version is worse than as analysed."""
        for variant_id, name in self.versions.get(row.recipe_id, ()):
            verdict = self._of(row.recipe_id, variant_id, row.claim).get(audience)
            if verdict and GRAVITY[verdict["verdict"]] > GRAVITY[analysed["verdict"]]:
                why = f"as analysed {CLAIM_SAID[analysed['verdict']]}; {name[0].lower()}{name[1:]} {CLAIM_SAID[verdict['verdict']]}: {verdict['reason']}"
                yield _claim_row(row, verdict, self.speaker, why, "Take the claim out, or make and print the recipe as it was analysed")


def _claim_row(row, verdict: dict, speaker: _Speaker, why: str, correction: str) -> dict:
    limit = "" if math.isnan(verdict["limit"]) else (
        f"; the limit is {COMPARATORS[verdict['comparator']]} {plain(verdict['limit'])} {verdict['unit']} {BASIS_WORDS.get(verdict['basis'], verdict['basis'])}")
    numbers = {name: verdict[name] if verdict["value"] >= 0 else math.nan for name in ("value", "low", "high")}
    shown = "cannot be assessed" if math.isnan(numbers["value"]) else (
        f"{speaker.name(verdict['component'])} {plain(verdict['value'])} {verdict['unit']} (90 % interval {plain(verdict['low'])} to "
        f"{'any amount' if math.isnan(verdict['high']) else plain(verdict['high'])})")
    return {
        **_UNKNOWN, **numbers, "recipe_id": row.recipe_id, "variant_id": verdict["variant_id"], "harm": CLAIM_HARM[verdict["verdict"]],
        "printed_in": row.printed_in, "component": verdict["component"], "basis": verdict["basis"], "unit": verdict["unit"],
        "claim": row.claim.strip().lower(), "audience": verdict["audience"], "says": f"claims {row.claim.strip().lower()!r}",
        "today": shown + limit, "correction": correction, "why": in_words(why, speaker.components), "source_id": verdict["source_id"]}


def _unknown_claim(row) -> dict:
    return {
        **_UNKNOWN, "recipe_id": row.recipe_id, "variant_id": row.variant_id, "harm": "not-confirmed", "printed_in": row.printed_in,
        "component": "", "basis": "", "unit": "", "claim": row.claim.strip().lower(), "audience": "", "says": f"claims {row.claim.strip().lower()!r}",
        "today": "nothing here judges it", "correction": "Write it as a claim of reference/claims.csv or of the policy, or take it out",
        "why": "a claim without a condition cannot be confirmed", "source_id": ""}
