"""Pure: from what a fixture took to what the crew should do, by when."""
