"""The shared words: quantities and units, readings, quality flags, and a farm's own description."""
