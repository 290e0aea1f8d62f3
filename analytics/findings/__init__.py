"""Likely causes of what is unusual: indicators against the farm's own past, weighed by a table that can be read."""
