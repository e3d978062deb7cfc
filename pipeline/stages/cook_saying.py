"""Turns of phrase that cooks use, said in the plain words of ``mappings/cooking_verbs.csv``.

A sentence is rewritten before its verbs are looked for; what is shown as evidence stays as written.
"""

from __future__ import annotations

import re

_THINGS = r"(?:(?:the|your|these|those|all the)\s(?:[\w'’-]+\s){1,5}?|(?:it|them|this|these)\s)"
_LIQUID = r"(?:water|milk|buttermilk|juice|stock|broth|yoghurt|yogurt|cream|brine|tea|cider|wine|brandy|rum|liqueur|beer|ale|vinegar|drink|syrup)"
_INFINITIVES = {"bak": "bake", "tipp": "tip", "microwav": "microwave", "crumbl": "add", "sprinkl": "add", "scatter": "add", "drizzl": "add", "squeez": "add", "grat": "add",
                "dott": "add", "scrap": "scrape", "putt": "put", "plac": "place", "arrang": "arrange"}
_DONE = {"boiled": "boil", "parboiled": "parboil", "blanched": "blanch", "steamed": "steam", "simmered": "simmer", "poached": "poach", "fried": "fry", "browned": "brown", "softened": "soften",
         "roasted": "roast", "baked": "bake", "grilled": "grill", "soaked": "soak", "drained": "drain", "mashed": "mash", "microwaved": "microwave", "sweated": "sweat", "cooked": "cook"}
SAYINGS = (
    # "put the sultanas to soak in the juice", "let the liver sit in milk": not a pan they are put into
    (re.compile(rf"\b(?:put|leave|set|let|allow)\s({_THINGS})(?:to\s)?(?:soak|steep)\b"), r"soak \1"),
    (re.compile(rf"\b(?:put|leave|set|let|allow)\s({_THINGS})(?:to\s)?(?:sit|stand|lie|rest|stay)\s(?=(?:overnight\s)?in\s(?:[\w-]+\s){{0,4}}?{_LIQUID}\b)"), r"soak \1"),
    # "the barley goes back in", "the carrots are added": who does it is not said
    (re.compile(r"^(\s*(?:(?:now|then|next|finally|lastly)\b,?\s)?)((?:the|your|all the|both the)\s(?:[\w'’-]+\s){1,5}?)(?:goes?|are put|is put)\s(?:straight\s|then\s)?(?:back\s)?(?=(?:in|into|on|onto|over)\b)"),
     r"\1add \2"),
    (re.compile(r"^(\s*(?:(?:now|then|next|finally|lastly)\b,?\s)?)((?:the|your|all the|both the)\s(?:[\w'’-]+\s){1,5}?)(?:is|are)\s(?:now\s|then\s)?added\b"), r"\1add \2"),
    (re.compile(r"\b(?:in|into|onto|on to) (?:the|an?|this|that) [^,.:]{1,30}? (?:goes?|went) (?=(?:the|your|all|half)\b)"), "add "),
    (re.compile(r"\b(?:leach|cook|prepare|soften|start)\s((?:the\s|your\s)?(?:[\w'’-]+\s){1,5}?)by\s(boil|steam|roast|bak|fry|grill|microwav|simmer|soak)ing\b"),
     lambda found: f"{_INFINITIVES.get(found.group(2), found.group(2))} {found.group(1)}"),
    (re.compile(r"^\s*(?:then\s|and\s|next\s)?in with (?=\w)"), "add "),
    # "set a steamer with the cabbage over the pan", "boil for 10 minutes before roasting with the oil": what is done next
    (re.compile(r"\b(?:set|put|place|sit|stand|balance|fit)\s(?:an?|the|your)\s(?:[\w-]+\s){0,2}?(?:steamer|colander|sieve)(?:\sbasket)?\s(?:with|of|holding|containing|filled with)\s(?=(?:the|your|all)\s[^.,]*\b(?:over|above|on top)\b)"),
     "steam "),
    (re.compile(r"\bwith (?:an?|the|your) (?:[\w-]+ )?(?:steamer|colander)(?: basket)? (?:over the top|on top|above|over it)(?: of (?:it|them|the \w+))?(?:,)? (?:for|holding|containing|with) (?=(?:the|your)\b)"), ", then steam "),
    (re.compile(r"\b(?:stir|mix|fold|slide|drop|stirred|throw) (it |them |the meat |everything )?back (?:in(?!to)|into the (?:pan|pot|soup|stew|stock|sauce|broth))\b"),
     lambda found: f"return {found.group(1) or 'it '}to the pan"),
    (re.compile(r"\b(?:cut|skin|fat|flesh)[- ](side|edge|face)(s?)\b"), r"open \1\2"),  # "roast cut side up": nothing is cut
    (re.compile(r"\bbefore\s(roast|fry|stir-fry|grill|bak|steam|sauté|saute)(?:e?ing)\s(?=(?:with|in|at|under|on|for|the|them|it|everything|all)\b)"), lambda found: f", then {_INFINITIVES.get(found.group(1), found.group(1))} "),
    (re.compile(r"\bbefore\s(add|mash|return|toss|stir|fold|mix|pour|tipp)(?:ing)\s(?=(?:with|in|to|into|through|back|the|them|it|everything|all)\b)"), lambda found: f", then {_INFINITIVES.get(found.group(1), found.group(1))} "),
    (re.compile(r"\b(?:set|select|press|choose|turn|switch|put|use)\s(?:[\w-]+\s){0,6}?(?:sauté|saute|browning)(?:\s(?:function|setting|mode|button))?\b(?:\son (?:the|your|an?) (?:[\w-]+\s){0,3}(?:cooker|pot))?"), "heat the pan"),
    (re.compile(r"\b(?:put|set|get|have)\s((?:an?|the|your)\s(?:[\w-]+\s){0,3}water)\s(?:on\s)?(?:to boil|boiling|on the boil|to come to the boil)\b"), r"bring \1 to the boil"),
    (re.compile(r"\b(?:kadai|kadhai|karahi)\b"), "wok"),
    (re.compile(r"\b(?:tawa|tava)\b"), "frying pan"),
    (re.compile(r"\b(?:reduce|lower|drop|turn down|increase|raise|turn up|turn)\s(?:it\s|the (?:oven|heat|temperature|oven temperature)\s)?(?:down\s|up\s)?to\s(?=(?:about\s)?(?:\d{3}(?!\d)|gas\b))"), "turn the heat down to "),
    (re.compile(r"\b(?:reduce|lower|drop|turn down|increase|raise|turn up) the (?:oven|temperature|oven temperature)\b"), "turn the heat down"),
    (re.compile(r"\brepeat(?:ing)? (?:with|until|this|the process)\b[^.;]*"), "check "),
    (re.compile(r"\bcover the (?:bowl|dish|pan|pot|saucepan|casserole|tin|tray|jug|basin|wok|skillet)\b(?:\s(?:tightly|loosely|and))*(?:\swith (?:an? |the |its |some )?(?:lid|foil|film|cling ?film|clingfilm|plate|cloth|tea towel|parchment))?"), "cover and"),
    (re.compile(r"^\s*(?:they|these|it)(?:'ll|’ll| will)? (?:only |just )?(?:needs?|takes?|wants?) (?:only |just |about |around )*(?=(?:\d+|a couple of|a few|two|three|four|five|six|eight|ten|fifteen|twenty)(?:\s?(?:-|–|to)\s?\d+)? min\w*\s*(?:$|[.,;]|and\b|more\b))"), "cook for "),
    # "The chicken is browned in the butter": what is done to it, said of it
    (re.compile(rf"^(\s*(?:(?:now|then|next|first|meanwhile|finally)\b,?\s)?)((?:the|your|all the)\s(?:[\w'’-]+\s){{1,4}}?)(?:is|are)\s(?:then\s|first\s|now\s)?({'|'.join(_DONE)})\b"),
     lambda found: f"{found.group(1)}{_DONE[found.group(3)]} {found.group(2).rstrip()}"),
    # "Roast for 50 minutes, crumbling over the feta for the last 5": said after the comma, done to something else
    (re.compile(r"(,\s)(crumbl|sprinkl|scatter|pour|drizzl|squeez|grat|drop|spoon|tipp|throw|whisk|fold|dott|scrap|tuck|putt|lay|plac|arrang)ing\s(?=(?:in|over|on|with|the|an?|some|half)\b[^,.;]*\b(?:last|final|after|halfway|end|before|\d+)\b)"),
     lambda found: f"{found.group(1)}{_INFINITIVES.get(found.group(2), found.group(2))} "),
    # what a step is for is no step: "to reduce the potassium, boil the potatoes"
    (re.compile(r"\b(?:to |which |this |that )?(?:help(?:s|ing)? (?:to )?)?(?:will |can )?(?:reduc|lower|remov|cut)(?:e|es|ed|ing|s)?(?: down)?(?: on)?\s(?:(?:the|its|their|some|of|much|most|more|amount|level)\s)*(?:potassium|salt|sodium|phosph\w+)\b(?:\s(?:content|level|further))?"), ""),
    (re.compile(r"\b(?:just|freshly|recently|newly)[- ]boiled (?=water\b)"), "boiling "),
    (re.compile(r"\b(?:off|from) the (?:burner|stove|stovetop|flame|gas|cooker)\b"), "off the heat"),
    (re.compile(r"\b(?:leave|let) (?:it|them) be\b"), "keep cooking"),
    (re.compile(r"\bbin (?=(?:the|its|their|that)\b)"), "discard "),
    (re.compile(r"\bcook (?=[^.,]*\b(?:with|in) (?:(?:just|only|nothing but|no more than)\s)?the (?:few )?(?:water|drops|moisture)(?: of water)? (?:that |which )?(?:cling|left|still on|from washing|on (?:its|the|their) leaves))"), "wilt "),
    # a little of the liquid goes, or it may: what is poured off for sure is a sentence of its own
    (re.compile(r"\b(?:drain|strain|pour|ladle|spoon|tip)(?:\s(?:off|away|out))?(?:\s(?:any|the|some|of|excess|remaining|leftover|surplus|extra))*(?:\s(?:water|liquid|stock|broth))?,?"
                r"\s(?:if|as|where) (?:necessary|needed|required|need be|there(?:'s|’s| is) (?:any|too much)|you (?:like|want|wish|prefer))\b"), "check"),
    (re.compile(r"\b(?:drain|pour|ladle|spoon|tip)(?:\s(?:off|away|out))?\s(?:an?\s(?:little|bit|ladle(?:ful)?|cup(?:ful)?|mug(?:ful)?|few (?:spoonfuls|ladlefuls|tablespoons))|\d+\s?(?:ml|tbsp))"
                r"\sof (?:the|its|their|that)(?:\s(?:cooking|hot))?\s(?:water|liquid|stock|broth)\b(?!\s(?:into|over|onto|to)\b)"), "check"),
)
# A sentence of numbers alone says the oven: "190C, 40 minutes" (common practice, no source).
OVEN_BY_DEGREES = re.compile(r"^\W*(?:at\s)?(?:gas(?: mark)? \d|\d{3}\s*(?:°|degrees)?\s*[cf]\b).*\d\s*-?\s*(?:h|m)", re.IGNORECASE)


def plainly(sentence: str) -> str:
    """The sentence (lower case) in the words of the vocabulary."""
    for saying, plain in SAYINGS:
        sentence = saying.sub(plain, sentence)
    return sentence
