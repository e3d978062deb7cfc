"""How published tables name foods: wordings brought to one word, and what kind of word each one is.

Names of food tables run from the food to its smaller and smaller modifiers ("Chicken,
broilers or fryers, breast, meat only, raw"). What the modifier is about decides how much it
matters that nobody asked for it: a brand tells of another food, "all varieties" of none.
Common practice of published tables, no source.
"""

from __future__ import annotations

import re

# What is made from a concentrate is none any more.
FROM_CONCENTRATE = r"(?:not )?(?:made |reconstituted )?from (?:frozen )?concentrate\b"
# Wordings of one meaning -> one word; the first pattern that fits counts, so the longer ones stand first.
WORDINGS: tuple[tuple[str, str], ...] = (
    (r"fat not added in cooking|ns as to [^,]*|not further specified|\bnfs\b", ""),
    (r"(?:cooked, )?from canned", "canned drained"),
    (r"cooked or canned|canned or cooked", "canned"),
    (FROM_CONCENTRATE, ""),
    (r"(?:frozen )?concentrate(?=.*\b(?:diluted|prepared) with\b)", "reconstituted"),
    (r"low(?:er)?[ -]sodium|reduced[ -](?:sodium|salt)|low(?:er)?[ -]salt|less (?:sodium|salt)", "lowsodium"),
    (r"(?:without|no|not) (?:added )?salt(?:ed)?(?: added)?|no[ -]salt[ -]added|unsalted|salt[ -]free|no[ -]added[ -]salt", "unsalted"),
    (r"with (?:added )?salt(?: added)?|salt added|assume salted", "salted"),
    (r"reduced[ -]fat|half[ -]fat|lower[ -]fat|part[ -]skim(?:med)?(?: milk)?", "reducedfat"),
    (r"\blow[ -]?fat", "lowfat"),
    (r"\bnon[ -]?fat|fat[ -]free|(?<![\d.])0 ?% fat|(?<!semi-)(?<!semi )\bskim(?:med)?\b", "nonfat"),
    (r"full[ -](?:fat|cream)", "fullfat"),
    (r"unsweetened|(?:without|no) (?:added )?sugar(?: added)?|sugar[ -]free|no[ -]added[ -]sugar", "unsweetened"),
    (r"with (?:added )?sugar(?: added)?|sugar added", "sweetened"),
    (r"meat and skin|flesh and skin|with skin|skin[ -]on|skin eaten", "skinon"),
    (r"meat only|without skin|no skin|skin removed|skin not eaten|skinned", "skinless"),
    (r"bone[ -]in|with bone|on the bone", "bonein"),
    (r"bones? removed|without bones?|\bboned\b", "boneless"),
    (r"(?:separable )?lean and fat(?: eaten)?", "leanandfat"),
    (r"(?:separable )?lean only(?: eaten)?", "leanonly"),
    (r"(?:without|no) caffeine|caffeine[ -]free|decaf\b", "decaffeinated"),
    (r"ready[ -]to[ -](?:serve|eat|drink|feed|heat|use)", "ready"),
    (r"whole[ -]?meal|whole[ -]?wheat", "wholewheat wheat"),
    (r"dry heat", "dryheat"),
    (r"moist heat", "moistheat"),
    (r"(?:fat )?in dry matter", ""),
    (r"(?<=\d) +%", "%"),
    (r"\b(?:without|no|not) (?:added )?(?=[a-z]{3})", "un"),
)
_WORDING = re.compile(r"(?<![a-z0-9])(?:" + "|".join(f"(?P<w{number}>{pattern})" for number, (pattern, _) in enumerate(WORDINGS)) + ")")

# Words of one group contradict each other; a word that nobody asked for has its own price.
FACETS: dict[str, tuple[str, ...]] = {
    "salt": ("salted", "unsalted", "lowsodium"),
    "fat": ("fullfat", "reducedfat", "lowfat", "nonfat"),
    "sugar": ("sweetened", "unsweetened"),
    "skin": ("skinon", "skinless"),
    "bone": ("bonein", "boneless"),
    "lean": ("leanandfat", "leanonly"),
}
# These say the same where it counts.
SAME_LEVEL = {"lowsodium": "unsalted"}
FACET_WORDS = {word: group for group, words in FACETS.items() for word in words}

# A name that says one of these is of a food several times as strong as the one it is made into: a line must say it too.
CONCENTRATED = frozenset("concentrate concentrated condensed evaporated undiluted".split())

# First words of a name that only sort it; what the food is comes after them.
CATEGORIES = frozenset(
    "fish nut spice seed crustacean mollusk cheese beverage alcoholic snack candy leavening agent game meat cereal ready-to-eat ready "
    "vegetable fruit herb pulse legume sweetener dairy egg poultry sausage pasta mushroom squash lettuce formulated bar baking product "
    "seasoning condiment salad dressing cookie cracker grain flour-cereal meat-product offal shellfish seafood".split())

_SETS: dict[str, str] = {
    "audience": "babyfood infant toddler baby junior strained child kid school lunch restaurant fast food-service dietetic commodity "
                "industrial alaska native navajo hopi apache southwest indian oscar formula subsistence eskimo",
    "imported": "imported zealand new australian australia",
    "cooked": "fried boiled baked roasted braised grilled broiled stewed simmered microwaved steamed toasted heated reheated panbroiled "
              "pan-fried pan rotisserie barbecued poached sauteed kippered creamed scrambled mashed prepared breaded battered dryheat moistheat",
    "enriched": "enriched fortified vitamin ascorbic acid calcium iron added dha d a c e b6 b12 nutrient protein folic thiamin sodium phosphate "
                "unenriched unvitamin unascorbic ca prop propionate",
    "imitation": "imitation substitute replacement meatless vegetarian vegan artificial analog style flavor flavored flavour",
    "manner": "seedless shelled hulled bulk miniature mini baby jumbo sliced diced chopped minced crushed shredded grated cubed crumbled halved "
              "pitted stoned peeled lump popped torn thick thin thinly packed firmly melted softened beaten chilled warm lukewarm hot-water "
              "coarsely finely roughly snipped pressed slivered flaked unflavored unflavoured rinsed washed scrubbed cleaned deveined",
    "wholewheat": "wholewheat",
    "texture": "chunky smooth creamy",
    "trimmed": "trimmed choice select prime grade separable inch",
    "generic": "regular plain common variety type all generic unspecified composite nfs unprepared",
    "plain": "year round average mixed species raw fresh mature seed commercially commercial prepared include ready fluid food distribution program usda solid liquid only "
             "whole part form kind pack style cut other salad cooking table product unheated",
}
KIND_OF_WORD = {word: kind for kind, words in _SETS.items() for word in words.split()} | {word: word for word in FACET_WORDS}
# In this order in arrays; the last four are told by where the word stands.
KINDS = (*(kind for kind in _SETS), "brand", "number", *FACET_WORDS, "bracketed", "head", "early", "late")
KIND_NUMBER = {kind: number for number, kind in enumerate(KINDS)}
# These are no part of what a name is about; each has a price of its own.
COSTLESS = tuple(KIND_NUMBER[kind] for kind in ("plain", "generic", "enriched", "trimmed", "bracketed"))
# Nor are these after the first comma: "Potato, without skin, raw" is about a potato.
COSTLESS_LATER = tuple(KIND_NUMBER[kind] for kind in ("manner", "number", "skinon", "skinless", "bonein", "boneless"))
# Words of a phrase without which the food is the same one: they need not be in a name.
MINOR_KINDS = frozenset({"manner", "texture", "trimmed", "enriched", *(word for group in ("skin", "bone", "lean") for word in FACETS[group])})
MINOR = frozenset({*(word for word, kind in KIND_OF_WORD.items() if kind in MINOR_KINDS),
                   *"raw fresh mature plain regular common variety whole seed".split()} - {"sodium", "phosphate", "protein", "iron", "calcium", "creamy", "acid"})
# Words that name a piece of a food, on top of those of ``mappings/words.csv``: a phrase is never about them.
PIECES = frozenset("fillet steak-cut cutlet chunk morsel slice crumb-size kernel wedge strip cube".split())

# What a percentage of a name is of.
LEVEL_WORDS = frozenset("fat milkfat lean".split())

_BRAND = re.compile(r"\b(?=\w*[A-Z]\w*[A-Z])[\w'&.]{3,}")
NOT_BRANDS = frozenset({"usda", "nfs", "dha", "urmis", "rte", "bbq"})
# Food groups whose foods a recipe line hardly ever means.
SPECIAL_GROUPS = ("baby", "infant", "fast food", "restaurant", "native", "indian", "meal", "supplement", "military")


def one_wording(text: str) -> str:
    """``text`` (lower case, no accents) with wordings of one meaning brought to one word."""
    return _WORDING.sub(lambda found: WORDINGS[int(found.lastgroup[1:])][1], text)


# Of these, what is minced and what is ground is the same; a spice or a nut that is ground is not minced.
MEATS = frozenset("beef pork lamb veal mutton chicken turkey venison reindeer elk moose goat meat".split())
MINCED = frozenset({"minced", "mince"})
GROUND = "ground"


def one_word_for_minced(texts: tuple[str, ...]) -> tuple[str, ...]:
    """``texts`` with "minced" as "ground" where they are about meat."""
    if MINCED.isdisjoint(texts) or MEATS.isdisjoint(texts):
        return texts
    return tuple(dict.fromkeys(GROUND if text in MINCED else text for text in texts))


_LEVEL = re.compile(r"(\d+(?:[.,]\d+)?) ?(?:(?:-|–|to) ?(\d+(?:[.,]\d+)?) ?)?(?:%|percent\b|per cent\b)")
_OF_LEVEL = re.compile(_LEVEL.pattern + r"(?: *(?:lean|fat|milkfat)\b)?", re.I)
_RATIO = re.compile(r"(?<![\d/.])(\d\d) ?/ ?(\d\d?)(?![\d/])")
# "3% milk" is the milk of 3.25%.
LEVEL_TOLERANCE = 0.5
NOTHING_IN_IT = re.compile(r"\bnon-?fat\b|\bfat[ -]free\b|\bskim\b|\bskimmed\b")


def levels(text: str) -> tuple[float, ...]:
    """The percentages that a line says, and the parts of a ratio that make a hundred ("80/20")."""
    if "%" not in text and "/" not in text and "per" not in text:
        return ()
    said = [float(found[1].replace(",", ".")) for found in _LEVEL.finditer(text.lower())]
    said += [float(part) for found in _RATIO.finditer(text) if int(found[1]) + int(found[2]) == 100 for part in found.groups()]
    return tuple(dict.fromkeys(said))


def without_levels(phrase: str) -> str:
    """``phrase`` without its percentages and ratios ("80/20 beef mince", "5% fat beef mince")."""
    return " ".join(_OF_LEVEL.sub(" ", _RATIO.sub(" ", phrase)).split())


def level_wordings(said: tuple[float, ...], food: str) -> list[str]:
    """How names say the percentages of ``food``, the fullest wording first: "80% lean 20% fat" of meat, "2%"."""
    plain = " ".join(f"{level:g}%" for level in said)
    if MEATS.isdisjoint(food.lower().split()) or sum(said) != 100 and len(said) > 1:
        return [plain]
    lean = max(said[0], 100 - said[0])
    return [f"{lean:g}% lean {meat}{100 - lean:g}% fat" for meat in ("meat ", "")] + [plain]


def has_level(wanted: tuple[float, ...], name: str) -> bool:
    """Whether a published name says one of the percentages; 0 may be said as "nonfat", and 100 says nothing."""
    ranges = [(float(found[1].replace(",", ".")), float((found[2] or found[1]).replace(",", "."))) for found in _LEVEL.finditer(name.lower())]
    return any(level == 100 or (level < 1 and NOTHING_IN_IT.search(name.lower())) or
               any(low - LEVEL_TOLERANCE <= level <= high + LEVEL_TOLERANCE for low, high in ranges) for level in wanted)


def brand_words(name: str) -> frozenset[str]:
    """The words of a published name in capitals, in lower case: brands, by the custom of tables."""
    found = {part.casefold() for word in _BRAND.findall(name) for part in re.split(r"[^A-Za-z0-9]+", word) if len(part) > 1}
    return frozenset(found - NOT_BRANDS)


def kind_of(word: str, place: int, bracketed: bool, branded: bool, after_level: bool = False) -> str:
    """The kind of a word of a published name; ``place``: the number of its part between commas;
    ``after_level``: it stands after a percentage ("3.5% fat")."""
    if branded:
        return "brand"
    known = KIND_OF_WORD.get(word)
    if known is not None:
        return known
    if any(mark.isdigit() or mark == "%" for mark in word) or word in LEVEL_WORDS and after_level:
        return "number"
    if bracketed:
        return "bracketed"
    return "head" if place == 0 else "early" if place == 1 else "late"
