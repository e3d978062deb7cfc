"""Standing: what the audit and the reader of the collection doubt is no longer ready.

A figure is ``ready`` only when nobody has a reason to look at it first. The total stage
knows the reasons that lie in the figure itself; here come those that others found.
"""

from __future__ import annotations

import pandas as pd

from pipeline.policy import Policy
from pipeline.problems import Problem
from pipeline.stages.ingest_amounts import UNCERTAIN
from pipeline.stages.judge import judge
from pipeline.stages.judge_ingredients import ingredients

# Findings about what is in print say nothing against today's figure.
ABOUT_PRINT = ("drift", "unit-slip", "basis-slip", "portion-count", "printed-claim")
# Additives that the table analysed with the food, or of a line that is left out.
NOT_IN_FIGURE = ("additive-by-entry", "additive-left-out")
# Warnings of ingest that the number of portions is a guess.
VAGUE = (UNCERTAIN, "portions-several")
GRAVE = ("error", "warning")


def doubted(figures: pd.DataFrame, findings: pd.DataFrame, variants: pd.DataFrame, problems: list[Problem]) -> pd.DataFrame:
    """``figures`` (model Figures) with ``check`` in place of ``ready`` where somebody doubts them.

    A warning of the audit on a component doubts its figures in that variant. Portions
    read from a range or from "about" doubt the figures per portion of the recipe as
    written and of its variants with the same number.
    """
    frame = figures.copy()
    keys = list(zip(frame["recipe_id"], frame["variant_id"], frame["component"], strict=True))
    by_audit = audited(findings)
    guessed = guessed_portions(variants, problems)
    portion = frame["basis"] == "portion"
    reasons = []
    for key, is_portion, reason in zip(keys, portion, frame["reason"], strict=True):
        more = [by_audit[key]] if key in by_audit else []
        more += ["portions read from a vague text"] if is_portion and key[:2] in guessed else []
        reasons.append("; ".join([reason, *more] if reason else more))
    doubts = pd.Series(reasons, index=frame.index, dtype="str")
    here = (frame["status"] != "withheld") & (doubts != frame["reason"])
    frame.loc[here, "status"] = "check"
    frame.loc[here, "reason"] = doubts[here]
    return frame


def judged_again(
    verdicts: pd.DataFrame, before: pd.DataFrame, figures: pd.DataFrame, recipes: pd.DataFrame, variants: pd.DataFrame,
    policy: Policy, reference, settled: pd.DataFrame, contributions: pd.DataFrame,
) -> pd.DataFrame:
    """``verdicts`` with those of every variant whose figures changed from ``before`` judged again
    on ``figures`` as they now stand. ``reference`` gives claims, nutrient_reference_values,
    energy_factors and added_substances; the tables are models of those names, the two figure tables row by row alike."""
    key = ["recipe_id", "variant_id"]
    changed = figures.loc[(figures["status"] != before["status"]) | (figures["reason"] != before["reason"]), key].drop_duplicates()
    if changed.empty:
        return verdicts
    again = variants.merge(changed, on=key)
    judged, _ = judge(figures.merge(changed, on=key), recipes, again, reference.claims, reference.nutrient_reference_values, policy,
                      reference.energy_factors, ingredients(settled, contributions, again, reference.added_substances))
    untouched = ~pd.MultiIndex.from_frame(verdicts[key]).isin(pd.MultiIndex.from_frame(changed))
    return pd.concat([verdicts[untouched], judged], ignore_index=True)


def audited(findings: pd.DataFrame) -> dict[tuple[str, str, str], str]:
    """By recipe, variant and component: why the audit doubts the figures."""
    grave = findings[findings["severity"].isin(GRAVE) & (findings["component"] != "") & ~findings["check"].isin((*ABOUT_PRINT, *NOT_IN_FIGURE))]
    return {tuple(key): "the audit doubts it: " + ", ".join(sorted(set(group["check"])))
            for key, group in grave.groupby(["recipe_id", "variant_id", "component"])}


def guessed_portions(variants: pd.DataFrame, problems: list[Problem]) -> set[tuple[str, str]]:
    """The variants whose number of portions was read from a vague text."""
    vague = {problem.recipe_id for problem in problems if problem.code in VAGUE}
    rows = variants[variants["recipe_id"].isin(vague)]
    base = rows[rows["variant_id"] == "base"].set_index("recipe_id")["portions"]
    same = rows["portions"] == rows["recipe_id"].map(base)
    return set(zip(rows.loc[same, "recipe_id"], rows.loc[same, "variant_id"], strict=True))
