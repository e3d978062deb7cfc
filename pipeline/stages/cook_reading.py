"""Which cooking befell which line: reads a recipe's method clause by clause.

Lines go into pots; a pot has heat and perhaps water. A clause that cooks ("simmer for 20
minutes") cooks what is in its pot, "drain" pours off the water of what was last boiled,
and what is added at the end is not cooked. The result per line is its chain of cooking,
the words that showed it, and a confidence by rule.

Measured at first contact, before anything was mended on it, on four blind sets
(tests/data/method_labels_blind_*.yaml): in the step that matters most 81.0, 86.5, 82.9 and 73.6 % of the
lines of A, B, C and D were right ("boil" and "simmer" in the same liquid count as one), in whether
water was drained, kept or absent 88.1, 93.0, 89.2 and 87.2 %. The reader was then mended on the general
causes of the errors in all of them, and on 838 further lines (method_labels_mended.yaml, 84.1 % right at
first contact, group by group), so that what it now gets right there says little about unseen
recipes: of those some 75 to 90 % should be expected. The confidences (``cook_outcome.CONFIDENCE``)
are the rates of the first contacts; a plain misreading of one line (raw mince), and a sentence that was
not understood, lower those of the whole recipe.
"""

from __future__ import annotations

import math
import re

from pipeline.stages import cook_moves as moves
from pipeline.stages import cook_water
from pipeline.stages.cook_draining import drain
from pipeline.stages.cook_meant import action_meant, not_cooked_there, tap_is_meant, unclear, words_of
from pipeline.stages.cook_names import Line, Mentions, called_in_full, is_liquid, mentions
from pipeline.stages.cook_outcome import CONFIDENCE, DRAINED_BY_CUSTOM, FRESH, Reading, in_doubt, reading_of
from pipeline.stages.cook_places import A_PAN_CALLED, back_to_the_pan, juices_eaten, to_juices, without_spent_fat
from pipeline.stages.cook_pots import BOILED_BY_CUSTOM, HEATING, NEW_PAN, OLD_PAN, SOAKING_FROM_MINUTES, STEEPING_FROM_MINUTES, Kitchen, Pot
from pipeline.stages.cook_words import COOKS_UNTIL, Clause, Vocabulary, sentences, without_states

SOUP = re.compile(r"\b(?:soups?|broth|ladle|blitz|whizz|liquidise|hand blender|stick blender|blend until|blend the)\b")
OVER_HEAT = re.compile(r"\bover (?:an? |the )?(?:[\w-]+ ){0,2}(?:heat|flame)\b|\buntil (?:it|they|the [\w ]+?) (?:boils?|thickens?|bubbles?|comes? to the boil|comes? to a simmer|simmers?)\b")
TAKEN_UP = re.compile(r"\babsorb|\b(?:water|liquid|stock)\b[^.;,]*\b(?:gone|evaporated|boiled away|taken up|soaked up|disappeared|boiled off|cooked away|cooked off)\b")
SERVED_WITH = re.compile(r"^[^.,]*\bon ?to (?:the |some |hot |slices of )?(?=toasted|grilled)|\b(?:serve|serving|eat|eating|have|enjoy)\b[^.]*\bwith (?:some |a |the |plenty of )?(?=toasted|grilled|steamed|boiled|roast|baked|fried|microwaved)")
IN_WHAT_IS_THERE = re.compile(r"\bsauce\b|\bin (?:it|this|that)\b|\b(?:in|into) the (?:[\w-]+ )?(?:stock|broth|soup|milk|same (?:pan|pot|liquid))\b")
WITH_MORE = re.compile(r"\s*(?:(?:gently|slowly|together|hard|briefly|again|up|back|to (?:the|a) (?:boil|simmer))\s)*(?:with|along with|in (?:all )?(?:the|your|half the)(?= [\w -]*(?:water|stock|milk|broth|wine|juice|cider)\b))\b")
IN_FAT = re.compile(r"\s*(?:\w+ly |in batches )*in (?:the |a |some |its |hot |little |of |remaining |same |more |half )*(?:[\w-]+ )?(?:oil|butter|lard|ghee|dripping|fat|margarine)\b")
THEM = re.compile(r"\s*(?:them|these|each)\b")
LIQUID_NAMES = ("broth", "stock", "soup", "stew", "curry", "liquid", "liquor", "casserole", "sauce")
A_TRAY = re.compile(r"\b(?:tray|baking sheet|roasting tin|shelf)\b")
OFF_HEAT = re.compile(r"\b(?:off|from) the\b")
# What is boiled in a pan of its own and not with a stew; and verbs that put back what was there before.
FAT_OFF = re.compile(r"\b(?:drain|pour|spoon|skim|tip|ladle)(?:ing|ed)? (?:away |off |out )?(?:\w+ ){0,4}?(?:fat|grease|drippings)\b(?! over\b)|\bdiscard(?:ing)? (?:the |any |excess )*(?:fat|grease)\b")
OWN_PAN = (*BOILED_BY_CUSTOM, "potatoes", "sweet-potatoes", "leafy-greens", "other-vegetables", "roots")
BACK = ("return", "put back", "tip back", "skim")
FIRST_CUT = ("peel", "chop", "cut", "dice", "trim", "grate", "halve", "wash", "shred")  # what is done to food before it cooks
OVEN_HEAT = re.compile(r"\b\d{3}\s*(?:°|degrees)?\s*[cf]\b|\bgas (?:mark )?\d")
OVER_IT = re.compile(r"\b(?:over|above|on top of) (?:the|an?|your)\b[^,]*")  # "steam the cabbage over the potatoes": they boil below
BESIDE = re.compile(r"\b(?:beside|alongside|next to|around|round|underneath|on the shelf (?:above|below)) (?:the |your )?[\w-]+")  # "roast beside the joint"
DEEP_FAT = re.compile(r"\bdeep[- ](?:[\w-]+ )?(?:pan|pot|saucepan|wok|fryer)\b[^.]*\boil\b|\b(?:full|cm|inch(?:es)?|depth) (?:of |deep )?(?:[\w-]+ ){0,2}oil\b|\bheat (?:the |your )?(?:[\w-]+ )?(?:oil|fat|dripping|lard)[^.]*? to 1[5-9]\d ?°?c\b")


def read_method(lines: list[Line], steps: list[str], vocabulary: Vocabulary) -> list[Reading]:
    """One :class:`Reading` per line, in order; ``steps`` are the method's words, in order."""
    if not any(step.strip() for step in steps):
        return [Reading(line.line_id, (("raw", ""),), math.nan, "", CONFIDENCE["no-method"], "no-method", rule="no-method") for line in lines]
    by_sentence = {sentence: vocabulary.clauses(sentence) for step in steps for sentence in sentences(step)}
    clauses = [clause for step in steps for sentence in sentences(step) for clause in by_sentence[sentence]]
    whole = " ".join(steps)
    kitchen = Kitchen(called_in_full(lines, whole), eaten_as_soup=bool(SOUP.search(whole.lower())))
    kitchen.salt_parted = bool(cook_water.SALT_PARTED.search(whole.lower()))
    kitchen.juices_eaten = any(juices_eaten(sentence) for sentence in by_sentence)
    kitchen.tap = tap_is_meant(kitchen, clauses)
    named = [mentions(words_of(kitchen, clause), kitchen.lines).direct for clause in clauses]
    kitchen.unnamed = set(range(len(lines))).difference(*(mentions(sentence.lower(), kitchen.lines).lines() for sentence in by_sentence))
    kitchen.first_named = {line: number for number, lines in reversed(list(enumerate(named, start=1))) for line in lines if clauses[number - 1].verb.method != "remove"}
    kitchen.own_turn, kitchen.later_turn = _own_turns(clauses, named), _later_turns(kitchen, clauses, named)
    kitchen.last_heat = {line: number for number, (clause, lines) in enumerate(zip(clauses, named, strict=True), start=1) if clause.verb.method in HEATING for line in lines}
    for clause in clauses:
        kitchen.begin(clause)
        kitchen.deep_fat = kitchen.deep_fat or bool(DEEP_FAT.search(clause.sentence.lower()))
        drains = clause.verb.method == "drain"
        if not drains:  # its words speak of what was boiled before
            cook_water.note(kitchen, clause)
        follow(kitchen, clause)
        if drains:
            cook_water.note(kitchen, clause)
    _left_cooking(kitchen, clauses)
    cook_water.salt(kitchen)
    return in_doubt([reading_of(kitchen, number) for number in range(len(lines))], kitchen.lines, whole.lower(), unclear(kitchen, by_sentence))


def _left_cooking(kitchen: Kitchen, clauses: list[Clause]) -> None:
    """ "Put the lot in the slow cooker and leave on low all day": what an appliance holds cooks, though no verb says so."""
    for pot in {id(pot): pot for pot in kitchen.where.values() if pot.appliance}.values():
        if any(event.pot is pot for events in kitchen.events for event in events):
            continue
        for number in pot.lines:
            clause = next((clause for clause in clauses if clause.sentence == kitchen.named.get(number, ("",))[0]), clauses[-1])
            kitchen.event(number, pot.heat or "simmer", clause, pot, "implied")


def _own_turns(clauses: list[Clause], named: list[list[int]]) -> dict[int, int]:
    """Line -> the clause (from 1) that first names it, where that clause cuts, cooks or serves it; ``named``: the lines by clause."""
    first: dict[int, int] = {}
    for number, (clause, lines) in enumerate(zip(clauses, named, strict=True), start=1):
        heated = any(phrase.method in HEATING for phrase in clause.places)
        own = heated or clause.verb.method in (*HEATING, "cook", "serve") or clause.verb.phrase in FIRST_CUT
        for line in lines:
            first.setdefault(line, number if own else 0)
    return first


def _later_turns(kitchen: Kitchen, clauses: list[Clause], named: list[list[int]]) -> dict[int, int]:
    """Line -> the clause (from 1) that first names it, where that clause adds or serves it, or boils what has a pan of its own: no part of "everything" before."""
    first: dict[int, int] = {}
    for number, (clause, lines) in enumerate(zip(clauses, named, strict=True), start=1):
        boiled = clause.verb.method in ("boil", "steam") or clause.verb.method == "cook" and any(phrase.method == "boil" for phrase in clause.places)
        joins = clause.verb.method in ("add", "serve", "drain") or clause.verb.phrase.startswith("mash")
        for line in lines:
            own_pan = boiled and kitchen.lines[line].cooking_class in OWN_PAN
            first.setdefault(line, number if joins and clause.verb.phrase not in BACK or own_pan else 0)
    return first


def follow(kitchen: Kitchen, clause: Clause) -> None:
    """Carry out one clause."""
    places = {phrase.method for phrase in clause.places}
    action, text = action_meant(kitchen, clause, words_of(kitchen, clause))
    if action == "serve" and moves.LATE.search(clause.text + clause.before) and clause.minutes > 0 and kitchen.current and kitchen.current.heat:
        action = "add"  # "scatter the peas over for the last 5 minutes"
    back_to_the_pan(kitchen, clause)
    if cook_water.partly(kitchen, clause):
        return
    if action in ("add", "place", "prepare", "combine", "remove"):
        to_juices(kitchen, clause)
    if action in ("add", "place") and (served := SERVED_WITH.search(clause.text)):  # "tear in the basil before you serve it with toasted bread"
        moves.cooked_aside(kitchen, clause, clause.text[served.start():])
        text = text.replace(clause.text[served.end():], " ")
    if any(OFF_HEAT.search(phrase.phrase) for phrase in clause.places) and action in ("remove", "drain") and not mentions(text, kitchen.lines).lines():
        kitchen.take_off()
    elif action == "heat" and places & {"bake", "grill", "microwave"} and _heats_food(kitchen, text):
        _cook(kitchen, clause, text, next(p.method for p in clause.places if p.method in HEATING))
    elif action in ("place", "add") and "steam" in places and mentions(text, kitchen.lines).lines():  # beside what is in the pan, not with it
        _cook(kitchen, clause, text, "steam")
    elif action in ("place", "add") and places & {"bake", "grill", "microwave", "steam"} and not re.match(r"\s*the (?:oven|grill)\b", text):
        moves.gather(kitchen, clause, text, new=action == "place")
        _cook(kitchen, clause, "", next(p.method for p in clause.places if p.method in HEATING))
    elif action == "combine" and "boil" in places and _swells(kitchen, text):  # "make up the couscous with boiling water"
        _cook(kitchen, clause, text, "boil")
    elif action in HANDLERS:
        HANDLERS[action](kitchen, clause, text)
        if action in ("combine", "add", "place") and OVER_HEAT.search(clause.text) and kitchen.current and not_cooked_there(kitchen, kitchen.current):
            _cook(kitchen, clause, "", "simmer" if kitchen.holds_liquid(kitchen.current) else "stir-fry")
    else:
        _cook(kitchen, clause, text, action)
    if kitchen.current and FAT_OFF.search(f"{clause.verb.phrase}{clause.text}"):
        kitchen.fat_off.update(n for n in kitchen.current.lines if kitchen.events[n])
    if kitchen.current and cook_water.SALTED.search(clause.sentence.lower()):
        kitchen.salted = kitchen.salted or (kitchen.current, clause)
    if kitchen.current and cook_water.LITTLE_WATER.search(clause.text):
        kitchen.current.kept = True
    if (vessel := A_PAN_CALLED.search(clause.text)) and kitchen.current:
        kitchen.current.called = vessel.group(1)
    if "absorbed" in places or TAKEN_UP.search(clause.text):
        kitchen.mark_kept()
    if "off" in places and action not in ("place", "add", "remove") and clause.verb.phrase != "push":  # "push everything to one side"
        kitchen.take_off()


def _heats_food(kitchen: Kitchen, text: str) -> bool:
    """ "Heat the wraps in the microwave", not "heat the oil in a griddle pan"."""
    named = mentions(text, kitchen.lines).lines()
    return any(kitchen.lines[n].cooking_class not in ("fats-oils", "") for n in named)


def _swells(kitchen: Kitchen, text: str) -> bool:
    """Whether the words name food that boiling water makes ready."""
    return any(kitchen.lines[n].cooking_class in ("grains", "noodles", "rice") for n in mentions(text, kitchen.lines).lines())


def _cook(kitchen: Kitchen, clause: Clause, text: str, method: str) -> None:
    """A clause with a method of its own."""
    if clause.verb.phrase in ("wilt", "soften", "wilt down") and any(phrase.method == "boil" for phrase in clause.places):
        method = "boil"
    if method == "stir-fry" and "wilt" in clause.verb.phrase and kitchen.current and kitchen.simmers(kitchen.current) and not NEW_PAN.search(clause.text):
        method = "simmer"  # "stir in the spinach and let it wilt": in the soup
    if method == "steam":
        text = OVER_IT.sub(" ", text)
    found = kitchen.resolve(BESIDE.sub(" ", text), clause.before)
    objects = kitchen.objects(found)
    if objects and IN_FAT.match(text) and not {*kitchen.last} & {*objects} and kitchen.last and not any(kitchen.events[n] for n in kitchen.last) and any(
            kitchen.lines[n].cooking_class != "fats-oils" for n in objects):  # "toss the beef in the flour. Fry in the oil with the ginger"
        found.direct += kitchen.last
        objects = list(dict.fromkeys([*kitchen.last, *objects]))
    objects = without_spent_fat(kitchen, objects, method)
    if objects and WITH_MORE.match(clause.text) and (spoken_of := kitchen.unsaid() or kitchen.cut_before(clause, method) or _at_hand(kitchen, objects)):  # "rinse the lentils and simmer with the onion"
        objects = list(dict.fromkeys([*spoken_of, *objects]))
        found.direct += spoken_of
    places = {phrase.method for phrase in clause.places}
    now = kitchen.current
    if method in ("boil", "simmer") and "steam" in places:
        method = "steam"
    toasted_in_oven = clause.verb.phrase == "toast" and (OVEN_HEAT.search(clause.text) or now and now.oven)
    if method in ("boil", "simmer", "stir-fry", "grill") and ("bake" in places or toasted_in_oven):  # "braise in the oven", "toast in the oven"
        method = "bake"
    if method == "grill" and ("stir-fry" in places or re.search(r"\b(?:dry|hot|frying) (?:[\w-]+ )?pan\b|\bwok\b", clause.text)):
        method = "stir-fry"  # "toast in a dry pan"
    if clause.verb.phrase == "toast" and now and now.heat == "stir-fry" and not found.lines():
        method = "stir-fry"  # "stir in the rice and let it toast"
    if method == "soak" and "boil" in places and {kitchen.lines[n].cooking_class for n in objects} & {"noodles", "pasta", "grains", "rice"}:
        method = "boil"
    in_water = re.search(r"\b(?:in|into|with)\b[^,]*\bwater\b", clause.text)
    water_only = method == "boil" and "water" in without_states(clause.text) + clause.before and not objects and not in_water
    again = now and now.drained and now.lines and FRESH.search(clause.text + clause.before) and not NEW_PAN.search(clause.text)  # "fresh water, boil"
    if water_only and not found.pronoun and not again and not (now and now.lines and now.water) and not clause.before.startswith("cover"):
        kitchen.heated(Pot(heat="boil", water=True))
        return
    if method == "stir-fry" and kitchen.deep_fat and clause.verb.phrase in ("fry", "cook"):
        method = "fry"
    only_fat = objects and all(kitchen.lines[n].cooking_class == "fats-oils" for n in objects)
    if only_fat and kitchen.last and (found.pronoun or " in " in text or WITH_MORE.match(text)):  # "fry it in the oil", "deep-fry in the oil"
        fried = kitchen.unsaid() or kitchen.last
        found.direct += fried
        objects = list(dict.fromkeys([*objects, *fried]))
        pot, rule = kitchen.pot_for(objects, method, text), "named"
    elif not objects and THEM.match(text) and kitchen.before_fat and all(kitchen.lines[n].cooking_class == "fats-oils" for n in kitchen.last):
        objects = kitchen.before_fat  # "dust the shanks with flour. Heat the oil and brown them": not the oil
        pot, rule = kitchen.pot_for(objects, method, text), "pronoun"
        objects = kitchen.with_companions(objects, pot)
    elif not objects and found.pronoun and kitchen.last:
        pot, rule = kitchen.pot_of(kitchen.last) or kitchen.new(kitchen.last), "pronoun"
    elif not objects and (objects := kitchen.unsaid() or kitchen.cut_before(clause, method)):
        pot, rule = kitchen.pot_for(objects, method, text), "pronoun"
    elif not objects:
        pot, rule = kitchen.pot_or_all(method)
    else:
        pot, rule = kitchen.pot_for(objects, method, text), "named"
        if method == "boil" and places & {"water", "boil"} and set(objects) < set(pot.lines) and kitchen.holds_own_liquid(pot):
            pot = Pot()  # "boil the potatoes in fresh water": not the stew that "the vegetables" went into
        if found.vessel in LIQUID_NAMES and not pot.lines and (broth := kitchen.vessel(found.vessel)):  # "reheat the broth with the carrots"
            pot = broth
        if found.vessel or kitchen.mixed and set(objects) & set(kitchen.mixed.lines) or any(n in kitchen.where and kitchen.where[n].together for n in objects):  # coated, stuffed, shaped together
            objects = kitchen.with_companions(objects, pot)
    if objects and not set(objects) <= set(pot.lines):
        kitchen.move(objects, pot)
    pot.heat = method if method != "reheat" else pot.heat
    pot.water = pot.water or (method in ("boil", "soak", "steam") and not kitchen.holds_liquid(pot)) or "water" in places
    kitchen.heated(pot)
    for number in list(pot.lines):
        how = rule if rule != "named" else "named" if number in found.direct else "group" if number in found.group else "pot"
        kitchen.event(number, _first_heat(kitchen, number, pot) or method if method == "reheat" else method, clause, pot, how)
    kitchen.last = objects or kitchen.last


def _at_hand(kitchen: Kitchen, objects: list[int]) -> list[int]:
    """What is in the pot now, where the words only say what is cooked with it."""
    here = kitchen.current.lines if kitchen.current else []
    return [] if set(objects) & set(here) else list(here)


def _first_heat(kitchen: Kitchen, number: int, pot: Pot) -> str:
    """ "Add the sauce and heat through": the pan's own cooking, for what nothing has cooked yet; "" for the rest."""
    line = kitchen.lines[number]
    done = kitchen.events[number] or line.cooked_already or line.cooking_class == "cream-yogurt"
    return "" if done or pot.heat == "bake" else pot.heat


def _generic(kitchen: Kitchen, clause: Clause, text: str) -> None:
    """ "Cook": how is in the words around it, in the pot, or in the food."""
    found = kitchen.resolve(text, clause.before)
    objects = kitchen.objects(found) or kitchen.unsaid()
    places = [phrase.method for phrase in clause.places if phrase.method in HEATING]
    now = kitchen.current
    if clause.verb.phrase in ("lower", "turn down", "turn up") and not places and math.isnan(clause.minutes):
        return
    if places:
        batter = places[-1] == "grill" and now and kitchen.is_batter(now)  # pancakes on a griddle
        _cook(kitchen, clause, text, "stir-fry" if batter else places[-1])
        return
    if objects and not places and all(is_liquid(kitchen.lines[n]) for n in objects) and WITH_MORE.match(clause.text) and now and now.lines and now.heat not in HEATING:
        _cook(kitchen, clause, text, "simmer")  # "drain, and cook in the stock for 30 minutes"
        return
    fresh = [n for n in objects if n not in (now.lines if now else [])]
    custom = [n for n in fresh if kitchen.lines[n].cooking_class in BOILED_BY_CUSTOM and not kitchen.lines[n].cooked_already]
    if custom and not (now and kitchen.holds_liquid(now) and not now.water and IN_WHAT_IS_THERE.search(text)):
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
    kinds = {kitchen.lines[n].cooking_class for n in cooked}
    boiled = kinds & {*BOILED_BY_CUSTOM, *DRAINED_BY_CUSTOM[:6]} and not kinds & {"eggs", "fats-oils"}
    _cook(kitchen, clause, text, "boil" if boiled else "simmer" if "fruit" in kinds and "fats-oils" not in kinds else "stir-fry")
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
        elif kitchen.current and kitchen.current.heat and (COOKS_UNTIL.search(clause.text) or not math.isnan(clause.minutes)):  # "stir in the beans and heat until piping hot"
            _generic(kitchen, clause, text)
        return
    now = kitchen.current
    if all(kitchen.lines[n].cooking_class in ("fats-oils", "") for n in objects) or "melt" in clause.verb.phrase:
        tin = re.search(r"\b(?:roasting|baking|tin|tray|oven)\b", text)
        same = now and now.heat and not tin and (OLD_PAN.search(text) or "in it" in text)
        pot = now if same else Pot()
        pot.heat = "" if tin else "stir-fry"
        kitchen.move([n for n in objects if n not in kitchen.where] or objects, pot, clause.sentence)
        kitchen.heated(pot)
        kitchen.before_fat, kitchen.last = [n for n in kitchen.last if n not in objects] or kitchen.before_fat, objects
        return
    fresh = [n for n in objects if n not in kitchen.where]
    if fresh and any(phrase.method == "boil" for phrase in clause.places):  # "get the pasta on in a pan of boiling water"
        _cook(kitchen, clause, text, "boil")
        return
    if fresh and not kitchen.any_wet(objects) and any(kitchen.lines[n].cooking_class == "fats-oils" for n in objects):  # "warm the oil with the garlic"
        _cook(kitchen, clause, text, "stir-fry")
        return
    if any(phrase.method == "stir-fry" for phrase in clause.places):  # "warm the tortillas in a dry pan"
        _cook(kitchen, clause, text, "stir-fry")
        return
    _cook(kitchen, clause, text, "simmer" if (clause.verb.phrase != "warm" or OVER_HEAT.search(clause.text)) and fresh and kitchen.any_wet(objects) else "reheat")


def _place(kitchen: Kitchen, clause: Clause, text: str) -> None:
    waits = [n for n in kitchen.prepared if n not in kitchen.where]
    if clause.verb.phrase in ("stuff", "fill") and re.match(r"\s*with\b", text) and waits and not kitchen.placed and not kitchen.unsaid():  # "core the apples. Stuff with the sultanas"
        kitchen.topic = waits
        moves.combine(kitchen, clause, text)
        return
    pot = moves.gather(kitchen, clause, text, new=True)
    if not math.isnan(clause.minutes) and pot.heat and moves.LATE.search(clause.text):
        for number in [n for n in pot.lines if n in kitchen.last]:
            kitchen.event(number, moves.heat_of(kitchen, pot, clause, Mentions()), clause, pot, "named")
    elif not math.isnan(clause.minutes) and pot.heat:
        _generic(kitchen, clause, "")
    elif not math.isnan(clause.minutes) and pot.lines and kitchen.hot and kitchen.hot.heat == "bake" and A_TRAY.search(clause.text):
        _cook(kitchen, clause, "", "bake")  # "put on a second tray for the last 15 minutes"


def _rest(kitchen: Kitchen, clause: Clause, text: str) -> None:
    pot = kitchen.current
    if clause.verb.phrase == "leave to soften" and pot and pot.heat and not kitchen.unsaid():
        _generic(kitchen, clause, text)
        return
    was_hot = pot is not None and any(kitchen.events[n] for n in pot.lines)  # "bring the stock to the boil, stir in the couscous and leave"
    if clause.verb.phrase == "rest" or pot is None or not (pot.water or was_hot and kitchen.holds_liquid(pot)):
        return
    grain = any(kitchen.lines[number].cooking_class == "grains" for number in pot.lines)
    for number in pot.lines:
        swells = kitchen.lines[number].cooking_class in ("grains", "noodles", "rice", "pasta")
        taken_up = kitchen.lines[number].cooking_class in ("water", "stock-sauce", "grains", "rice") or grain and kitchen.lines[number].cooking_class == "dried-fruit"
        soaks_up = was_hot and kitchen.lines[number].cooking_class in ("grains", "noodles") and not kitchen.events[number]
        if soaks_up or pot.heat == "boil" and (swells or taken_up):
            kitchen.event(number, "boil", clause, pot, "pot")
            kitchen.events[number][-1].hint = "kept" if taken_up else ""
        elif not pot.heat and clause.minutes >= SOAKING_FROM_MINUTES or pot.heat == "boil" and clause.minutes >= STEEPING_FROM_MINUTES and not was_hot:
            kitchen.event(number, "soak", clause, pot, "pot")


HANDLERS = {
    "cook": _generic, "heat": _heat, "add": moves.add, "place": _place, "combine": moves.combine, "remove": moves.remove, "drain": drain, "rest": _rest,
    "prepare": moves.prepare, "serve": moves.serve,
}
