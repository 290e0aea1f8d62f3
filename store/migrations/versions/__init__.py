"""The changes of the journal's tables, in order."""
