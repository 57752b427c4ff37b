"""The show folder: files that a crew writes, to records; every fault is told before refusing."""

from monitor.show.folder import ShowFolder, folder_of, read_log, read_show, revision_of
from monitor.show.revisions import rig_through_time
from monitor.show.secrets import secret
from monitor.show.settings import default_policy
from monitor.show.starters import STARTERS, Starter, write_starter

__all__ = [
    "STARTERS",
    "ShowFolder",
    "Starter",
    "default_policy",
    "folder_of",
    "read_log",
    "read_show",
    "revision_of",
    "rig_through_time",
    "secret",
    "write_starter",
]
