"""The only SQL."""
