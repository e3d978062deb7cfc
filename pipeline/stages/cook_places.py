"""Which pot a clause puts things into, and what its words say of that pot."""

from __future__ import annotations

import re

from pipeline.stages.cook_names import GROUPS, Mentions, mentions
from pipeline.stages.cook_pots import NEW_PAN, OLD_PAN, Kitchen, Pot
from pipeline.stages.cook_words import NEW_CONTAINER, THE_CONTAINER, Clause

APPLIANCES = ((re.compile(r"\b(?:slow|pressure|multi)[ -]?cooker\b|\binstant pot\b|\bcrock ?pot\b"), "simmer"), (re.compile(r"\bair[ -]?fryer\b"), "bake"),
              (re.compile(r"\brice cooker\b"), "boil"), (re.compile(r"\bmicrowav(?:e|eable|e-?safe|e-?proof)\b[^.]*\b(?:dish|bowl|plate|jug)\b"), "microwave"))
WORKED_INTO = ("toss", "coat", "dust", "season", "rub", "brush", "dredge", "dip", "cover")
WORKED_IN = ("stir in", "fold in", "mix in", "beat in", "whisk in")
WRAPPED = ("wrap", "thread", "skewer")
# "Tip into the pan with the stock": what is tipped stands in the clause before.
LEAVES_OUT = ("tip", "put", "add", "place", "pour", "transfer", "return", "arrange", "layer", "spoon", "pile", "lay", "spread", "stir")
BOWL = re.compile(r"\b(?:in|into) (?:an?|the|your) (?:[\w-]+ ){0,2}(?:bowl|jug|food processor|blender)\b(?! of\b)")
_VESSELS = "(casserole|wok|stockpot|skillet|slow cooker|saucepan)"
A_PAN_CALLED = re.compile(rf"\b(?:an?|your) (?:[\w-]+ ){{0,3}}?{_VESSELS}\b")
THE_PAN = re.compile(rf"\b(?:the|your) (?:same |hot )?{_VESSELS}\b")
ON_TOP = re.compile(r"\b(?:on(?: the)? top|over the top|over)\b\s*(?:and|then|,|$)")
OVEN_DISH = re.compile(r"\b(?:(?:roasting|baking|oven|sheet)[ -](?:tins?|trays?|sheets?|dish|pans?)|(?:ovenproof|oven-proof|gratin|pie) dish|muffin tins?|loaf tin)\b")
WITH_FRESH = re.compile(r"\s*(?:it |them )?(?:with|in) (?:more |some )?(?:fresh|cold|clean)\s*(?:and\b|,|$)")
JUICES = re.compile(r"\b(?:pan|roasting|meat|cooking) juices\b|\bjuices (?:left )?in the (?:roasting )?(?:tin|pan|dish)\b|\b(?:pan|roasting) drippings\b")
# The juices of a roast are served, or go into its gravy; not those that run clear, settle, baste, or are poured away.
_JUICES_THERE = re.compile(
    r"(?<!lemon )(?<!lime )(?<!orange )(?<!citrus )(?<!fruit )\bjuices\b(?!\s(?:will |should |to |are |can |that )*(?:run|runs|settle|reabsorb|be reabsorbed|redistribute|flow|clear|no longer))"
    r"|\bdrippings\b|\bdeglaz\w+|\b(?:sticky|browned|brown|crusty|caramelised|caramelized|burnt|tasty|roasted) bits\b|\bgravy\b[^.]*\b(?:tin|roasting pan)\b|\b(?:tin|roasting pan)\b[^.]*\bgravy\b")
_JUICES_GO = re.compile(r"\b(?:discard|throw|thrown|bin)\w*\b[^.,]*\b(?:juices|drippings)\b|\b(?:pour|tip|drain)\w* (?:away|off|out) (?:the |any |all |its |their )*(?:[\w-]+ )?(?:juices|drippings)\b"
                        r"|\bbast\w+\b[^.,]*\b(?:juices|drippings)\b")
SAME_PAN = re.compile(r"\b(?:in|into|to) the same (?:[\w-]+ )?(?:pan|skillet|wok|frying pan)\b")
A_TRAY = re.compile(r"\b(?:tray|sheet|tin)\b")
BOILING_WATER = re.compile(r"\b(?:in|into) (?:a (?:[\w-]+ ){0,2}of )?(?:plenty of |lots of |salted |unsalted |fast |rapidly )*boiling (?:salted )?water\b")
BROTHS = ("broth", "stock", "liquor", "liquid", "soup")
THAT_PAN = re.compile(r"\b(?:in|into|to) the (?:[\w-]+ )?(?:pan|skillet|wok)\b")  # beside a slow cooker it is another vessel
PAN_ON_HEAT = re.compile(r"\s*(?:the |same |your )?(?:[\w-]+ )?(?:skillet|pan|wok)\s(?:back )?(?:on|over|to)\b[^,.]*\bheat\b")  # "place the skillet over medium heat"
ADD_ALONG = re.compile(r"(?:add|(?:stir|fold|mix) in(?=\s*with\b))(?: them| it| these)?\s*(?:with\b|$|,)")
GREASES = re.compile(r"^(?:brush|grease|oil|rub|wipe|spray) (?:an?|the|your) (?:[\w-]+ ){0,3}(?:pan|skillet|griddle|wok)\b")  # "brush a griddle pan with the oil"
FRYING_PAN = re.compile(r"\b(?:the (?:[\w-]+ )?|(?:to|into|in) )(?:frying pan|wok|skillet)\b")


def along_into(kitchen: Kitchen, clause: Clause, text: str) -> Pot | None:
    """ "Soften the onions and add with the carrots": the dish laid out before; None when the words mean no other pot."""
    dish = kitchen.dish
    if clause.verb.phrase != "add" and kitchen.current is kitchen.mixed:
        dish = kitchen.previous  # "mash the bananas and stir in with the nuts": into what was mixed before
    other = dish and dish.lines and kitchen.current not in (None, dish)
    return dish if other and ADD_ALONG.match(f"{clause.verb.phrase}{text}") else None


def set_up(kitchen: Kitchen, clause: Clause, text: str, pot: Pot, told: bool, objects: list[int]) -> None:
    """What the words say of the pot itself: an oven dish, a mixing bowl, an appliance, water in it."""
    if OVEN_DISH.search(clause.text) or A_TRAY.search(clause.text) and "oven" in clause.sentence.lower():
        pot.oven = True
    swells = any(kitchen.lines[n].cooking_class in ("grains", "noodles", "rice", "legumes-dried") for n in pot.lines + objects)
    if told and not pot.heat and not pot.water and not swells and BOWL.search(clause.text):
        kitchen.previous, kitchen.mixed = kitchen.hot, pot
    if told and not pot.heat and (NEW_CONTAINER.search(clause.text) or THE_CONTAINER.search(clause.text)):
        kitchen.dish = pot
    for appliance, method in APPLIANCES:
        if appliance.search(clause.text):
            pot.heat, pot.kept, pot.appliance = method, method in ("simmer", "boil"), True
    if objects and GREASES.search(f"{clause.verb.phrase}{clause.text}") and all(kitchen.lines[n].cooking_class == "fats-oils" for n in [*pot.lines, *objects]):
        pot.heat = "stir-fry"
    if not pot.heat and any(phrase.method in ("stir-fry", "fry") and re.search(r"pan|wok|skillet|\bhot\b|deep", phrase.phrase) for phrase in clause.places):
        pot.heat = "stir-fry"  # "drop spoonfuls into the oil in a frying pan"
    if any(phrase.method == "boil" for phrase in clause.places):
        pot.heat, pot.water = "boil", True
    if clause.verb.phrase == "cover" and WITH_FRESH.match(text):  # "cover with fresh and simmer"
        pot.water = True


def to_juices(kitchen: Kitchen, clause: Clause) -> None:
    """ "Stir the flour into the juices in the tin": where the meat cooked, without what is in it still."""
    if not JUICES.search(clause.text):
        return
    cooked = [event for number, events in enumerate(kitchen.events) for event in events
              if kitchen.lines[number].cooking_class in GROUPS["meat"] and event.method in ("bake", "stir-fry", "grill")]
    if not cooked:
        return
    pot = max(cooked, key=lambda event: event.at).pot
    there = any(kitchen.lines[n].cooking_class in GROUPS["meat"] for n in pot.lines)
    if pot is not kitchen.current and there:
        pot = Pot(heat="stir-fry", fried=True)
    kitchen.current = pot


def juices_eaten(sentence: str) -> bool:
    """Whether a sentence eats the juices of meat: "stir the flour into the juices in the tin", "deglaze the pan", "serve with the pan juices"."""
    lower = sentence.lower()
    return bool(_JUICES_THERE.search(_JUICES_GO.sub(" ", lower)))


def back_to_the_pan(kitchen: Kitchen, clause: Clause) -> None:
    """ "In the same pan cook the onions": the frying pan, once what was in it stands in the slow cooker or on a plate."""
    now = kitchen.current
    if kitchen.frying is None or now is None or now is kitchen.frying:
        return
    if not now.heat and clause.verb.method in ("place", "add") and PAN_ON_HEAT.match(clause.text):
        kitchen.current, kitchen.frying.heat = kitchen.frying, "stir-fry"
        return
    same = SAME_PAN.search(clause.before + clause.text)
    if same and (now.appliance or not now.heat) or now.appliance and THAT_PAN.search(clause.text):
        kitchen.current = kitchen.frying


def without_spent_fat(kitchen: Kitchen, objects: list[int], method: str) -> list[int]:
    """ "Soften the onions in a little oil": fresh food does not go to the fat of the list where that roasts, or is in the soup."""
    def spent(number: int) -> bool:
        home = kitchen.where.get(number)
        in_soup = home is not None and method in ("fry", "stir-fry") and kitchen.holds_liquid(home) and any(event.method == "simmer" for event in kitchen.events[number])
        if home is None or kitchen.lines[number].cooking_class != "fats-oils" or home.heat not in ("bake", "grill") and not in_soup:
            return False
        return any(kitchen.events[n] and kitchen.lines[n].cooking_class != "fats-oils" for n in home.lines) and not set(objects) & {n for n in home.lines if n != number}
    left = [n for n in objects if not spent(n)]
    return left if any(n not in kitchen.where for n in left) else objects


def waits_for_topping(kitchen: Kitchen, text: str) -> bool:
    """ "Scatter over the fruit": the fruit is cooked or laid out already, and something else was just mixed."""
    named = mentions(text, kitchen.lines).lines()
    mixed, dish = kitchen.mixed, kitchen.dish
    if named and dish and dish is not kitchen.current and not dish.heat and set(named) <= set(dish.lines):
        return True
    return bool(mixed and mixed.lines and named) and all(n in kitchen.where and kitchen.where[n] is not mixed for n in named)


def only_water(clause: Clause) -> bool:
    """ "Put on a big pan of water": nothing else is moved; "put in a pan with fresh water" moves what was at hand."""
    if re.match(r"\s*(?:back )?(?:in|into)\b", clause.text):
        return False
    return any(phrase.method in ("water", "boil") for phrase in clause.places)


def destination(kitchen, clause, what, where, objects, to: Mentions, new: bool) -> tuple[Pot, bool]:
    """The pot a clause moves things into, and whether its words say so."""
    both, now = what + " " + where, kitchen.current
    goal = to.lines() or (kitchen.objects(to) if to.vessel else [])
    home = kitchen.pot_of(goal)
    if home and not (to.vessel in BROTHS and kitchen.broth and not to.lines()):
        return home, True
    if APPLIANCES[0][0].search(both) and (waits := [pot for pot in kitchen.where.values() if pot.appliance and pot.heat == "simmer" and pot.lines]):
        return waits[-1], True  # "add to the slow cooker": to what is there
    if to.vessel in BROTHS and kitchen.broth and not to.lines():  # "lift out the chicken, add the leeks to the broth"
        return kitchen.broth, True
    if to.pronoun and not to.lines() and where and (home := kitchen.pot_of(kitchen.last)):  # "nestle the fish among them"
        return home, True
    if to.lines():
        fresh = clause.verb.phrase in WORKED_INTO and not kitchen.placed  # "brush the courgettes with oil": not in what stands there
        apart = now is not None and now.lines and not set(to.lines()) & set(now.lines)  # "stir the horseradish into the yoghurt"
        pot = Pot() if now is None or fresh or apart and (now.heat or new or not kitchen.placed) else now
        if pot is not now and not pot.heat and any(kitchen.lines[n].cooking_class != "fats-oils" for n in to.lines()):  # the batter is still what was mixed
            kitchen.previous, kitchen.mixed = now, pot
        kitchen.move(to.lines(), pot, clause.sentence)
        return pot, True
    if (said := THE_PAN.search(where)) and (pot := kitchen.called_so(said.group(1))):
        return pot, True
    if _onto_dish(kitchen, clause, objects):
        return kitchen.dish, True
    if clause.verb.phrase in WRAPPED and now and now.heat and objects and not set(objects) & set(now.lines):
        return Pot(), True  # "wrap the flatbreads in foil": not in the pan of before
    if kitchen.frying and kitchen.frying is not now and FRYING_PAN.search(both):
        return kitchen.frying, True
    if NEW_PAN.search(both) or NEW_PAN.search(clause.text):
        return Pot(), True
    if BOILING_WATER.search(clause.text) and now and now.lines and (now.fried or kitchen.holds_own_liquid(now)) and not set(objects) & set(now.lines):
        return Pot(), True  # "drop the greens into boiling water": not into the gravy
    if NEW_CONTAINER.search(both) or THE_CONTAINER.search(both) and not (clause.verb.phrase.startswith("add") and now and now.heat in ("bake", "grill")) and (
            now is None or not now.lines or now.heat):
        return Pot(), True
    if clause.verb.phrase == "cover" and objects and not kitchen.placed and now and now.lines and not any(n in kitchen.where for n in objects) and any(
            phrase.method in ("boil", "water") for phrase in clause.places) and not re.match(r"\s*(?:it|them|everything|with)\b", clause.text):
        return Pot(), True  # "cover the bulgur with boiling water": not in what was made before
    said = clause.verb.phrase in ("toss", "coat", "season", "brush", "cover") and " with " not in " " + clause.text
    if said and (home := kitchen.pot_of(objects)):
        return home, False
    before = kitchen.previous or kitchen.hot
    cold_mix = now is not None and now is kitchen.mixed and before is not None and before is not now
    if cold_mix and any(appliance.search(clause.text) for appliance, _ in APPLIANCES):  # "lay in the air fryer": what was just coated
        return now, True
    laid_out = new and re.search(r"\b(?:on|onto|in|into) an?\b", clause.text)  # "oil the fish and lay it on a rack"
    if cold_mix and not laid_out and (OLD_PAN.search(both) or set(objects) <= set(now.lines)) and (objects or clause.verb.phrase != "cover"):
        return before, True
    foods = {kitchen.lines[n].cooking_class for n in objects} - {"water", "salt", "other", "sugars", "herbs-spices", "stock-sauce", ""}
    if now and now.heat == "soak" and clause.verb.phrase in WORKED_IN:  # "stir the flour into the soaked fruit": it soaks no longer
        now.heat = ""
    if now and now.heat == "soak" and any(kitchen.lines[n].cooking_class == "bread" for n in now.lines):  # "soak the crumbs in the milk. Add the mince"
        now.heat = ""
    if now and now.heat == "soak" and foods and not kitchen.placed:  # the beans go on soaking; this is something else
        return Pot(), True
    if laid_out and not kitchen.placed and now and kitchen.last and not set(kitchen.last) & set(now.lines):
        return Pot(), True
    return now or Pot(), False


def _onto_dish(kitchen: Kitchen, clause: Clause, objects: list[int]) -> bool:
    """ "Pile the mash on top", "spoon on the leeks": on what was laid out before, from the pan they cooked in."""
    dish, now = kitchen.dish, kitchen.current
    if dish is None or not dish.lines or dish is now:
        return False
    if ON_TOP.search(f"{clause.verb.phrase}{clause.text}"):
        from_there = set(objects) <= set(now.lines) if objects and now else mentions(clause.text, kitchen.lines).pronoun
        return now is None or not now.heat or from_there
    over = re.match(r"\s*(?:over|on|on to|onto)\s(?!an?\b)", clause.text) and clause.verb.phrase in LEAVES_OUT
    return bool(over and objects) and not dish.heat and not set(objects) & set(dish.lines)
