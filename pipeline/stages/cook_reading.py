"""Which cooking befell which line: reads a recipe's method clause by clause.

Lines go into pots; a pot has heat and perhaps water. A clause that cooks ("simmer for 20
minutes") cooks what is in its pot, "drain" pours off the water of what was last boiled,
and what is added at the end is not cooked. The result per line is its chain of cooking,
the words that showed it, and a confidence by rule.

Measured on blind set B (tests/data/method_labels_blind_b.yaml, 26 recipes, 229 lines, never
tuned on): 86.5 % of lines right in the step that matters most (81.7 % where "boil" and "simmer"
in the same liquid count as different), 93.0 % right in whether water was drained, kept or absent.
First contact with set A (42 recipes, 353 lines), before mending: 81.0, 79.9 and 88.1 %. The
confidences (``cook_pots.CONFIDENCE``) were set on B: on B they miss the rate of right lines by
3 points; fitted on half of its recipes they miss that of the other half by about 12.
"""

from __future__ import annotations

import math
import re

from pipeline.stages import cook_moves as moves
from pipeline.stages import cook_water
from pipeline.stages.cook_names import Line, Mentions, called_in_full, mentions
from pipeline.stages.cook_pots import BOILED_BY_CUSTOM, CONFIDENCE, DRAINED_BY_CUSTOM, HEATING, OLD_PAN, Kitchen, Pot, Reading
from pipeline.stages.cook_words import POURED, PURPOSE, TAP_WATER, Clause, Vocabulary, sentences, without_states

SOUP = re.compile(r"\b(?:soups?|broth|ladle|blitz|whizz|liquidise|hand blender|stick blender|blend until|blend the)\b")
OVER_HEAT = re.compile(r"\bover (?:an? |the )?(?:[\w-]+ ){0,2}(?:heat|flame)\b|\buntil (?:it|the [\w ]+?) (?:boils|thickens|bubbles|comes to the boil)\b")
STRAINED = re.compile(r"\b(?:stock|broth|liquid|liquor|juices?|sauce|soup|gravy|custard|milk|cream)\b|\binto an? ")
# "tip the water away", "pour that liquid off"
POURED_AWAY = re.compile(r"\s*(?:away |off |out )?(?:all )?(?:the |this |that |its )?(?:[\w-]+ )?(?:water|liquid)\b(?=[^,.]*\b(?:away|off|out|down)\b)")
SOAKING_FROM_MINUTES = 30  # standing in water this long is soaking


def read_method(lines: list[Line], steps: list[str], vocabulary: Vocabulary) -> list[Reading]:
    """One :class:`Reading` per line, in order; ``steps`` are the method's words, in order."""
    if not any(step.strip() for step in steps):
        return [Reading(line.line_id, (("raw", ""),), math.nan, "", CONFIDENCE["no-method"], "no-method", rule="no-method") for line in lines]
    clauses = [clause for step in steps for sentence in sentences(step) for clause in vocabulary.clauses(sentence)]
    whole = " ".join(steps)
    kitchen = Kitchen(called_in_full(lines, whole), eaten_as_soup=bool(SOUP.search(whole.lower())))
    kitchen.tap = _tap_is_meant(kitchen, clauses)
    for clause in clauses:
        drains = clause.verb.method == "drain"
        if not drains:  # its words speak of what was boiled before
            cook_water.note(kitchen, clause)
        follow(kitchen, clause)
        if drains:
            cook_water.note(kitchen, clause)
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
    if action == "unknown":  # "plunge into boiling water for 2 minutes" cooks; "stud with garlic" does not
        heating = [phrase.method for phrase in clause.places if phrase.method in HEATING]
        action = heating[-1] if heating and (not math.isnan(clause.minutes) or "boil" in heating) else "prepare"
    if action in ("add", "prepare", "combine", "remove") and POURED_AWAY.match(clause.text):
        action, text = "drain", ""
    if clause.verb.phrase == "leave" and "water" in places and clause.minutes >= SOAKING_FROM_MINUTES:
        action = "soak"
    if "off" in places and action in ("remove", "drain") and not mentions(text, kitchen.lines).lines():
        kitchen.take_off()
    elif action == "heat" and places & {"bake", "grill", "microwave"} and _heats_food(kitchen, text):
        _cook(kitchen, clause, text, next(p.method for p in clause.places if p.method in HEATING))
    elif action in ("place", "add") and places & {"bake", "grill", "microwave", "steam"} and not re.match(r"\s*the (?:oven|grill)\b", text):
        moves.gather(kitchen, clause, text, new=action == "place")
        _cook(kitchen, clause, "", next(p.method for p in clause.places if p.method in HEATING))
    elif action in HANDLERS:
        HANDLERS[action](kitchen, clause, text)
        if action in ("combine", "add", "place") and OVER_HEAT.search(clause.text) and kitchen.current and not kitchen.current.heat:
            _cook(kitchen, clause, "", "simmer" if kitchen.holds_liquid(kitchen.current) else "stir-fry")
    else:
        _cook(kitchen, clause, text, action)
    if "absorbed" in places or "absorb" in clause.text:
        kitchen.mark_kept()
    if "off" in places and action not in ("place", "add", "remove") and clause.verb.phrase != "push":  # "push everything to one side"
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
    if method in ("boil", "simmer", "stir-fry") and "bake" in places:  # "braise in the oven"
        method = "bake"
    if method == "grill" and ("stir-fry" in places or re.search(r"\b(?:dry|hot|frying) (?:[\w-]+ )?pan\b|\bwok\b", clause.text)):
        method = "stir-fry"  # "toast in a dry pan"
    if clause.verb.phrase == "toast" and now and now.heat == "stir-fry" and not found.lines():
        method = "stir-fry"  # "stir in the rice and let it toast"
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
    method = moves.heat_of(kitchen, pot, clause, found)
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
            event.rule = "implied"


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
    _cook(kitchen, clause, text, "simmer" if clause.verb.phrase != "warm" and fresh and kitchen.any_wet(objects) else "reheat")


def _place(kitchen: Kitchen, clause: Clause, text: str) -> None:
    pot = moves.gather(kitchen, clause, text, new=True)
    if not math.isnan(clause.minutes) and pot.heat:
        _generic(kitchen, clause, "")


def _drain(kitchen: Kitchen, clause: Clause, text: str) -> None:
    if re.search(r"\b(?:fat|kitchen paper|oil)\b", text):
        return
    if clause.verb.phrase in ("strain", "sieve") and STRAINED.search(text):  # the liquid is what is wanted
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


HANDLERS = {
    "cook": _generic, "heat": _heat, "add": moves.add, "place": _place, "combine": moves.combine, "remove": moves.remove, "drain": _drain, "rest": _rest,
    "prepare": moves.prepare, "serve": moves.serve,
}
