"""The scorebook: everything one household or club keeps, in one SQLite file.

Whichever of its modules is imported, this runs first, and imports sqlite_utils while numpy and pandas can't
be found. It would import them to know their numbers as types of columns, which no scorebook needs, and
numpy alone costs more than all the rest of it: the first board of a session would wait for that.
"""

import sys
from importlib import import_module

_unneeded = {"numpy", "pandas"} - sys.modules.keys()
for _name in _unneeded:
    sys.modules[_name] = None  # type: ignore[assignment]  # to an import this means: there is no such module
try:
    import_module("sqlite_utils")
finally:
    for _name in _unneeded:
        del sys.modules[_name]
