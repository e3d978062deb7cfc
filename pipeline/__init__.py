"""Potash: audited nutrient data, with intervals and lineage, from recipes as they were written.

Importing this package imports nothing else, so that the command can start the Prefect server before
the heavy libraries are loaded (see `pipeline.orchestration`).
"""

__version__ = "0.1.0"
