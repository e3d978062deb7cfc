"""Explains one line from the terminal: how it was read, why its entry won, how sure that is, and what is at stake."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from itertools import groupby

import pandas as pd

from pipeline import decisions
from pipeline.match_bench import AT_STAKE, Bench, differences, open_bench, parsed_texts
from pipeline.problems import InputError, Problem
from pipeline.stages import parse as parse_stage
from pipeline.stages import match_outcome
from pipeline.stages.match import KEPT_CANDIDATES, Asked, Matcher, Ranked
from pipeline.stages.match_outcome import KIND_WORDS
from pipeline.stages.parse_line import REASONS as DOUBTS
from pipeline.reason_words import REASON_WORDS

# Points below this move no odds that anybody would see.
SMALLEST_POINT = 0.05
ROLES = frozenset("quantity unit each size phrase state preparation note alternative leftover joint".split())
OUTCOME_WORDS = {"accepted": "accepted", "review": "for a person to look at", "none": "no entry", "not-food": "not a food"}
# Where the words of the summary, made for many lines, say too little about one.
REASONS = REASON_WORDS | {
    "matched": "sure enough, and every word is accounted for", "decided": "a person decided it",
    "heading": "a heading", "not-food": "something to note or to use, nothing to eat",
}


@dataclass(frozen=True)
class Explained:
    """Why a line gets what it gets.

    ``read``: (words, role) in order; ``points``: one row per feature that matters: feature, means, weight, and for
    winner and runner-up value and points (weight x value); ``candidates``: rank, entry_id, entry_name, probability, and
    per 100 g K, P, NA in mg, PROCNT in g; ``difference``: what the runner-up has more than the winner, per 100 g
    (``per_100g``) and in the line (``in_line``, with ``grams``; None where it cannot be weighed).
    """

    text: str
    read: list[tuple[str, str]]
    entry_id: str
    entry_name: str
    phrase: str
    to_decide: str  # the words that a decision on the line would be about
    state: str
    doubts: list[str]
    table: str
    asked_first: list[str]
    outcome: str
    reason: str
    decision: dict[str, str] | None
    probability: float | None
    accept_from: float
    at_stake: bool
    review_from: float
    ambiguous: bool
    unread: list[str]
    candidates: list[dict]
    points: list[dict]
    difference: dict

    def to_dict(self) -> dict:
        """As plain values."""
        return asdict(self)


def explain(line: str, table: str, top: int, decided: bool = True) -> Explained:
    """Explains ``line`` against ``table`` (or several); ``top``: how many candidates to show.

    Without ``decided`` as if nobody had decided anything. Raises InputError for a line without a word.
    """
    if not line.strip():
        raise InputError(Problem("--explain", "is an empty line", 'Write the line in quotes: --explain "2 tbsp double cream"', "no-line"))
    bench = open_bench(table, decided)
    parsed = bench.read([line])
    raw = parsed_texts([line], bench.mappings)
    row = raw.iloc[0]
    matched = bench.match(parsed)[0].iloc[0]
    matcher = bench.matcher(matched["table"])
    question = matcher.asked(next(parsed.itertuples(index=False)))
    ruling = bench.standing(matcher.table).ruling(question.phrase, question.state)
    food = row["kind"] == "food" and row["phrase"] != ""
    ranked = matcher.ranked(question, ruling.refused) if food else []
    best = ranked[0] if ranked else None
    other = ranked[1] if len(ranked) > 1 else None
    ids = [matcher.entry_ids[found.position] for found in ranked[:2]]
    meant = matched["entry_id"] or (ids[0] if ids else "")
    rival = next((one for one in ids if one != meant), "")
    return Explained(
        text=line, entry_id=matched["entry_id"], entry_name=matched["entry_name"], read=_read(line, bench, bool(bench.described(raw).iloc[0])),
        phrase=row["phrase"], to_decide=_to_decide(question, row["phrase"], row["leftover"]), state=row["state"],
        doubts=[DOUBTS[code][1] for code in row["parse_reason"].split(";") if code in DOUBTS],
        table=matcher.table, asked_first=_asked_first(bench, matcher.table, question) if food else [],
        outcome=matched["match_outcome"], reason=matched["match_reason"], decision=_decision(bench, matched["decision_id"]),
        probability=round(best.probability, 6) if best else None, **_thresholds(question, ranked, matcher),
        candidates=[_candidate(rank, found, matcher, bench) for rank, found in enumerate(ranked[:top], start=1)],
        points=points(best, other, matcher.weights, bench.reference.match_weights) if best else [],
        difference=_difference(meant, rival, bench, parsed) if rival else {})


def points(best: Ranked, other: Ranked | None, weights: dict[str, float], described_as: pd.DataFrame) -> list[dict]:
    """The features of the winner beside the runner-up's, those that part them most first.

    ``weights``: by feature; ``described_as``: ``reference/match_weights.csv``, whose notes say what each means.
    """
    notes = dict(zip(described_as["feature"], described_as["note"], strict=True))
    rows = []
    for feature, weight in weights.items():
        value, against = best.features.get(feature, 0.0), other.features.get(feature, 0.0) if other else 0.0
        rows.append({"feature": feature, "means": notes.get(feature) or feature.replace("_", " "), "weight": weight,
                     "value": round(value, 4), "points": round(weight * value, 4), "runner_up_value": round(against, 4),
                     "runner_up_points": round(weight * against, 4)})
    return sorted(rows, key=lambda row: (-abs(row["points"] - row["runner_up_points"]), row["feature"]))


def _thresholds(question: Asked, ranked: list[Ranked], matcher: Matcher) -> dict:
    """From which chance the line would be accepted, and what stands in the way whatever the chance."""
    best = ranked[0] if ranked else None
    rivals = [(found.position, found.probability) for found in ranked[1:KEPT_CANDIDATES]]
    at_stake = best is not None and matcher.stakes is not None and matcher.stakes.high(best.position, rivals)
    completed = best is not None and best.features.get("completed", 0.0) > 0
    return {
        "accept_from": matcher.stakes.accept_above if at_stake else matcher.accept_above, "at_stake": at_stake,
        "review_from": matcher.review_above,
        "ambiguous": best is not None and match_outcome.ambiguous(question, completed, matcher.vocabulary),
        "unread": [] if completed else sorted(match_outcome.unread(question, matcher.vocabulary)),
    }


def _read(line: str, bench: Bench, whole: bool) -> list[tuple[str, str]]:
    """Runs of words with the role they were given."""
    if whole:
        return [(line.strip(), "a food described, asked for whole")]
    maps = bench.mappings
    tokens = parse_stage.account(line, parse_stage.vocabulary(maps.unit_words, maps.sizes, maps.states, maps.preparations))
    return [(" ".join(text for text, _ in run), role) for role, run in groupby(tokens, key=lambda token: token[1])]


def _asked_first(bench: Bench, table: str, question: Asked) -> list[str]:
    """What the tables before ``table`` said."""
    told = []
    for matcher in bench.matchers:
        if matcher.table == table:
            break
        row, _ = matcher.answer(question)
        told.append(f"{matcher.table}: {REASONS.get(row['match_reason'], row['match_reason'])}")
    return told


def _decision(bench: Bench, decision_id: str) -> dict[str, str] | None:
    foods = bench.mappings.foods
    rows = foods[foods["decision_id"] == decision_id]
    if not decision_id or rows.empty:
        return None
    return {"row": f"{decisions.WHERE}:{rows.index[0] + 2}", **rows.iloc[0].to_dict()}


def _candidate(rank: int, found: Ranked, matcher, bench: Bench) -> dict:
    entry_id = matcher.entry_ids[found.position]
    return {"rank": rank, "entry_id": entry_id, "entry_name": matcher.entry_names[found.position],
            "probability": round(found.probability, 6), **Bench.plain(bench.per_100g.reindex([entry_id]).iloc[0])}


def _difference(one: str, two: str, bench: Bench, parsed: pd.DataFrame) -> dict:
    """What entry ``two`` has more than ``one``, per 100 g and in the line as weighed."""
    more = bench.difference(one, two)
    grams = bench.grams(parsed, [one])["edible_g"].iloc[0]
    known = pd.notna(grams)
    return {"entry_id": two, "per_100g": Bench.plain(more), "grams": round(float(grams), 1) if known else None,
            "in_line": Bench.plain(more * grams / 100) if known else None}


# ---------------------------------------------------------------- in words

def text(told: Explained) -> str:
    """The explanation for a terminal."""
    return "\n".join([told.text, *_reading(told), *_outcome(told), *_against(told), *_stake(told), *_next(told)])


def _reading(told: Explained) -> list[str]:
    rows = ["Read as"]
    means = {"state": told.state} if told.state else {}
    for words, role in told.read:
        meant = means.pop(role, "")
        rows.append(f"  {role:<12} {words}" + (f" ({meant})" if meant and meant != words.lower() else "") if role in ROLES else f"  {role}")
    rows += [f"  {role:<12} {meant}, from the other words" for role, meant in means.items()]
    return rows + [f"  in doubt: {doubt}" for doubt in told.doubts]


def _outcome(told: Explained) -> list[str]:
    rows = [f"Outcome: {OUTCOME_WORDS[told.outcome]} ({REASONS.get(told.reason, told.reason)})"]
    if told.entry_id:
        rows.append(f"  entry {told.entry_id} {told.entry_name} ({told.table})")
    rows += [f"  asked first: {one}" for one in told.asked_first]
    if told.decision:
        made = told.decision
        rows += [f"  decision {made['decision_id']} ({made['row']}) by {made['decided_by']}, {made['decided_on']}: {made['reason']}"]
    if told.probability is None:
        return rows
    if told.decision:
        rows.append("Left to its words alone:")
    why = ", for a likely other entry would change a portion by much" if told.at_stake else ""
    rows.append(f"  the chance that an expert would accept the best entry: {told.probability:.3f}")
    rows.append(f"  accepted from {told.accept_from:g}{why}; shown to a person from {told.review_from:g}")
    if told.ambiguous:
        rows.append("  the chance is halved: cooks use these words for different foods")
    if told.unread:
        rows.append(f"  may change the food, and nobody has read it so: {', '.join(told.unread)}")
    rows.append(f"Nearest entries of {told.table} (chance; per 100 g: potassium, phosphorus, sodium in mg, protein in g)")
    for one in told.candidates:
        amounts = "  ".join(_amount(one[component]) for component in AT_STAKE)
        rows.append(f"  {one['rank']}. {one['entry_id']} {one['entry_name']} ({one['probability']:.3f}; {amounts})")
    return rows


def _against(told: Explained) -> list[str]:
    if len(told.candidates) == 0 or not told.points:
        return []
    alone = len(told.candidates) == 1
    apart = [row for row in told.points if abs(row["points"] - (0 if alone else row["runner_up_points"])) >= SMALLEST_POINT]
    sums = [sum(row[column] for row in told.points) for column in ("points", "runner_up_points")]
    if alone:
        rows = [f"What speaks for {told.candidates[0]['entry_id']} (points; a point more makes the odds 2.7 times as good)"]
        return rows + [f"  {_point(row['points'])}  {row['means']}" for row in apart] + [f"  {_point(sums[0])}  together"]
    rows = [f"Why {told.candidates[0]['entry_id']} before {told.candidates[1]['entry_id']} "
            "(points of each; a point more makes the odds 2.7 times as good)"]
    rows += [f"  {_point(row['points'])} {_point(row['runner_up_points'])}  {row['means']}" for row in apart]
    rows.append(f"  {_point(sums[0])} {_point(sums[1])}  together, with what counts for both alike")
    return rows


def _stake(told: Explained) -> list[str]:
    if not told.difference:
        return []
    rows = [f"If {told.difference['entry_id']} were meant: {differences(told.difference['per_100g'])} per 100 g"]
    if told.difference["grams"] is None:
        return [*rows, "  the line cannot be weighed, so the difference in it is not known"]
    return [*rows, f"  in this line ({told.difference['grams']:g} g edible): {differences(told.difference['in_line'])}"]


def _to_decide(question: Asked, phrase: str, leftover: str) -> str:
    """The phrase of the line, or the food with what is left over as its kind ("oat milk" where the line says "milk (oat)")."""
    if leftover and not question.leftover:
        return question.phrase
    return f"{leftover} {phrase}" if 1 <= len(leftover.split()) <= KIND_WORDS else phrase


def _next(told: Explained) -> list[str]:
    if told.outcome in ("accepted", "not-food") or not told.phrase:
        return []
    entry = decisions.ENTRY  # the best candidate is in doubt: nobody should paste it
    return [f"To settle it: {decisions.command(told.to_decide, entry, told.state, told.table)} (or --never in place of the entry, where none is the food)"]


def _amount(value: float | None) -> str:
    return "not known" if value is None else f"{value:.4g}"


def _point(points: float) -> str:
    return f"{round(points, 2) + 0.0:+7.2f}"
