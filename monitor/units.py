"""Every physical constant and unit conversion, each named once.

Inside the program rain is a depth in mm, wind in m/s, temperature in C, angles in
degrees, azimuths clockwise from north, and a moment a count of seconds since
1970-01-01T00:00Z (arrays) or an aware datetime (records). Other units exist only at the
edges, where a file or a weather service uses them.
"""

from __future__ import annotations

from datetime import UTC, datetime

ZERO_CELSIUS_K = 273.15
"""0 C in kelvin (exact, SI Brochure)."""

FAO_ZERO_CELSIUS_K = 273.16
"""The value FAO-56 eq. 39 uses for its outgoing longwave term; only there."""

STEFAN_BOLTZMANN_W_M2_K4 = 5.670e-8
"""Stefan-Boltzmann constant, rounded as in exposure model section 7."""

SECONDS_PER_HOUR = 3600.0
SECONDS_PER_DAY = 86400.0
SECONDS_PER_MINUTE = 60.0

EARTH_RADIUS_M = 6_371_008.8
"""Mean radius of the Earth (2a + b) / 3 on WGS 84, for distances by the great circle."""

KMH_TO_MPS = 1 / 3.6
MPH_TO_MPS = 0.44704
"""International mile per hour (exact)."""
KNOT_TO_MPS = 1852 / 3600
"""International knot (exact)."""
INCH_TO_MM = 25.4
"""International inch (exact)."""
CM_TO_MM = 10.0
M_TO_MM = 1000.0
OKTA_TO_PERCENT = 12.5

# unit name as services write it -> (canonical unit, scale, offset): canonical = x * scale + offset
UNIT_TABLE: dict[str, tuple[str, float, float]] = {
    "mm": ("mm", 1.0, 0.0),
    "millimeter": ("mm", 1.0, 0.0),
    "kg m-2": ("mm", 1.0, 0.0),
    "kg/m^2": ("mm", 1.0, 0.0),
    "kg/m2": ("mm", 1.0, 0.0),
    "l/m2": ("mm", 1.0, 0.0),
    "cm": ("mm", CM_TO_MM, 0.0),
    "m": ("mm", M_TO_MM, 0.0),
    "in": ("mm", INCH_TO_MM, 0.0),
    "inch": ("mm", INCH_TO_MM, 0.0),
    "inches": ("mm", INCH_TO_MM, 0.0),
    "mm/h": ("mm/h", 1.0, 0.0),
    "mm/hr": ("mm/h", 1.0, 0.0),
    "mm h-1": ("mm/h", 1.0, 0.0),
    "kg m-2 h-1": ("mm/h", 1.0, 0.0),
    "kg m-2 s-1": ("mm/h", SECONDS_PER_HOUR, 0.0),
    "mm/s": ("mm/h", SECONDS_PER_HOUR, 0.0),
    "in/h": ("mm/h", INCH_TO_MM, 0.0),
    "in/hr": ("mm/h", INCH_TO_MM, 0.0),
    "m/s": ("m/s", 1.0, 0.0),
    "m s-1": ("m/s", 1.0, 0.0),
    "ms": ("m/s", 1.0, 0.0),
    "km/h": ("m/s", KMH_TO_MPS, 0.0),
    "kmh": ("m/s", KMH_TO_MPS, 0.0),
    "kph": ("m/s", KMH_TO_MPS, 0.0),
    "km h-1": ("m/s", KMH_TO_MPS, 0.0),
    "kn": ("m/s", KNOT_TO_MPS, 0.0),
    "kt": ("m/s", KNOT_TO_MPS, 0.0),
    "kts": ("m/s", KNOT_TO_MPS, 0.0),
    "knots": ("m/s", KNOT_TO_MPS, 0.0),
    "mph": ("m/s", MPH_TO_MPS, 0.0),
    "mp/h": ("m/s", MPH_TO_MPS, 0.0),
    "mi/h": ("m/s", MPH_TO_MPS, 0.0),
    "degC": ("C", 1.0, 0.0),
    "deg C": ("C", 1.0, 0.0),
    "C": ("C", 1.0, 0.0),
    "Cel": ("C", 1.0, 0.0),
    "celsius": ("C", 1.0, 0.0),
    "°C": ("C", 1.0, 0.0),
    "degF": ("C", 5 / 9, -32 * 5 / 9),
    "F": ("C", 5 / 9, -32 * 5 / 9),
    "fahrenheit": ("C", 5 / 9, -32 * 5 / 9),
    "°F": ("C", 5 / 9, -32 * 5 / 9),
    "K": ("C", 1.0, -ZERO_CELSIUS_K),
    "kelvin": ("C", 1.0, -ZERO_CELSIUS_K),
    "%": ("%", 1.0, 0.0),
    "percent": ("%", 1.0, 0.0),
    "1": ("%", 100.0, 0.0),
    "0..1": ("%", 100.0, 0.0),
    "0-1": ("%", 100.0, 0.0),
    "fraction": ("%", 100.0, 0.0),
    "octa": ("%", OKTA_TO_PERCENT, 0.0),
    "octas": ("%", OKTA_TO_PERCENT, 0.0),
    "okta": ("%", OKTA_TO_PERCENT, 0.0),
    "oktas": ("%", OKTA_TO_PERCENT, 0.0),
    "°": ("deg", 1.0, 0.0),
    "deg": ("deg", 1.0, 0.0),
    "degree": ("deg", 1.0, 0.0),
    "degrees": ("deg", 1.0, 0.0),
    "J/kg": ("J/kg", 1.0, 0.0),
    "hPa": ("hPa", 1.0, 0.0),
    "wmoUnit:mm": ("mm", 1.0, 0.0),
    "wmoUnit:m": ("mm", M_TO_MM, 0.0),
    "wmoUnit:kg_m-2": ("mm", 1.0, 0.0),
    "wmoUnit:km_h-1": ("m/s", KMH_TO_MPS, 0.0),
    "wmoUnit:m_s-1": ("m/s", 1.0, 0.0),
    "wmoUnit:kt": ("m/s", KNOT_TO_MPS, 0.0),
    "wmoUnit:degC": ("C", 1.0, 0.0),
    "wmoUnit:K": ("C", 1.0, -ZERO_CELSIUS_K),
    "wmoUnit:percent": ("%", 1.0, 0.0),
    "wmoUnit:degree_(angle)": ("deg", 1.0, 0.0),
}


def to_epoch(moment: datetime) -> float:
    """Seconds since 1970-01-01T00:00Z of an aware datetime [s]."""
    if moment.tzinfo is None:
        raise ValueError("a moment without an offset has no place here")
    return moment.timestamp()


def to_moment(epoch_s: float) -> datetime:
    """Aware UTC datetime of seconds since 1970-01-01T00:00Z."""
    return datetime.fromtimestamp(float(epoch_s), tz=UTC)


def iso_utc(moment: datetime | None) -> str | None:
    """`2027-07-15T12:00:00Z`, to the second; None stays None."""
    if moment is None:
        return None
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
