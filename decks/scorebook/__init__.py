"""The scorebook: everything one household or club keeps, in one SQLite file."""
