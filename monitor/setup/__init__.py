"""Describing the rig in crew words: what is typed on a phone, as the show folder holds it."""
