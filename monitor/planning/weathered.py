"""What weather does to gear, beside the use of its allowance, that asks for an inspection."""

from __future__ import annotations

from monitor.domain import Policy
from monitor.exposure.results import Carried
from monitor.exposure.rig import Chain


def weathered(so_far: Carried, group: int, chain: Chain, policy: Policy) -> tuple[str, ...]:
    """Days in the wet and damp nights past what the policy allows a group, in words."""
    limit = {
        "temporary": policy.stay_days_temporary,
        "extended": policy.stay_days_extended,
    }.get(chain.standing)
    days, damp = float(so_far.stay_days[group]), float(so_far.damp_night_most[group])
    said = []
    if limit is not None and days > limit:
        said.append(f"{days:.0f} days out with wet or damp hours")
    if chain.damp_counts and damp >= policy.damp_hours_check:
        said.append(f"{damp:.0f} damp hours in one night")
    return tuple(said)
