"""Audit: what the words of a method put into a dish that no ingredient line tells, so that no figure holds it."""

from __future__ import annotations

import pandas as pd

from pipeline.problems import WARNING
from pipeline.stages.audit_findings import finding
from pipeline.stages.method_words import SALTED_WATER, features

SALTED = ("NA", "NACL")


def salted_water(settled: pd.DataFrame, steps: pd.DataFrame) -> list[dict]:
    """Variants whose cooking water is salted by the method while no counted line names salt: food takes up some of it.

    ``settled``, ``steps``: models Settled and Steps. One finding for sodium and one for salt.
    """
    key = ["recipe_id", "variant_id"]
    about_salt = steps.loc[steps["text"].str.contains("salt", case=False, regex=False), key].drop_duplicates()
    if about_salt.empty:
        return []
    named = settled["counted"] & settled["phrase"].str.casefold().str.split().map(lambda words: "salt" in words)
    given = set(settled.loc[named, key].itertuples(index=False, name=None))
    texts = steps.merge(about_salt, on=key).sort_values([*key, "step_no"]).groupby(key, sort=True)["text"]
    found = [variant for variant, words in texts if variant not in given and SALTED_WATER in features(words)]
    return [finding("salted-water", *variant, (component,), WARNING,
                    "the method salts the cooking water and no ingredient line says how much: what the food takes up is in no figure",
                    "Write the salt as an ingredient line, or cook without it", component=component)
            for variant in found for component in SALTED]
