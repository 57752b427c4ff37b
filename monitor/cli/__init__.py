"""The command `dryspell`: the only part that reads the wall clock and the environment.

Modules import what is heavy inside the commands, so that `dryspell --help` answers at once.
"""

from monitor.cli.entry import dryspell, main

__all__ = ["dryspell", "main"]
