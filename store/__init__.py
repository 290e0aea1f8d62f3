"""Readings and the journal at rest: one contract, several engines."""
