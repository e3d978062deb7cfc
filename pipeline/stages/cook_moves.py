"""Moving food about while a method is read: adding, mixing, taking out, serving.

Each function carries out one clause on the :class:`~pipeline.stages.cook_pots.Kitchen`;
what cooks is in :mod:`pipeline.stages.cook_reading`.
"""

from __future__ import annotations

import math
import re

from pipeline.stages.cook_names import Mentions, mentions
from pipeline.stages.cook_pots import HEATING, NEW_PAN, OLD_PAN, Kitchen, Pot
from pipeline.stages.cook_words import COOKS_UNTIL, DESTINATION, MIXES, NEW_CONTAINER, ONTO, THE_CONTAINER, Clause

ONWARDS = re.compile(r"\s(?:into|onto|over|on|in|through)\s(?!half\b|two\b|the fridge\b|a cool\b)")
CUTS = ("cut", "chop", "slice", "dice", "halve", "quarter", "divide into", "shape", "form", "roll", "peel", "turn", "turn over", "rinse", "wash", "chill", "cool",
        "preheat", "grease", "line", "discard", "check", "refresh", "knock back", "set", "prove", "pat", "dry", "oil", "butter", "flip", "taste", "uncover")
APPLIANCES = ((re.compile(r"\b(?:slow|pressure|multi)[ -]?cooker\b|\binstant pot\b|\bcrock ?pot\b"), "simmer"), (re.compile(r"\bair[ -]?fryer\b"), "bake"),
              (re.compile(r"\brice cooker\b"), "boil"), (re.compile(r"\bmicrowav(?:e|eable|e-?safe|e-?proof)\b[^.]*\b(?:dish|bowl|plate|jug)\b"), "microwave"))
HOT_LIQUID = re.compile(r"\b(?:simmering|bubbling|boiling|hot)\b")
FRYING_PAN = re.compile(r"\bthe (?:[\w-]+ )?(?:frying pan|wok|skillet)\b")
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
    if pot.heat == "stir-fry" and kitchen.holds_liquid(pot) and not re.search(r"\bfry|brown|(?:each|a|per|one|other|both) sides?\b", clause.sentence.lower()):
        return "simmer"
    if pot.heat:
        return pot.heat
    if kitchen.holds_liquid(pot) and pot is kitchen.hot:
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
    pot = gather(kitchen, clause, text, new=False)
    timed = not math.isnan(clause.minutes) or clause.verb.phrase.split()[0].endswith("ing") or COOKS_UNTIL.search(clause.text)
    if not pot.heat and HOT_LIQUID.search(clause.text) and kitchen.holds_liquid(pot):
        pot.heat = "simmer"
    if not (timed and pot.heat):
        return
    method = heat_of(kitchen, pot, clause, Mentions())
    late = re.search(r"\b(?:last|final)\b|\bbefore the end\b", clause.text + clause.before)  # its minutes are not more minutes of the others
    for number in [n for n in pot.lines if not late or n in kitchen.last]:
        kitchen.event(number, method, clause, pot, "named" if number in kitchen.last else "pot")
    kitchen.heated(pot)


def _split(clause: Clause, text: str) -> tuple[str, str]:
    """What is moved, and where to: "the leeks | the pan", and for "top the fish with crumbs" the other way round."""
    if clause.verb.phrase in ONTO and re.match(r"[^,]* with ", " " + text):
        where, what = (" " + text).split(" with ", 1)
        return what, where
    what, where = (DESTINATION.split(" " + text, maxsplit=1) + [""])[:2]
    if not what.strip() and where and not re.match(r"\s*(?:an?|the|another)\s(?:[\w-]+\s){0,3}(?:pan|saucepan|pot|wok)\b", where):
        return where, ""  # "over the stock", "through the herbs": said after the verb
    if " with " in where:  # "to the pan with the tomatoes"
        where, more = where.split(" with ", 1)
        what += " and " + more
    return what, where


def gather(kitchen: Kitchen, clause: Clause, text: str, new: bool, rule: str = "") -> Pot:
    """Put the objects of a clause into the pot it means; that pot."""
    what, where = _split(clause, text)
    onto = clause.verb.phrase.endswith((" over", " on")) or re.match(r"\s*(?:over|onto|on top of|round|around)\s", text)
    if not where and onto and (clause.verb.phrase != "pour" or "round" in text) and _waits_for_topping(kitchen, what):
        what, where = "", what
    found, to = kitchen.resolve(what, clause.before), mentions(where, kitchen.lines)
    objects = kitchen.objects(found)
    if objects and kitchen.last and re.match(r"\s*(?:it|them|these|this|both)\b", text):  # "put it in a pan with the water"
        objects = list(dict.fromkeys([*kitchen.last, *objects]))
    places = {phrase.method for phrase in clause.places}
    called = kitchen.vessel(found.vessel) if found.vessel else None
    pot, told = _destination(kitchen, clause, what, where, objects, to, new)
    for appliance, method in APPLIANCES:
        if appliance.search(clause.text):
            pot.heat, pot.kept = method, method in ("simmer", "boil")
    if "boil" in places:
        pot.heat, pot.water = "boil", True
    if "water" in places or (re.search(r"\bwater\b", clause.text) and not kitchen.names_water(found)):
        pot.water = pot.water or not kitchen.holds_liquid(pot)
    left_out = re.match(r"\s*(?:in|into|to|on)\b", text) and clause.verb.phrase in ("tip", "put", "add", "place", "pour", "transfer", "return", "arrange", "layer", "spoon", "pile", "lay", "spread")
    if objects and left_out:  # "rinse the beans. Tip into the pan with the stock"
        objects = list(dict.fromkeys([*kitchen.last, *objects]))
    poured = told and kitchen.current is kitchen.mixed  # "pour over": what was just mixed
    if not objects and (found.pronoun or found.vessel or poured) and kitchen.current is not pot:
        home = called if found.vessel else kitchen.pot_of(kitchen.last)
        objects = list((home or kitchen.current or Pot()).lines)
    elif not objects and kitchen.mixed and kitchen.mixed is not pot and not what.strip() and where:
        objects = list(kitchen.mixed.lines)
    elif not objects and (new or clause.verb.phrase in ("tip", "pour", "scrape")) and told and not _only_water(clause) and kitchen.current:
        prepared = kitchen.last and not set(kitchen.last) & set(kitchen.current.lines)  # "halve the peppers and lay in a dish"
        objects = list(kitchen.last if prepared else kitchen.current.lines)
    if told or new or found.vessel or clause.verb.phrase in ("tip", "pour", "add", "pour in", "stir in", "return", "put back", "tip back"):
        objects = kitchen.with_companions([n for n in objects if n not in pot.lines], pot)
    how = rule or ("group" if objects and set(objects) <= set(found.group) else "named")
    kitchen.move(objects, pot, clause.sentence, rule=how)
    kitchen.current = pot
    if pot.heat:
        kitchen.hot = pot
    kitchen.last = objects or kitchen.last
    return pot


def _waits_for_topping(kitchen: Kitchen, text: str) -> bool:
    """ "Scatter over the fruit": the fruit is cooked or laid out already, and something else was just mixed."""
    named = mentions(text, kitchen.lines).lines()
    mixed = kitchen.mixed
    return bool(mixed and mixed.lines and named) and all(n in kitchen.where and kitchen.where[n] is not mixed for n in named)


def _only_water(clause: Clause) -> bool:
    """ "Put on a big pan of water": nothing else is moved."""
    return any(phrase.method in ("water", "boil") for phrase in clause.places)


def _destination(kitchen, clause, what, where, objects, to: Mentions, new: bool) -> tuple[Pot, bool]:
    """The pot a clause moves things into, and whether its words say so."""
    both, now = what + " " + where, kitchen.current
    goal = to.lines() or (kitchen.objects(to) if to.vessel else [])
    home = kitchen.pot_of(goal)
    if home:
        return home, True
    if to.lines():
        pot = Pot() if now is None or now.lines and (now.heat or new) and not set(to.lines()) & set(now.lines) else now
        if pot is not now and not pot.heat:
            kitchen.previous, kitchen.mixed = now, pot
        kitchen.move(to.lines(), pot, clause.sentence)
        return pot, True
    if kitchen.frying and kitchen.frying is not now and FRYING_PAN.search(both):
        return kitchen.frying, True
    if NEW_PAN.search(both):
        return Pot(), True
    if NEW_CONTAINER.search(both) or THE_CONTAINER.search(both) and not (clause.verb.phrase.startswith("add") and now and now.heat in ("bake", "grill")) and (
            now is None or not now.lines or now.heat):
        return Pot(), True
    said = clause.verb.phrase in ("toss", "coat", "season", "brush", "cover") and " with " not in " " + clause.text
    if said and (home := kitchen.pot_of(objects)):
        return home, False
    before = kitchen.previous or kitchen.hot
    cold_mix = now is not None and now is kitchen.mixed and before is not None and before is not now
    if cold_mix and (OLD_PAN.search(both) or set(objects) <= set(now.lines)):
        return before, True
    return now or Pot(), False


def combine(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """Work things together without heat, in a bowl unless they are in a pot already."""
    found = kitchen.resolve(text, clause.before)
    objects = kitchen.objects(found)
    if not objects:
        return
    if re.match(r"\s*(?:with|into)\b", text) and kitchen.current:  # "fry the courgette, then mix with the feta"
        objects = list(dict.fromkeys([*kitchen.current.lines, *objects]))
    homes = [kitchen.where[n] for n in objects if n in kitchen.where and kitchen.where[n].lines]
    if homes:
        pot = kitchen.current if kitchen.current in homes else homes[-1]
        objects = kitchen.with_companions(objects, pot)
    elif NEW_CONTAINER.search(text) or THE_CONTAINER.search(text) or clause.verb.phrase in MIXES or "together" in text or kitchen.current is None:
        pot = Pot()
    else:
        pot = kitchen.current
    kitchen.move(objects, pot, clause.sentence, rule="group" if set(objects) <= set(found.group) else "named")
    if not pot.heat:
        kitchen.previous = kitchen.current if kitchen.current is not pot else kitchen.previous
        kitchen.mixed = pot
    kitchen.current, kitchen.last = pot, objects


def remove(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """Take things out of their pot; out of tap water, the water stays behind."""
    found = kitchen.resolve(text, clause.before)
    objects = kitchen.objects(found)
    if re.search(r"\b(?:kitchen paper|towel|fat|bay leaf|bones?|skin)\b", text) and not objects:
        return
    pan = kitchen.current
    if not objects and re.search(r"\b(?:pan|pot|dish|tin|oven|heat|wok)\b", text) and not found.pronoun:
        kitchen.take_off()
        return
    if not objects and pan:
        fats = [n for n in pan.lines if kitchen.lines[n].cooking_class == "fats-oils"]
        objects = [n for n in (kitchen.last if found.pronoun and kitchen.last else pan.lines) if n not in fats]
    if not objects or pan is None or not any(n in pan.lines for n in objects):
        return
    if WATER_GOES.search(clause.sentence.lower()):
        kitchen.pour_off(pan, clause, False)
    elif pan.water and not KEEPS_WATER.search(clause.sentence.lower()):
        kitchen.lifted(objects, pan)
    aside = Pot()
    kitchen.move([n for n in objects if n in kitchen.where], aside)
    pan.forget()
    if not pan.lines and pan.heat not in ("stir-fry", "fry"):
        kitchen.current = aside
    kitchen.last = objects


def prepare(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """Cut, peel, flake: nothing cooks, unless the words put it somewhere ("flake the fish into the sauce")."""
    what, where = (ONWARDS.split(" " + text, maxsplit=1) + [""])[:2]
    to = mentions(where, kitchen.lines)
    if where and clause.verb.phrase not in CUTS and (kitchen.pot_of(to.lines()) or to.vessel and kitchen.vessel(to.vessel) or not what.strip()
                                                     or NEW_CONTAINER.search(where)):
        gather(kitchen, clause, text if what.strip() else " " + where, new=bool(NEW_CONTAINER.search(where)))
        return
    objects = kitchen.objects(kitchen.resolve(text, ""))
    for number in objects:
        kitchen.named.setdefault(number, (clause.sentence, "named"))
    for number in objects or (kitchen.last if clause.verb.phrase in CUTS else []):  # "peel the potatoes and cut into small dice"
        kitchen.cut[number] = f"{kitchen.cut.get(number, '')} {clause.verb.phrase} {clause.text}".strip()
    kitchen.last = objects or kitchen.last


def serve(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """On the plate: not cooked, unless the words say it was cooked in passing."""
    if not clause.verb.phrase.startswith(("serve", "garnish", "decorate", "eat", "pass", "hand")):
        gather(kitchen, clause, text, new=False, rule="raw-served")
        return
    objects = kitchen.objects(kitchen.resolve(text, clause.before))
    _cooked_aside(kitchen, clause, text)
    kitchen.move([n for n in objects if n not in kitchen.where], Pot(), clause.sentence, rule="raw-served")


def _cooked_aside(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """ "Serve with boiled potatoes", "with the wraps, warmed under the grill": cooked in passing."""
    for found in PARTICIPLE.finditer(text):
        after = text[found.end():]
        placed = next((phrase.method for phrase in clause.places if phrase.method in HEATING), "")
        near = text[: found.start()] if not re.match(r"\s+(?!in\b|under\b|on\b|over\b|through\b)\w", after) else re.split(r",|\band\b|\bwith\b", after)[0]
        method = placed if found.group() in ("warmed", "heated", "cooked") else PARTICIPLES[found.group()]
        for number in mentions(near, kitchen.lines).lines():
            line = kitchen.lines[number]
            if method and number not in kitchen.where and found.group() not in line.phrase.lower() and not line.cooked_already:
                pot = kitchen.new([number])
                kitchen.event(number, method, clause, pot, "implied")
