"""Composition tables: one importer per published format, all to one common form.

The common form is two tables of :mod:`pipeline.tables`: ``Entries`` (the foods) and
``Values`` (one row per food, component and unit, per 100 g edible portion).
"""
