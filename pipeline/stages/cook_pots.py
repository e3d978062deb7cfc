"""The pots of a recipe while its method is read: what is together, how hot, in what
liquid; and what cooked there.

:mod:`pipeline.stages.cook_reading` moves the lines about; what befell each line in the end is
worked out in :mod:`pipeline.stages.cook_outcome`.
"""

from __future__ import annotations

import math
import re

from pipeline.stages.cook_names import Line, Mentions, is_liquid, mentions
from pipeline.stages.cook_outcome import weakest
from pipeline.stages.cook_vessels import Event, Pot
from pipeline.stages.cook_water import EATEN, HALF
from pipeline.stages.cook_words import COATS, WORKS_ON_ALL, Clause

HEATING = ("boil", "simmer", "steam", "fry", "stir-fry", "bake", "grill", "microwave", "soak", "reheat")
WATER_LIKE = ("water",)
BOILED_BY_CUSTOM = ("pasta", "noodles", "rice", "grains", "legumes-dried")
NEW_PAN = re.compile(r"\b(?:an?|another|separate|second|clean)\s+(?:[\w-]+\s+){0,3}(?:pan|saucepan|pot|wok|skillet|frying pan)\b")
OLD_PAN = re.compile(r"\b(?:the|same)\s+(?:[\w-]+\s+){0,2}(?:pan|saucepan|pot|wok|heat|casserole)\b|\b(?:to|into|in)\s+(?:same\s+)?(?:pan|saucepan|pot|wok|skillet)\b")
SEASONS_WATER = ("salt", "herbs-spices", "fats-oils", "water")  # "add the salt and mint to the boiling water": it waits for the potatoes
SOAKING_FROM_MINUTES = 30  # standing in water this long is soaking
STEEPING_FROM_MINUTES = 10  # and in boiling water that was poured on
MORE = re.compile(r"\b(?:more|another|further|again|longer|until (?:the|everything|all))\b")
PARTED = re.compile(r"\b(?:a little|some|half|most|a third|a quarter|a splash|\d+ ?(?:ml|g|tbsp))(?: of)? the ([\w-]+(?: [\w-]+)?)")
BARE_REST = re.compile(r"\bthe (?:rest|remainder)\b(?! of\b)")
JOINS_BY_NAME = {"sauce", "gravy", "custard", "dressing", "mash"}  # "the pasta and the sauce"
SHAPED = {"meatball", "burger", "patty", "fishcake", "dumpling", "pancake", "kofta", "ball", "parcel", "fritter", "cake", "loaf", "muffin",
          "scone", "biscuit", "kebab", "skewer", "tart", "quiche", "omelette", "frittata", "pie", "dressing", "marinade", "topping", "batter",
          "dough", "crumble", "filling", "crumb", "paste"}


class Kitchen:
    """The state while a method is read: pots, where each line is, what was last named."""

    def __init__(self, lines: list[Line], eaten_as_soup: bool = False):
        self.lines = lines
        self.eaten_as_soup = eaten_as_soup  # words of the method: what is in the pot is ladled or blended
        self.events: list[list[Event]] = [[] for _ in lines]
        self.where: dict[int, Pot] = {}
        self.named: dict[int, tuple[str, str]] = {}  # line -> (sentence, rule)
        self.called: dict[str, list[int]] = {}  # "burger" -> the lines it was shaped from
        self.cut: dict[int, str] = {}  # line -> the words that cut it
        self.count = 0
        self.current: Pot | None = None
        self.spoken: list[list[int]] = [[]]  # what was spoken of, in order
        self.before_fat: list[int] = []  # what was last spoken of before a fat was heated
        self.dish: Pot | None = None   # what food was last laid out in
        self.topic: list[int] = []     # what this sentence speaks of: "peel the potatoes and boil for 10 minutes"
        self.prepared: list[int] = []  # what the sentence before spoke of and put nowhere
        self.sentence = ""
        self.placed = False            # this sentence put something somewhere
        self.first_named: dict[int, int] = {}  # line -> the first clause that names it by its own name
        self.own_turn: dict[int, int] = {}  # line -> the clause that first cuts, cooks or serves it by name
        self.last_heat: dict[int, int] = {}  # line -> the last clause that boils, steams, fries or bakes it by name
        self.later_turn: dict[int, int] = {}  # line -> the clause that first names it, and adds, serves or boils it apart
        self.salted: tuple[Pot, Clause] | None = None  # the first pot whose water the words call salted
        self.fat_off: set[int] = set()  # lines whose fat was poured or spooned off
        self.salt_parted = False  # a part of the salt goes elsewhere than the rest
        self.juices_eaten = False  # the words serve the juices of meat, or make its gravy of them
        self.clause_number = 0
        self.verb = self.text = ""
        self.unnamed: set[int] = set()  # the lines that no words of the method name: "everything" means them too
        self.hot: Pot | None = None    # the pot that was last heated
        self.frying: Pot | None = None  # the frying pan
        self.broth: Pot | None = None  # the water that food was lifted from
        self.mixed: Pot | None = None  # the pot that was last mixed cold
        self.previous: Pot | None = None  # where we were before that
        self.deep_fat = False          # the words fill a pan with oil
        self.tap = False               # "a pan of water" is not the water of a line

    @property
    def last(self) -> list[int]:
        """What was last spoken of."""
        return self.spoken[-1]

    @last.setter
    def last(self, numbers: list[int]) -> None:
        self.spoken.append(numbers)

    def both(self) -> list[int]:
        """ "Spread both on a tray": what was last spoken of, with its pot, and what is in another pot and was spoken of before."""
        found: list[int] = []
        for numbers in [numbers for numbers in self.spoken[::-1] if numbers]:
            home = self.pot_of(numbers)
            here = home.lines if home and not all(self.lines[n].cooking_class == "fats-oils" for n in home.lines) else numbers
            if set(here) & set(found):
                continue
            if found:
                return [*found, *here]
            found = list(here)
        return found

    # ------------------------------------------------------------ pots and lines

    def resolve(self, text: str, before: str) -> Mentions:
        """What a clause names; what its lead names when it names nothing itself."""
        found = mentions(text, self.lines)
        for number in found.again:  # what is left of it is not in the pot where a part of it was cooked
            home = self.where.get(number)
            if home and (home is not self.current or self.verb in COATS) and self.events[number] and self.lines[number].cooking_class != "fats-oils":
                home.lines.remove(number)
                del self.where[number]
        if before and not found.lines() and not (found.pronoun and self.last) and not found.everything:
            lead = mentions(before, self.lines)
            if lead.lines() or lead.everything or lead.rest:
                found.spared += lead.spared
                found.group += lead.lines()
                found.everything, found.rest = found.everything or lead.everything, found.rest or lead.rest
        later = [n for n in found.group if n not in self.where and n not in self.named and self.own_turn.get(n, -1) > self.clause_number]
        here = self.current.lines if self.current else []
        later += [n for n in found.group if n not in later and n not in here and self.last_heat.get(n, -1) > self.clause_number]
        later += [n for n in found.group if n not in later and n not in here and self.lines[n].cooking_class == "herbs-spices" and self.first_named.get(n, -1) > self.clause_number]
        if set(later) < set(found.group):  # "the vegetables" are not the cabbage that a later step boils
            found.group = [n for n in found.group if n not in later]
        return found

    def begin(self, clause: Clause) -> None:
        """A clause is about to be followed; a new sentence speaks of something new."""
        self.clause_number += 1
        self.verb, self.text = clause.verb.phrase, clause.text
        if clause.sentence != self.sentence:
            goes_on = clause.sentence[:1].islower() and not self.placed  # after a semicolon
            self.prepared = [] if self.placed else self.topic
            self.sentence, self.topic, self.placed = clause.sentence, self.topic if goes_on else [], False

    def cut_before(self, clause: Clause, method: str) -> list[int]:
        """ "Peel the parsnips. Boil for 4 minutes": what the sentence before cut, where the pot of before is cooked in another way."""
        here = self.current
        waits = [n for n in self.prepared if n not in self.where and not self.events[n]]
        goes_on = here is not None and here.lines and (here.heat in (method, "") or method == "simmer" or MORE.search(clause.text))
        return [] if goes_on or self.placed or clause.before.strip() or set(waits) != set(self.prepared) else waits

    def unsaid(self) -> list[int]:
        """What a clause without an object is about, when that is not what is in the pot."""
        here = self.current.lines if self.current else []
        return [] if set(self.topic) & set(here) else list(self.topic)

    def objects(self, found: Mentions) -> list[int]:
        """The lines a clause is about."""
        unplaced = [n for n, line in enumerate(self.lines) if n not in self.where and not line.serve and self.later_turn.get(n, -1) <= self.clause_number]
        if found.rest and (parted := PARTED.search(self.sentence.lower())) and BARE_REST.search(self.text):  # "with a little of the milk, heat the rest"
            return mentions(parted.group(1), self.lines).lines() or list(self.last)
        if found.rest:
            section = [n for n in unplaced if found.vessel and found.vessel in self.lines[n].section]
            return list(dict.fromkeys([*found.lines(), *[n for n in section or unplaced if n not in found.spared]]))
        if found.everything:
            section = [n for n in unplaced if found.vessel and found.vessel in self.lines[n].section]
            here = section or (unplaced if not self.where else self._all_at_hand())
            missed = [n for n in unplaced if n in self.unnamed and n not in found.spared] if not section and self.verb not in WORKS_ON_ALL else []
            return list(dict.fromkeys([*here, *missed, *found.lines()]))
        if found.vessel and not found.lines():
            section = [n for n, line in enumerate(self.lines) if found.vessel in line.section]
            if section and all(n not in self.where for n in section):
                return section
            home = self.vessel(found.vessel)
            if home and home is not self.current:
                return list(home.lines)
        if found.both and not found.lines():
            return self.both()
        home = self.vessel(found.vessel) if found.vessel in JOINS_BY_NAME and not self.verb.startswith("make") else None
        spoken_of = self.last if found.pronoun_first and found.lines() else []
        return list(dict.fromkeys([*spoken_of, *found.lines(), *(home.lines if home else [])]))

    def _all_at_hand(self) -> list[int]:
        """What "everything" means among what has a place: the pot we are at; where that holds only fat, what waits cold beside it too."""
        here = list(self.current.lines) if self.current else []
        if any(self.lines[n].cooking_class != "fats-oils" for n in here):
            return here
        waits = [n for n, pot in self.where.items() if not pot.heat and not self.events[n]]
        return list(dict.fromkeys([*here, *waits])) if here else list(self.where)

    def called_so(self, word: str) -> Pot | None:
        """The pot that the words called a casserole, a wok; None when none or this one is."""
        homes = [pot for pot in self.where.values() if pot.called == word and pot.lines]
        return homes[-1] if homes and self.current not in homes else None

    def vessel(self, word: str) -> Pot | None:
        """The pot that a word like "the sauce", "the mash" or "the dressing" means; None when it can be any."""
        section = [n for n, line in enumerate(self.lines) if word in line.section and n in self.where]
        if section:
            return self.pot_of(section)
        if shaped := self.pot_of(self.called.get(word, [])):
            return shaped
        if word == "mash":
            return self.pot_of([n for n, line in enumerate(self.lines) if line.cooking_class in ("potatoes", "sweet-potatoes")])
        if word in SHAPED or word in ("mixture", "mix"):
            if self.mixed and self.mixed.lines:
                return self.mixed
            return self.hot if word in ("mixture", "mix", "filling", "topping") and self.hot and self.hot.lines else None
        if word in ("pan", "pot", "content", "contents"):
            return None
        if pot := self.called_so(word):
            return pot
        if self.mixed and word in JOINS_BY_NAME and any(self.lines[n].cooking_class == "stock-sauce" for n in self.mixed.lines):
            return self.mixed
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

    def simmers(self, pot: Pot) -> bool:
        """Whether a liquid of the recipe has simmered or boiled in the pot and is in it still."""
        return self.holds_liquid(pot) and any(event.method in ("simmer", "boil") and event.pot is pot for n in pot.lines for event in self.events[n])

    def _kinds(self, pot: Pot) -> tuple[bool, bool]:
        """(a liquid of the recipe, a batter) is or was in the pot; worked out once per content."""
        state = len(pot.ever)
        if pot.kinds is None or pot.kinds[0] != state:
            inside = [self.lines[n] for n in pot.ever]
            wet = any(is_liquid(line) or line.cooked_already and "tomato" in line.words for line in inside)
            pot.kinds = (state, (wet, {"flour", "sugars"} <= (kinds := {line.cooking_class for line in inside}) or {"flour", "eggs"} <= kinds))
        return pot.kinds[1]

    def is_batter(self, pot: Pot) -> bool:
        """Whether flour with sugar or eggs is or was in the pot."""
        return self._kinds(pot)[1]

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

    def pot_or_all(self, method: str) -> tuple[Pot, str]:
        """The current pot, or all that was not cooked yet (for boiling and soaking: what is boiled by custom, if any); with the rule of confidence."""
        if self.current is not None and self.current.lines:
            return self.current, "pot"
        if self.last and not any(self.events[n] for n in self.last):
            return self.pot_of(self.last) or self.new(self.last), "pronoun"  # "prick the potatoes and bake for an hour"
        if self.current is not None and any(self.events):  # all was taken out of the pan: nothing is left to cook
            return self.current, "implied"
        loose = [n for n in range(len(self.lines)) if not self.events[n] and not self.lines[n].serve]
        boiled = [n for n in loose if self.lines[n].cooking_class in (*BOILED_BY_CUSTOM, "potatoes", "sweet-potatoes", "roots", "leafy-greens", "other-vegetables", "eggs")]
        if method in ("boil", "soak") and boiled and not self.any_wet(loose):  # nobody says what: oil and spices are not meant
            loose = boiled
        return self.new(loose), "implied"

    def pot_for(self, objects: list[int], method: str, text: str) -> Pot:
        """The pot in which named objects are cooked: theirs, the hot one, or a new one."""
        home = self.pot_of(objects)
        fat_waits = self.current is not None and self.current.heat in ("stir-fry", "fry") and not self.holds_liquid(self.current)
        cold = home is not None and not home.heat and not any(self.events[n] for n in home.lines)  # seasoned, coated or shaped before
        if (cold or home is self.mixed) and home is not None and fat_waits and method in ("stir-fry", "fry"):
            return self.current
        fat_stands = self.frying is not None and self.frying.lines and all(self.lines[n].cooking_class == "fats-oils" for n in self.frying.lines)
        if home is not None and home.drained and method in ("stir-fry", "fry") and fat_stands and self.frying is not None and not NEW_PAN.search(text):
            return self.frying  # the boiled chips go into the oil that was heated
        if home is not None:
            if self.current is not None and home is not self.current and self.current.heat and OLD_PAN.search(text):
                return self.current
            return home
        now = self.current
        joins = now is not None and not NEW_PAN.search(text) and (
            (method in ("stir-fry", "fry") and now.heat in ("stir-fry", "fry") and not (now.water or self.holds_liquid(now)))
            or (method == "simmer" and self.holds_liquid(now) and now.heat != "bake")
            or (method == "boil" and now.water and now.heat == "boil" and all(self.lines[n].cooking_class in SEASONS_WATER for n in now.lines)))
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
                event.fate = "" if event.fate in (EATEN, HALF) else event.fate  # spoken of while it was still in the pan
                event.rule = weakest(event.rule, "liquid-likely") if unsure else event.rule
                if clause.sentence not in event.words:
                    event.words.append(clause.sentence)
        for number in [n for n in pot.lines if self.lines[n].cooking_class in ("water", "salt")]:
            pot.lines.remove(number)
        pot.water, pot.heat, pot.drained = False, "", True
        pot.forget()

    def holds_own_liquid(self, pot: Pot) -> bool:
        """Whether milk, stock, juice or another liquid that is a line, and no water, is in the pot: it was bought to be eaten."""
        return any(is_liquid(self.lines[n]) and self.lines[n].cooking_class != "water" for n in pot.ever)

    def keep_in_doubt(self, pot: Pot) -> None:
        """What was boiled or soaked there keeps its liquid, and somebody should look: thrown away would be the error that hurts."""
        for event in (events[-1] for events in self.events if events):
            if event.pot is pot and event.method in ("boil", "simmer", "soak") and not event.liquid:
                event.liquid, event.rule = "kept", weakest(event.rule, "liquid-saved")

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
        pot.drained, pot.fried = False, pot.fried or method == "stir-fry"
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
        more_than_water = held and any(is_liquid(self.lines[n]) and self.lines[n].cooking_class not in WATER_LIKE for n in pot.ever)
        events.append(Event(method, clause.minutes, pot, rule, [clause.sentence], "drained" if hint == "drained" and method == "boil" else "",
                            hint, held, more_than_water, cake, self.count))
