"""Weather from outside: sheets, decoding, fetching, records."""
