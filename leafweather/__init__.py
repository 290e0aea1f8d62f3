"""Leafweather: settings, wiring and the command line."""

from importlib.metadata import version

__version__ = version("leafweather")
