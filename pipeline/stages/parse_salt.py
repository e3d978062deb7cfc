"""Salt: words that say a food is without it, and alternatives of salt that may hold potassium.

Salt with less sodium is mostly made with potassium chloride, which can be dangerous to people with kidney
disease: a line that leaves such a choice open is never settled as table salt. The lists are common practice, no source.
"""

from __future__ import annotations

from pipeline.stages.parse_measure import low_at
from pipeline.stages.parse_prepare import DIGITS, Reading, give, prep_kind
from pipeline.stages.parse_words import Token, joined

_KINDS = frozenset("salt salts table sea rock kosher fine finely coarse coarsely flaky flaked flakes cooking iodised iodized pink himalayan ordinary plain normal "
                   "regular white grey gray crystal crystals ground freshly pinch pinches".split())
_FOODS = frozenset("pepper peppercorns black soy soya sauce tamari fish stock cube cubes bouillon lemon lime juice vinegar herbs garlic celery onion "
                   "parmesan capers anchovy anchovies miso paste".split())
_SMALL = frozenset("a an the of or and to taste more less little bit extra few as needed required both half quarter one two three".split())
# Of an alternative of salt every word has to be one of these; other words may mean a salt that holds potassium.
_HARMLESS = _KINDS | _FOODS | _SMALL
# Of a remark beside salt any of these tells of another salt, and so does a trade name that ends in "salt".
_TELLING = frozenset("potassium sodium kalium potash chloride kcl lo low lower reduced lite light diet substitute substitutes replacement replacer "
                     "alternative alternatives instead swap".split())
_REMARKS = frozenset({"note", "preparation", "leftover"})
_NO, _OR, _ADDED = frozenset({"no", "without"}), frozenset({"or", "and", "nor", "/", "&"}), frozenset({"added", "extra"})
# What foods are said to be made without, in one breath with salt.
_LEFT_OUT = frozenset("salt sugar sugars oil fat sweetener sweeteners additives preservatives flavourings colourings".split())


def without_unsalted(tokens: list[Token], reading: Reading) -> list[Token]:
    """The tokens without "no salt", "without added salt or sugar" and the like: said of the food, wherever it stands.

    The words about salt join the phrase, as those of "no added salt" do; those about sugar are a note.
    """
    left: list[Token] = []
    position = 0
    while position < len(tokens):
        token = tokens[position]
        if token.kind == "group":
            token.inner = without_unsalted(token.inner, reading)
        end, salt = _unsalted_at(tokens, position)
        if salt and not _says_cooked(left, reading):
            if left and left[-1].low in ("with", "and", "but"):
                give([left.pop()], "joint")
            give(salt, "phrase")
            for other in tokens[position:end]:
                give([other], "joint" if other.kind == "punct" else "note")
            reading.before.extend(salt)
            position = end
            continue
        left.append(token)
        position += 1
    return left


def _says_cooked(left: list[Token], reading: Reading) -> bool:
    """Whether the words so far end in how it was cooked: "cooked without salt" is said of the cooking."""
    if not left or left[-1].kind != "word":
        return False
    state = reading.known.states.exactly([left[-1].low])
    return bool(state and state[0] == "cooked") or prep_kind(left, len(left) - 1, reading.known)[0] == "participle"


def _unsalted_at(tokens: list[Token], position: int) -> tuple[int, list[Token]]:
    """(end, the words about salt) of "no added sugar or salt" at ``position``; no words where salt is not named."""
    at = position + 1
    if tokens[position].low not in _NO:
        return position, []
    added = [tokens[at]] if low_at(tokens, at) in _ADDED else []
    at += len(added)
    named: list[Token] = []
    while low_at(tokens, at) in _LEFT_OUT:
        named.append(tokens[at])
        at = _next_left_out(tokens, at + 1)
    salt = [token for token in named if token.low == "salt"][:1]
    if not salt or low_at(tokens, at) in ("cod", "pork", "substitute", "fish"):
        return position, []
    behind = [tokens[at]] if low_at(tokens, at) == "added" else []
    return at + len(behind), [tokens[position], *added, *salt, *behind]


def _next_left_out(tokens: list[Token], at: int) -> int:
    """Where the next thing left out is named ("or sugar", ", salt or oil"); ``at`` where none is."""
    listed = low_at(tokens, at) == "," and low_at(tokens, at + 2) in _OR
    step = at + (listed or low_at(tokens, at) in _OR)
    step += low_at(tokens, step) in _NO
    step += low_at(tokens, step) in _ADDED
    return step if step > at and low_at(tokens, step) in _LEFT_OUT else at


def take_alternatives_of_salt(tokens: list[Token], reading: Reading) -> None:
    """Keep what may be a salt with potassium as an alternative, and call the line in doubt for it."""
    if not _is_salt([token.low for token in reading.phrase]):
        return
    named = _tells(reading.before + reading.phrase)  # "low-sodium salt (part potassium chloride)": no alternative, matching holds it
    for run in [] if named else _runs(tokens):
        if _tells(run):
            _keep_as_alternative(run, reading)
    alternatives = [token for token in tokens if token.role == "alternative"]
    if not all(_is_harmless(token, reading) for token in alternatives):
        reading.doubt("salt-alternative")


def _is_salt(words: list[str]) -> bool:
    """Whether a phrase is of salt, alone or with pepper; "salt cod" and "salt and vinegar crisps" are not."""
    return words[-1:] == ["salt"] or "salt" in words and any(word.startswith("pepper") for word in words)


def _tells(tokens: list[Token]) -> bool:
    return any(part in _TELLING or part.endswith("salt") and part != "salt" for token in tokens for part in token.low.split("-"))


def _runs(tokens: list[Token]) -> list[list[Token]]:
    """The remarks of a line, each the tokens that stand together."""
    runs: list[list[Token]] = []
    before = ""
    for token in tokens:
        if token.role in _REMARKS:
            if before not in _REMARKS:
                runs.append([])
            runs[-1].append(token)
        before = token.role
    return runs


def _keep_as_alternative(run: list[Token], reading: Reading) -> None:
    joint = 1 if run[0].low == "or" and len(run) > 1 else 0
    for number, token in enumerate(run):
        token.role = "joint" if number < joint else "alternative"
    reading.alternative.append(joined(run[joint:], lower=True))


def _is_harmless(token: Token, reading: Reading) -> bool:
    if token.kind in DIGITS or token.kind == "punct" or reading.known.units.exactly([token.low]):
        return True
    return all(part in _HARMLESS for part in token.low.split("-"))
