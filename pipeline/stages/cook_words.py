"""The words of a method: sentences, clauses with their verb, minutes, and which
ingredient lines a clause names.

Everything here works on plain text and small tuples; what happens in the pots is in
:mod:`pipeline.stages.cook_reading`. The vocabulary is ``mappings/cooking_verbs.csv``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

import pandas as pd

NUMBER = r"(?:\d+\s+\d+\s*/\s*\d+|\d+\s*/\s*\d+|\d+(?:\.\d+)?(?:\s*[½¼¾⅓⅔])?|[½¼¾⅓⅔])"
FRACTIONS = {"½": 0.5, "¼": 0.25, "¾": 0.75, "⅓": 1 / 3, "⅔": 2 / 3}
SPELT = {"half an": "0.5", "half a": "0.5", "an hour and a half": "1.5 hour", "one and a half": "1.5", "a couple of": "2",
         "a few": "3", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6", "eight": "8",
         "ten": "10", "twelve": "12", "fifteen": "15", "twenty": "20", "thirty": "30", "an": "1", "a": "1", "another": "1"}
TIME = re.compile(rf"({NUMBER})(?:\s*(?:-|–|to|or)\s*({NUMBER}))?\s*-?\s*(hours?|hrs?|h|minutes?|mins?|min|m|seconds?|secs?)\b")
SPELT_TIME = re.compile(r"\b(" + "|".join(sorted(SPELT, key=len, reverse=True)) + r")\s+(hours?|minutes?|mins?|seconds?)\b")
MINUTES_IN = {"h": 60.0, "m": 1.0, "s": 1 / 60}
OVERNIGHT_MINUTES = 480.0

# A phrase of the vocabulary that starts with one of these says where or how, not what to do.
PLACE_STARTS = {"in", "into", "under", "on", "over", "to", "with", "of", "off", "from", "is", "are", "been", "has", "have",
                "until", "boiling", "simmering", "salted", "without", "by", "away", "hot", "kept", "itself", "not"}
BEFORE_VERB = {"and", "then", "or", "to", "now", "next", "meanwhile", "first", "just", "also", "you", "can", "will", "should",
               "must", "once", "again", "but", "finally", "afterwards", "later", "carefully", "it", "them", "before", "minutes",
               "minute", "mins", "well", "please", "together", "soft", "tender", "simply", "may", "not", "instead"}
NOT_BEFORE_VERB = {"the", "a", "an", "your", "high", "medium", "low", "gentle", "hot", "of", "for", "with", "preheated", "this",
                   "rolling", "some", "any", "more", "extra", "their", "its", "each", "every", "cold", "fresh", "no", "in", "on"}
NEGATIONS = re.compile(r"\b(?:not|don't|don’t|never|without|avoid|no need to|rather than|instead of)(?:\s+\w+){0,2}\s*$")
STATE_CLAUSE = re.compile(r"\b(?:until|till|so that|so they|so it|while|before|ready to|which|that have|making sure|taking care)\b[^,;.]*")
LEAD_CLAUSE = re.compile(r"^(?:when|once|after|while|as soon as|as|if|about|\d+ minutes before)\b[^,]*,")
STOP_WORDS = set("""a an the and or of in into with to on onto over for from at by up out off it its them they this these those then
all both each half quarter third some few little bit more most other another one two three four pan pot saucepan frying wok tray dish
bowl tin casserole oven plate lid heat hob large small big medium deep shallow wide heavy non-stick separate same clean hot cold warm
minute minutes hour hours min mins second seconds side sides time about around further gently well just until as so if when well-oiled
before after again back together through piece handful pinch splash drop spoonful teaspoon tablespoon tbsp tsp gram g ml kg level
heaped dash glug knob plenty kettle degree gas mark 180c 200c fan side good very is are be been has have you your do not no any still
remaining rest prepared top bottom paper kitchen foil towel film board knife spoon colander sieve everything except""".split())
ADJECTIVES = set("""red green white black yellow brown spring fresh dried dry frozen tinned canned chopped sliced diced crushed grated
cooked raw ground minced lean plain self-raising strong double single whole skimmed semi-skimmed unsalted salted low-salt reduced-salt
olive sunflower vegetable rapeseed sesame soy long-grain basmati sweet ripe baby new old mild hot smoked peeled drained boneless
skinless free-range hard soft light dark caster icing granulated demerara clear runny mixed flat-leaf curly floury waxy large small
medium thick thin fine finely roughly coarse extra virgin toasted boiled soaked softened melted beaten leftover warm cold boiling
washed trimmed shredded reserved remaining little split easy-cook wholemeal bicarbonate baking""".split())
# In these the first word says what it was made from: "chicken" alone does not mean the chicken stock.
DERIVED_HEADS = set("""stock sauce oil powder paste puree purée ketchup juice zest flake seed vinegar milk cream butter cube wine sugar
flour bouillon gravy sherry crumb breadcrumb syrup jam chutney cider water seasoning extract essence""".split())
FORM_WORDS = set("""piece slice cube strip half quarter ring chunk leaf stalk stem stick wedge mixture floret skin fillet breast thigh
clove joint chop cutlet round ribbon spear pod bulb top end tip segment grain contents batter base layer ingredient""".split())
GROUPS = {
    "vegetable": ("leafy-greens", "roots", "potatoes", "sweet-potatoes", "tomatoes", "other-vegetables", "mushrooms"),
    "veg": ("leafy-greens", "roots", "potatoes", "sweet-potatoes", "tomatoes", "other-vegetables", "mushrooms"),
    "veggie": ("leafy-greens", "roots", "potatoes", "sweet-potatoes", "tomatoes", "other-vegetables", "mushrooms"),
    "root": ("roots",), "green": ("leafy-greens",), "meat": ("beef", "lamb", "pork", "bacon-ham", "sausage", "chicken", "turkey", "liver"),
    "mince": ("beef", "lamb", "pork", "turkey"), "steak": ("beef",), "chop": ("pork", "lamb"), "bird": ("chicken", "turkey"),
    "fish": ("lean-fish", "oily-fish"), "fillet": ("lean-fish", "oily-fish"), "prawn": ("shellfish",), "seafood": ("shellfish",),
    "pasta": ("pasta",), "spaghetti": ("pasta",), "noodle": ("noodles",), "rice": ("rice",), "grain": ("grains",),
    "bean": ("legumes-dried", "legumes-cooked"), "pulse": ("legumes-dried", "legumes-cooked"), "lentil": ("legumes-dried",),
    "herb": ("herbs-spices",), "spice": ("herbs-spices",), "seasoning": ("herbs-spices", "salt"), "aromatics": ("other-vegetables", "herbs-spices"),
    "oil": ("fats-oils",), "fat": ("fats-oils",), "stock": ("stock-sauce",), "wine": ("alcohol",), "alcohol": ("alcohol",),
    "fruit": ("fruit", "citrus", "dried-fruit"), "berry": ("fruit",), "nut": ("nuts-seeds",), "seed": ("nuts-seeds",),
    "egg": ("eggs",), "cheese": ("cheese",), "flour": ("flour",), "sugar": ("sugars",), "milk": ("milk",),
}
GROUP_PAIRS = {"dry things": ("flour", "sugars", "salt", "herbs-spices", "grains"), "dry ingredients": ("flour", "sugars", "salt", "herbs-spices"), "wet ingredients": ("eggs", "milk", "fats-oils", "cream-yogurt")}
VESSEL_WORDS = set("""sauce soup stew curry mixture mix batter dough filling topping dressing marinade mash crumble custard glaze
gravy broth ragu ragout casserole chilli dal dahl risotto base content syrup pastry pan pot meatball burger patty fishcake dumpling
pancake kofta ball parcel fritter cake loaf muffin scone biscuit kebab skewer tart quiche omelette frittata pie crumb paste""".split())

# Patterns of a clause: what it is put into, for how long it cooks, which water is meant.
CONTAINER = r"\s+(?:[\w-]+\s+){0,3}(?:dish|tin|tray|sheet|casserole|bowl|jug|ramekins?|plate|processor|slow cooker)\b"
NEW_CONTAINER = re.compile(r"\b(?:an?|another)" + CONTAINER)
THE_CONTAINER = re.compile(r"\bthe" + CONTAINER.replace("casserole|", ""))
PURPOSE = re.compile(r"\bfor the (?:sauce|filling|topping|top|base|dressing|marinade|mash|crust|batter|gravy)\b")
DESTINATION = re.compile(r"\s(?:to|into|onto|over|in with|on top of|on|through)\s(?!the boil\b|taste\b|serve\b|a boil\b|medium|a medium|a low|a high|a gentle|low heat|high heat)")
COOKS_UNTIL = re.compile(r"\b(?:until|so)\b.*\b(?:wilt\w*|soft\w*|tender|golden|brown\w*|thick\w*|melt\w*|cooked|sets?|hot|bubbl\w*|reduc\w*|transparent|translucent|smooth|boil\w*|sticky|crisp\w*|collapse\w*|pink|opaque)\b")
TAP_WATER = re.compile(r"(?<!ml )(?<!litre )(?<!litres )(?<!l )(?<!g )\b(?:in|into|of|with|to)\s+(?:a\s+\w+\s+of\s+)?(?:plenty of |lots of |lightly |unsalted |rapidly |just enough |enough |some )*(?:(?:fresh|cold|hot|warm|salted|boiling|simmering|clean)\s+)*water\b")
POURED = re.compile(r"\b(?:throwing|pouring|tipping|discarding|changing)\b[^,.]*\bwater\b")
MIXES = ("mix", "whisk", "beat", "combine", "mix together", "whisk together", "cream", "beat together", "rub", "make", "marinate", "marinade", "sift", "whip",
         "stir together", "toss together", "knead", "rub together", "sift together", "mash", "blend")
ONTO = ("top", "dot", "dress", "finish", "sprinkle", "scatter", "drizzle", "cover", "coat", "brush", "season", "garnish", "spread", "layer", "fill", "stuff")


@dataclass(frozen=True)
class Phrase:
    """One row of the vocabulary; ``place`` when it says where or how."""

    phrase: str
    method: str
    liquid: str

    @property
    def place(self) -> bool:
        return self.phrase.split()[0] in PLACE_STARTS


@dataclass(frozen=True)
class Clause:
    """One verb with what belongs to it. ``before`` is the lead of the sentence; ``sentence``
    the words as written; ``minutes`` NaN when none are written."""

    verb: Phrase
    text: str
    before: str
    places: tuple[Phrase, ...]
    minutes: float
    sentence: str


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


@dataclass
class Mentions:
    """The lines that a piece of text names: by name, by a group word; and the words for
    "it", "the sauce", "everything", "the rest"."""

    direct: list[int] = field(default_factory=list)
    group: list[int] = field(default_factory=list)
    pronoun: bool = False
    vessel: str = ""
    everything: bool = False
    rest: bool = False

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


def line_of(line_id: str, phrase: str, cooking_class: str, section: str = "", serve: bool = False, cooked_already: bool = False) -> Line:
    """A :class:`Line` with the words it can be called by; the head is the last noun of its phrase."""
    main = re.split(r",|\(|\bfor\b|\bwith\b|\bin\b", phrase.lower())[0] or phrase.lower()
    named = [singular(word) for word in _plain_words(main) if not word[0].isdigit()]
    nouns = [word for word in named if word not in STOP_WORDS]
    words = frozenset(nouns)
    heads = [word for word in nouns if word not in ADJECTIVES and word not in FORM_WORDS] or nouns
    return Line(line_id, phrase, cooking_class, section.lower(), serve, cooked_already, words, heads[-1] if heads else "")


# ---------------------------------------------------------------- sentences and clauses

def minutes_in(text: str) -> float:
    """The minutes a text writes ("10-12 minutes" is 11, "overnight" 480); NaN when none."""
    lower = re.sub(r"(?:°|degrees)\s*[cf]\b|\b\d+\s*°?c\b", " ", text.lower())
    lower = SPELT_TIME.sub(lambda found: f"{SPELT[found.group(1)]} {found.group(2)}", lower)
    total, seen = 0.0, False
    end = -1
    for found in TIME.finditer(lower):
        value = _number(found.group(1))
        if found.group(2):
            value = (value + _number(found.group(2))) / 2
        joined = seen and found.start() - end <= 5 and found.group(3)[0] in "ms"  # "1 hour 20 minutes"
        if seen and not joined:
            continue
        total, seen, end = total + value * MINUTES_IN[found.group(3)[0]], True, found.end()
    if not seen and "overnight" in lower:
        return OVERNIGHT_MINUTES
    return total if seen else float("nan")


def _number(text: str) -> float:
    text = text.strip()
    if "/" in text:
        over, under = text.split("/")
        *whole, part = over.split()
        return sum(map(float, whole)) + float(part) / max(float(under), 1.0)
    whole = sum(FRACTIONS.get(sign, 0.0) for sign in text)
    digits = re.sub(r"[^\d.]", "", text)
    return whole + (float(digits) if digits else 0.0)


def sentences(step: str) -> list[str]:
    """The sentences of a step, split at full stops, semicolons and line ends."""
    return [part.strip() for part in re.split(r"(?<=[a-zA-Z)\]%°’'\"])[.!?](?=\s|$)|(?<=\d)[.!?](?=\s+[A-Z]|\s*$)|[;\n]", step) if part.strip()]


class Vocabulary:
    """The cooking vocabulary: finds its phrases in a sentence, the longest first."""

    def __init__(self, verbs: pd.DataFrame):
        self.phrases = {row.phrase: Phrase(row.phrase, row.method, row.liquid) for row in verbs.itertuples()}
        longest = sorted(self.phrases, key=lambda phrase: (-len(phrase), phrase))
        self.pattern = re.compile(r"(?<![\w-])(?:" + "|".join(re.escape(p).replace(r"\ ", r"\s+") for p in longest) + r")(?![\w-])")

    def clauses(self, sentence: str) -> list[Clause]:
        """The clauses of one sentence, in order; none when it has no word of cooking."""
        lower = re.sub(r"\([^)]*\)", lambda found: " " * len(found.group()), sentence.lower())
        verbs, places = [], []
        for found in self.pattern.finditer(lower):
            phrase = self.phrases[re.sub(r"\s+", " ", found.group())]
            if phrase.place:
                places.append((found.start(), phrase))
            elif self._acts(lower, found.start(), first=not verbs):
                verbs.append((found.start(), found.end(), phrase))
        if not verbs:
            return self._bare(sentence, lower, places)
        lead = lower[: verbs[0][0]]
        result = []
        for number, (start, end, phrase) in enumerate(verbs):
            stop = verbs[number + 1][0] if number + 1 < len(verbs) else len(lower)
            inside = tuple(p for at, p in places if (start <= at < stop) or (number == 0 and at < start))
            text = lower[end:stop]
            minutes = minutes_in(text)
            if number == 0 and minutes != minutes and not LEAD_CLAUSE.match(lead):
                minutes = minutes_in(lead)
            result.append(Clause(phrase, text, lead if number == 0 else "", inside, minutes, sentence))
        return result

    def _acts(self, lower: str, start: int, first: bool) -> bool:
        """Whether a verb found at ``start`` is an instruction, not a noun or a state."""
        before = lower[:start].rstrip()
        if not before or before[-1] in ",:–—-(":
            return not _in_state_clause(lower, start) if before else True
        if NEGATIONS.search(before):
            return False
        word = re.search(r"[\w’'-]+$", before)
        word = word.group() if word else ""
        if word == "or" or (word in NOT_BEFORE_VERB):
            return False
        if _in_state_clause(lower, start):
            return word in ("and", "then") and not re.search(r"\b(?:ready|time|start\w*|begin\w*|comes?|able)\s*$", before)
        return word in BEFORE_VERB or word.endswith("ly") or first

    def _bare(self, sentence, lower, places) -> list[Clause]:
        if not any(phrase.method not in ("", "water", "off") for _, phrase in places):
            return []
        return [Clause(Phrase("", "cook", ""), lower, "", tuple(p for _, p in places), minutes_in(lower), sentence)]


def _in_state_clause(lower: str, start: int) -> bool:
    return any(found.start() < start <= found.end() for found in STATE_CLAUSE.finditer(lower))


@lru_cache(maxsize=4)
def _vocabulary(rows: tuple) -> Vocabulary:
    return Vocabulary(pd.DataFrame(rows, columns=["phrase", "method", "liquid"]))


def vocabulary(verbs: pd.DataFrame) -> Vocabulary:
    """The :class:`Vocabulary` of ``mappings/cooking_verbs.csv`` (made once per content)."""
    return _vocabulary(tuple(verbs[["phrase", "method", "liquid"]].itertuples(index=False, name=None)))


# ---------------------------------------------------------------- what a text names

def without_states(text: str) -> str:
    """The text without what should come about ("until the leeks are soft")."""
    return STATE_CLAUSE.sub(" ", text)


def mentions(text: str, lines: list[Line]) -> Mentions:
    """Which lines ``text`` names (indices into ``lines``)."""
    found = Mentions()
    kept, left_out = (re.split(r"\b(?:except(?: for)?|apart from|other than|but not|bar)\b", text, maxsplit=1) + [""])[:2]
    found.everything = bool(re.search(r"\b(?:everything(?! else)|the lot|all (?:of )?the (?:other )?ingredients|all ingredients|all together)\b", kept))
    found.rest = bool(re.search(r"\b(?:(?:remaining|rest of the|other) (?:\w+ )?ingredients|everything else|the rest\b(?! of))", kept))
    found.pronoun = bool(re.search(r"\b(?:it|them|they|these|this)\b", kept))
    for name, classes in GROUP_PAIRS.items():
        if name in kept:
            found.group += [n for n, line in enumerate(lines) if line.cooking_class in classes]
    seasoning = bool(re.search(r"\bsalt\b|\bseason", kept))
    for chunk in _chunks(kept):
        _name(chunk, lines, found, seasoning)
    if left_out:
        spared = mentions(left_out, lines).lines()
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
    while words:
        head = words[-1]
        scores = {n: _score(words, head, line) for n, line in enumerate(lines) if head in line.words}
        if any(score > 0 and not lines[n].serve for n, score in scores.items()):
            scores = {n: score for n, score in scores.items() if not lines[n].serve}  # what is for the table is named last
        best = max(scores.values(), default=0.0)
        if best < 1 and head in GROUPS and (members := [n for n, line in enumerate(lines) if line.cooking_class in GROUPS[head]]):
            found.group += members
            return
        if best < 1 and head in VESSEL_WORDS and not (best and len(words) > 1):
            found.vessel = found.vessel or head
            if head not in ("mixture", "mix") or len(words) == 1:
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
