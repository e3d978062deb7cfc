"""Which cooking befell which line: reads a recipe's method clause by clause.

Lines go into pots; a pot has heat and perhaps water. A clause that cooks ("simmer for 20
minutes") cooks what is in its pot, "drain" pours off the water of what was last boiled,
and what is added at the end is not cooked. The result per line is its chain of cooking,
the words that showed it, and a confidence by rule.
"""

from __future__ import annotations

import math
import re

from pipeline.stages.cook_pots import (
    BOILED_BY_CUSTOM, CONFIDENCE, DRAINED_BY_CUSTOM, HEATING, NEW_PAN, OLD_PAN, Kitchen, Pot, Reading,
)
from pipeline.stages.cook_words import (
    COOKS_UNTIL, DESTINATION, MIXES, NEW_CONTAINER, ONTO, POURED, PURPOSE, TAP_WATER, THE_CONTAINER,
    Clause, Line, Mentions, Vocabulary, mentions, sentences, without_states,
)

SOAKING_FROM_MINUTES = 30  # standing in water this long is soaking


def read_method(lines: list[Line], steps: list[str], vocabulary: Vocabulary) -> list[Reading]:
    """One :class:`Reading` per line, in order; ``steps`` are the method's words, in order."""
    if not any(step.strip() for step in steps):
        return [Reading(line.line_id, (("raw", ""),), math.nan, "", CONFIDENCE["no-method"], "no-method") for line in lines]
    clauses = [clause for step in steps for sentence in sentences(step) for clause in vocabulary.clauses(sentence)]
    kitchen = Kitchen(lines)
    kitchen.tap = _tap_is_meant(kitchen, clauses)
    for clause in clauses:
        follow(kitchen, clause)
    return [kitchen.reading(number) for number in range(len(lines))]


def _tap_is_meant(kitchen: Kitchen, clauses: list[Clause]) -> bool:
    """Whether "a pan of water" is tap water, because the listed water is named elsewhere."""
    if not any(line.cooking_class == "water" for line in kitchen.lines):
        return True
    plain = (POURED.sub(" ", TAP_WATER.sub(" ", clause.text)) for clause in clauses if clause.verb.method != "drain")
    return any(kitchen.names_water(mentions(text, kitchen.lines)) for text in plain)


def _words_of(kitchen: Kitchen, clause: Clause) -> str:
    """The text that may name lines: without states to come about, and without tap water."""
    text = PURPOSE.sub(" ", POURED.sub(" ", without_states(clause.text)))
    if not kitchen.tap:
        return text
    listed = any(line.cooking_class == "water" and "boiling" in line.phrase.lower() and number not in kitchen.where
                 for number, line in enumerate(kitchen.lines))
    return TAP_WATER.sub(lambda found: found.group() if listed and "boiling" in found.group() else " ", text)


def follow(kitchen: Kitchen, clause: Clause) -> None:
    """Carry out one clause."""
    action = clause.verb.method
    places = {phrase.method for phrase in clause.places}
    text = _words_of(kitchen, clause)
    if "off" in places and action in ("remove", "drain") and not mentions(text, kitchen.lines).lines():
        kitchen.take_off()
    elif action == "heat" and places & {"bake", "grill", "microwave"} and _heats_food(kitchen, text):
        _cook(kitchen, clause, text, next(p.method for p in clause.places if p.method in HEATING))
    elif action in ("place", "add") and places & {"bake", "grill", "microwave", "steam"} and not re.match(r"\s*the (?:oven|grill)\b", text):
        _gather(kitchen, clause, text, new=action == "place")
        _cook(kitchen, clause, "", next(p.method for p in clause.places if p.method in HEATING))
    elif action in HANDLERS:
        HANDLERS[action](kitchen, clause, text)
    else:
        _cook(kitchen, clause, text, action)
    if "absorbed" in places or "absorb" in clause.text:
        kitchen.mark_kept()
    if "off" in places and action not in ("place", "add", "remove"):
        kitchen.take_off()


def _heats_food(kitchen: Kitchen, text: str) -> bool:
    """ "Heat the wraps in the microwave", not "heat the oil in a griddle pan"."""
    named = mentions(text, kitchen.lines).lines()
    return any(kitchen.lines[n].cooking_class not in ("fats-oils", "") for n in named)


def _cook(kitchen: Kitchen, clause: Clause, text: str, method: str) -> None:
    """A clause with a method of its own."""
    found = kitchen.resolve(text, clause.before)
    objects = kitchen.objects(found)
    places = {phrase.method for phrase in clause.places}
    now = kitchen.current
    if method in ("boil", "simmer") and "steam" in places:
        method = "steam"
    if method == "soak" and "boil" in places and {kitchen.lines[n].cooking_class for n in objects} & {"noodles", "pasta", "grains", "rice"}:
        method = "boil"
    in_water = re.search(r"\b(?:in|into|with)\b[^,]*\bwater\b", clause.text)
    water_only = method == "boil" and "water" in clause.text + clause.before and not objects and not in_water
    if water_only and not found.pronoun and not (now and now.lines and now.water) and not clause.before.startswith("cover"):
        kitchen.heated(Pot(heat="boil", water=True))
        return
    only_fat = objects and all(kitchen.lines[n].cooking_class == "fats-oils" for n in objects)
    if only_fat and kitchen.last and (found.pronoun or " in " in text):  # "fry it in the oil", "deep-fry in the oil"
        found.direct += kitchen.last
        objects = list(dict.fromkeys([*objects, *kitchen.last]))
        pot, rule = kitchen.pot_for(objects, method, text), "named"
    elif not objects and found.pronoun and kitchen.last:
        pot, rule = kitchen.pot_of(kitchen.last) or kitchen.new(kitchen.last), "pronoun"
    elif not objects:
        pot, rule = kitchen.pot_or_all()
    else:
        pot, rule = kitchen.pot_for(objects, method, text), "named"
        if found.vessel or kitchen.mixed and set(objects) & set(kitchen.mixed.lines):  # coated, stuffed, shaped together
            objects = kitchen.with_companions(objects, pot)
    if objects and not set(objects) <= set(pot.lines):
        kitchen.move(objects, pot)
    pot.heat = method if method != "reheat" else pot.heat
    pot.water = pot.water or (method in ("boil", "soak", "steam") and not kitchen.holds_liquid(pot)) or "water" in places
    kitchen.heated(pot)
    for number in list(pot.lines):
        how = rule if rule != "named" else "named" if number in found.direct else "group" if number in found.group else "pot"
        kitchen.event(number, method, clause, pot, how)
    kitchen.last = objects or kitchen.last


def _generic(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """ "Cook": how is in the words around it, in the pot, or in the food."""
    found = kitchen.resolve(text, clause.before)
    objects = kitchen.objects(found)
    places = [phrase.method for phrase in clause.places if phrase.method in HEATING]
    now = kitchen.current
    if clause.verb.phrase in ("lower", "turn down", "turn up") and not places and math.isnan(clause.minutes):
        return
    if places:
        _cook(kitchen, clause, text, places[-1])
        return
    fresh = [n for n in objects if n not in (now.lines if now else [])]
    custom = [n for n in fresh if kitchen.lines[n].cooking_class in BOILED_BY_CUSTOM and not kitchen.lines[n].cooked_already]
    if custom and not (now and kitchen.holds_liquid(now) and not now.water and "sauce" in text):
        _cook(kitchen, clause, text, "boil")
        return
    pot = (kitchen.pot_of(objects) if objects else None) or now
    method = _heat_of(kitchen, pot, clause, found)
    if not method and clause.verb.phrase.startswith("bring") and pot and (pot.water or kitchen.holds_liquid(pot)):
        method = "boil"
    if method:
        _cook(kitchen, clause, text, method)
        return
    if not objects and not (pot and pot.lines):
        return
    cooked = objects or list(pot.lines)
    boiled = {kitchen.lines[n].cooking_class for n in cooked} & {*BOILED_BY_CUSTOM, *DRAINED_BY_CUSTOM[:6]}
    _cook(kitchen, clause, text, "boil" if boiled else "stir-fry")
    for number in cooked:
        for event in kitchen.events[number][-1:]:
            event.confidence = min(event.confidence, CONFIDENCE["implied"])


def _heat_of(kitchen: Kitchen, pot: Pot | None, clause: Clause, found: Mentions) -> str:
    """The method that "cook" means in this pot; "" when nothing says."""
    if any(kitchen.lines[n].cooking_class == "fats-oils" for n in found.lines()):
        return "stir-fry"
    if pot is None:
        return ""
    if pot.heat == "stir-fry" and kitchen.holds_liquid(pot) and not re.search(r"\bfry|brown", clause.sentence.lower()):
        return "simmer"
    if pot.heat:
        return pot.heat
    if kitchen.holds_liquid(pot) and pot is kitchen.hot:
        return "simmer"
    return "boil" if pot.water else ""


def _heat(kitchen: Kitchen, clause: Clause, text: str) -> None:
    found = kitchen.resolve(text, clause.before)
    objects = kitchen.objects(found)
    if re.search(r"\b(?:oven|grill|kettle)\b", text) and not objects:
        return
    if not objects:
        pan = re.search(r"\b(?:pan|wok|pot|casserole|skillet|griddle)\b", text)
        if pan and not found.pronoun:
            kitchen.heated(Pot(heat="stir-fry"))
        elif found.pronoun or found.vessel:
            _cook(kitchen, clause, text, "reheat")
        return
    now = kitchen.current
    if all(kitchen.lines[n].cooking_class in ("fats-oils", "") for n in objects) or "melt" in clause.verb.phrase:
        tin = re.search(r"\b(?:roasting|baking|tin|tray|oven)\b", text)
        same = now and now.heat and not tin and (OLD_PAN.search(text) or "in it" in text)
        pot = now if same else Pot()
        pot.heat = "" if tin else "stir-fry"
        kitchen.move([n for n in objects if n not in kitchen.where] or objects, pot, clause.sentence)
        kitchen.heated(pot)
        kitchen.last = objects
        return
    fresh = [n for n in objects if n not in kitchen.where]
    _cook(kitchen, clause, text, "simmer" if fresh and kitchen.any_wet(objects) else "reheat")


def _add(kitchen: Kitchen, clause: Clause, text: str) -> None:
    if re.search(r"\btogether\b", text) and clause.verb.phrase in ("stir", "toss", "pour", "coat"):
        _combine(kitchen, clause, text)
        return
    named = mentions(text, kitchen.lines).lines()
    if clause.verb.phrase in ("toss", "coat") and re.search(r"\bin (?:the|a little|some|seasoned)\b", text) and len(named) > 1 and not any(
            n in kitchen.where for n in named):
        kitchen.current = None
        _combine(kitchen, clause, text)
        return
    pot = _gather(kitchen, clause, text, new=False)
    timed = not math.isnan(clause.minutes) or COOKS_UNTIL.search(clause.text)
    if not (timed and pot.heat):
        return
    method = _heat_of(kitchen, pot, clause, Mentions())
    for number in pot.lines:
        kitchen.event(number, method, clause, pot, "named" if number in kitchen.last else "pot")
    kitchen.heated(pot)


def _split(clause: Clause, text: str) -> tuple[str, str]:
    """What is moved, and where to: "the leeks | the pan", and for "top the fish with crumbs" the other way round."""
    if clause.verb.phrase in ONTO and " with " in " " + text:
        where, what = (" " + text).split(" with ", 1)
        return what, where
    what, where = (DESTINATION.split(" " + text, maxsplit=1) + [""])[:2]
    if not what.strip() and where and not re.match(r"\s*(?:an?|the|another)\s(?:[\w-]+\s){0,3}(?:pan|saucepan|pot|wok)\b", where):
        return where, ""  # "over the stock", "through the herbs": said after the verb
    if " with " in where:  # "to the pan with the tomatoes"
        where, more = where.split(" with ", 1)
        what += " and " + more
    return what, where


def _gather(kitchen: Kitchen, clause: Clause, text: str, new: bool, rule: str = "") -> Pot:
    """Put the objects of a clause into the pot it means; that pot."""
    what, where = _split(clause, text)
    found, to = kitchen.resolve(what, clause.before), mentions(where, kitchen.lines)
    objects = kitchen.objects(found)
    places = {phrase.method for phrase in clause.places}
    pot, told = _destination(kitchen, clause, what, where, objects, to, new)
    if "boil" in places:
        pot.heat, pot.water = "boil", True
    if "water" in places or (re.search(r"\bwater\b", clause.text) and not kitchen.names_water(found)):
        pot.water = pot.water or not kitchen.holds_liquid(pot)
    left_out = re.match(r"\s*(?:in|into|to|on)\b", text) and clause.verb.phrase in ("tip", "put", "add", "place", "pour", "transfer", "return", "arrange")
    if objects and left_out:  # "rinse the beans. Tip into the pan with the stock"
        objects = list(dict.fromkeys([*kitchen.last, *objects]))
    poured = told and kitchen.current is kitchen.mixed  # "pour over": what was just mixed
    if not objects and (found.pronoun or found.vessel or poured) and kitchen.current is not pot:
        home = kitchen.vessel(found.vessel) if found.vessel else kitchen.pot_of(kitchen.last)
        objects = list((home or kitchen.current or Pot()).lines)
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
    if NEW_PAN.search(both):
        return Pot(), True
    if NEW_CONTAINER.search(both) or THE_CONTAINER.search(both) and (now is None or not now.lines or now.heat):
        return Pot(), True
    said = clause.verb.phrase in ("toss", "coat", "season", "brush", "cover") and " with " not in " " + clause.text
    if said and (home := kitchen.pot_of(objects)):
        return home, False
    before = kitchen.previous or kitchen.hot
    cold_mix = now is not None and now is kitchen.mixed and before is not None and before is not now
    if cold_mix and (OLD_PAN.search(both) or set(objects) <= set(now.lines)):
        return before, True
    return now or Pot(), False


def _place(kitchen: Kitchen, clause: Clause, text: str) -> None:
    pot = _gather(kitchen, clause, text, new=True)
    if not math.isnan(clause.minutes) and pot.heat:
        _generic(kitchen, clause, "")


def _combine(kitchen: Kitchen, clause: Clause, text: str) -> None:
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


def _remove(kitchen: Kitchen, clause: Clause, text: str) -> None:
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
    aside = Pot()
    kitchen.move([n for n in objects if n in kitchen.where], aside)
    pan.forget()
    if not pan.lines and pan.heat not in ("stir-fry", "fry"):
        kitchen.current = aside
    kitchen.last = objects


def _drain(kitchen: Kitchen, clause: Clause, text: str) -> None:
    if re.search(r"\b(?:fat|kitchen paper|oil)\b", text):
        return
    objects = kitchen.objects(kitchen.resolve(text, "")) or mentions(clause.before, kitchen.lines).lines()
    chosen = [kitchen.events[n][-1].pot for n in objects if kitchen.events[n]]
    if objects and not chosen:
        return  # drains a tin
    now = kitchen.current
    if not chosen and now is not None and now.drained:
        return  # says twice that the water goes
    watery = [event.pot for events in kitchen.events for event in events[-1:] if event.liquid == "" and event.method in ("boil", "soak")]
    here = [now] if now is not None and any(e[-1].pot is now and e[-1].method in ("boil", "simmer", "soak") for e in kitchen.events if e) else []
    pots = list({id(pot): pot for pot in chosen or here or watery[-1:]}.values())
    unsure = bool(re.search(r"\b(?:reserv|keep|kept|save|saving|retain)\w*\b(?! (?:it |them )?warm)", clause.sentence.lower()))
    for pot in pots:
        kitchen.pour_off(pot, clause, unsure)
    if pots:
        kitchen.current = pots[-1]
        kitchen.last = [n for n in objects if n in kitchen.where] or list(pots[-1].lines)


def _rest(kitchen: Kitchen, clause: Clause, text: str) -> None:
    pot = kitchen.current
    if clause.verb.phrase == "rest" or pot is None or not pot.water:
        return
    for number in pot.lines:
        swells = kitchen.lines[number].cooking_class in ("grains", "noodles", "rice", "pasta")
        taken_up = kitchen.lines[number].cooking_class in ("water", "stock-sauce", "grains", "rice")
        if pot.heat == "boil" and (swells or taken_up):
            kitchen.event(number, "boil", clause, pot, "pot")
            kitchen.events[number][-1].hint = "kept" if taken_up else ""
        elif not pot.heat and clause.minutes >= SOAKING_FROM_MINUTES:
            kitchen.event(number, "soak", clause, pot, "pot")


def _prepare(kitchen: Kitchen, clause: Clause, text: str) -> None:
    objects = kitchen.objects(kitchen.resolve(text, ""))
    for number in objects:
        kitchen.named.setdefault(number, (clause.sentence, "named"))
    kitchen.last = objects or kitchen.last


def _serve(kitchen: Kitchen, clause: Clause, text: str) -> None:
    if not clause.verb.phrase.startswith(("serve", "garnish", "decorate", "eat", "pass", "hand")):
        _gather(kitchen, clause, text, new=False, rule="raw-served")
        return
    objects = kitchen.objects(kitchen.resolve(text, clause.before))
    kitchen.move([n for n in objects if n not in kitchen.where], Pot(), clause.sentence, rule="raw-served")


HANDLERS = {
    "cook": _generic, "heat": _heat, "add": _add, "place": _place, "combine": _combine, "remove": _remove, "drain": _drain, "rest": _rest,
    "prepare": _prepare, "serve": _serve,
}
