"""How the journal's tables came to be: one file in ``versions`` for each change, applied in order.

A new change is a new file there, named by its number and what it does, whose ``down_revision`` is the
one before. A published file is never edited. Tests hold the sum of all files to ``store.tables``.
"""
