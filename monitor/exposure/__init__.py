"""Pure arrays: what the weather does to each distinct exposure. No clock, file or network."""
