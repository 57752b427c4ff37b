"""How every property test is run: no time limit for one example, since the machine is shared."""

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "house",
    parent=settings.get_profile("ci" if "CI" in os.environ else "default"),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
)
settings.load_profile("house")
