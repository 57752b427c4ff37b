"""Rigs from files that a crew has already: drawings and lists, laid beside the show folder."""
