"""Published household weights as a cook would write them, in two halves: one to fit on, one to report on.

USDA SR26 (published) gives "cup, chopped = 160 g" of "Onions, raw"; the line is "1 cup chopped onions". Used by
``build_densities.py`` here and by ``tests/benchmarks/household_weights.py``.

Halves by the MD5 of the NDB number. Left out, with the reason: units of mass (nothing to resolve), and
descriptions that no cook writes (packages by size, "yields", servings of a label).
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pandas as pd

from pipeline.composition import store

GROUPS = ("Dairy and Egg Products", "Fats and Oils", "Fruits and Fruit Juices", "Vegetables and Vegetable Products", "Cereal Grains and Pasta")
PUBLISHED = re.compile(r"published as: (?P<amount>\S+) (?P<what>.*?); interval .*")
NOT_WRITTEN = (  # reason, and the words of a description that no cook writes in a line
    ("a mass, or a pack of one", re.compile(
        r"^(?:oz|lb|g|gram|ounce|pound)s?\b|\d\s*(?:oz|lb)\b|\b(?:package|pkg|packet|container|envelope|bag|box|carton|can)\b")),
    ("what is left of something else", re.compile(r"\byields?\b|\bas purchased\b|\bwithout refuse\b|\bdry,? yields\b")),
    ("a serving of a label", re.compile(r"\bserving|\bnlea\b|\brecipe\b|\bindividual\b|\breconstituted\b|\bprepared\b")),
    ("not a kitchen measure", re.compile(r"\bcubic inch|\bwith liquid\b|\bwith juice\b|\bwith pits\b|\bguideline\b|\bmeal\b")),
)
SIZES = ("extra large", "small", "medium", "large", "jumbo", "baby")
BRAND = re.compile(r"\bbrand\b|\b(?!USDA\b|EMI\b)[A-Z]{4,}|\b[A-Z]+'S\b")  # a maker's own product is no kind of food
CUTS = {  # the noun of a published cut, and the participle a cook writes
    "slices": "sliced", "cubes": "cubed", "halves": "halved", "quarters": "quartered", "slice": "sliced", "puree": "puréed", "cut": "cut up",
    "pureed": "puréed",
}
MEASURES = {"tbsp": "tbsp", "tablespoon": "tbsp", "tablespoons": "tbsp", "tsp": "tsp", "teaspoon": "tsp", "cup": "cup", "cups": "cups", "quart": "quart",
            "pint": "pint", "fl": "fl", "floweret": "floret", "flowerets": "florets", "pat": "pat"}
UNITS = frozenset(("cup cups tbsp tsp quart pint slice slices leaf leaves head stalk stalks spear spears wedge bunch sprig sprigs clove cloves ear stick "
                   "strip strips floret florets pat ring rings half").split())
# Parts that stand behind the food: "1 broccoli spear".
BEHIND = frozenset("spear spears half halves ring rings floret florets ball balls flower flowers".split())
NO_CUT = frozenset("or and about long dia".split())
FRACTIONS = {"0.5": "1/2", "0.25": "1/4", "0.33": "1/3", "0.75": "3/4", "0.333": "1/3", "0.667": "2/3"}
ITSELF = frozenset("fruit vegetable root pepper item each piece whole".split())
_STATES = ("cooked", "canned", "frozen", "dried", "pickled")
_STOP = re.compile(r"^(raw|with|without|includ|commercial|all |year|enriched|unenriched|regular|solids|drained|boiled|unprepared|unheated|"
                   r"immature|mature|fluid|household|salad|un|\d|frozen|canned|cooked|dried|dehydrated|dry|edible|or |sulfured|uncooked)")
_CLASS_HEADS = frozenset("cheese oil milk cream beans peas lettuce cabbage squash peppers onions mushrooms mushroom potatoes yogurt margarine "
                         "fat shortening rice noodles flour melons nuts lima tomatoes juice egg butter corn".split())


def is_tuning(entry_id: str) -> bool:
    """Whether an entry belongs to the half on which densities are fitted."""
    return hashlib.md5(entry_id.encode()).digest()[0] % 2 == 0


def food_words(name: str, state: str) -> str:
    """What a cook calls an entry: "Beans, snap, green, frozen" -> "frozen snap beans"."""
    parts = [part.split("(")[0].strip() for part in name.lower().split(",")]
    said = [part for part in parts if part and not _STOP.match(part)] or parts[:1]
    words = f"{said[1]} {said[0]}" if len(said) > 1 and (said[0].split()[0] in _CLASS_HEADS or len(said[1].split()) == 1) else said[0]
    return f"{state} {words}" if state in _STATES and state not in words else words


def line_of(amount: str, what: str, food: str) -> str:
    """The line that a cook would write for a published household weight; "" where none would."""
    size, words = _sized(what)
    plain = [word for word in words if not _names(word, food)]
    if not words and not size:
        return ""
    unit, cuts = _unit(plain)
    if not unit and not size and len(plain) == len(words) and words:
        return ""  # "gourd" of something that is not called so: nobody can tell what was counted
    unit = unit or next((cut for cut in cuts if cut in BEHIND), "")
    number = FRACTIONS.get(amount, amount)
    order = (number, size, food, unit) if unit in BEHIND else (number, size, unit, food)
    said = dict.fromkeys(CUTS.get(cut, cut) for cut in cuts if cut not in BEHIND and cut not in NO_CUT)
    return ", ".join(filter(None, (" ".join(filter(None, order)), " ".join(said))))


def _sized(what: str) -> tuple[str, list[str]]:
    """The size in a description, and its other words without brackets and numbers."""
    text = re.sub(r"\([^()]*\)?", " ", what.lower()).replace(",", " ")
    words = [word for word in text.split() if not re.fullmatch(r"[\d/.\"'x-]+", word)]
    size = next((one for one in SIZES if all(part in words for part in one.split())), "")
    return size, [MEASURES.get(word, word) for word in words if word not in size.split()]


def _names(word: str, food: str) -> bool:
    """Whether a word of a description only repeats what was measured."""
    called = re.findall(r"[a-z]+", food)
    called += [one.rstrip("s") for one in called]
    return word in called or word.rstrip("s") in called or word in ITSELF


def _unit(words: list[str]) -> tuple[str, list[str]]:
    """The unit that a description begins with, "" for a counted piece, and the words behind it."""
    if words[:2] == ["fl", "oz"]:
        return "fl oz", words[2:]
    return (words[0], words[1:]) if words and words[0] in UNITS else ("", words)


def lines(table, root: Path | None = None) -> tuple[pd.DataFrame, pd.Series]:
    """Every weight that a cook would write (measure_id, source_row, entry_id, group, text, what, grams), and how many were left out, by reason.

    ``what`` is the description as published, ``grams`` the weight of the whole line.
    """
    entries = table.entries.set_index("entry_id")
    measures = store.load(table.name, [], root, originals=False).measures
    rows = measures[measures["scope_key"].map(entries["food_group"]).isin(GROUPS)].reset_index(drop=True)
    found = rows["note"].str.extract(PUBLISHED)
    reason = pd.Series("", index=rows.index)
    for why, words in NOT_WRITTEN:
        reason = reason.mask((reason == "") & found["what"].str.lower().str.contains(words), why)
    reason = reason.mask((reason == "") & rows["scope_key"].map(entries["name"]).str.contains(BRAND), "a maker's product")
    food = [food_words(entries.at[key, "name"], entries.at[key, "state"]) for key in rows["scope_key"]]
    text = [line_of(amount, what, name) for amount, what, name in zip(found["amount"], found["what"], food, strict=True)]
    frame = pd.DataFrame({"measure_id": rows["measure_id"], "source_row": rows["source_row"], "entry_id": rows["scope_key"],
                          "group": rows["scope_key"].map(entries["food_group"]), "text": text,
                          "what": found["what"], "grams": rows["middle"] * pd.to_numeric(found["amount"])})
    reason = reason.mask((reason == "") & (frame["text"] == ""), "not a kitchen measure")
    return frame[reason == ""].drop_duplicates(["entry_id", "text"], keep=False).reset_index(drop=True), reason[reason != ""].value_counts()
