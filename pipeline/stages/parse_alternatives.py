"""Alternatives: "butter or margarine", and "vegetable or chicken stock", which share a noun.

The first food is coded; the other is kept in words. The lists below only decide whether the
words before "or" are a food of their own; common practice, no source.
"""

from __future__ import annotations

from pipeline.stages.parse_words import Token, Vocabulary

_COLOURS = "red white green yellow brown black purple orange golden dark light pale"
# noun: the words that, before it, only say which kind
_KINDS = {
    "stock": "vegetable chicken beef fish lamb ham turkey veg mushroom veal shellfish game",
    "oil": "olive sunflower vegetable rapeseed canola groundnut corn peanut sesame coconut avocado walnut grapeseed soya soybean hazelnut",
    "vinegar": "wine cider malt balsamic rice sherry spirit distilled apple",
    "milk": "whole skimmed semi-skimmed semi full-fat almond soy soya oat coconut rice goat's cow's skim nonfat low-fat",
    "cheese": "cheddar parmesan goat's cottage cream blue feta stilton gruyere mozzarella swiss monterey jack soft hard",
    "flour": "plain self-raising wholemeal strong rice corn gram spelt rye bread cake almond all-purpose wheat",
    "sugar": "caster granulated icing muscovado demerara palm cane superfine",
    "rice": "basmati jasmine long-grain wild arborio pudding risotto",
    "bean": "kidney cannellini haricot butter pinto borlotti navy broad runner french flageolet aduki lima",
    "wine": "dry sweet sparkling", "bread": "wholemeal sourdough rye granary pitta crusty", "onion": "spring spanish",
    "pepper": "bell chilli cayenne", "potato": "new sweet king baking floury waxy", "mince": "beef lamb pork turkey chicken",
    "meat": "beef lamb pork turkey chicken", "juice": "lemon lime orange apple pineapple cranberry tomato grapefruit", "zest": "lemon lime orange",
    "lentil": "puy", "cabbage": "savoy chinese napa pointed spring", "lettuce": "cos romaine iceberg gem butterhead",
    "cream": "single double whipping soured sour clotted heavy", "yogurt": "greek natural plain low-fat", "chocolate": "milk plain",
    "pasta": "penne fusilli macaroni wholewheat", "noodle": "rice egg udon soba wheat", "tomato": "cherry plum vine beef grape roma",
    "apple": "cooking eating bramley", "mushroom": "button chestnut field portobello shiitake cremini oyster", "sauce": "soy soya tamari tomato chilli",
    "mustard": "dijon wholegrain english", "syrup": "maple agave corn", "paste": "tomato curry miso", "seed": "sesame poppy sunflower pumpkin cumin fennel",
    "nut": "cashew brazil", "breast": "chicken turkey duck", "thigh": "chicken turkey", "fillet": "cod haddock salmon trout pollock plaice chicken",
    "leaf": "mint basil coriander parsley spinach bay", "powder": "chilli curry garlic onion", "steak": "rump sirloin fillet tuna salmon",
    "parsley": "flat-leaf curly", "sausage": "pork beef turkey", "crumb": "bread", "butter": "peanut almond", "salt": "sea table rock kosher",
    "chop": "lamb pork", "shoulder": "lamb pork", "broccoli": "purple sprouting", "mayonnaise": "low-fat", "tortilla": "corn flour",
}
KINDS = {noun: frozenset(words.split()) | frozenset(_COLOURS.split()) for noun, words in _KINDS.items()}
_SAME = {"broth": "stock", "yoghurt": "yogurt", "noodles": "noodle", "leaves": "leaf", "tomatoes": "tomato", "potatoes": "potato", "chile": "pepper"}
_ADJECTIVES = frozenset({"descriptor", "identity", "kept", "adverb"})


def noun(word: str) -> str:
    """The singular of a noun of the lists."""
    if word in _SAME:
        return _SAME[word]
    return word[:-1] if word.endswith("s") and word[:-1] in KINDS else word


def says_which(tokens: list[Token], position: int, head: str, known: Vocabulary) -> bool:
    """Whether the word at ``position`` only says which kind of ``head`` is meant."""
    word = tokens[position].low
    if word in KINDS.get(head, frozenset()):
        return True
    if known.states.exactly([word]):
        return True
    kind = known.preparations.exactly([word])
    return bool(kind) and kind[0] in _ADJECTIVES and word != head


def find_or(tokens: list[Token]) -> tuple[int, int] | None:
    """(start, end) of the "or", "and/or" or "/" that parts two foods."""
    for position, token in enumerate(tokens):
        if position == 0 or position + 1 == len(tokens):
            continue
        if token.low == "or":
            start = position - 2 if position > 2 and tokens[position - 1].text == "/" and tokens[position - 2].low == "and" else position
            return start, position + 1
        if token.text in ("/", "|") and tokens[position - 1].kind == "word" and tokens[position + 1].kind == "word":
            if tokens[position + 1].low == "or" or {tokens[position - 1].low, tokens[position + 1].low} == {"salt", "pepper"}:
                continue
            return position, position + 1
    return None


def shared_noun(left: list[Token], right: list[Token], known: Vocabulary) -> int:
    """How many words of ``right`` are its own before the noun that both share; 0 = none shared.

    "vegetable | chicken stock" -> 1: the left is "vegetable stock".
    """
    if not left or len(right) < 2 or any(token.kind != "word" for token in right[:2]):
        return 0
    words = [token for token in right if token.kind == "word"]
    named = words[-2] if words[-1].low in ("cube", "cubes", "pot", "pots", "powder") and len(words) > 2 else words[-1]
    head = noun(named.low)
    if not says_which(left, len(left) - 1, head, known):
        return 0
    if left[-1].low in KINDS.get(head, frozenset()) and right[0].low not in KINDS.get(head, frozenset()):
        for position in range(1, len(right) - 1):
            if right[position].low in KINDS[head]:
                return position + 1
    return 1
