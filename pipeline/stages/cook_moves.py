"""Moving food about while a method is read: adding, mixing, taking out, serving.

Each function carries out one clause on the :class:`~pipeline.stages.cook_pots.Kitchen`;
what cooks is in :mod:`pipeline.stages.cook_reading`.
"""

from __future__ import annotations

import math
import re

from pipeline.stages.cook_names import GROUPS, SALAD_WORDS, Mentions, is_liquid, mentions, singular
from pipeline.stages.cook_pots import HEATING, OLD_PAN, SHAPED, SOAKING_FROM_MINUTES, Kitchen, Pot
from pipeline.stages.cook_places import LEAVES_OUT, ON_TOP, WORKED_INTO, along_into, destination, only_water, set_up, waits_for_topping
from pipeline.stages.cook_words import COATS, COOKS_UNTIL, DESTINATION, FOODS_AS_VERBS, MIXES, NEW_CONTAINER, ONTO, THE_CONTAINER, Clause

ONWARDS = re.compile(r"\s(?:into|onto|over|on|in|through)\s(?!half\b|two\b|the fridge\b|a cool\b)")
CUTS = ("cut", "chop", "slice", "dice", "halve", "quarter", "divide into", "shape", "form", "roll", "peel", "turn", "turn over", "rinse", "wash", "chill", "cool",
        "preheat", "grease", "line", "discard", "check", "refresh", "knock back", "set", "prove", "pat", "dry", "oil", "butter", "flip", "taste", "uncover")
NO_TOPIC = ("discard", "check", "taste", "preheat", "grease", "line", "skim")  # what they name is not cooked next
SHAPES = ("shape", "form", "roll", "divide into", "cut")
STIRRED_IN = ("stir in", "rub in", "mix in", "fold in", "stir through", "beat in")
ROLLED_IN = ("roll in", "turn in", "coat in", "rub with", "dip in", "toss in")
STUFFED = re.compile(r"\binside\b|\binto (?:the|its) cavity\b|\bunder (?:the|its|their) skins?\b")
DIPPED = ("dip", "coat", "toss", "dredge", "turn", "roll", "drag")
DIPPED_IN = re.compile(r"\s*(?:it |them |each |all |both |first |one |(?:each|every) \w+ |the (?:cakes|patties|burgers|balls|rissoles|fishcakes|croquettes) )*(?:in|into|through)\b")
LATE = re.compile(r"\b(?:the|a|its|their) (?:last|final)\b|\b(?:before|towards) the end\b|\bminutes before\b")
GOES_IN = ("add", "pour", "pouring", "drop", "slip", "crack", "trickle", "drizzle", "lower", "nestle", "stir", "whisk", "tip")
SET_BY_HEAT = ("eggs", *GROUPS["meat"], "lean-fish", "oily-fish", "shellfish")
NAMED_PART = re.compile(r"\s*(?:the|any|all|its|their)\s+\w+")  # "the seeds", "any bones": of no line
A_PAN = re.compile(r"\s*(?:an?|the|another)\s(?:[\w-]+\s){0,3}(?:pan|saucepan|pot|wok)\b")
INTO_A_POT = re.compile(r"\s*(?:the (?:base|bottom) of )?(?:an?|the|your)\s(?:[\w-]+\s){0,3}(?:pan|saucepan|pot|wok|casserole|slow cooker|bowl|(?:roasting|baking) tin|tray)\b")
HOT_LIQUID = re.compile(r"\b(?:simmering|bubbling|boiling|hot)\b")
PARTICIPLES = {"toasted": "grill", "grilled": "grill", "steamed": "steam", "boiled": "boil", "roasted": "bake", "roast": "bake", "baked": "bake", "fried": "stir-fry",
               "microwaved": "microwave", "mashed": "boil", "warmed": "", "heated": "", "cooked": ""}
PARTICIPLE = re.compile(r"\b(?:" + "|".join(PARTICIPLES) + r")\b")
KEEPS_WATER = re.compile(r"\b(?:reserv|keep|kept|sav(?:e|ing)|retain)\w*\b(?! (?:it |them )?warm)")
WATER_GOES = re.compile(r"\bwater\b[^.;]*\b(?:throw|pour|discard|tip|ditch|chuck)|\b(?:throw|pour|discard|tip|ditch|chuck)\w*\b[^.;]*\bwater\b")


def heat_of(kitchen: Kitchen, pot: Pot | None, clause: Clause, found: Mentions) -> str:
    """The method that "cook" means in this pot; "" when nothing says."""
    if any(kitchen.lines[n].cooking_class == "fats-oils" for n in found.lines()):
        return "stir-fry"
    if pot is None:
        return ""
    fried_batter = any(event.method == "stir-fry" for n in pot.lines if is_liquid(kitchen.lines[n]) for event in kitchen.events[n])
    if pot.heat == "stir-fry" and kitchen.holds_liquid(pot) and not fried_batter and not re.search(r"\bfry|brown|(?:each|a|per|one|other|both) sides?\b", clause.sentence.lower()):
        return "simmer"
    if pot.heat or pot.oven:
        return pot.heat or "bake"
    if kitchen.holds_liquid(pot) and not kitchen.is_batter(pot):
        return "simmer"
    return "boil" if pot.water else ""


def add(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """Put things into a pot; a time or "until wilted" cooks them there, and all that is in it."""
    if re.search(r"\btogether\b", text) and clause.verb.phrase in ("stir", "toss", "pour", "coat"):
        combine(kitchen, clause, text)
        return
    named = mentions(text, kitchen.lines).lines()
    if clause.verb.phrase in ("toss", "coat") and re.search(r"\bin (?:the|a little|some|seasoned)\b", text) and len(named) > 1 and not any(
            n in kitchen.where for n in named):
        kitchen.current = None
        combine(kitchen, clause, text)
        return
    finished = kitchen.current is not None and any(kitchen.events[n] for n in kitchen.current.lines)
    if clause.verb.phrase in COATS and finished and not kitchen.placed and len(named) > 1 and re.match(r"\s*\w[^,]*\b(?:with|in)\b", text) and not re.match(
            r"\s*(?:with|in|through|together|back)\b", text) and not any(n in kitchen.where or kitchen.lines[n].words & SALAD_WORDS for n in named):  # "toss the chicken with the spices": not in the pot of before
        kitchen.current = None
        combine(kitchen, clause, text)
        return
    if clause.verb.phrase in DIPPED and named and (_dipped(kitchen, clause, text, named) or _coated(kitchen, clause, text, named)):
        return
    cold = not (kitchen.current and kitchen.current.heat)
    joins = clause.verb.phrase in STIRRED_IN and not OLD_PAN.search(text)  # "grate the carrot and stir in the mayonnaise"
    worked = joins and cold or clause.verb.phrase in WORKED_INTO and re.match(r"\s*(?:with|in)\b", text) or clause.verb.phrase in ROLLED_IN and (
        cold or clause.verb.phrase != "toss in")
    if worked and named and not kitchen.unsaid() and clause.verb.phrase in COATS and not kitchen.placed and not any(n in kitchen.where for n in kitchen.prepared):
        kitchen.topic = list(kitchen.prepared)  # "cut up the chicken. Dust with the flour"
    if worked and named and kitchen.unsaid():  # "slice the beef and dust with the flour"
        combine(kitchen, clause, text)
        return
    pot = gather(kitchen, clause, text, new=False)
    late = LATE.search(clause.text + clause.before)  # its minutes are not more minutes of the others
    timed = late or not math.isnan(clause.minutes) or clause.verb.phrase.split()[0].endswith("ing") or COOKS_UNTIL.search(clause.text)
    if not pot.heat and HOT_LIQUID.search(clause.text) and kitchen.holds_liquid(pot):
        pot.heat = "simmer"
    if not pot.heat and pot.water and clause.minutes >= SOAKING_FROM_MINUTES:  # "the night before, cover the beans with water"
        pot.heat = "soak"
    if not (timed and pot.heat):
        _set_by_heat(kitchen, clause, pot)
        return
    method = heat_of(kitchen, pot, clause, Mentions())
    for number in [n for n in pot.lines if not late or n in kitchen.last]:
        kitchen.event(number, method, clause, pot, "named" if number in kitchen.last else "pot")
    kitchen.heated(pot)


def _set_by_heat(kitchen: Kitchen, clause: Clause, pot: Pot) -> None:
    """ "Pour in the beaten eggs": raw egg, fish or meat that goes into a bubbling liquid cooks there, whether or not the words give it time."""
    if pot.heat not in ("simmer", "boil") or not kitchen.holds_liquid(pot) or clause.verb.phrase.split()[0] not in GOES_IN:
        return
    for number in kitchen.last:
        if number in pot.lines and kitchen.lines[number].cooking_class in SET_BY_HEAT and not kitchen.events[number] and not kitchen.lines[number].cooked_already:
            kitchen.event(number, pot.heat, clause, pot, "named")


def _dipped(kitchen: Kitchen, clause: Clause, text: str, named: list[int]) -> bool:
    """ "Dip the fish in the batter": it goes into the fat in its coat."""
    coat = re.search(r"\b(?:in|into|through) (?:the|this|that|your) (?:[\w-]+ )?(batter|crumbs?|dough|mixture|mix|marinade)\b", text)
    home = kitchen.vessel(singular(coat.group(1))) if coat else None
    if home is None or home.heat or not home.lines or set(named) <= set(home.lines):
        return False
    pot = Pot()
    kitchen.move([*named, *home.lines], pot, clause.sentence)
    kitchen.current, kitchen.mixed, kitchen.placed, kitchen.last = pot, pot, True, [*named]
    return True


def _coated(kitchen: Kitchen, clause: Clause, text: str, named: list[int]) -> bool:
    """ "Shape into cakes. Dip in the egg, then in the crumbs": the coat goes onto what was shaped."""
    now = kitchen.current
    if kitchen.unsaid() or any(n in kitchen.where for n in named) or not DIPPED_IN.match(text):
        return False
    if kitchen.last and not any(n in kitchen.where for n in kitchen.last):  # "cut the fish into fingers. Dip in the egg"
        now = kitchen.new(kitchen.last)
    if now is None or now.heat or not now.lines:
        return False
    kitchen.move(named, now, clause.sentence)
    kitchen.current, now.together = now, True
    kitchen.mixed, kitchen.placed = now, True
    return True


def _split(clause: Clause, text: str) -> tuple[str, str]:
    """What is moved, and where to: "the leeks | the pan", and for "top the fish with crumbs" the other way round."""
    if clause.verb.phrase in ONTO and re.match(r"[^,]* with ", " " + text):
        where, what = (" " + text).split(" with ", 1)
        return what, where
    what, where = (DESTINATION.split(" " + text, maxsplit=1) + [""])[:2]
    if not what.strip() and where and re.match(r"\s*(?:over|through|on(?! top of)|round|around)\b", text) and not A_PAN.match(where) and not (
            clause.verb.method == "place" and re.match(r"\s*on the (?:stew|casserole|soup|curry|bubbling|simmering)\b", text)):
        return where, ""  # "over the stock", "through the herbs": said after the verb
    if " with " in where:  # "to the pan with the tomatoes"
        where, more = where.split(" with ", 1)
        what += " and " + more
    return what, where


def gather(kitchen: Kitchen, clause: Clause, text: str, new: bool, rule: str = "") -> Pot:
    """Put the objects of a clause into the pot it means; that pot."""
    what, where = _split(clause, text)
    onto = clause.verb.phrase.endswith((" over", " on")) or re.match(r"\s*(?:over|onto|on top of|round|around)\s", text)
    if not where and onto and (clause.verb.phrase != "pour" or "round" in text) and waits_for_topping(kitchen, what):
        what, where = "", what
    found, to = kitchen.resolve(what, clause.before), mentions(where, kitchen.lines)
    objects = kitchen.objects(found)
    places = {phrase.method for phrase in clause.places}
    pot, told = destination(kitchen, clause, what, where, objects, to, new)
    if dish := along_into(kitchen, clause, text):
        pot, told, objects = dish, True, list(dict.fromkeys([*kitchen.current.lines, *objects]))
    set_up(kitchen, clause, text, pot, told, objects)
    if "water" in places or (re.search(r"\bwater\b", clause.text) and not kitchen.names_water(found)):
        pot.water = pot.water or not kitchen.holds_liquid(pot)
    left_out = re.match(r"\s*(?:in|into|to|on)\b", text) and clause.verb.phrase in LEAVES_OUT
    if objects and left_out:  # "rinse the beans. Tip into the pan with the stock"
        objects = list(dict.fromkeys([*kitchen.last, *objects]))
    if clause.verb.phrase == "layer" and re.match(r"\s*(?:it |them )?with\b", text) and kitchen.current:  # "cook until thick. Layer with the pasta in a dish"
        objects = list(dict.fromkeys([*kitchen.current.lines, *objects]))
    objects = objects or _unnamed(kitchen, clause, found, pot, told, new, only_where=not what.strip() and bool(where))
    if told or new or found.vessel or clause.verb.phrase in ("tip", "pour", "add", "pour in", "stir in", "fold in", "return", "put back", "tip back"):
        objects = kitchen.with_companions([n for n in objects if n not in pot.lines], pot)
    elif clause.verb.phrase in ("whisk in", "beat in"):  # the warmed milk with its cream, not the fish that was poached in it
        along = kitchen.with_companions([n for n in objects if n not in pot.lines], pot)
        objects = [n for n in along if n in objects or is_liquid(kitchen.lines[n])]
    how = rule or ("group" if objects and set(objects) <= set(found.group) else "named")
    kitchen.move(objects, pot, clause.sentence, rule=how)
    kitchen.current, kitchen.placed = pot, True
    if pot.heat:
        kitchen.hot = pot
    elif clause.verb.phrase in (*WORKED_INTO, *DIPPED) and not any(kitchen.events[n] for n in pot.lines):
        pot.together = True
    covered = clause.verb.phrase in ("cover", "top") and re.match(r"\s*with\b", text) and kitchen.last  # "cover with the milk ... lift it out"
    kitchen.last = kitchen.last if covered else objects or kitchen.last
    return pot


def into_some_water(clause: Clause) -> bool:
    """Whether the words move something into water."""
    return any(phrase.method in ("boil", "water") for phrase in clause.places) and " into " in f" {clause.text}"


def _unnamed(kitchen: Kitchen, clause: Clause, found: Mentions, pot: Pot, told: bool, new: bool, only_where: bool) -> list[int]:
    """The lines that a clause moves without naming them; ``only_where``: it says no more than where to."""
    poured = told and kitchen.mixed is not None and kitchen.current is kitchen.mixed  # "pour over": what was just mixed
    if (found.pronoun or found.vessel or poured) and kitchen.current is not pot:
        if found.vessel:
            return list((kitchen.vessel(found.vessel) or kitchen.current or Pot()).lines)
        if found.pronoun and kitchen.last and not any(n in kitchen.where for n in kitchen.last):  # "halve the peppers and sit them in a dish"
            return list(kitchen.last)
        return list((kitchen.pot_of(kitchen.last) or kitchen.current or Pot()).lines)
    back = clause.verb.phrase in ("return", "put back", "tip back") and kitchen.current is not None and kitchen.current.drained  # what was drained
    if re.match(r"\s*(?:straight |briefly )?into\b", clause.text) and into_some_water(clause) and (spoken_of := [n for n in kitchen.unsaid() if n not in kitchen.where]):  # "shred the cabbage, drop into boiling water"
        return spoken_of
    here = kitchen.current
    shaped = into_some_water(clause) and here is not None and here.lines and not here.heat and not here.water and (here is kitchen.mixed or any(not kitchen.events[n] for n in here.lines))
    if shaped and not found.lines():  # "drop the gnocchi into simmering water": what was made
        return list(here.lines)
    cooked_since = here is not None and here is not pot and here.lines and here.heat and new and told  # "simmer the stew, spoon into a dish": not the mash of before
    if only_where and not cooked_since and kitchen.mixed and kitchen.mixed.lines and kitchen.mixed is not pot and not back:
        return list(kitchen.mixed.lines)
    if only_where and told and here is not None and here is not pot and clause.verb.phrase == "add" and here.lines and pot.lines:  # "fry the onions, then add to the lamb"
        return list(here.lines)
    if not told or only_water(clause) or not (new or clause.verb.phrase.split()[0] in ("tip", "pour", "scrape", "ladle", "spoon")):
        return []
    here = kitchen.current.lines if kitchen.current else []
    prepared = kitchen.last and not set(kitchen.last) & set(here)  # "halve the peppers and lay in a dish"
    return list(kitchen.last if prepared else here)


def combine(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """Work things together without heat, in a bowl unless they are in a pot already."""
    found = kitchen.resolve(text, clause.before)
    objects = kitchen.objects(found)
    if re.match(r"\s*into\b", text) and kitchen.current and kitchen.current is kitchen.mixed:  # "work to a paste and whisk into the sauce"
        gather(kitchen, clause, text, new=False)
        return
    if not objects:
        return
    topic = kitchen.unsaid()
    if re.match(r"\s*(?:with|into|in|(?:all )?over|onto)\b", text) or clause.verb.phrase in (*ROLLED_IN, *STIRRED_IN) or clause.verb.phrase.endswith(" with"):  # "fry the courgette, then mix with the feta"; "chop the leek and mix with the egg"
        objects = list(dict.fromkeys([*(topic or (kitchen.current.lines if kitchen.current else [])), *objects]))
    homes = [kitchen.where[n] for n in objects if n in kitchen.where and kitchen.where[n].lines]
    if clause.verb.phrase.startswith("mash") or clause.verb.phrase in MIXES and len({id(home) for home in homes}) > 1:  # what was cooked apart meets off the heat
        pot = Pot()
        objects = kitchen.with_companions(objects, pot)
    elif homes:
        pot = kitchen.current if kitchen.current in homes else homes[-1]
        objects = kitchen.with_companions(objects, pot)
    elif NEW_CONTAINER.search(text) or THE_CONTAINER.search(text) or clause.verb.phrase in MIXES or "together" in text or topic or clause.verb.phrase in FOODS_AS_VERBS or kitchen.current is None or (
            kitchen.current.heat in ("soak", "bake", "grill", "steam", "microwave")):
        pot = Pot()
    else:
        pot = kitchen.current
    kitchen.move(objects, pot, clause.sentence, rule="group" if set(objects) <= set(found.group) else "named")
    if pot.heat == "soak":  # "beat the eggs into the soaked oats": they soak no longer
        pot.heat, kitchen.placed = "", True
    if not pot.heat:
        kitchen.previous = kitchen.current if kitchen.current is not pot else kitchen.previous
        kitchen.mixed = pot
    elif not math.isnan(clause.minutes) or HOT_LIQUID.search(clause.text):  # "toss everything together for a minute", "whisk into the bubbling sauce"
        for number in list(pot.lines):
            kitchen.event(number, heat_of(kitchen, pot, clause, Mentions()), clause, pot, "pot")
    kitchen.current, kitchen.last = pot, objects


def remove(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """Take things out of their pot; out of tap water, the water stays behind."""
    found = kitchen.resolve(text, clause.before)
    objects = kitchen.objects(found)
    if re.search(r"\b(?:fat|bay leaf|bones?|skin)\b", text) and not objects:
        return
    pan = kitchen.current
    if not objects and re.search(r"\b(?:pan|pot|dish|tin|oven|heat|wok)\b", text) and not found.pronoun:
        kitchen.take_off()
        return
    if not objects and not found.pronoun and not found.vessel and not found.everything and NAMED_PART.match(_split(clause, text)[0]):
        return
    if not objects and pan:
        fats = [n for n in pan.lines if kitchen.lines[n].cooking_class == "fats-oils" and kitchen.events[n]]  # what was mashed in goes along
        objects = [n for n in (kitchen.last if found.pronoun and kitchen.last else pan.lines) if n not in fats]
    if objects and pan and not set(objects) & set(pan.lines):
        kitchen.last = objects  # "take out the hock": from the pot that it is in
        pan = kitchen.pot_of(objects)
    if not objects or pan is None or not any(n in pan.lines for n in objects):
        return
    for number in objects:  # "drop into boiling water; when they float, lift out"
        if pan.heat == "boil" and not any(event.pot is pan for event in kitchen.events[number]):
            kitchen.event(number, "boil", clause, pan, "pot")
    if WATER_GOES.search(clause.sentence.lower()):
        kitchen.pour_off(pan, clause, False)
    elif pan.water and not KEEPS_WATER.search(clause.sentence.lower()):
        kitchen.lifted(objects, pan)
    together = not pan.heat and len(objects) > 1 and set(pan.lines) <= set(objects) and not any(kitchen.events[n] for n in objects)
    aside = Pot(together=together)
    kitchen.move([n for n in objects if n in kitchen.where], aside)
    pan.forget()
    if not pan.lines and pan.heat not in ("stir-fry", "fry"):
        kitchen.broth = pan if pan.water else kitchen.broth
        kitchen.current = aside
    kitchen.last = objects


def prepare(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """Cut, peel, flake: nothing cooks, unless the words put it somewhere ("flake the fish into the sauce")."""
    what, where = (ONWARDS.split(" " + text, maxsplit=1) + [""])[:2]
    to = mentions(where, kitchen.lines)
    inside = kitchen.objects(kitchen.resolve(text, "")) if STUFFED.search(text) else []
    if inside and kitchen.current and kitchen.current.lines:  # "push the lemon inside"
        kitchen.move(inside, kitchen.current, clause.sentence)
        kitchen.last = list(kitchen.current.lines)
        return
    if ON_TOP.search(text) and kitchen.current and kitchen.placed:  # "pour the sauce over, grate the cheese on top"
        gather(kitchen, clause, text, new=False)
        return
    if what.strip() and INTO_A_POT.match(where):  # "slice the onions into the slow cooker"
        gather(kitchen, clause, text, new=True)
        return
    if clause.verb.phrase == "pat" and what.strip() and to.lines():  # "pat the crumbs on top of the fish", not "pat dry"
        gather(kitchen, clause, text, new=False)
        return
    if where and clause.verb.phrase not in CUTS and (kitchen.pot_of(to.lines()) or to.vessel and kitchen.vessel(to.vessel) or not what.strip()
                                                     or NEW_CONTAINER.search(where)):
        gather(kitchen, clause, text if what.strip() else " " + where, new=bool(NEW_CONTAINER.search(where)))
        return
    objects = kitchen.objects(kitchen.resolve(text, ""))
    if clause.verb.phrase in SHAPES:
        _shape(kitchen, text, objects)
    if objects and clause.verb.phrase == "grease" and " with " in text:
        gather(kitchen, clause, text, new=True)
        return
    if clause.verb.phrase == "discard":
        _throw_away(kitchen, clause, objects)
    if objects and clause.verb.phrase in FOODS_AS_VERBS:  # "butter the bread"
        combine(kitchen, clause, f" {clause.verb.phrase} and {text}")
        return
    for number in objects:
        kitchen.named.setdefault(number, (clause.sentence, "named"))
    if clause.verb.phrase not in NO_TOPIC and not kitchen.placed:
        goes_on = clause.verb.phrase in CUTS and not kitchen.topic and text.strip(" ,") not in ("", "and", "then")  # not "peel and slice the leeks"
        more = objects or (kitchen.last if goes_on else [])
        kitchen.topic = list(dict.fromkeys([*kitchen.topic, *more]))
    for number in objects or (kitchen.last if clause.verb.phrase in CUTS else []):  # "peel the potatoes and cut into small dice"
        kitchen.cut[number] = f"{kitchen.cut.get(number, '')} {clause.verb.phrase} {clause.text}".strip()
    kitchen.last = objects or kitchen.last


def _shape(kitchen: Kitchen, text: str, objects: list[int]) -> None:
    """ "Shape into burgers": what the burgers are, when they are spoken of again."""
    names = SHAPED & {singular(word) for word in re.findall(r"\w+", text)}
    if names and objects and not any(n in kitchen.where for n in objects):
        kitchen.current = kitchen.mixed = kitchen.new(objects)
    made = objects or (kitchen.current.lines if kitchen.current else [])
    kitchen.called.update(dict.fromkeys(names, list(made)))


def _throw_away(kitchen: Kitchen, clause: Clause, objects: list[int]) -> None:
    """ "Discard the milk": what cooked in it was drained."""
    for number in objects:
        for event in kitchen.events[number][-1:]:
            if is_liquid(kitchen.lines[number]):
                kitchen.pour_off(event.pot, clause, False)


def serve(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """On the plate: not cooked, unless the words say it was cooked in passing."""
    if not clause.verb.phrase.startswith(("serve", "garnish", "decorate", "eat", "pass", "hand", "have", "go")):
        gather(kitchen, clause, text, new=False, rule="raw-served")
        return
    objects = kitchen.objects(kitchen.resolve(text, clause.before))
    cooked_aside(kitchen, clause, text)
    kitchen.move([n for n in objects if n not in kitchen.where], Pot(), clause.sentence, rule="raw-served")


def cooked_aside(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """ "Serve with boiled potatoes", "with the wraps, warmed under the grill": cooked in passing."""
    for found in PARTICIPLE.finditer(text):
        after = text[found.end():]
        placed = next((phrase.method for phrase in clause.places if phrase.method in HEATING), "")
        near = text[: found.start()] if not re.match(r"\s+(?!(?:in|under|on|over|through|for|until|till|at|with|and|separately|as)\b)\w", after) else re.split(r",|\band\b|\bwith\b", after)[0]
        method = placed if found.group() in ("warmed", "heated", "cooked") else PARTICIPLES[found.group()]
        for number in mentions(near, kitchen.lines).lines():
            line = kitchen.lines[number]
            if method and number not in kitchen.where and found.group() not in line.phrase.lower() and not line.cooked_already:
                pot = kitchen.new([number])
                kitchen.event(number, method, clause, pot, "implied")
                if method == "boil" and re.search(r"\bdrained\b", text):
                    kitchen.pour_off(pot, clause, False)
