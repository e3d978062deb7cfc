"""What is told first, because it can do most harm; and claims that the law names as one."""

# Components of which too much can do harm in kidney disease come first wherever rows are ranked, then protein.
HARM_ORDER = ("K", "P", "NA", "NACL", "PROCNT")
# Too much of these can do harm in kidney disease, so a promise of less than there is is the worse error.
HARM_ABOVE = ("K", "P", "NA", "NACL")
# The law names each of these as one claim, "low sodium/salt"; print uses either word.
SAME_CLAIM = {"low-sodium": "low-salt", "very-low-sodium": "very-low-salt", "sodium-free": "salt-free",
              "no-added-sodium": "no-added-salt", "source-of-fiber": "source-of-fibre", "high-fiber": "high-fibre"}
