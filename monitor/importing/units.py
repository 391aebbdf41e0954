"""Units that a foreign table may use, and what makes ours of them. Pure; knows kinds of channels, not columns."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from connectors.telemetry import CHANNEL_UNITS


class Scale(NamedTuple):
    """Ours = factor × theirs + offset."""

    factor: float
    offset: float = 0.0

    def ours(self, theirs: float) -> float:
        """The value in our unit."""
        return self.factor * theirs + self.offset


_TEMPERATURES: Final = {
    "°C": Scale(1.0),
    "C": Scale(1.0),
    "K": Scale(1.0, -273.15),
    "°F": Scale(5.0 / 9.0, -160.0 / 9.0),
    "F": Scale(5.0 / 9.0, -160.0 / 9.0),
}
_LENGTHS: Final = {
    "mm": Scale(1.0),
    "cm": Scale(10.0),
    "m": Scale(1000.0),
    "in": Scale(25.4),
    "um": Scale(0.001),
    "µm": Scale(0.001),
}
_SHARES: Final = {"-": Scale(1.0), "%": Scale(0.01), "/255": Scale(1.0 / 255.0), "/127": Scale(1.0 / 127.0)}
_BYTES: Final = {"byte": Scale(1.0), "kB": Scale(1000.0), "KiB": Scale(1024.0)}

UNITS: Final[Mapping[str, Mapping[str, Scale]]] = MappingProxyType(
    {"°C": _TEMPERATURES, "mm": _LENGTHS, "-": _SHARES, "byte": _BYTES}
)
"""Our unit -> their units -> what makes ours of them. Inch and Fahrenheit are exact by definition (NIST SP 811)."""

TIME_UNITS: Final[Mapping[str, float]] = MappingProxyType({"s": 1.0, "ms": 0.001, "us": 1e-6, "min": 60.0, "h": 3600.0})
"""Unit of a column that counts time -> seconds."""


def units_of(kind: str) -> Mapping[str, Scale]:
    """Units that a channel of this kind may come in.

    >>> units_of("temp_c")["K"].ours(300.0)
    26.850000000000023
    """
    return UNITS[CHANNEL_UNITS[kind]]
