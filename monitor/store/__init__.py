"""The only SQL: what came in, what was decided, what was said, and a chain over all of it."""
