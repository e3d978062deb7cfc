"""The codes and units of the USDA Standard Reference in the words of the common form.

The rule is at the head of :mod:`pipeline.composition.usda_sr`.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

BY_DERIVATION = {
    **dict.fromkeys(("A", "AI", "AS", "MA", "JA"), "analysed"),
    **dict.fromkeys(("AR", "DA", "PAE", "PAK", "NC", "NP", "NR", "LC", "MC", "ML", "S"), "calculated"),
    **dict.fromkeys(("RA", "RC", "RF", "RK", "RKA", "RKI", "RP", "RPA", "RPI"), "calculated"),
    **dict.fromkeys(("BD", "BNA", "BFAN", "BFCN", "BFFN", "BFFY", "BFNN", "BFNY", "BFPN", "BFPY"), "imputed"),
    **dict.fromkeys(("BFSN", "BFSY", "BFYN", "BFYY", "BFZN", "BFZY"), "imputed"),
    **dict.fromkeys(("CAAN", "CAFN", "CASN", "CAZN", "DI", "FLA", "FLC", "FLM", "JO", "O", "PIE", "PIK"), "imputed"),
    "T": "borrowed",
    "Z": "zero",
}
BY_SOURCE = {
    **dict.fromkeys(("1", "6", "12", "13"), "analysed"),
    **dict.fromkeys(("5", "8", "9"), "calculated"),
    **dict.fromkeys(("4", "11"), "imputed"),
    "7": "zero",
}
ALWAYS_COMPUTED = ("205", "208", "268")  # carbohydrate by difference, energy in kcal and kJ
UNITS = {"g": "g", "mg": "mg", "\u00b5g": "ug", "kcal": "kcal", "kJ": "kJ", "IU": "IU"}


def by_codes(source: pd.Series, derivation: pd.Series, nutrient: pd.Series, known: Mapping[str, str] = BY_DERIVATION) -> pd.Series:
    """The value type that the codes of each row say, NaN where they say nothing; ``known``: value type by derivation code.

    A derivation that is not known by itself goes by its source; source 7 is an assumed zero whatever the derivation says.
    """
    kinds = derivation.map(known).fillna(source.map(BY_SOURCE)).mask(source == "7", "zero")
    return kinds.mask((source == "4") & (derivation == "") & nutrient.isin(ALWAYS_COMPUTED), "calculated")


def value_types(source: pd.Series, derivation: pd.Series, n: pd.Series, nutrient: pd.Series) -> pd.Series:
    """The value type of each row, by the rule at the head of :mod:`pipeline.composition.usda_sr`.

    ``n`` is the number of data points, NaN where none is given.
    """
    kinds = by_codes(source, derivation, nutrient)
    return kinds.mask((kinds == "analysed") & ~(n > 0), "calculated").astype("str")
