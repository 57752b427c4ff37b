"""The service: the cycle that runs while a show is watched, and one look ahead."""

from monitor.service.ahead import Ahead, look_ahead
from monitor.service.polling import consent_key
from monitor.service.scheduling import DATABASE_NAME, Pace, serve

__all__ = ["DATABASE_NAME", "Ahead", "Pace", "consent_key", "look_ahead", "serve"]
