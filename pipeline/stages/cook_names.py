"""Which ingredient lines a piece of a method names: by name, by a group word, by "it",
by "the sauce".
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

STOP_WORDS = set("""a an the and or of in into with to on onto over for from at by up out off it its them they this these those then
all both each half quarter third some few little bit more most other another one two three four pan pot saucepan frying wok tray dish
bowl tin casserole oven plate lid heat hob large small big medium deep shallow wide heavy non-stick separate same clean hot cold warm
minute minutes hour hours min mins second seconds side sides time about around further gently well just until as so if when well-oiled
before after again back together through under alongside inside among amongst beside beneath below above across between within plus which while here there than only enough too really now piece handful pinch splash drop spoonful teaspoon tablespoon tbsp tsp gram g ml kg level
heaped dash glug knob plenty kettle degree gas mark 180c 200c fan side good very is are be been has have you your do not no any still
remaining rest prepared top bottom paper kitchen foil towel film board knife spoon colander sieve everything except""".split())
ADJECTIVES = set("""red green white black yellow brown spring fresh dried dry frozen tinned canned chopped sliced diced crushed grated
cooked raw ground minced lean plain self-raising strong double single whole skimmed semi-skimmed unsalted salted low-salt reduced-salt
olive sunflower vegetable rapeseed sesame long-grain sweet ripe baby new old mild hot smoked peeled drained boneless
skinless free-range hard soft light dark icing granulated clear runny mixed flat-leaf curly floury waxy large small
medium thick thin fine finely roughly coarse extra virgin toasted boiled soaked softened melted beaten leftover warm cold boiling
washed trimmed shredded reserved remaining little split easy-cook wholemeal baking""".split())
# In these the first word says what it was made from: "chicken" alone does not mean the chicken stock.
DERIVED_HEADS = set("""stock sauce oil powder paste puree purée ketchup juice zest flake seed vinegar milk cream butter cube wine sugar
flour bouillon gravy sherry crumb breadcrumb syrup jam chutney cider water seasoning extract essence""".split())
# Short names of foods -> the word an ingredient line has.
ALIASES = {"bicarb": "bicarbonate", "mayo": "mayonnaise", "spud": "potato", "tattie": "potato", "pea": "pois", "broth": "stock", "stock": "broth",
           "scallion": "onion", "zucchini": "courgette", "bouillon": "stock", "crème": "creme", "yogurt": "yoghurt", "yoghurt": "yogurt", "chilli": "chili",
           "chili": "chilli", "corn": "sweetcorn", "sweetcorn": "corn", "capsicum": "pepper", "aubergine": "eggplant", "eggplant": "aubergine", "cilantro": "coriander", "mange": "mangetout", "spaghetti": "pasta", "bulgur": "bulghur"}
SALAD_WORDS = {"salad", "lettuce", "rocket", "watercress", "arugula", "gem", "cress"}  # "the vegetables" are others
FORM_WORDS = set("""piece slice cube strip half quarter ring chunk leaf stalk stem stick wedge mixture floret skin fillet breast thigh
clove joint chop cutlet round ribbon spear pod bulb top end tip segment grain contents batter base layer ingredient""".split())
PIECES = set("chip wedge floret baton strip cube chunk dice slice stick ring ribbon matchstick round disc finger spear".split())
WET_CLASSES = ("water", "stock-sauce", "milk", "drinks", "alcohol", "cream-yogurt")
CONDIMENTS = set("mustard paste ketchup mayonnaise mayo vinegar pesto tamari relish chutney pickle harissa miso tapenade cube granule powder salsa dressing".split())
CONDIMENT_SAUCES = set("soy worcestershire fish oyster hoisin chilli chili hot teriyaki mint horseradish brown sriracha pepper barbecue bbq tartare".split())
GROUPS = {
    "vegetable": ("leafy-greens", "roots", "potatoes", "sweet-potatoes", "tomatoes", "other-vegetables", "mushrooms"),
    "veg": ("leafy-greens", "roots", "potatoes", "sweet-potatoes", "tomatoes", "other-vegetables", "mushrooms"),
    "veggie": ("leafy-greens", "roots", "potatoes", "sweet-potatoes", "tomatoes", "other-vegetables", "mushrooms"),
    "root": ("roots",), "green": ("leafy-greens",), "meat": ("beef", "lamb", "pork", "bacon-ham", "sausage", "chicken", "turkey", "liver"),
    "mince": ("beef", "lamb", "pork", "turkey"), "rind": ("pork", "bacon-ham"), "steak": ("beef",), "chop": ("pork", "lamb"), "bird": ("chicken", "turkey"),
    "fish": ("lean-fish", "oily-fish"), "fillet": ("lean-fish", "oily-fish"), "prawn": ("shellfish",), "seafood": ("shellfish",),
    "pasta": ("pasta",), "spaghetti": ("pasta",), "noodle": ("noodles",), "rice": ("rice",), "grain": ("grains",),
    "bean": ("legumes-dried", "legumes-cooked"), "pulse": ("legumes-dried", "legumes-cooked"), "lentil": ("legumes-dried",),
    "joint": ("beef", "lamb", "pork", "bacon-ham", "chicken", "turkey"), "flesh": ("lean-fish", "oily-fish"), "breast": ("chicken", "turkey"),
    "thigh": ("chicken", "turkey"), "drumstick": ("chicken", "turkey"), "herb": ("herbs-spices",), "spice": ("herbs-spices",), "seasoning": ("herbs-spices", "salt"), "aromatics": ("other-vegetables", "herbs-spices"),
    "oil": ("fats-oils",), "fat": ("fats-oils",), "stock": ("stock-sauce",), "wine": ("alcohol",), "alcohol": ("alcohol",),
    "fruit": ("fruit", "citrus", "dried-fruit"), "berry": ("fruit",), "nut": ("nuts-seeds",), "seed": ("nuts-seeds",),
    "beef": ("beef",), "lamb": ("lamb",), "pork": ("pork", "bacon-ham"), "chicken": ("chicken",), "turkey": ("turkey",), "sausage": ("sausage",),
    "potato": ("potatoes",), "spud": ("potatoes",), "chip": ("potatoes",), "mushroom": ("mushrooms",), "tomato": ("tomatoes",), "floret": ("other-vegetables", "leafy-greens"), "bread": ("bread",), "crumb": ("bread",), "breadcrumb": ("bread",), "shrimp": ("shellfish",),
    "egg": ("eggs",), "cheese": ("cheese",), "flour": ("flour",), "sugar": ("sugars",), "milk": ("milk",),
}
IN_FLORETS = {"cauliflower", "broccoli", "romanesco"}
GROUP_PAIRS = {"dry things": ("flour", "sugars", "salt", "herbs-spices", "grains"), "dry ingredients": ("flour", "sugars", "salt", "herbs-spices"), "wet ingredients": ("eggs", "milk", "fats-oils", "cream-yogurt")}
VESSEL_WORDS = set("""sauce soup stew curry mixture mix batter dough filling topping dressing marinade mash crumble custard glaze
gravy broth stock liquor liquid ragu ragout casserole chilli dal dahl risotto base content syrup pastry pan pot meatball burger patty fishcake dumpling
pancake kofta ball parcel fritter cake loaf muffin scone biscuit kebab skewer tart quiche omelette frittata pie crumb paste""".split())


@dataclass(frozen=True)
class Line:
    """What the reading needs to know of one ingredient line."""

    line_id: str
    phrase: str
    cooking_class: str
    section: str = ""
    serve: bool = False
    cooked_already: bool = False
    words: frozenset = field(default=frozenset())
    head: str = ""
    full_name: bool = False  # the method calls it by more than its last word ("the icing sugar")
    pieces: frozenset = field(default=frozenset())  # what the line says it is cut into: "the wedges"


def is_liquid(line: Line) -> bool:
    """Whether the line is a liquid that things cook in: not soy sauce, mustard or another condiment."""
    if line.head == "juice" and line.cooking_class == "fruit":
        return True
    return line.cooking_class in WET_CLASSES and not (line.cooking_class == "stock-sauce" and (
        line.head in CONDIMENTS or line.head == "sauce" and line.words & CONDIMENT_SAUCES))


@dataclass
class Mentions:
    """The lines that a piece of text names: by name, by a group word; and the words for
    "it", "the sauce", "everything", "the rest"."""

    direct: list[int] = field(default_factory=list)
    group: list[int] = field(default_factory=list)
    pronoun: bool = False
    pronoun_first: bool = False  # "mash them with the butter": they and the butter
    vessel: str = ""
    everything: bool = False
    rest: bool = False
    both: bool = False  # "drain both": what was spoken of, and what before that
    again: list[int] = field(default_factory=list)  # "the rest of the flour": another part of it
    spared: list[int] = field(default_factory=list)  # "except the bread"

    def lines(self) -> list[int]:
        return list(dict.fromkeys([*self.direct, *self.group]))


def singular(word: str) -> str:
    """A word in the singular, roughly; the same spelling for both numbers is what matters."""
    for end, new in (("ies", "y"), ("oes", "o"), ("ches", "ch"), ("shes", "sh"), ("sses", "ss"), ("eaves", "eaf"), ("alves", "alf"),
                     ("aves", "af")):
        if word.endswith(end) and len(word) > len(end) + 1:
            return word[: -len(end)] + new
    if word.endswith("s") and not word.endswith(("ss", "us", "is", "couscous", "asparagus")) and len(word) > 3:
        return word[:-1]
    return word


def _plain_words(text: str) -> list[str]:
    return re.findall(r"[a-zà-ÿ0-9]+(?:[-'’][a-zà-ÿ]+)*", text.lower())


def line_of(line_id: str, phrase: str, cooking_class: str, section: str = "", serve: bool = False, cooked_already: bool = False,
            preparation: str = "") -> Line:
    """A :class:`Line` with the words it can be called by; the head is the last noun of its phrase, the pieces are those of its preparation."""
    main = re.split(r",|\(|(?<![\w-])(?:for|with|in)(?![\w-])", phrase.lower())[0] or phrase.lower()
    named = [singular(word) for word in _plain_words(main) if not word[0].isdigit()]
    nouns = [word for word in named if word not in STOP_WORDS]
    words = frozenset(nouns)
    heads = [word for word in nouns if word not in ADJECTIVES and word not in FORM_WORDS] or nouns
    pieces = frozenset(map(singular, _plain_words(preparation))) & PIECES
    return Line(line_id, phrase, cooking_class, section.lower(), serve, cooked_already, words, heads[-1] if heads else "", pieces=pieces)


EVERYTHING = re.compile(r"\b(?:everything(?! else)|the (?:whole )?(?:lot|shebang)|all (?:of )?(?:the |these |your )?(?:other )?ingredients|all together|(?<!with )the ingredients|(?:it|them) all(?! (?:over|around|round|the)\b))\b")


BOTH = re.compile(r"^\s*(?:up |off )?both\b(?! (?:sides|ends|of (?:the|them)|the|with|in)\b)")
ANOTHER_PART = re.compile(r"\b(?:rest of (?:the|your)|remaining|other half(?: of the)?|leftover|last of the)\s((?:[\w-]+\s?){1,2})")


def mentions(text: str, lines: list[Line]) -> Mentions:
    """Which lines ``text`` names (indices into ``lines``)."""
    found = Mentions()
    kept, left_out = (re.split(r"\b(?:except(?: for)?|apart from|other than|but not|bar)\b", text, maxsplit=1) + [""])[:2]
    found.everything = bool(EVERYTHING.search(kept))
    found.rest = bool(re.search(r"\b(?:(?:remaining|rest of the|other) (?:\w+ )?ingredients|everything else|the rest\b(?! of))", kept))
    found.pronoun = bool(re.search(r"\b(?:it|them|they|these|this|both)\b", kept))
    found.both = bool(BOTH.search(kept))
    found.pronoun_first = bool(re.match(r"\s*(?:all of )?(?:it|them|these|this|both)\b(?! [a-z]+ of\b)", kept))
    for name, classes in GROUP_PAIRS.items():
        if name in kept:
            found.group += [n for n, line in enumerate(lines) if line.cooking_class in classes]
    seasoning = bool(re.search(r"\bsalt\b|\bseason", kept))
    for chunk in _chunks(kept):
        _name(chunk, lines, found, seasoning)
    for part in ANOTHER_PART.finditer(kept):
        other = Mentions()
        for chunk in _chunks(part.group(1)):
            _name(chunk, lines, other, seasoning)
        found.again += [n for n in other.direct if n in found.lines()]
    if left_out:
        found.spared = spared = mentions(left_out, lines).lines()
        found.direct = [n for n in found.direct if n not in spared]
        found.group = [n for n in found.group if n not in spared]
        if found.everything:
            found.everything = False
            found.group += [n for n in range(len(lines)) if n not in spared]
    return found


def _chunks(text: str) -> list[list[str]]:
    """Runs of content words, as written."""
    chunks = []
    for part in re.split(r"[,.:;()–—]|\band\b|\bor\b|&|\+", text):
        run: list[str] = []
        for word in _plain_words(part):
            if word in STOP_WORDS or word[0].isdigit():
                if run:
                    chunks.append(run)
                run = []
            else:
                run.append(word)
        if run:
            chunks.append(run)
    return chunks


def _name(chunk: list[str], lines: list[Line], found: Mentions, seasoning: bool) -> None:
    words = [singular(word) for word in chunk]
    if set(words) <= PIECES and (cut := [n for n, line in enumerate(lines) if words[-1] in line.pieces]):  # "the wedges"
        found.group += cut
        return
    while words:
        head = words[-1]
        if not any(head in line.words for line in lines) and any(ALIASES.get(head) in line.words for line in lines):
            words[-1] = head = ALIASES[head]
        scores = _scores(words, lines)
        best = max(scores.values(), default=0.0)
        if best < 1 and head in GROUPS and (head != "rind" or len(words) == 1) and (members := [n for n, line in enumerate(lines) if _of_group(line, head)]):
            found.group += members
            return
        bought = best >= 1 and len(words) == 1 and all(lines[n].full_name for n in scores)  # "the sauce" beside a soy sauce
        if head in VESSEL_WORDS and (bought or best < 1 and not (best and (len(words) > 1 or head == "chilli"))):
            found.vessel = found.vessel or head
            if head not in ("mixture", "mix", "sauce") or len(words) == 1:
                return
            words = words[:-1]  # "the cream mixture": the cream and what is with it
            continue
        if best > 0 and (head not in ADJECTIVES or len(words) > 1 or best >= 2):
            chosen = _peppers([n for n, score in scores.items() if score == best], chunk, lines, seasoning)
            plural = chunk[-1] != head
            (found.direct if len(chosen) == 1 or plural else found.group).extend(chosen)
            return
        says_form = head in FORM_WORDS or head in ADJECTIVES or head.endswith(("ly", "ing"))
        words = words[:-1] if says_form else _drop_head(words, lines)


def _of_group(line: Line, head: str) -> bool:
    """Whether a group word means the line: "the vegetables" are no salad, "the oil" is no mayonnaise."""
    if head == "floret" and not line.words & IN_FLORETS:
        return False
    spread = head in ("oil", "fat") and line.head in CONDIMENTS
    return line.cooking_class in GROUPS[head] and not line.words & SALAD_WORDS and not spread


def _scores(words: list[str], lines: list[Line]) -> dict[int, float]:
    """How well the words name each line that has the last of them; what is for the table, and a
    line that the method calls by its full name elsewhere, come after the others."""
    head = words[-1]
    scores = {n: _score(words, head, line) for n, line in enumerate(lines) if head in line.words}
    for later in (lambda line: line.serve, lambda line: line.full_name and len(words) == 1):
        if any(score > 0 and not later(lines[n]) for n, score in scores.items()):
            scores = {n: score for n, score in scores.items() if not later(lines[n])}
    return scores


def called_in_full(lines: list[Line], text: str) -> list[Line]:
    """The lines, each with whether ``text`` (the whole method) calls it by more than its last word."""
    return [replace(line, full_name=_in_full(line, text.lower())) for line in lines]


def _in_full(line: Line, text: str) -> bool:
    others = [word for word in line.words if word != line.head]
    return bool(line.head) and any(re.search(rf"\b{re.escape(word)}\w*\s+(?:[\w-]+\s+)?{re.escape(line.head)}", text) for word in others)


def _drop_head(words: list[str], lines: list[Line]) -> list[str]:
    """"chicken pieces brown": an unknown last word hides the food before it only when that is its head."""
    rest = words[:-1]
    return rest if rest and any(rest[-1] == line.head for line in lines) else rest[:-1]


def _score(words: list[str], head: str, line: Line) -> float:
    shared = sum(word in line.words for word in words)
    if head == line.head:
        return 2.0 + shared - 0.1 * len(line.words - set(words))
    if line.head in DERIVED_HEADS and line.head not in words:
        return 0.3 if head not in ADJECTIVES else 0.0
    return float(shared) - 0.1 * len(line.words - set(words))


def _peppers(chosen: list[int], chunk: list[str], lines: list[Line], seasoning: bool) -> list[int]:
    """"Pepper" is a spice beside salt, and a vegetable otherwise."""
    if len(chosen) < 2 or chunk[-1] not in ("pepper", "peppers"):
        return chosen
    spice = [n for n in chosen if lines[n].cooking_class == "herbs-spices"]
    other = [n for n in chosen if n not in spice]
    return (spice or other) if seasoning else (other or spice)
