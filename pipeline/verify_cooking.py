"""Second computation of what cooking leaves: yields, retention factors, and the released lines."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_mass import Input, Mass
from pipeline.verify_report import Ledger, plain
from pipeline.verify_sources import Project

CAUSE = "cooking"
# Factors of several steps, and evaporation over time, are kept to six decimals.
DECIMALS = 6
# Where no yield is known: 1, and a wide interval (common practice, no source).
NO_YIELD = (1.0, 0.6, 1.4)
OVER_TIME = re.compile(r"(?P<row>.+)@(?P<minutes>[0-9.]+)min")
MASS_BALANCE = "mass-balance"
# What loses fat beside water keeps its dry matter without fat; what keeps only a part may be below that too.
DRIPS = ("bacon-ham", "beef", "chicken", "duck", "lamb", "lean-fish", "liver", "oily-fish", "pork", "sausage", "shellfish", "turkey")
PARTS = ("poured-away", "salt-in-poured-water", "deep-fat-uptake")
AT_LEAST = "|at-least:"
# The components that a factor never applies to: water is a balance, energy is computed.
WITHOUT_FACTOR = ("WATER", "ENERC")
# A measure that a rule supplied, because the line gives no amount.
RULE = "rule:"
# Scores and probabilities of candidates are kept to six decimals.
HALF_SIXTH = 0.5e-6 + 1e-12
Factor = tuple[float, float, float]


class Line(NamedTuple):
    """A counted, settled line as the totals need it."""

    line_id: str
    variant: tuple[str, str]
    entry_id: str
    mass: Mass
    cooked_g: float
    confidence: float
    assumed: bool


def yields(tables: dict[str, Rows], project: Project, ledger: Ledger) -> dict[str, Input]:
    """The yield of every line, recomputed from its factors; ``input_id`` is "" for a raw line."""
    ledger.keys(CAUSE, path_of("cooked"), tables["cooked"], tables["lines"], path_of("lines"))
    found = {}
    for line_id, row in tables["cooked"].items():
        ledger.counts["yields"] += 1
        where, columns = place(CAUSE, "cooked", line_id), ("yield_fraction", "yield_low", "yield_high")
        joined, _, least = row["yield_id"].partition(AT_LEAST)
        dry = _dry_matter(where, row, least, tables, ledger)
        factor = _compared(where, row, columns, _yield_parts(joined, project), 0.0, f"reference/yields.csv {row['yield_id']}", ledger, dry)
        found[line_id] = Input(f"yield:{row['yield_id']}" if row["yield_id"] else "", *factor)
    return found


def _dry_matter(where, row: dict, least: str, tables: dict[str, Rows], ledger: Ledger) -> float:
    """What a yield is held up to: the dry matter of the line's entry, where the yield's id names it; 0 where nothing."""
    entry_id = tables["lines"].get(where[2], {}).get("entry_id", "")
    water = number(tables["values"].get(f"{entry_id} WATER g", {}).get("value", ""))
    fat = number(tables["values"].get(f"{entry_id} FAT g", {}).get("value", "")) if row["cooking_class"] in DRIPS else 0.0
    dry = round(1 - (water + fat) / 100, DECIMALS)
    if least:
        ledger.number(where, "yield_id", least, dry, f"{path_of('values')} {entry_id} WATER")
        return dry
    keeps = row["retention_code"].split("+")[0] not in PARTS and row["cook_reason"] != "not-food"
    if keeps and number(row["yield_fraction"]) < dry - 1e-6:
        ledger.differs(*where, "yield_fraction", row["yield_fraction"], f"at least {plain(dry)}", f"{path_of('values')} {entry_id} WATER")
    return 0.0


def _yield_parts(yield_id: str, project: Project) -> list[Factor] | None:
    parts = []
    for part in yield_id.split("+") if yield_id else []:
        over_time = OVER_TIME.fullmatch(part)
        row_id = over_time["row"] if over_time else part
        if row_id == "no-yield":
            parts.append(NO_YIELD)
        elif row_id not in project.reference("yields"):
            return None
        else:
            factor = tuple(project.factor("yields", row_id, name) for name in ("yield_fraction", "low", "high"))
            hours = float(over_time["minutes"]) / 60 if over_time else 1.0
            parts.append(tuple(round(end ** hours, DECIMALS) for end in factor) if over_time else factor)
    return parts or [(1.0, 1.0, 1.0)]


def retentions(tables: dict[str, Rows], project: Project, ledger: Ledger) -> dict[tuple[str, str], Input]:
    """The retention factor by line and component, recomputed; a component without one stays whole."""
    found = {}
    factors = project.reference("retention")
    components: dict[str, set[str]] = {}
    for row in factors.values():
        components.setdefault(row["retention_code"], set()).add(row["component"])
    known = {row["component"] for row in project.reference("components").values()}
    for key, row in tables["retentions"].items():
        ledger.counts["retention factors"] += 1
        where = place(CAUSE, "retentions", key)
        origin = f"reference/retention.csv {row['retention_id']}/{row['component']}"
        codes = row["retention_id"].split("+")
        used = tables["cooked"].get(row["line_id"], {}).get("retention_code", "").split("+")
        if any(code not in (*used, MASS_BALANCE) for code in codes):
            ledger.differs(*where, "retention_id", row["retention_id"], "+".join(used), f"{path_of('cooked')} {row['line_id']}")
        ids = [f"{code}/{row['component']}" for code in codes]
        parts = [tuple(number(factors[one][name]) for name in ("retention_fraction", "low", "high"))
                 for one in ids if one in factors]
        factor = _compared(where, row, ("retention_fraction", "retention_low", "retention_high"),
                           parts if len(parts) == len(ids) else None, 1.0, origin, ledger)
        found[row["line_id"], row["component"]] = Input(f"retention:{row['retention_id']}:{row['component']}", *factor)
    for line_id, row in tables["cooked"].items():
        for code in row["retention_code"].split("+"):
            for component in components.get(code, set()) & known - set(WITHOUT_FACTOR):
                if (line_id, component) not in found:
                    ledger.differs(*place(CAUSE, "retentions", f"{line_id} {component}"), "", "no row", "a row", f"reference/retention.csv {code}")
    return found


def _compared(where, row: dict, columns, parts: list[Factor] | None, at_most: float, origin: str, ledger: Ledger,
              at_least: float = 0.0) -> Factor:
    """The product of factors, compared with a row. Half-widths add in quadrature (JCGM 100:2008, 5.1.6).

    ``at_most`` caps the high end at this or at the value, whichever is larger; 0 does not cap. No end is below ``at_least``.
    """
    if parts is None:
        ledger.differs(*where, columns[0], row[columns[0]], "a row", origin)
        return tuple(number(row[column]) for column in columns)
    expected, slack = _product(parts)
    expected = tuple(max(end, at_least) for end in expected)
    if at_most:
        expected = (*expected[:2], min(expected[2], max(at_most, expected[0])))
    kept = []
    for column, value in zip(columns, expected, strict=True):
        stands = number(row[column])
        rounded = slack > 0 and abs(stands - value) <= slack and stands == round(stands, DECIMALS)
        if not rounded:
            ledger.number(where, column, row[column], round(value, DECIMALS) if slack else value, origin)
        kept.append(stands if rounded else value)
    return tuple(kept)


def _product(parts: list[Factor]) -> tuple[Factor, float]:
    """(value, low, high) and how far rounding to six decimals may move them."""
    if len(parts) == 1:
        return parts[0], 0.0
    value = math.prod(part[0] for part in parts)
    if value == 0:
        return (0.0, 0.0, 0.0), 0.0
    below = math.hypot(*(1 - part[1] / part[0] for part in parts))
    above = math.hypot(*(part[2] / part[0] - 1 for part in parts))
    # the last bit of a product may tip a number that ends in exactly half a unit
    return (value, max(0.0, value * (1 - below)), value * (1 + above)), 0.5 * 10.0 ** -DECIMALS + 1e-12


# ---------------------------------------------------------------- lines

# column of lines.csv -> (table it is taken from, column there)
COPIED = {
    "text": ("source_lines", "text"), "table": ("matched", "table"), "entry_id": ("matched", "entry_id"),
    "entry_name": ("matched", "entry_name"), "match_confidence": ("matched", "match_confidence"), "method": ("cooked", "method"),
    **{name: ("parsed", name) for name in ("quantity_low", "quantity_high", "unit", "phrase", "state", "optional")},
    **{name: ("weighed", name) for name in ("mass_g", "mass_low_g", "mass_high_g", "edible_g")},
    "yield_fraction": ("cooked", "yield_fraction"),
}


def lines(tables: dict[str, Rows], weights: dict[str, Mass], cooked: dict[str, Input], project: Project, ledger: Ledger) -> list[Line]:
    """Compares the released lines with the evidence; gives those that the sums count."""
    for name in ("source_lines", "parsed", "matched"):
        ledger.keys("lines", path_of(name), tables[name], tables["lines"], path_of("lines"))
    _same_numbers(tables, ledger)
    _best_candidates(tables, ledger)
    _odds_agree(tables, ledger)
    counted = []
    for line_id, row in tables["lines"].items():
        ledger.counts["lines"] += 1
        if any(line_id not in tables[name] for name in ("source_lines", "parsed", "matched", "weighed", "cooked")):
            continue
        where = place("lines", "lines", line_id)
        ledger.same(where, "line_id", line_id, f"{row['recipe_id']}/{row['variant_id']}/{row['line_no']}", "its recipe, variant and number")
        for column, (table, name) in COPIED.items():
            ledger.same(where, column, row[column], tables[table][line_id][name], f"{path_of(table)} {line_id}")
        outcome, is_counted, confidence = _standing(where, row, tables, project, ledger)
        weight = weights.get(line_id)
        cooked_g = weight.edible_g * cooked[line_id].value if weight else math.nan
        ledger.number(where, "cooked_g", row["cooked_g"], cooked_g, "edible_g x yield_fraction")
        if is_counted and outcome == "accepted" and weight:
            entry_id = tables["matched"][line_id]["entry_id"]
            counted.append(Line(line_id, (row["recipe_id"], row["variant_id"]), entry_id, weight, cooked_g, confidence,
                                tables["weighed"][line_id]["measure_id"].startswith(RULE)))
    return counted


def _standing(where, row: dict, tables: dict[str, Rows], project: Project, ledger: Ledger) -> tuple[str, bool, float]:
    line_id = where[2]
    parsed, matched, weighed = (tables[name][line_id] for name in ("parsed", "matched", "weighed"))
    outcome = matched["match_outcome"]
    doubtful = number(parsed["parse_confidence"]) <= project.factor("rules", "read_above", "value") and matched["match_reason"] != "decided"
    name = matched["entry_name"].casefold()
    doubtful = doubtful and not ("," in name and parsed["text"].casefold().endswith(name))  # the whole published name of the entry
    if outcome == "accepted" and (weighed["edible_g"] == "" or doubtful):
        outcome = "review"
    ledger.same(where, "outcome", row["outcome"], outcome, "reading, match and mass")
    variant = tables["variants"].get(f"{row['recipe_id']} {row['variant_id']}", {})
    left_out = parsed["optional"] == "true" and variant.get("kind") != "optional"
    is_counted = outcome != "not-food" and not left_out
    ledger.same(where, "counted", row["counted"], "true" if is_counted else "false", "outcome, optional and the kind of variant")
    if row["reason"] == "":
        ledger.differs(*where, "reason", "", "a reason", "every line ends in one outcome with a reason")
    sure = math.prod(number(text) for text in (
        parsed["parse_confidence"], matched["match_confidence"], tables["cooked"][line_id]["method_confidence"]))
    if abs(number(row["confidence"]) - sure) > HALF_SIXTH:
        ledger.differs(*where, "confidence", row["confidence"], plain(round(sure, 6)),
                       ", ".join(f"{path_of(name)} {line_id}" for name in ("parsed", "matched", "cooked")))
        return outcome, is_counted, round(sure, 6)
    return outcome, is_counted, number(row["confidence"])


def _same_numbers(tables: dict[str, Rows], ledger: Ledger) -> None:
    """What two tables say twice: the number of a line in its id, the portions of a recipe and of its plain variants."""
    for line_id, row in tables["source_lines"].items():
        ledger.same(place("lines", "source_lines", line_id), "line_no", row["line_no"], line_id.rpartition("/")[2], "its line_id")
    for key, row in tables["variants"].items():
        recipe = tables["recipes"].get(row["recipe_id"])
        if recipe is None:
            ledger.differs(*place("lines", "variants", key), "recipe_id", row["recipe_id"], "a recipe", path_of("recipes"))
        elif row["kind"] in ("base", "optional"):
            ledger.same(place("lines", "variants", key), "portions", row["portions"], recipe["portions"], f"{path_of('recipes')} {row['recipe_id']}")


def _odds_agree(tables: dict[str, Rows], ledger: Ledger) -> None:
    """The ranking of a line: score and probability fall with the rank. A score is odds against "none of these"
    alone, o / (1 + o). The winner's probability is calibrated; those of the runners-up stand to each other as their
    odds do, save that none passes the winner's: odds over probability is one number for the runners-up of a
    line. Compared as far as six decimals tell."""
    of_line: dict[str, list[str]] = {}
    for key, row in tables["candidates"].items():
        of_line.setdefault(row["line_id"], []).append(key)
    for keys in of_line.values():
        rows = [tables["candidates"][key] for key in sorted(keys, key=lambda key: number(tables["candidates"][key]["rank"]))]
        for before, row in zip(rows, rows[1:], strict=False):
            for column in ("score", "probability"):
                if number(row[column]) > number(before[column]) + 2 * HALF_SIXTH:
                    ledger.differs(*place("lines", "candidates", f"{row['line_id']} {row['rank']}"), column, row[column],
                                   f"at most {before[column]}, that of the rank before", "rank")
        _runners_up_agree(rows, ledger)


def _runners_up_agree(rows: list[dict[str, str]], ledger: Ledger) -> None:
    free = [row for row in rows[1:] if row["probability"] != rows[0]["probability"]]
    ends = {row["rank"]: _whole_odds(number(row["score"]), number(row["probability"])) for row in free}
    if not ends or _meet(ends.values()):
        return
    alone = [rank for rank in ends if len(ends) > 2 and _meet(other for name, other in ends.items() if name != rank)]
    for row in free:
        if row["rank"] in (alone or ends):
            ledger.differs(*place("lines", "candidates", f"{row['line_id']} {row['rank']}"), "probability", row["probability"],
                           "what its score and the other runners-up give", "score")


def _meet(ends) -> bool:
    """Whether one number lies within all of the given ends."""
    lows, highs = zip(*ends, strict=True)
    return max(lows) <= min(highs) * (1 + 1e-9)


def _whole_odds(score: float, probability: float) -> tuple[float, float]:
    """The least and the largest sum of odds that a score and a probability allow."""
    low, high = max(0.0, score - HALF_SIXTH), min(1.0, score + HALF_SIXTH)
    least = low / (1 - low) / (probability + HALF_SIXTH) if low < 1 else 0.0
    if high >= 1 or probability <= HALF_SIXTH:
        return least, math.inf
    return least, high / (1 - high) / (probability - HALF_SIXTH)


def _best_candidates(tables: dict[str, Rows], ledger: Ledger) -> None:
    """A match is the first candidate, with its probability; probabilities of a line do not pass 1."""
    total: dict[str, float] = {}
    for key, row in tables["candidates"].items():
        ledger.counts["candidates"] += 1
        total[row["line_id"]] = total.get(row["line_id"], 0.0) + number(row["probability"])
        matched = tables["matched"].get(row["line_id"])
        if matched is None:
            ledger.differs(*place("lines", "candidates", key), "line_id", row["line_id"], "a line", path_of("matched"))
        elif row["rank"] == "1":
            where, origin = place("lines", "candidates", key), f"{path_of('matched')} {row['line_id']}"
            ledger.same(where, "probability", row["probability"], matched["match_confidence"], origin)
        if row["rank"] == "1" and matched and matched["entry_id"]:
            ledger.same(where, "entry_id", row["entry_id"], matched["entry_id"], origin)
            ledger.same(where, "entry_name", row["entry_name"], matched["entry_name"], origin)
        if row["entry_id"] not in tables["entries"]:
            ledger.differs(*place("lines", "candidates", key), "entry_id", row["entry_id"], "an entry", path_of("entries"))
        elif row["entry_name"] != tables["entries"][row["entry_id"]]["name"]:
            ledger.differs(*place("lines", "candidates", key), "entry_name", row["entry_name"],
                           tables["entries"][row["entry_id"]]["name"], path_of("entries"))
    for line_id, probability in total.items():
        if probability > 1 + 1e-5:
            ledger.differs(*place("lines", "candidates", line_id), "probability", plain(probability), "at most 1", "the candidates of the line")
