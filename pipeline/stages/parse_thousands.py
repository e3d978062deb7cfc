"""Dots and commas that may part thousands: "1.500 g" is 1.5 g to some cooks and 1500 g to others.

In British and American writing a comma parts thousands and a dot decimals; much of Europe writes it the
other way round. A kitchen scale shows no thousandth of a gram, so three digits behind a dot are as likely
a thousand. Common practice, no source.
"""

from __future__ import annotations

import re

from pipeline.stages.parse_measure import METRIC, MOST_GRAMS, SIZES, Amount, unit_at
from pipeline.stages.parse_words import Token, Vocabulary

_THREE_BEHIND = re.compile(r"[1-9]\d{0,2}[.,·]\d{3}")


def read_absurd_commas(tokens: list[Token], known: Vocabulary) -> None:
    """Read "1,125 kg" as 1.125 kg: as a thousand it would be more than any cook means."""
    for position, token in enumerate(tokens[:-1]):
        if token.kind != "num" or "," not in token.text or not _THREE_BEHIND.fullmatch(token.text):
            continue
        found = unit_at(tokens, position + 1, known)
        if found and found[0] in METRIC and token.value * SIZES[found[0]][1] > MOST_GRAMS:
            token.value /= 1000


def may_be_a_thousand(tokens: list[Token], amount: Amount | None) -> bool:
    """Whether a number of the amount has another reading, a thousand times as much, that a cook could mean.

    So does one that :func:`read_absurd_commas` took for decimals: that comma is not how the British write them.
    """
    units = {"quantity": amount.unit, "each": amount.each_unit} if amount else {}
    return any(_has_two_readings(token, units[token.role]) for token in tokens if token.kind == "num" and token.role in units)


def _has_two_readings(token: Token, unit: str) -> bool:
    if unit not in METRIC or not _THREE_BEHIND.fullmatch(token.text):
        return False
    if "," in token.text:
        return token.value < 1000
    return token.value * 1000 * SIZES[unit][1] <= MOST_GRAMS
