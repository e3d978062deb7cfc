"""The nine stages, each a pure function from tables to tables and problems."""
