"""Cook: which method befell which line, what it weighs then, and what stays in it.

Reads the method (:mod:`pipeline.stages.cook_reading`), lets ``mappings/methods.csv``
override it, and looks up yield and retention (:mod:`pipeline.stages.cook_factors`).
WATER has no retention here: cooked water = raw water + cooked mass - edible mass.
"""

from __future__ import annotations

import math
import re

import pandas as pd

from pipeline import tables
from pipeline.problems import WARNING, Problem
from pipeline.stages import cook_factors as factors
from pipeline.stages import cook_water
from pipeline.stages.cook_names import Line, line_of
from pipeline.stages.cook_pieces import in_small_pieces
from pipeline.stages.cook_reading import read_method
from pipeline.stages.cook_words import vocabulary

STAGE = "cook"
# Why a line has the method and factors it has (closed).
REASONS = ("stated", "decided", "not-mentioned", "no-method", "already-cooked", "absorbed", "poured-away", "no-yield", "no-retention", "not-food")
COOKED_STATES = ("cooked", "canned")
# "300 g parboiled potatoes": boiled and drained before the method begins, for so many minutes; rice of that name is another food (common practice, no source).
BOILED_BEFORE = re.compile(r"\b(?:par|part|pre)-?\s?boiled\b", re.IGNORECASE)
BOILED_BEFORE_CLASSES = ("potatoes", "sweet-potatoes", "roots", "other-vegetables", "leafy-greens")
BOILED_BEFORE_MINUTES = 8.0


def cook(
    parsed: pd.DataFrame, matched: pd.DataFrame, weighed: pd.DataFrame, lines: pd.DataFrame, steps: pd.DataFrame, entries: pd.DataFrame,
    yields: pd.DataFrame, retention: pd.DataFrame, retention_rules: pd.DataFrame, verbs: pd.DataFrame, decisions: pd.DataFrame,
    components: pd.DataFrame, values: pd.DataFrame | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame, list[Problem]]:
    """(models Cooked, Retentions, problems), one Cooked row per line of ``lines``.

    ``parsed``, ``matched``, ``weighed``, ``lines``, ``steps``, ``entries``: the models of those
    names. The rest as in ``reference/`` and ``mappings/`` (``decisions`` is methods.csv).
    ``values`` (model Values) tell the water of each entry, below whose dry matter no yield goes, and its fat, of which some drips off.
    A Retentions row gives the fraction (0 to 1) that stays; a component without a row stays whole.
    """
    frame = _frame(parsed, matched, lines, entries)
    for name, component in (("water", "WATER"), ("fat", "FAT")):
        frame[name] = frame["entry_id"].map(_content(values, component)).astype("float64")
    texts = {key: list(group.sort_values("step_no")["text"]) for key, group in steps.groupby(["recipe_id", "variant_id"], sort=False)}
    words = vocabulary(verbs)
    decided, problems = _decisions(decisions, frame)
    look_up = (factors.yield_rules(yields), factors.yield_factors(yields), factors.retention_rules(retention_rules),
               factors.retention_factors(retention))
    known = set(components["component"]) - {"WATER", "ENERC"}
    cooked, retained = [], []
    for key, group in frame.groupby(["recipe_id", "variant_id"], sort=False):
        rows = group.to_dict("records")
        food = [row for row in rows if row["kind"] in ("food", "unreadable")]
        readings = {reading.line_id: reading for reading in read_method([_line(row) for row in food], texts.get(key, []), words)}
        problems += _salt_not_listed(key, rows, texts.get(key, []))
        for row in rows:
            result, kept = _settle(row, readings.get(row["line_id"]), decided.get((row["recipe_id"], row["text"].strip())), look_up)
            cooked.append(result)
            retained += [(row["line_id"], component, *factor) for component, factor in kept.items() if component in known]
            problems += _missing(row, result)
    table = pd.DataFrame(cooked, columns=tables.columns(tables.Cooked)) if cooked else tables.empty(tables.Cooked)
    fractions = pd.DataFrame(retained, columns=tables.columns(tables.Retentions)) if retained else tables.empty(tables.Retentions)
    fractions = fractions.sort_values(["line_id", "component"], ignore_index=True)
    return tables.checked(tables.Cooked, table, STAGE), tables.checked(tables.Retentions, fractions, STAGE), problems


def _frame(parsed, matched, lines, entries) -> pd.DataFrame:
    frame = lines[["recipe_id", "variant_id", "line_no", "line_id", "text", "section"]].merge(
        parsed[["line_id", "kind", "phrase", "state", "preparation", "amount_rule", "optional"]], on="line_id", validate="1:1")
    frame = frame.merge(matched[["line_id", "entry_id", "match_outcome"]], on="line_id", validate="1:1")
    described = entries[["entry_id", "cooking_class", "state"]].rename(columns={"state": "entry_state"})
    frame = frame.merge(described, on="entry_id", how="left")
    return frame.fillna({"cooking_class": "", "entry_state": ""})


def _content(values: pd.DataFrame | None, component: str) -> dict[str, float]:
    """What 100 g of the entries that tell it hold of a component."""
    if values is None:
        return {}
    known = values[(values["component"] == component) & values["value"].notna()]
    return dict(zip(known["entry_id"], known["value"], strict=True))


def _line(row: dict) -> Line:
    phrase = row["phrase"] or row["text"]
    made_from = " juice" if row["preparation"] in ("juice of", "juiced") else ""
    return line_of(row["line_id"], phrase + made_from, row["cooking_class"], row["section"], row["amount_rule"] == "to-serve" or row["optional"],
                   _cooked_already(row), row["preparation"])


def _cooked_already(row: dict) -> bool:
    """Entries of drained food are of the solids of a tin, cooked in it; "drained" in a line may be of what was soaked."""
    return row["entry_state"] in (*COOKED_STATES, "drained") or row["state"] in COOKED_STATES or row["cooking_class"] == "legumes-cooked"


def _settle(row: dict, reading, decision: dict | None, look_up) -> tuple[dict, dict]:
    """The Cooked row of one line and its retention factors by component."""
    base = {"line_id": row["line_id"], "cooking_class": row["cooking_class"], "decision_id": ""}
    if reading is None:
        return base | _plain("not-food", 1.0), {}
    steps, reason, confidence = reading.steps, reading.reason, reading.confidence
    evidence, times = reading.evidence, reading.times
    if _boiled_before(row, steps):
        steps, times, reason = (("boil", "drained"), *_cooking(steps)), (BOILED_BEFORE_MINUTES, *times[:len(_cooking(steps))]), "stated"
        evidence = " | ".join(part for part in (row["text"], evidence) if part)
    if decision is not None:
        steps, reason, confidence = decision["steps"], "decided", 1.0
        base["decision_id"] = decision["decision_id"]
        evidence = f"decision {decision['decision_id']}: {decision['reason']}"
    kitchen_class = row["cooking_class"]
    applied, times = steps, times if decision is None or steps == reading.steps else ()
    if _cooked_already(row) and not factors.is_raw(steps):
        applied, times, reason = (("reheat", ""),), (), "already-cooked"
    yield_table, yield_rows, rules, retentions = look_up
    amount, yield_reason = factors.yield_of(applied, times, kitchen_class, reading.with_liquid_line, yield_table, yield_rows)
    codes, kept, retention_reason = factors.retention_of(applied, times, kitchen_class, rules, retentions,
                                                          in_small_pieces(f"{row['text']}, {row['preparation']}, {reading.cut}", kitchen_class))
    if reading.juices_kept and decision is None:
        codes, kept = factors.keeping_juices(codes, kept, kitchen_class, retentions)
    codes, kept = factors.dripping(codes, kept, applied, kitchen_class, row["fat"], reading.fat_poured, retentions)
    amount = factors.keeping_solids(amount, row["water"], row["fat"], kitchen_class, codes)
    if codes.split("+")[0] == "poured-away":
        yield_reason = "poured-away"
    main = _main_step(steps)
    result = base | {
        "method": main[0], "liquid": main[1], "chain": _chain(steps), "minutes": reading.minutes, "evidence": evidence,
        "method_confidence": confidence, "retention_code": codes, "yield_id": amount.row_id, "yield_fraction": amount.value,
        "yield_low": amount.low, "yield_high": amount.high, "cook_reason": retention_reason or yield_reason or reason,
    }
    return result, kept


def _boiled_before(row: dict, steps) -> bool:
    """Whether the line says that the food was boiled and drained before the method begins, which does not say so again."""
    said = row["cooking_class"] in BOILED_BEFORE_CLASSES and BOILED_BEFORE.search(row["text"])
    return bool(said) and not _cooked_already(row) and steps[0] not in (("boil", "drained"), ("simmer", "drained"))


def _cooking(steps) -> tuple:
    """The steps that heat or soak; none of food that stays raw."""
    return tuple(step for step in steps if step[0] != "raw")


def _plain(reason: str, confidence: float) -> dict:
    return {"method": "raw", "liquid": "", "chain": "raw", "minutes": math.nan, "evidence": "", "method_confidence": confidence,
            "retention_code": "", "yield_id": "", "yield_fraction": 1.0, "yield_low": 1.0, "yield_high": 1.0, "cook_reason": reason}


def _main_step(steps) -> tuple[str, str]:
    """The step that changes a food most: one whose water was poured off, else the last but a reheating."""
    drained = [step for step in steps if step[1] == "drained" and step[0] != "soak"]
    cooking = [step for step in steps if step[0] != "reheat"]
    return (drained or cooking or list(steps))[-1]


def _chain(steps) -> str:
    return " > ".join(method + (":" + liquid if liquid else "") for method, liquid in steps)


def _decisions(decisions: pd.DataFrame, frame: pd.DataFrame) -> tuple[dict, list[Problem]]:
    """The decisions by recipe and line text, and a problem per row that cannot be applied."""
    standing = set(zip(frame["recipe_id"], frame["text"].str.strip(), strict=True))
    found, problems = {}, []
    for number, row in enumerate(decisions.to_dict("records"), start=2):
        where = f"mappings/methods.csv:{number}"
        key = (row["recipe_id"], row["line_text"].strip())
        steps = tuple(_step(part, row["liquid"]) for part in row["method"].split(" > "))
        unknown = [f"{method}:{liquid}" for method, liquid in steps if method not in tables.METHODS or liquid not in tables.LIQUIDS]
        if unknown:
            problems.append(Problem(where, f"decision {row['decision_id']} has the unknown method {', '.join(unknown)}",
                                    f"Use one of: {', '.join(tables.METHODS)}; liquid kept or drained", "unknown-method", WARNING, STAGE, row["recipe_id"]))
        elif key not in standing:
            problems.append(Problem(where, f"decision {row['decision_id']} is about {row['line_text']!r} of {row['recipe_id']}, which is no longer there",
                                    "Decide again on the line as it is now, or remove the row", "expired-decision", WARNING, STAGE, row["recipe_id"]))
        else:
            found[key] = {**row, "steps": steps}
    return found, problems


def _step(part: str, liquid: str) -> tuple[str, str]:
    method, _, own = part.strip().partition(":")
    wet = method in ("boil", "simmer", "soak", "bake")
    return method, own or (liquid if wet else "")


def _salt_not_listed(key: tuple[str, str], rows: list[dict], texts: list[str]) -> list[Problem]:
    """Salted cooking water without a line of salt: what the food takes up is in no figure (boiled potatoes: some 240 mg sodium per 100 g, USDA SR26, 11367 and 11833)."""
    salted = next((text for text in texts if cook_water.SALTED.search(text.lower())), "")
    if not salted or key[1] != "base" or any(row["cooking_class"] == "salt" or "salt" in row["phrase"].lower().split() for row in rows):
        return []
    return [Problem(f"{key[0]}: {salted.strip()[:80]!r}", "the cooking water is salted, and no line lists the salt: sodium is without what the food takes up of it",
                    "List the salt of the water with its amount, or write unsalted water", "salt-not-listed", WARNING, STAGE, key[0])]


def _missing(row: dict, result: dict) -> list[Problem]:
    """A factor that is missing is never silent."""
    if row["match_outcome"] != "accepted" or result["cook_reason"] not in ("no-yield", "no-retention"):
        return []
    kind, file = (("yield", "yields.csv") if result["cook_reason"] == "no-yield" else ("retention factor", "retention_rules.csv"))
    return [Problem(f"{row['recipe_id']}/{row['variant_id']} line {row['line_no']} {row['text']!r}",
                    f"no {kind} for {row['cooking_class'] or 'a food of no class'}, {result['chain']}; a wide interval stands in",
                    f"Add a row to reference/{file}, or settle the method in mappings/methods.csv", result["cook_reason"], WARNING, STAGE,
                    row["recipe_id"])]
