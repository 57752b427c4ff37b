"""Sheets of one page: the handover between shifts, and the daily sheet for the briefing. Pure."""
