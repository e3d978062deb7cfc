"""Learns ``reference/match_weights.csv`` from labelled lines, and says how far the result can be trusted.

    python reference/build/train_match.py [PROJECT]  learn and write (PROJECT: the folder that holds the imported table)
    python reference/build/train_match.py --check    learn and compare with the file: exit 1 when it differs

Needs the Standard Reference release 26 imported as ``usda-sr26`` and the survey coders' links
(``match-dev.csv``) in the folder of the published tables. It learns from

- the project's own labelled ingredient lines (``tests/data/match_pairs.csv`` against the curated core,
  ``tests/data/match_pairs_sr26.csv`` against the whole release),
- what people decided (``mappings/foods.csv``),
- half of the survey coders' links (the half of even MD5; the other half is only measured).

Ranking is a conditional logit: for each line the chance of an acceptable entry among the candidates and
"none of these" is made as high as can be, with a pull towards the weights of common practice below and
signs that cannot turn (a brand never speaks for an entry). Certainty is a logistic of the contest's
outcome, learned out of fold: five folds by what the phrase is about, so that no line is judged
by weights that have seen its food. The same inputs give the same file, byte for byte.
"""

from __future__ import annotations

import hashlib
import io
import os
import sys
from dataclasses import dataclass
from pathlib import Path

# Read when numpy is loaded: on sums this small threads wait for each other and take four times as long.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from scipy.optimize import minimize  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]
if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))

from pipeline import decisions, sources  # noqa: E402
from pipeline.composition.load import load_table  # noqa: E402
from pipeline.match_evaluate import calibration_error, reliability  # noqa: E402
from pipeline.stages import match_features, match_index, match_model, match_naming, match_outcome, match_words  # noqa: E402
from pipeline.stages.match_features import FEATURES  # noqa: E402
from pipeline.stages.match_model import CERTAINTY, CERTAINTY_FEATURES  # noqa: E402
from pipeline.stages.match_outcome import AMBIGUOUS_SHARE, Asked, Best, ambiguous, asked_by, doubt, open_choice, ways  # noqa: E402
from pipeline.stages.parse import parse_text, vocabulary  # noqa: E402

TARGET = ROOT / "reference" / "match_weights.csv"
CORE, WHOLE = "core", "usda-sr26"
FOLDS, ROUNDS, PULL, CERTAINTY_PULL, DIGITS = 5, 3, 0.02, 0.5, 3

# Where learning starts and what it is pulled to: common practice, no source. What is not listed starts at 0.
START = {
    "intercept": -4, "exact": 3, "exact_curated": 2, "curated": 0.5, "listed": 0.5, "completed": 2, "repaired": -1, "classed": -1, "first_unasked": -0.5, "unasked_wholewheat": -0.5, "guessed": -1, "asked_covered": 4,
    "asked_missing": -1.5, "main_missing": -1, "head_agrees": 2, "head_missing": -2, "head_differs": -1.5, "head_unnamed": -2, "head_late": -0.5,
    "category_unasked": -0.2, "offered_unasked": -2, "facet_agrees": 1, "facet_differs": -2, "state_same": 0.5, "state_agrees": 1.5,
    "state_refused": -1.5, "unsalted_tin": -1.5, "special_group": -1.5, "unasked_audience": -1, "unasked_brand": -1, "unasked_imitation": -1,
    **{f"unasked_{kind}": -0.3 for kind in ("imported", "cooked", "enriched", "number", "bracketed", "head", "early", "late")},
}
FREE = {"intercept", *(f"unasked_{kind}" for kind in ("plain", "manner", "texture", "skinon", "skinless", "bonein", "boneless", "leanandfat", "leanonly"))}
REWARDS = {"exact", "exact_curated", "curated", "listed", "completed", "asked_covered", "head_agrees", "facet_agrees", "state_same", "state_agrees", "unasked_generic", "unasked_unsalted",
           "unasked_unsweetened"}
AT_LEAST = {"unasked_generic": 0.2}
# These never weigh less than this: too few of the lines show them.
AT_MOST = {"special_group": -0.8, "unasked_audience": -0.5, "unasked_brand": -0.5, "unasked_imitation": -0.5, "repaired": -0.5, "guessed": -0.5, "classed": -0.5, "first_unasked": -0.3, "unasked_wholewheat": -0.5,
           "asked_missing": -0.5, "head_missing": -0.5, "facet_differs": -1.0, "state_refused": -2.5, "unasked_salted": -0.2, "salted_cooked": -0.5, "unsalted_tin": -1.5}
MEANINGS = {
    "intercept": "any entry at all, against none of these", "exact": "the same words on both sides", "exact_curated": "the very name that cooks use",
    "curated": "the name is one that cooks write", "listed": "an entry that cooks have a name for", "translated": "only with regional words of the name replaced",
    "completed": "a unit or preparation completes a name that cooks use (4 crab sticks)", "repaired": "only after a typing error was put right",
    "classed": "only the class of the food is named (spaghetti, pasta)", "first_unasked": "share of the first part of the name that nobody asked for (Spring onion, onion)",
    "guessed": "only the end of an unknown word is known", "asked_covered": "share of the phrase's words (by rarity) that the name has",
    "asked_missing": "some word of the phrase that names the food is not in the name", "main_missing": "such words before the first comma, each",
    "minor_missing": "words about manner, number or level that are not in the name, each", "head_agrees": "what the phrase is about is what the name is about",
    "head_missing": "what the name is about is not in the phrase (chicken, chicken stock)", "head_differs": "only a modifier of what the name is about (butter, butter beans)",
    "head_unnamed": "what the phrase is about is not in the name", "head_late": "what the phrase is about is a late detail of the name",
    "category_unasked": "the name starts with a category that was not said (Fish, salmon)", "offered_unasked": "share of the name's words (by rarity) that nobody asked for",
    "facet_agrees": "salt, fat, sugar, skin, bone or lean as the line says, each", "facet_differs": "salt, fat, sugar, skin, bone or lean not as the line says, each",
    "salted_cooked": "cooked with salt, which was not said", "unsalted_tin": "canned without salt or with less of it, which was not said", "state_same": "exactly the state that the line asks for or implies",
    "state_agrees": "raw, dried, canned, cooked as the line says, from -1 to 1", "state_refused": "the food in another state than the line asks for",
    "special_group": "baby, fast, restaurant or ready-made food, which was not said",
    CERTAINTY + "intercept": "chance of being right: start", CERTAINTY + "odds": "logarithm of the winner's odds against all else",
    CERTAINTY + "lead": "the winner's score above the runner-up's",
}


@dataclass(frozen=True)
class Lines:
    """Labelled lines against one table: what each asks, the acceptable positions (empty: none), a weight each,
    the fold, and their candidates' features."""

    name: str
    texts: list[str]
    asked: list[Asked]
    acceptable: list[frozenset[int]]
    weight: float
    certain: bool  # whether the certainty learns from them
    fold: np.ndarray
    index: match_index.Index
    tie: np.ndarray
    phrase_of_form: np.ndarray
    pairs: match_features.Pairs
    learned: np.ndarray  # which of them the ranking may learn from

    def contest(self, ranking: np.ndarray) -> match_model.Contest:
        """The candidates ranked with these weights."""
        return match_model.contest(self.pairs, self.phrase_of_form, self.index.entry, self.tie, len(self.texts), ranking)

    def right(self, found: match_model.Contest) -> np.ndarray:
        """Which candidates of a contest are acceptable."""
        return np.array([entry in self.acceptable[phrase] for phrase, entry in zip(found.phrase, found.entry, strict=True)], dtype=bool)


def outside_folder() -> Path:
    """The folder of published tables: POTASH_OUTSIDE_DATA, or ``shared/data`` beside the checkout or above it."""
    named = os.environ.get("POTASH_OUTSIDE_DATA")
    candidates = [Path(named)] if named else [parent / "shared" / "data" for parent in ROOT.parents]
    found = next((folder for folder in candidates if (folder / "match-dev.csv").is_file()), None)
    if found is None:
        raise SystemExit("match-dev.csv is not there: set POTASH_OUTSIDE_DATA to the folder of the published tables, or put it in shared/data beside the checkout")
    return found


def read_csv(path: Path) -> pd.DataFrame:
    """A CSV as text."""
    return pd.read_csv(path, dtype="str", keep_default_na=False)


class Kitchen:
    """Tables and vocabularies, loaded once."""

    def __init__(self, project: Path):
        self.reference, self.mappings = sources.load(), decisions.load()
        self.vocabulary = match_words.vocabulary(self.mappings.words)
        self.known = vocabulary(self.mappings.unit_words, self.mappings.sizes, self.mappings.states, self.mappings.preparations)
        self.entries = {name: load_table(name, self.reference.sources, project).entries for name in (CORE, WHOLE)}
        self.indexes = {name: match_index.build(entries, self.vocabulary) for name, entries in self.entries.items()}

    def asked(self, text: str) -> Asked:
        """What a line asks once it is parsed; a bare description is asked for whole."""
        return asked_by(next(pd.DataFrame([parse_text(text, self.known)]).itertuples(index=False)))

    def lines(self, name: str, table: str, texts, asked, acceptable, weight: float, certain: bool, learned=None) -> Lines:
        """Labelled lines with the features of their candidates; ``acceptable``: entry ids joined by ";", or "none"."""
        index, ids = self.indexes[table], self.entries[table]["entry_id"].tolist()
        place = {entry_id: position for position, entry_id in enumerate(ids)}
        forms, hints, owners = [], [], []
        asked = [match_outcome.with_kind(one, index, self.vocabulary) for one in asked]
        for number, one in enumerate(asked):
            for form in match_outcome.forms(one, index, self.vocabulary):
                forms.append(form)
                hints.append(one.hint)
                owners.append(number)
        pairs = match_features.compared(forms, hints, index)
        family = {owner: sorted(form.heads)[0] for form, owner in zip(reversed(forms), reversed(owners), strict=True)}
        fold = np.array([int(hashlib.md5(family.get(number, "").encode()).hexdigest(), 16) % FOLDS for number in range(len(asked))])
        labels = [frozenset(place[entry_id] for entry_id in said.split(";") if entry_id in place) for said in acceptable]
        return Lines(name, list(texts), list(asked), labels, weight, certain, fold, index, np.argsort(np.argsort(np.array(ids))),
                     np.array(owners), pairs, np.ones(len(asked), dtype=bool) if learned is None else np.asarray(learned))


def labelled(kitchen: Kitchen) -> list[Lines]:
    """Everything there is to learn from and to measure."""
    own = read_csv(ROOT / "tests" / "data" / "match_pairs.csv")
    whole = read_csv(ROOT / "tests" / "data" / "match_pairs_sr26.csv")
    links = read_csv(outside_folder() / "match-dev.csv")
    even = np.array([int(hashlib.md5(text.encode()).hexdigest(), 16) % 2 == 0 for text in links["text"]])
    foods = kitchen.mappings.foods
    foods = foods[foods["scope"].isin(("", "phrase")) & ((foods["kind"] == "match") | (foods["entry_id"] == "")) & (foods["kind"] != "use-as-note")]
    asked_own, asked_whole = [[kitchen.asked(text) for text in frame["text"]] for frame in (own, whole)]
    there = own["acceptable"] != "none"  # what the core lacks the whole table may have
    return [
        kitchen.lines("own lines, core", CORE, own["text"], asked_own, own["acceptable"], 1.0, True),
        kitchen.lines("own lines, whole table", WHOLE, own["text"][there], [one for one, use in zip(asked_own, there, strict=True) if use],
                      own["acceptable"][there], 0.5, True),
        kitchen.lines("new lines, whole table", WHOLE, whole["text"], asked_whole, whole["acceptable"], 2.0, True),
        kitchen.lines("decisions, core", CORE, foods["phrase"], [Asked(row.phrase, row.state) for row in foods.itertuples()],
                      foods["entry_id"].where(foods["kind"] == "match", "none"), 0.5, False),
        kitchen.lines("survey links", WHOLE, links["text"], [Asked(text.lower()) for text in links["text"]], links["ndb"], 0.7, False, even),
    ]


# ---------------------------------------------------------------- ranking

def start() -> np.ndarray:
    """The weights of common practice, in the order of FEATURES."""
    return np.array([float(START.get(feature, 0.0)) for feature in FEATURES])


def bounds() -> list[tuple[float | None, float | None]]:
    """The signs that cannot turn."""
    return [(None, None) if feature in FREE else (AT_LEAST.get(feature, 0.0), None) if feature in REWARDS else (None, AT_MOST.get(feature, 0.0)) for feature in FEATURES]


def learn_ranking(sets: list[Lines], left_out: int | None = None) -> np.ndarray:
    """Weights from every line that is not in the fold ``left_out``."""
    weights = np.clip(start(), *zip(*[(-np.inf if low is None else low, np.inf if high is None else high) for low, high in bounds()], strict=True))
    pull = weights.copy()
    for _ in range(ROUNDS):  # which name stands for an entry depends on the weights
        features, right, sizes, counts = _contests(sets, weights, left_out)
        found = minimize(_loss, weights, args=(features, right, sizes, counts, pull), jac=True, method="L-BFGS-B", bounds=bounds(),
                         options={"maxiter": 400})
        weights = found.x
    return weights


def _contests(sets: list[Lines], weights: np.ndarray, left_out: int | None):
    features, right, sizes, counts = [], [], [], []
    for lines in sets:
        found = lines.contest(weights)
        acceptable = lines.right(found)
        for number in np.flatnonzero(lines.learned & (lines.fold != left_out if left_out is not None else True)):
            low, high = found.starts[number], found.starts[number + 1]
            if low == high or (lines.acceptable[number] and not acceptable[low:high].any()):
                continue  # nothing to choose, or the right one is no candidate
            features.append(lines.pairs.features[found.pair[low:high]])
            right.append(acceptable[low:high])
            sizes.append(high - low)
            counts.append(lines.weight)
    return np.concatenate(features).astype(float), np.concatenate(right), np.array(sizes), np.array(counts)


def _loss(weights, features, right, sizes, counts, pull):
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    group = np.repeat(np.arange(len(sizes)), sizes)
    score = features @ weights
    highest = np.maximum(np.maximum.reduceat(score, starts), 0.0)
    odds, none = np.exp(score - highest[group]), np.exp(-highest)
    whole = np.add.reduceat(odds, starts) + none
    some = np.logical_or.reduceat(right, starts)
    wanted = np.maximum(np.where(some, np.add.reduceat(odds * right, starts), none), 1e-300)
    strength = PULL * len(sizes) / 100
    loss = -(counts * np.log(wanted / whole)).sum() + strength * ((weights - pull) ** 2).sum()
    slope = features.T @ ((odds / whole[group] - np.where(right, odds / wanted[group], 0.0)) * counts[group])
    return loss, slope + 2 * strength * (weights - pull)


# ---------------------------------------------------------------- certainty

def learn_certainty(sets: list[Lines], by_fold: list[np.ndarray]) -> np.ndarray:
    """The calibration from contests that were ranked by weights which had not seen their food."""
    tables, right, counts = [], [], []
    for lines in (lines for lines in sets if lines.certain):
        for fold, weights in enumerate(by_fold):
            found = lines.contest(weights)
            there, table = match_model.certainty_features(found, lines.pairs)
            mine = lines.fold[there] == fold
            tables.append(table[mine])
            right.append(lines.right(found)[found.starts[there[mine]]])
            counts.append(np.full(mine.sum(), lines.weight))
    table, truth, count = np.concatenate(tables), np.concatenate(right).astype(float), np.concatenate(counts)

    def loss(weights):
        score = table @ weights
        return ((count * (np.logaddexp(0, score) - truth * score)).sum() + CERTAINTY_PULL * (weights[1:] ** 2).sum(),
                table.T @ (count * (1 / (1 + np.exp(-score)) - truth)) + 2 * CERTAINTY_PULL * np.concatenate([[0.0], weights[1:]]))
    limits = [(None, None) if feature == "intercept" else (None, 0.0) if feature in ("asked_missing", "repaired", "offered_unasked") else (0.0, None)
              for feature in CERTAINTY_FEATURES]
    return minimize(loss, np.zeros(len(CERTAINTY_FEATURES)), jac=True, method="L-BFGS-B", bounds=limits, options={"maxiter": 400}).x


# ---------------------------------------------------------------- measuring

def measured(lines: Lines, by_fold: list[np.ndarray], certainty: np.ndarray, vocabulary_: match_words.Vocabulary, accept_above: float) -> pd.DataFrame:
    """Per line, ranked by the weights that had not seen its food: whether it is right, among the first five, probability, accepted."""
    rows = {}
    for fold, weights in enumerate(by_fold):
        found = lines.contest(weights)
        chance, acceptable = match_model.probabilities(found, lines.pairs, certainty), lines.right(found)
        for number in np.flatnonzero(lines.fold == fold):
            low, high = found.starts[number], found.starts[number + 1]
            rows[number] = {"right": False, "five": False, "probability": 0.0, "accepted": False, "best": -1, "reason": "no-candidate"}
            if low < high:
                features = dict(zip(FEATURES, lines.pairs.features[found.pair[low]].tolist(), strict=True))
                unclear = ambiguous(lines.asked[number], features["completed"] > 0, vocabulary_)
                sure = chance[low] * (AMBIGUOUS_SHARE if unclear else 1.0)
                reason = doubt(Best(sure, features), False, open_choice(lines.asked[number], unclear, False, False, vocabulary_), accept_above,
                               made=bool(ways(lines.asked[number], vocabulary_)))
                rows[number] = {"right": acceptable[low], "five": acceptable[low:low + 5].any(), "probability": sure, "accepted": not reason,
                                "best": found.entry[low], "reason": reason}
    table = pd.DataFrame.from_dict(rows, orient="index").sort_index()
    return table.assign(text=lines.texts, there=[bool(said) for said in lines.acceptable], learned=lines.learned)


def report(name: str, table: pd.DataFrame, curve: bool = False) -> None:
    """Prints what was measured."""
    there, accepted = table[table["there"]], table[table["accepted"]]
    print(f"{name}: {len(table)} lines, {len(there)} with an acceptable entry; top-1 {there['right'].mean():.3f}, top-5 {there['five'].mean():.3f}; "
          f"accepted {len(accepted) / len(table):.3f} (of those with an entry {there['accepted'].mean():.3f}), right of accepted "
          f"{accepted['right'].mean():.3f}; calibration error {calibration_error(table):.3f}")
    if curve:
        print(reliability(table).round(3).to_string())


def weights_file(ranking: np.ndarray, certainty: np.ndarray) -> bytes:
    """The file of weights."""
    rows = [(feature, weight) for feature, weight in zip(FEATURES, ranking, strict=True)]
    rows += [(CERTAINTY + feature, weight) for feature, weight in zip(CERTAINTY_FEATURES, certainty, strict=True)]
    frame = pd.DataFrame(rows, columns=["feature", "weight"]).sort_values("feature", kind="stable")
    frame["weight"] = frame["weight"].round(DIGITS) + 0.0
    frame["source_id"] = "labelled-lines" if "labelled-lines" in set(sources.load().sources["source_id"]) else "common-practice"
    frame["note"] = [MEANINGS.get(feature) or MEANINGS.get(feature.removeprefix(CERTAINTY)) or
                     f"words about {feature.removeprefix('unasked_')} in the name that nobody asked for, each" for feature in frame["feature"]]
    buffer = io.StringIO()
    frame.to_csv(buffer, index=False, lineterminator="\n")
    return buffer.getvalue().encode()


def train(project: Path = ROOT) -> tuple[bytes, list[tuple[str, pd.DataFrame]]]:
    """The file of weights, and what was measured out of fold, per set of lines; ``project`` holds the imported table."""
    kitchen = Kitchen(project)
    sets = labelled(kitchen)
    by_fold = [np.round(learn_ranking(sets, fold), DIGITS) for fold in range(FOLDS)]
    certainty = np.round(learn_certainty(sets, by_fold), DIGITS)
    accept_above = kitchen.reference.rule("accept_above")
    found = [(lines.name, measured(lines, by_fold, certainty, kitchen.vocabulary, accept_above)) for lines in sets]
    return weights_file(learn_ranking(sets), certainty), found


def main(arguments: list[str]) -> int:
    folders = [argument for argument in arguments if not argument.startswith("--")]
    content, found = train(Path(folders[0]) if folders else ROOT)
    for name, table in found:
        if name == "survey links":
            plain = (read_csv(outside_folder() / "match-dev.csv")["basic"] == "True").to_numpy()
            report(name + ", the other half", table[~table["learned"]])
            report(name + ", the other half, plain foods", table[~table["learned"] & plain])
        else:
            report(name, table, curve="lines" in name)
    if "--check" in arguments:
        return int(content != TARGET.read_bytes())
    TARGET.write_bytes(content)
    print(f"Written: {TARGET.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
