"""The words of a method: sentences, clauses with their verb, and minutes.

Everything here works on plain text and small tuples; what happens in the pots is in
:mod:`pipeline.stages.cook_reading`. The vocabulary is ``mappings/cooking_verbs.csv``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import lru_cache

import pandas as pd

from pipeline.stages.cook_saying import OVEN_BY_DEGREES, plainly

NUMBER = r"(?:\d+\s+\d+\s*/\s*\d+|\d+\s*/\s*\d+|\d+(?:\.\d+)?(?:\s*[½¼¾⅓⅔])?|[½¼¾⅓⅔])"
FRACTIONS = {"½": 0.5, "¼": 0.25, "¾": 0.75, "⅓": 1 / 3, "⅔": 2 / 3}
SPELT = {"half an": "0.5", "half a": "0.5", "an hour and a half": "1.5 hour", "one and a half": "1.5", "a couple of": "2",
         "a few": "3", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6", "eight": "8",
         "ten": "10", "twelve": "12", "fifteen": "15", "twenty": "20", "thirty": "30", "an": "1", "a": "1", "another": "1"}
TIME = re.compile(rf"({NUMBER})(?:\s*(?:-|–|to|or)\s*({NUMBER}))?\s*-?\s*(hours?|hrs?|h|minutes?|mins?|min|m|seconds?|secs?)\b")
SPELT_TIME = re.compile(r"\b(" + "|".join(sorted(SPELT, key=len, reverse=True)) + r")\s+(hours?|minutes?|mins?|seconds?)\b")
BARE_MINUTES = re.compile(r"\b(?:for|give (?:it|them)) (?:another|a further|about|around|the (?:last|final)|a final)\s(\d+)(?:\s?(?:-|–|to)\s?\d+)?(?:\s(?:more|or so))?\s*(?=$|[,.;:]|and\b|then\b|until\b|till\b)")  # "for another 3": minutes
MINUTES_IN = {"h": 60.0, "m": 1.0, "s": 1 / 60}
OVERNIGHT_MINUTES = 480.0
OVERNIGHT = re.compile(r"\bovernight\b|\bnight before\b|\b(?:till|until) (?:the )?(?:next )?morning\b|\ball night\b")

# A phrase of the vocabulary that starts with one of these says where or how, not what to do.
PLACE_STARTS = {"in", "into", "under", "on", "over", "to", "with", "of", "off", "from", "is", "are", "been", "has", "have",
                "until", "boiling", "simmering", "salted", "without", "by", "away", "hot", "kept", "itself", "not"}
BEFORE_VERB = {"and", "then", "or", "to", "now", "next", "meanwhile", "first", "just", "also", "you", "can", "will", "should",
               "must", "once", "again", "but", "finally", "afterwards", "later", "carefully", "it", "them", "before", "minutes",
               "minute", "mins", "well", "please", "together", "soft", "tender", "simply", "may", "not", "instead"}
NOT_BEFORE_VERB = {"the", "a", "an", "your", "high", "medium", "low", "gentle", "hot", "of", "for", "with", "preheated", "this",
                   "rolling", "fierce", "moderate", "brisk", "lively", "steady", "lowest", "gentlest", "highest", "full", "direct", "residual", "moderately", "some", "any", "more", "extra", "their", "its", "each", "every", "cold", "fresh", "no", "in", "on"}
NEGATIONS = re.compile(r"\b(?:not|don't|don’t|never|without|avoid|no need to|rather than|instead of)(?:\s+\w+){0,2}\s*$")
STATE_CLAUSE = re.compile(r"\b(?:until|till|so that|so they|so it|while|before(?! (?:the end|serving|eating)\b)|ready to|which|that have|making sure|taking care)\b[^,;:.]*")
LEAD_CLAUSE = re.compile(r"^(?:when|once|after|while|as soon as|as|if|about|\d+ minutes before)\b[^,]*,")


# Covers and lids are no vessels, a Dutch oven is no oven; blanked before a sentence is read.
COVERING = re.compile(r"\bwith (?:an?|the|its|their|some)?\s*(?:[\w-]+ ){0,2}(?:plate|lid|foil|film|towel|paper|cloth)(?: on)?\b|\blid on\b|\bdutch oven\b")
# "under a moderate grill", "in a very hot oven": the words between do not change what is done.
APPLIANCE = re.compile(r"\b(in|into|under|on|onto|to|over) (an?|the|your) ((?:(?!(?:and|or|with|of|then|the|an?)\b)[\w-]+\s+){1,3})"
                       r"(oven|grill|broiler|frying pan|skillet|wok|griddle|griddle pan|steamer|barbecue|microwave)\b")
# "into a large pot of gently simmering water"
PAN_OF = re.compile(r"\b(?:an?|the|your) (?:(?:large|big|deep|wide|small|medium|separate|second|lidded|heavy|good-sized|full|rolling)[- ]?(?:sized )?)*(?:pan|saucepan|pot|pans|pots) of (?:gently |rapidly |barely |fast[- ]|lightly |just |salted |furiously )*(boiling|simmering)(?: salted)? water\b")
# Words for something to do that are also foods or things: instructions only before a determiner.
NOUN_VERBS = {"flour", "butter", "oil", "core", "zest", "peel", "season", "crumb", "skin", "shell", "top", "roast", "stew", "quarter", "plate", "pulse",
              "process", "cream", "steam", "stuff", "casserole", "steep", "stock", "salt", "dice", "slice", "grill", "barbecue", "toast", "strip", "brown", "cream together", "puree", "purée"}
DETERMINED = re.compile(r"\s+(?:the|an?|them|it|your|each|both|all|off|in|with|over|for|at|until|under|on|all|well|again|and set|alongside|beside|next to|together|everything|\w+ly|\d+|half|some|any|open|uncovered|covered|whole|directly|skin|straight)\b|\s*$|\s*,")
FOODS_AS_VERBS = {"flour", "butter", "oil", "cream", "stock", "salt", "pepper", "sugar"}
FOOD_DETERMINED = re.compile(r"\s+(?:the|an?|them|it|your|each|both)\b")
THE_AND = re.compile(r"\b[a-z]+ the [\w-]+ and$")  # "warm the milk and" cream together
A_VESSEL = re.compile(r"\b(?:an?|the|your)\s+(?:(?:big|large|small|medium|deep|heavy|clean|shallow|wide|lidded|flameproof)(?:-\w+)?\s+)+$")
# A sentence that starts so has no instruction there.
NO_IMPERATIVE = re.compile(r"\s*(?:in|on|with|for|to|at|by|from|over|under|using|until|if|as|when|while|once|after|before|as soon|about|meanwhile|now|then|next|"
                           r"finally|once|the|an?|this|these|it|they|you|i|we|my|our|oven|meantime|let|leave|allow|keep|just|off|last|lastly|first|ok|so|don|do|this|that|there|"
                           r"one|two|three|four|five|six|eight|ten|twelve|fifteen|twenty|thirty|half|\d+)\b")
# "While that cooks, cube the bread": an instruction may follow.
FIRST_WORD = re.compile(r"\s*([a-zà-ÿ'-]+),?\s+\S")
LEAD_WORDS = re.compile(r"(?:when|once|after|while|as soon as|as|if|about|\d+ minutes before)\b[^,]*,|(?:meanwhile|in the meantime|next|then|now|finally|first|lastly)\b,?")

HEATS = ("boil", "simmer", "steam", "fry", "stir-fry", "bake", "grill", "microwave", "cook")
# Patterns of a clause: what it is put into, for how long it cooks, which water is meant.
CONTAINER = r"\s+(?:[\w-]+\s+){0,3}(?:dish|tin|tray|sheet|casserole|bowl|jug|ramekins?|plate|processor|slow cooker)\b"
NEW_CONTAINER = re.compile(r"\b(?:an?|another)" + CONTAINER)
THE_CONTAINER = re.compile(r"\bthe" + CONTAINER.replace("casserole|", ""))
PURPOSE = re.compile(r"(?<!ingredients )\bfor the (?:[\w-]+ )?(?:sauce|filling|topping|top|base|dressing|marinade|mash|crust|batter|gravy)\b")
DESTINATION = re.compile(r"\s(?:to(?=\s(?:the|an?|your|each|this|that|it|them|one|bowls?|plates?|warm|serving|\w+ (?:pan|pot|bowl|dish))\b)|into|onto|over|round|around|among|amongst|alongside|beside|in with|on top of|on|through)\s(?!the boil\b|taste\b|serve\b|a boil\b|medium|a medium|a low|a high|a gentle|low heat|high heat)")
COOKS_UNTIL = re.compile(r"\b(?:until|so)\b.*\b(?:wilt\w*|soft\w*|tender|golden|brown\w*|thick\w*|melt\w*|cooked|sets?|hot|bubbl\w*|reduc\w*|transparent|translucent|smooth|boil\w*|sticky|creamy|plump|al dente|swollen|crisp\w*|collapse\w*|pink|opaque)\b")
TAP_WATER = re.compile(r"(?<!ml )(?<!litre )(?<!litres )(?<!l )(?<!g )\b(?:in|into|of|with|to|over)\s+(?:a\s+\w+\s+of\s+)?(?:plenty of |lots of |lightly |unsalted |rapidly |just enough |enough |some )*(?:(?:fresh|cold|hot|warm|salted|boiling|simmering|clean)\s+)*water\b")
FAT_ON = re.compile(r"^\s(?:the|any|all|its|their) (?:excess )?(?:fat|rind|skin|edges?) (?:on|of|around|along|from|off)(?= (?:the|each)\b)")  # "snip the fat on the gammon"
FAT_OF_MEAT = re.compile(r"\b(?:over|off|from|through) (?:the |any |all |excess |of )*fat\b|^ (?:the |any |all |excess |of )*fat\b(?= from\b)|\bin (?:the |its |their )(?:\w+ )?fat (?:left|remaining|that|from|in the)\b[^,.]*")  # not a line
RINSED_OUT = re.compile(r"\b(?:half[- ])?fill(?:ing)? (?:the|each|one) (?:empty )?(?:tin|can|jar)s?\b")  # no dish: its water goes in
POURED = re.compile(r"\b(?:throwing|pouring|tipping|discarding|changing)\b[^,.]*\bwater\b")
MIXES = ("mix", "whisk", "beat", "combine", "mix together", "whisk together", "cream", "beat together", "rub", "make", "make up", "marinate", "marinade", "sift", "whip",
         "stir together", "toss together", "shake", "knead", "rub together", "sift together", "mash", "blend")
ONTO = ("top", "dot", "dress", "finish", "sprinkle", "scatter", "drizzle", "cover", "coat", "brush", "season", "garnish", "spread", "layer", "fill", "stuff", "stud")
# "Season everything", "toss everything": what is there already. "Put everything in the slow cooker" is all that is left, too.
WORKS_ON_ALL = ("season", "toss", "stir", "cover", "coat", "drizzle", "brush", "turn", "pour", "pour over", "sprinkle", "serve", "top", "dress", "baste", "divide", "taste", "check",
                "remove", "lift", "take", "take out", "drain", "return", "warm", "warm through", "heat through", "reheat", "keep warm", "finish")
COATS = ("toss", "coat", "dredge", "dust", "rub", "season", "massage", "marinate", "marinade")


@dataclass(frozen=True)
class Phrase:
    """One row of the vocabulary; ``place`` when it says where or how."""

    phrase: str
    method: str
    liquid: str

    @property
    def place(self) -> bool:
        return self.phrase.split()[0] in PLACE_STARTS and self.method != "serve" and not self.phrase.startswith("in go")


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
    if not seen and (bare := BARE_MINUTES.search(lower)):
        return float(bare.group(1))
    if not seen and OVERNIGHT.search(lower):
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
        lower = COVERING.sub(_blank, re.sub(r"\([^)]*\)", _blank, plainly(sentence.lower())))
        lower = PAN_OF.sub(lambda found: f"a pan of {found.group(1)} water".rjust(len(found.group())), APPLIANCE.sub(_plain_appliance, lower))
        verbs, places = [], []
        for found in self.pattern.finditer(lower):
            phrase = self.phrases[re.sub(r"\s+", " ", found.group())]
            if phrase.place:
                places.append((found.start(), phrase))
            elif self._acts(lower, found.start(), first=not verbs) and not self._is_thing(lower, found, phrase, first=not verbs):
                verbs.append((found.start(), found.end(), phrase))
        if not verbs:
            return self._bare(sentence, lower, places) or self._topic(sentence, lower, places)
        lead = lower[: verbs[0][0]]
        result = self._topic(sentence, lead, places)
        for number, (start, end, phrase) in enumerate(verbs):
            stop = verbs[number + 1][0] if number + 1 < len(verbs) else len(lower)
            inside = tuple(p for at, p in places if (start <= at < stop) or (number == 0 and at < start))
            text = lower[end:stop]
            if phrase.method in HEATS and text.strip() in ("and", "&") and number + 1 < len(verbs):  # "boil and drain the potatoes"
                text = lower[verbs[number + 1][1]:verbs[number + 2][0] if number + 2 < len(verbs) else len(lower)]
            minutes = minutes_in(text)
            if number == 0 and minutes != minutes and not LEAD_CLAUSE.match(lead):
                minutes = minutes_in(lead)
            if number == 0 and phrase.method not in (*HEATS, "soak") and (bare := self._bare_lead(sentence, lead, places)):
                result, inside, lead, minutes = [bare], tuple(p for at, p in places if start <= at < stop), "", minutes_in(text)
            result.append(Clause(phrase, text, lead if number == 0 else "", inside, minutes, sentence))
        return _without_heading(result)

    @staticmethod
    def _is_thing(lower: str, found: re.Match, phrase: Phrase, first: bool) -> bool:
        """Whether a word that is also a thing ("flour", "roast") is meant as the thing."""
        started = lower[: found.start()].rstrip()
        if phrase.phrase == "seal":  # an edge or a bag, not meat
            return bool(re.match(r"\s*(?:$|[,.]|and\b|the (?:edges?|parcels?|bag|ends?)|well|up|tightly|in\b)", lower[found.end():]))
        if phrase.phrase not in NOUN_VERBS or not started or started[-1] in ":–—" or first and started[-1] == ",":  # "meanwhile, steam leeks"
            return False
        if phrase.phrase in ("puree", "purée"):  # "add the tomatoes, puree and beans"
            return bool(re.search(r"\bthe [\w-]+(?: [\w-]+)?,$|\b(?:tomato|garlic|ginger|chestnut|pumpkin|apple|fruit|onion)$", started))
        if phrase.phrase == "cream together":
            return bool(THE_AND.search(started))
        listed = started[-1] == "," or bool(re.search(r"\b(?:and|or)$", started))
        follows = FOOD_DETERMINED if phrase.phrase in FOODS_AS_VERBS else DETERMINED
        return listed and not follows.match(lower[found.end():])

    def _topic(self, sentence: str, lead: str, places) -> list[Clause]:
        """An instruction whose verb the vocabulary lacks ("stud the lamb with garlic"): what it names is at hand now."""
        begins = LEAD_WORDS.match(lead)
        start = begins.end() if begins else 0
        word = FIRST_WORD.match(lead, start)
        if word is None or NO_IMPERATIVE.match(lead[start:]) or begins and not FOOD_DETERMINED.match(lead[word.end(1):]):
            return []
        inside = tuple(phrase for at, phrase in places if at < len(lead))
        return [Clause(Phrase(word.group(1), "unknown", ""), lead[word.end(1):], "", inside, minutes_in(lead), sentence)]

    @staticmethod
    def _bare_lead(sentence: str, lead: str, places) -> Clause | None:
        """ "The potatoes: 15 minutes in boiling water, drain": what cooks before the first verb; None when nothing does."""
        heated = tuple(phrase for at, phrase in places if at < len(lead) and phrase.method in HEATS)
        minutes = minutes_in(lead)
        if not heated or minutes != minutes or LEAD_CLAUSE.match(lead) or re.match(r"\s*\w+ing\b", lead):
            return None
        return Clause(Phrase("", "cook", ""), lead, "", heated, minutes, sentence)

    def _acts(self, lower: str, start: int, first: bool) -> bool:
        """Whether a verb found at ``start`` is an instruction, not a noun or a state."""
        before = lower[:start].rstrip()
        if not before or before[-1] in ",:–—-(":
            return not _in_state_clause(lower, start) if before else True
        if NEGATIONS.search(before) or A_VESSEL.search(lower[:start]):
            return False
        word = re.search(r"[\w’'-]+$", before)
        word = word.group() if word else ""
        if word == "or" or (word in NOT_BEFORE_VERB):
            return False
        if _in_state_clause(lower, start):
            return word in ("and", "then") and not re.search(r"\b(?:ready|time|start\w*|begin\w*|comes?|able)\s*$", before)
        return word in BEFORE_VERB or word.endswith("ly") or first

    def _bare(self, sentence, lower, places) -> list[Clause]:
        if OVEN_BY_DEGREES.match(lower):
            return [Clause(self.phrases["bake"], lower, "", tuple(p for _, p in places), minutes_in(lower), sentence)]
        if not any(phrase.method not in ("", "water", "off") for _, phrase in places):
            return []
        return [Clause(Phrase("", "cook", ""), lower, "", tuple(p for _, p in places), minutes_in(lower), sentence)]


def _without_heading(clauses: list[Clause]) -> list[Clause]:
    """ "Boil the yams: put them in a pan of water ...": the first clause only says what the others do."""
    first, *others = clauses
    cooks = first.verb.method in (*HEATS, "soak") and re.fullmatch(r"[^,.:]{0,60}:\s*", first.text)
    if not cooks or not any(clause.verb.method in HEATS or any(place.method in HEATS for place in clause.places) for clause in others):
        return clauses
    return [replace(first, verb=replace(first.verb, method="prepare")), *others]


def _blank(found: re.Match) -> str:
    """As many spaces, so that positions stay."""
    return " " * len(found.group())


def _plain_appliance(found: re.Match) -> str:
    """ "In a very hot oven" as "in the oven", as long as before."""
    a_pan = found.group(2).startswith("a") and found.group(4).endswith(("pan", "skillet", "wok"))
    return f"{found.group(1)} {'a' if a_pan else 'the'} {found.group(4)}".rjust(len(found.group()))


def _in_state_clause(lower: str, start: int) -> bool:
    return any(found.start() < start <= found.end() for found in STATE_CLAUSE.finditer(lower))


@lru_cache(maxsize=4)
def _vocabulary(rows: tuple) -> Vocabulary:
    return Vocabulary(pd.DataFrame(rows, columns=["phrase", "method", "liquid"]))


def vocabulary(verbs: pd.DataFrame) -> Vocabulary:
    """The :class:`Vocabulary` of ``mappings/cooking_verbs.csv`` (made once per content)."""
    return _vocabulary(tuple(verbs[["phrase", "method", "liquid"]].itertuples(index=False, name=None)))


def without_states(text: str) -> str:
    """The text without what should come about ("until the leeks are soft")."""
    return STATE_CLAUSE.sub(" ", text)
