"""The exit codes of every command."""

from __future__ import annotations

DONE = 0
ATTENTION = 1
"""Done, and something needs attention: a feed lost, a contact refused, a code unsuited."""
BAD_INPUT = 2
"""Then nothing is written but the JSON of a check."""
UNABLE = 3
"""The disk, a port, a lock, or a fault of the program."""
INTERRUPTED = 130
"""What a shell gives for a program that Ctrl-C ended."""
