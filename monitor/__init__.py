"""Dryspell: a weather-aware monitor for lighting fixtures deployed outdoors."""

__version__ = "0.1.0"
