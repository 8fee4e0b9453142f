"""The deck builder and scheduler: makes cards of tagged positions, asks them, brings them back when due."""

__version__ = "0.1.0"
