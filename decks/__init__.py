"""The deck builder and scheduler: makes cards from tagged positions, asks them, and brings them back."""

__version__ = "0.1.0"
