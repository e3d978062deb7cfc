"""As purchased or edible: whether the refuse of a food is still in the amount written.

The classic mistake is to take the refuse off twice. It comes off only where the amount
is of the food as bought:

- a mass of an untrimmed food ("500 g leeks, trimmed"), or a count whose piece weight is
  of the whole food as bought ("2 peeled potatoes": the table's potato has its skin): yes;
- a measure that is of the edible portion, as the household weights of USDA SR26 are: no;
- a mass with words before the food ("200 g peeled potatoes", "100 g chopped onion"), and wording
  such as "peeled weight": no, the cook weighed what was left;
- a spoon, cup or handful: no, it holds what is left;
- a mass of canned, drained, frozen, cooked, smoked, dried or pickled food, or of boneless
  meat: no.

What comes off must be what the matched entry leaves out: an entry of meat and skin leaves out
the bone alone, one of meat only the skin too. Where a curated row takes off more, or the entry
is of the very cut, the refuse published with the entry answers.
"""

from __future__ import annotations

import re

from pipeline.stages.weigh_lookup import Edible, Food

WHOLE = Edible("", 1.0, 1.0, 1.0, "")
READY_STATES = frozenset({"canned", "drained", "frozen", "cooked", "smoked", "dried", "pickled"})
# Classes whose entries may answer with their own refuse where no row is curated: what a British
# shop sells with its refuse. Meat, fish and nuts are mostly sold without.
SOLD_WITH_REFUSE = frozenset({
    "leafy-greens", "roots", "potatoes", "sweet-potatoes", "tomatoes", "other-vegetables", "mushrooms", "fruit", "citrus",
})
# A published refuse is one figure for all cooks: careful and careless ones lose half and one
# and a half times as much; of bone, which is there or not, three quarters and one and a quarter. Common practice, no source.
LEAST_LOST, MOST_LOST = 0.5, 1.5
LEAST_BONE, MOST_BONE = 0.75, 1.25
BIRDS = frozenset({"chicken", "turkey", "duck"})

_NET = re.compile(
    r"\b(peeled|trimmed|prepared|shelled|podded|stoned|pitted|cooked|drained|net|edible|boned|cleaned|deseeded)[ -]+weight\b"
    r"|\bweighed after\b|\bprepared\)", re.I)
_READY_ANYWHERE = re.compile(r"\b(boneless|skinless|boned|filleted|fillets?|ready[- ]prepared|pre-?prepared|shelled|"
    r"tins?|tinned|cans?|canned|jars?)\b", re.I)
_READY_BEFORE = re.compile(
    r"\b(peeled|trimmed|prepared|podded|stoned|pitted|deseeded|seeded|cored|hulled|cleaned|picked|chopped|sliced|diced|grated|beaten|whisked|"
    r"shredded|mashed|cubed|minced|puréed|pureed|cooked|parboiled|par-boiled|part-boiled|segmented|zested|florets|leaves|segments|cubes|chunks|juice|zest)\b", re.I)
# A food called by the part that is eaten: "cauliflower florets", "basil leaves", "lemon juice".
_READY_PHRASE = re.compile(r"\b(florets?|leaves|leaf|kernels?|segments|wedges|flesh|meat|seeds|juice|zest|peel|rind)$", re.I)
_WITH_SKIN = re.compile(
    r"\b(?:un-?peeled|unskinned|scrubbed|left whole|jacket potato(?:es)?|skins?[ -](?:left[ -])?on|peel left on|skins? and all|"
    r"with(?: (?:the|their|its))? skins?(?! (?:removed|off|discarded))|in (?:the|their|its) (?:skins?|jackets?)|"
    r"(?:not|never|don.?t|do not|no need to|without) peel(?:ed|ing)?)\b", re.I)
_PEELED = re.compile(r"(?<!un-)(?<!not )(?<!never )\bpeeled\b", re.I)
_SKIN = re.compile(r"skin|peel|paring|scraping", re.I)
# A mass of beans is of podded ones unless the line speaks of pods: taken for the other, a dish has a third of its potassium.
_IN_PODS = re.compile(r"\b(?:pods?|unpodded|unshelled)\b", re.I)
_BONE = re.compile(r"\bbones?\b", re.I)
_MAYBE_NONE = re.compile(r"\bor nothing\b|^nothing\b", re.I)
_SHARE = re.compile(r"(\d+(?:\.\d+)?)\s*%")


def portion(line, amount, found: Edible | None) -> tuple[Edible, str]:
    """The edible portion of an amount, and what was assumed about it ("" when nothing).

    ``line`` is a :class:`pipeline.stages.weigh.Line`, ``amount`` its Amount, ``found``
    the curated row for the food if there is one.
    """
    if amount.measure.basis != "as-purchased" or amount.measure.unit == "ml":
        return WHOLE, ""
    if amount.measure.measure_id.startswith("unit:") and _is_ready(line):
        return WHOLE, ""
    edible = _as_described(found, line) if found else _of_entry(line.food)
    if edible is None:
        return WHOLE, ""
    if amount.measure.measure_id.startswith("unit:") and edible.refuse.startswith("pods") and not _IN_PODS.search(line.text):
        return WHOLE, "taken as podded: no refuse taken off"
    if _WITH_SKIN.search(line.text) and _SKIN.search(edible.refuse) and not _PEELED.search(line.text):
        return WHOLE, "eaten with its skin: no refuse taken off"
    return edible, ""


def _is_ready(line) -> bool:
    """Whether the words say that the amount is of food without its refuse."""
    if line.food.state in READY_STATES or line.food.entry_state in READY_STATES:
        return True
    if "," in line.food.entry_name and line.food.entry_name.casefold() in line.text.casefold():  # the entry by its whole name: its edible portion
        return True
    if _NET.search(line.text) or _READY_ANYWHERE.search(line.text) or _READY_PHRASE.search(line.food.phrase):
        return True
    return _READY_BEFORE.search(_before_food(line.text, line.food.phrase)) is not None


def _before_food(text: str, phrase: str) -> str:
    """The text in front of the last word of the food's name; a comma ends what is said before it."""
    words = re.findall(r"[a-zà-ÿ]+", phrase.casefold())
    lowered = text.casefold()
    at = lowered.rfind(words[-1]) if words else -1
    if at < 0:
        return ""
    return lowered[:at]


def _as_described(found: Edible, line) -> Edible:
    """The curated row, or the refuse published with an entry of meat and skin of a bird: bone alone.

    A row that says the amount may be boneless ("or nothing") stands for a mass; so many pieces have their bones.
    """
    food = line.food
    weighed = bool(line.unit) and line.unit != "piece"
    if food.cooking_class not in BIRDS or not food.refuse_fraction or _SKIN.search(food.refuse) or not _BONE.search(food.refuse):
        return found
    if not _BONE.search(found.refuse) or _MAYBE_NONE.search(found.refuse) and weighed:
        return found
    of_the_cut = set(re.findall(r"[a-z]+", found.edible_id)) <= set(re.findall(r"[a-z]+", food.entry_name.casefold()))
    if not _SKIN.search(found.refuse) and not of_the_cut:
        return found
    lost = _bone_share(food)
    return Edible(f"entry-bone:{food.entry_id}", max(0.0, 1 - MOST_BONE * lost), 1 - lost, 1 - LEAST_BONE * lost, food.refuse)


def _bone_share(food: Food) -> float:
    """The share of bone in what is bought. USDA SR26 lists the bone of a drumstick under two names and adds them up: the larger counts."""
    shares = [float(share) / 100 for share in _SHARE.findall(food.refuse)]
    return max(shares) if shares else food.refuse_fraction


def _of_entry(food: Food) -> Edible | None:
    """The entry's own refuse, for a class that is sold with it."""
    lost = food.refuse_fraction
    if not lost or food.cooking_class not in SOLD_WITH_REFUSE:
        return None
    return Edible(f"entry-refuse:{food.entry_id}", max(0.0, 1 - MOST_LOST * lost), 1 - lost, 1 - LEAST_LOST * lost, food.refuse)
