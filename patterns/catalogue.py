"""All motifs, collected from the modules of `patterns.motifs`: a new motif touches only one file there."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from pkgutil import iter_modules
from types import MappingProxyType

from patterns import motifs
from patterns.motifs.findings import Motif


def _declared() -> Mapping[str, Motif]:
    found: dict[str, Motif] = {}
    for module in iter_modules(motifs.__path__):
        for motif in getattr(import_module(f"patterns.motifs.{module.name}"), "MOTIFS", ()):
            if motif.id in found:
                raise ValueError(f"two motifs are called {motif.id}")
            found[motif.id] = motif
    return MappingProxyType(dict(sorted(found.items())))


MOTIFS = _declared()
"""The catalogue: motifs by id, in the order of the ids."""
