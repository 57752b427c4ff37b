"""The service: the cycle that runs while a show is watched, and one look ahead."""

from monitor.service.scheduling import Pace, serve

__all__ = ["Pace", "serve"]
