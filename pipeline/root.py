"""Where the project lies; imports nothing, so that the command line starts at once."""

from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
