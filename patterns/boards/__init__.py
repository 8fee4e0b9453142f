"""Boards as arrays: geometry, attacks, exchanges, and pressure on squares."""
