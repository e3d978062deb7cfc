"""The pots of a recipe while its method is read: what is together, how hot, in what
liquid; what cooked there; and, at the end, what befell each line.

:mod:`pipeline.stages.cook_reading` moves the lines about; a line's confidence is that of
the weakest link of its reading (``CONFIDENCE``).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

from pipeline.stages.cook_names import Line, Mentions, is_liquid, mentions
from pipeline.stages.cook_water import EATEN, OUTCOMES, SAVED, SAVED_WORDS, implausible, joined
from pipeline.stages.cook_words import Clause

# How often a line is right whose weakest link is this one. Measured, not judged: the counts of
# blind set B (tests/data/method_labels_blind_b.yaml), drawn a little towards first contact with
# set A where B has few lines. "pot": cooked with what is in the pot; "implied": the words leave
# the pot open; "liquid-...": what became of the cooking water; "implausible": see cook_water.implausible.
CONFIDENCE = {
    "named": 0.89, "pot": 0.96, "group": 0.9, "pronoun": 0.95, "implied": 0.35, "raw-named": 0.58, "raw-served": 0.95, "raw-at-end": 0.8,
    "liquid-likely": 0.85, "liquid-unsaid": 0.75, "liquid-saved": 0.3, "implausible": 0.1, "not-mentioned": 0.2, "seasoning-not-mentioned": 0.4, "no-method": 0.2,
    "no-heat": 0.9, "for-the-table": 0.9,  # these two, "no-method" and "liquid-saved" are not in set B: common practice, no source
}
HEATING = ("boil", "simmer", "steam", "fry", "stir-fry", "bake", "grill", "microwave", "soak", "reheat")
WATER_LIKE = ("water",)
BOILED_BY_CUSTOM = ("pasta", "noodles", "rice", "grains", "legumes-dried")
DRAINED_BY_CUSTOM = ("pasta", "noodles", "potatoes", "sweet-potatoes", "roots", "leafy-greens", "other-vegetables", "eggs", "shellfish", "salt",
                     "water", "mushrooms", "tomatoes")
UNCHANGED_BY_HEAT = ("salt", "sugars", "fats-oils", "herbs-spices", "water")
NEW_PAN = re.compile(r"\b(?:an?|another|separate|second|clean)\s+(?:[\w-]+\s+){0,3}(?:pan|saucepan|pot|wok|skillet|frying pan)\b")
OLD_PAN = re.compile(r"\b(?:the|same)\s+(?:[\w-]+\s+){0,2}(?:pan|saucepan|pot|wok|heat|casserole)\b")
FRESH = re.compile(r"\b(?:fresh|clean|new|rins\w+)\b")
JOINS_BY_NAME = {"sauce", "gravy", "custard", "dressing", "mash"}  # "the pasta and the sauce"
SHAPED = {"meatball", "burger", "patty", "fishcake", "dumpling", "pancake", "kofta", "ball", "parcel", "fritter", "cake", "loaf", "muffin",
          "scone", "biscuit", "kebab", "skewer", "tart", "quiche", "omelette", "frittata", "pie", "dressing", "marinade", "topping", "batter",
          "dough", "crumble", "filling", "crumb", "paste"}


@dataclass(eq=False)
class Pot:
    """What is together in one vessel now (``lines``) and ever was; its heat; tap water in it."""

    lines: list[int] = field(default_factory=list)
    heat: str = ""
    water: bool = False
    drained: bool = False
    kept: bool = False  # the words say that its water is not poured off
    ever: set[int] = field(default_factory=set)
    kinds: tuple | None = None  # what is in it, by kind: see Kitchen._kinds

    def put(self, numbers: list[int]) -> None:
        self.lines = list(dict.fromkeys([*self.lines, *numbers]))
        self.ever.update(numbers)

    def forget(self) -> None:
        """Only what is in it now was ever in it: the liquid was poured off, or things were taken out."""
        self.ever, self.kinds = set(self.lines), None


@dataclass(eq=False)
class Event:
    """One cooking of one line."""

    method: str
    minutes: float
    pot: Pot
    rule: str
    words: list[str]
    liquid: str = ""
    hint: str = ""
    held: bool = False  # a liquid of the recipe was in the pot
    cake: bool = False  # with flour and sugar: a batter, not a sauce
    at: int = 0  # the events in order
    fate: str = ""  # what the words say became of its water afterwards: see cook_water


@dataclass(frozen=True)
class Reading:
    """What the method says befell one line. ``steps`` are (method, liquid) in order, ``times``
    their minutes (NaN when not said), ``minutes`` those of the main step;
    ``with_liquid_line``: the pot held a liquid that is itself an ingredient line."""

    line_id: str
    steps: tuple[tuple[str, str], ...]
    minutes: float
    evidence: str
    confidence: float
    reason: str
    with_liquid_line: bool = False
    times: tuple[float, ...] = ()
    rule: str = ""  # the weakest link: a key of CONFIDENCE
    cut: str = ""  # how the method cuts it, in its words

    @property
    def chain(self) -> str:
        return " > ".join(method + (":" + liquid if liquid else "") for method, liquid in self.steps)


class Kitchen:
    """The state while a method is read: pots, where each line is, what was last named."""

    def __init__(self, lines: list[Line], eaten_as_soup: bool = False):
        self.lines = lines
        self.eaten_as_soup = eaten_as_soup  # words of the method: what is in the pot is ladled or blended
        self.events: list[list[Event]] = [[] for _ in lines]
        self.where: dict[int, Pot] = {}
        self.named: dict[int, tuple[str, str]] = {}  # line -> (sentence, rule)
        self.cut: dict[int, str] = {}  # line -> the words that cut it
        self.count = 0
        self.current: Pot | None = None
        self.last: list[int] = []
        self.hot: Pot | None = None    # the pot that was last heated
        self.frying: Pot | None = None  # the frying pan
        self.mixed: Pot | None = None  # the pot that was last mixed cold
        self.previous: Pot | None = None  # where we were before that
        self.tap = False               # "a pan of water" is not the water of a line

    # ------------------------------------------------------------ pots and lines

    def resolve(self, text: str, before: str) -> Mentions:
        """What a clause names; what its lead names when it names nothing itself."""
        found = mentions(text, self.lines)
        if before and not found.lines() and not found.pronoun and not found.everything:
            lead = mentions(before, self.lines)
            if lead.lines() or lead.everything or lead.rest:
                found.spared += lead.spared
                found.group += lead.lines()
                found.everything, found.rest = found.everything or lead.everything, found.rest or lead.rest
        return found

    def objects(self, found: Mentions) -> list[int]:
        """The lines a clause is about."""
        if found.rest:
            return list(dict.fromkeys([*found.direct, *[n for n in range(len(self.lines)) if n not in self.where and n not in found.spared and not self.lines[n].serve]]))
        if found.everything:
            unplaced = [n for n in range(len(self.lines)) if n not in self.where and not self.lines[n].serve]
            section = [n for n in unplaced if found.vessel and found.vessel in self.lines[n].section]
            return section or (unplaced if not self.where else list(self.current.lines if self.current and self.current.lines else self.where))
        if found.vessel and not found.lines():
            section = [n for n, line in enumerate(self.lines) if found.vessel in line.section]
            if section and all(n not in self.where for n in section):
                return section
            home = self.vessel(found.vessel)
            if home and home is not self.current:
                return list(home.lines)
        home = self.vessel(found.vessel) if found.vessel in JOINS_BY_NAME else None
        return list(dict.fromkeys([*found.lines(), *(home.lines if home else [])]))

    def vessel(self, word: str) -> Pot | None:
        """The pot that a word like "the sauce", "the mash" or "the dressing" means; None when it can be any."""
        section = [n for n, line in enumerate(self.lines) if word in line.section and n in self.where]
        if section:
            return self.pot_of(section)
        if word == "mash":
            return self.pot_of([n for n, line in enumerate(self.lines) if line.cooking_class in ("potatoes", "sweet-potatoes")])
        if word in SHAPED or word in ("mixture", "mix"):
            if self.mixed and self.mixed.lines:
                return self.mixed
            return self.hot if word in ("mixture", "mix", "filling") and self.hot and self.hot.lines else None
        if word in ("pan", "pot", "content", "contents"):
            return None
        pots = {id(pot): pot for pot in self.where.values()}
        wet = [pot for pot in pots.values() if pot.lines and self.holds_liquid(pot)]
        if any(pot is self.hot for pot in wet) or not wet:
            return self.hot if self.hot and self.hot.lines else None
        return wet[-1]

    def names_water(self, found: Mentions) -> bool:
        """Whether a line of water is among them."""
        return any(self.lines[n].cooking_class in WATER_LIKE for n in found.lines())

    def any_wet(self, numbers) -> bool:
        """Whether one of the lines is a liquid."""
        return any(is_liquid(self.lines[n]) for n in numbers)

    def holds_liquid(self, pot: Pot) -> bool:
        """Whether a liquid of the recipe is or was in the pot."""
        return self._kinds(pot)[0]

    def _kinds(self, pot: Pot) -> tuple[bool, bool]:
        """(a liquid of the recipe, a batter) is or was in the pot; worked out once per content."""
        state = len(pot.ever)
        if pot.kinds is None or pot.kinds[0] != state:
            inside = [self.lines[n] for n in pot.ever]
            wet = any(is_liquid(line) or line.cooked_already and "tomato" in line.words for line in inside)
            pot.kinds = (state, (wet, {"flour", "sugars"} <= (kinds := {line.cooking_class for line in inside}) or {"flour", "eggs"} <= kinds))
        return pot.kinds[1]

    def pot_of(self, numbers: list[int]) -> Pot | None:
        """The pot the lines are in, the current one first."""
        asked = {id(self.where[n]): self.where[n] for n in numbers if n in self.where}
        homes = [home for home in asked.values() if not set(numbers).isdisjoint(home.lines)]
        here = any(home is self.current for home in homes)
        return self.current if here else homes[-1] if homes else None

    def new(self, numbers: list[int]) -> Pot:
        """A new pot with these lines."""
        pot = Pot()
        self.move(numbers, pot)
        return pot

    def pot_or_all(self) -> tuple[Pot, str]:
        """The current pot, or all that was not cooked yet; with the rule of confidence."""
        if self.current is not None and self.current.lines:
            return self.current, "pot"
        if self.last and not any(self.events[n] for n in self.last):
            return self.pot_of(self.last) or self.new(self.last), "pronoun"  # "prick the potatoes and bake for an hour"
        loose = [n for n in range(len(self.lines)) if not self.events[n] and not self.lines[n].serve]
        return self.new(loose), "implied"

    def pot_for(self, objects: list[int], method: str, text: str) -> Pot:
        """The pot in which named objects are cooked: theirs, the hot one, or a new one."""
        home = self.pot_of(objects)
        fat_waits = self.current is not None and self.current.heat in ("stir-fry", "fry") and not self.holds_liquid(self.current)
        if home is not None and home is self.mixed and fat_waits and method in ("stir-fry", "fry"):
            return self.current
        if home is not None:
            if self.current is not None and home is not self.current and self.current.heat and OLD_PAN.search(text):
                return self.current
            return home
        now = self.current
        joins = now is not None and not NEW_PAN.search(text) and (
            (method in ("stir-fry", "fry") and now.heat in ("stir-fry", "fry") and not (now.water or self.holds_liquid(now)))
            or (method == "simmer" and self.holds_liquid(now) and now.heat != "bake")
            or (method == "boil" and now.water and not now.lines and now.heat == "boil"))
        return now if joins else Pot()

    def take_off(self) -> None:
        """The current pot is off the heat."""
        if self.current:
            self.current.heat = ""

    def heated(self, pot: Pot) -> None:
        """``pot`` is the one on the stove now."""
        self.current = self.hot = pot
        if pot.heat in ("stir-fry", "fry"):
            self.frying = pot
        if self.mixed is pot:
            self.mixed = None

    def with_companions(self, objects: list[int], pot: Pot) -> list[int]:
        """What was cooked or mixed with the objects goes where they go."""
        homes = {id(self.where[n]): self.where[n] for n in objects if n in self.where}
        found = list(objects)
        for home in homes.values():
            if home is not pot and not set(objects).isdisjoint(home.lines):
                found += home.lines
        return list(dict.fromkeys(found))

    def move(self, numbers: list[int], pot: Pot, sentence: str = "", rule: str = "named") -> None:
        """Take the lines from where they are into ``pot``."""
        moved = set(numbers)
        for home in {id(self.where[n]): self.where[n] for n in numbers if n in self.where}.values():
            if home is not pot:
                home.lines = [n for n in home.lines if n not in moved]
        for number in numbers:
            self.where[number] = pot
            if sentence:
                self.named.setdefault(number, (sentence, rule))
        pot.put(numbers)

    # ------------------------------------------------------------ events

    def pour_off(self, pot: Pot, clause: Clause, unsure: bool) -> None:
        """The water of ``pot`` goes: what was boiled or soaked there was drained."""
        for events in self.events:
            for event in events[-1:]:
                if event.pot is not pot or event.method not in ("boil", "simmer", "soak") or event.liquid:
                    continue
                event.liquid = "drained"
                event.fate = "" if event.fate == EATEN else event.fate  # spoken of while it was still in the pan
                event.rule = _weakest(event.rule, "liquid-likely") if unsure else event.rule
                if clause.sentence not in event.words:
                    event.words.append(clause.sentence)
        for number in [n for n in pot.lines if self.lines[n].cooking_class in ("water", "salt")]:
            pot.lines.remove(number)
        pot.water, pot.heat, pot.drained = False, "", True
        pot.forget()

    def lifted(self, numbers: list[int], pan: Pot) -> None:
        """Lines taken out of tap water in which they simmered."""
        if self.holds_liquid(pan):
            return
        for number in numbers:
            for event in self.events[number][-1:]:
                if event.pot is pan and event.method in ("boil", "simmer") and not event.liquid:
                    event.hint = "lifted"

    def mark_kept(self) -> None:
        """The words say that the liquid of the current pot was taken up."""
        if self.current is None:
            return
        self.current.kept = True
        for number in self.current.lines:
            for event in self.events[number][-1:]:
                event.hint = event.hint if event.liquid else "kept"

    def event(self, number: int, method: str, clause: Clause, pot: Pot, rule: str) -> None:
        """Note that ``method`` befell the line; goes on with the same cooking in the same pot."""
        pot.drained = False
        self.count += 1
        events = self.events[number]
        last = events[-1] if events else None
        hint = clause.verb.liquid if clause.verb.method == method else ""
        hint = hint or ("kept" if pot.kept else "")
        for phrase in clause.places:
            hint = phrase.liquid or hint if phrase.method == method else hint
        wet = ("boil", "simmer")
        if last and last.liquid == "" and last.pot is pot and (last.method == method or {last.method, method} <= set(wet)):
            last.method = method if method != "boil" or last.method != "simmer" else last.method
            last.minutes = clause.minutes if math.isnan(last.minutes) else last.minutes + (0 if math.isnan(clause.minutes) else clause.minutes)
            last.hint = hint or last.hint
            last.held = last.held or self.holds_liquid(pot)
            if clause.sentence not in last.words:
                last.words.append(clause.sentence)
            return
        boiled = any(event.method == "boil" for event in events)
        if boiled and method in ("simmer", "stir-fry") and self.lines[number].cooking_class in ("pasta", "noodles", "rice"):
            method = "reheat"
        held, cake = self._kinds(pot)
        events.append(Event(method, clause.minutes, pot, rule, [clause.sentence], "drained" if hint == "drained" and method == "boil" else "",
                            hint, held, cake, self.count))

    def _liquid(self, number: int, event: Event) -> tuple[str, str]:
        """What became of the liquid, and the rule that says so ("" when the words do)."""
        liquid, rule = self._liquid_at_first(number, event)
        if liquid == "drained" and not event.fate and not event.liquid and any(
                other.fate in (EATEN, SAVED) and other.at < event.at for other in self.events[number]):
            return "kept", rule  # "keep the water ... and simmer to a gravy": the gravy is not poured off
        return OUTCOMES[event.fate] if event.fate and liquid == "drained" else (liquid, rule)

    def _goes_along(self, number: int, event: Event) -> bool:
        """Whether the soaking water was cooked in: nobody poured it off, and the pot is the same."""
        after = [other for other in self.events[number] if other.at > event.at][:1]
        return bool(after) and after[0].pot is event.pot and not FRESH.search(" ".join(after[0].words).lower())

    def _liquid_at_first(self, number: int, event: Event) -> tuple[str, str]:
        line = self.lines[number]
        if event.method in ("steam", "fry", "stir-fry", "grill", "microwave", "reheat", "raw"):
            return "", ""
        if event.liquid:
            return event.liquid, ""
        if event.method == "bake":
            return ("kept" if event.held and not event.cake else ""), ""
        if event.method == "soak":
            return ("kept" if event.hint == "kept" or self._goes_along(number, event) else "drained"), "liquid-likely"
        if event.hint == "lifted" and not event.held and self.where.get(number) is not event.pot:
            return "drained", "liquid-likely"
        if event.held or event.pot.kept:
            return "kept", ""
        if event.method == "simmer" and event.pot.water and not self.eaten_as_soup:  # in tap water; nobody says what became of it
            return ("drained" if line.cooking_class in DRAINED_BY_CUSTOM or event.hint == "drained" else "kept"), "liquid-unsaid"
        if event.hint == "kept":
            return "kept", ""
        if event.method == "simmer":
            return ("drained" if event.hint == "drained" else "kept"), "liquid-likely"
        drains = line.cooking_class in DRAINED_BY_CUSTOM
        return ("drained" if drains else "kept"), "liquid-unsaid"

    def reading(self, number: int) -> Reading:
        """What befell one line, once the whole method has been followed."""
        line, events = self.lines[number], self.events[number]
        if not events:
            return self._uncooked(number)
        settled = [(event, *self._liquid(number, event)) for event in events]
        steps, times = joined([((event.method, liquid), event.minutes) for event, liquid, _ in settled])
        rule = _weakest(*(link for event, _, liquid_rule in settled for link in (event.rule, liquid_rule) if link), *implausible(steps))
        main = next((event for event in events if event.method in ("boil", "simmer", "bake")), events[0])
        known = [event.minutes for event in events if event.method == main.method and not math.isnan(event.minutes)]
        words = list(dict.fromkeys(word for event in events for word in event.words))
        words += [SAVED_WORDS] if any(event.fate == SAVED and liquid == "kept" for event, liquid, _ in settled) else []
        return Reading(line.line_id, steps, sum(known) if known else math.nan, " | ".join(words), CONFIDENCE[rule], "stated",
                       any(event.held for event in events), times, rule, self.cut.get(number, ""))

    def _uncooked(self, number: int) -> Reading:
        line = self.lines[number]
        raw = (("raw", ""),)
        if not any(self.events):
            sentence = self.named.get(number, ("", ""))[0]
            rule = "no-heat" if number in self.named else "not-mentioned"
            return Reading(line.line_id, raw, math.nan, sentence, CONFIDENCE[rule], "stated" if sentence else "not-mentioned", rule=rule)
        if number not in self.named:
            rule = "for-the-table" if line.serve else "seasoning-not-mentioned" if line.cooking_class in UNCHANGED_BY_HEAT else "not-mentioned"
            return Reading(line.line_id, raw, math.nan, "", CONFIDENCE[rule], "not-mentioned", rule=rule)
        sentence, rule = self.named[number]
        pot = self.where.get(number)
        hot = pot is not None and any(self.events[n] for n in pot.ever if n != number)
        rule = "raw-served" if rule == "raw-served" else "raw-at-end" if hot else "raw-named"
        warmed = hot and line.cooking_class == "alcohol"
        return Reading(line.line_id, (("reheat", ""),) if warmed else raw, math.nan, sentence, CONFIDENCE[rule], "stated", rule=rule)


def _weakest(*rules: str) -> str:
    """The rule one is least sure of."""
    return min(rules, key=CONFIDENCE.__getitem__)
