"""Runs the science over stored readings as they arrive: derived series, excursions, day sheets."""
