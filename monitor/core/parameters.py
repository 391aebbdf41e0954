"""Everything the engine is told before it starts: the hot path, the strands in it, their materials, the limits.

Plain frozen data, checked when made. Owns no defaults that the owner should see: those live with the profile's
reader, which prints them with their origin.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class WallLaw(StrEnum):
    """How the wall temperature of a zone is known."""

    SENSOR = "sensor"  # the whole zone is at its sensor's temperature
    BRIDGE = "bridge"  # linear between the neighbouring zones
    AMBIENT = "ambient"  # at room temperature
    ESTIMATED = "estimated"  # reckoned from the heat it gets and gives; `sensor` names the reading that it stands for


@dataclass(frozen=True, slots=True)
class Zone:
    """A length of the hot path with one wall temperature law.

    Parameters
    ----------
    name : str
        What the owner calls it.
    length_mm, bore_mm : float
        Length along the strand and inner diameter of the channel [mm].
    law : WallLaw
        Where the wall temperature comes from; `sensor` names the sensor when it is `SENSOR` or `ESTIMATED`.
    liner : str or None
        Material of a tube inside the bore of the metal, whose own bore is `bore_mm`; None for bare metal.
    liner_mm : float
        Wall thickness of the liner [mm]; 0 without one.
    wetted : bool
        The strand melts and touches the wall here, so no gap insulates it (the heated manifold and beyond).
    """

    name: str
    length_mm: float
    bore_mm: float
    law: WallLaw
    sensor: str | None = None
    liner: str | None = None
    liner_mm: float = 0.0
    wetted: bool = False


@dataclass(frozen=True, slots=True)
class ColdEnd:
    """A cold end without a sensor, as one lump of metal for all inputs together.

    Parameters
    ----------
    heat_capacity_j_k : float
        Heat capacity of what cools together [J/K].
    from_manifold_w_k : float
        Conductance from the manifold through all heat breaks [W/K].
    to_coolant_w_k : float
        Conductance to the coolant [W/K].
    coolant_c : float
        Temperature of the coolant where it enters [°C].
    """

    heat_capacity_j_k: float
    from_manifold_w_k: float
    to_coolant_w_k: float
    coolant_c: float


@dataclass(frozen=True, slots=True)
class Heater:
    """A heater, the sensor it is controlled by, and its power at full duty [W]."""

    name: str
    sensor: str
    power_w: float


@dataclass(frozen=True, slots=True)
class LinerLimits:
    """Temperatures of a liner material [°C]: warn, alarm, and the one at which heating must stop."""

    warn_c: float
    alarm_c: float
    stop_c: float


@dataclass(frozen=True, slots=True)
class Material:
    """A polymer, as the heat model sees it.

    Parameters
    ----------
    name : str
        Key in the materials table.
    glass_c : float
        Glass transition, low end of its range: above it the strand is no longer a stiff piston [°C].
    melt_c : float or None
        Melting temperature, high end of its range; None for an amorphous polymer [°C].
    ceiling_c : float
        Hottest wall the maker or the literature allows at all [°C].
    reference_c : float
        Temperature at which a minute of dose is a minute [°C].
    ea_below_kj_mol, ea_above_kj_mol : float
        Activation energies of the cautious dose rate below and above `reference_c` [kJ/mol].
    ea_best_kj_mol : float
        Best single value, for the hopeful end of a range [kJ/mol].
    warn_min, limit_min : float
        Dose at which to warn, and which must not be passed [min at `reference_c`].
    limit_high_min : float
        Hopeful end of the range of `limit_min` [min at `reference_c`].
    wet_factor : float
        How much faster a strand ages that is not known to be dry [-].
    density_kg_m3, heat_capacity_j_kg_k, conductivity_w_m_k : float
        Solid strand's properties.
    min_feed_c : float
        Lowest manifold wall at which the strand can be expected to feed [°C].
    min_feed_is_rule : bool
        True while `min_feed_c` is the rule of thumb and not a bench result.
    """

    name: str
    glass_c: float
    melt_c: float | None
    ceiling_c: float
    reference_c: float
    ea_below_kj_mol: float
    ea_above_kj_mol: float
    ea_best_kj_mol: float
    warn_min: float
    limit_min: float
    limit_high_min: float
    wet_factor: float
    density_kg_m3: float
    heat_capacity_j_kg_k: float
    conductivity_w_m_k: float
    min_feed_c: float
    min_feed_is_rule: bool = True

    @property
    def diffusivity_mm2_s(self) -> float:
        """Thermal diffusivity k / (ρ c) [mm²/s]."""
        return self.conductivity_w_m_k / (self.density_kg_m3 * self.heat_capacity_j_kg_k) * 1e6


@dataclass(frozen=True, slots=True)
class Drive:
    """What is known of one input's drive; None where the owner does not know.

    Parameters
    ----------
    mm_per_full_step : float or None
        Strand per full step of the motor [mm].
    motor_current_a, rated_current_a : float or None
        Current it is limited to, and the one it is made for [A].
    encoder_mm_per_count : float or None
        Strand per count of the encoder [mm].
    push_n : float or None
        Force with which it can push at most, at the current it is limited to [N].
    """

    mm_per_full_step: float | None = None
    motor_current_a: float | None = None
    rated_current_a: float | None = None
    encoder_mm_per_count: float | None = None
    push_n: float | None = None


@dataclass(frozen=True, slots=True)
class Strand:
    """The filament loaded in one input. `material` already carries the strand's own overrides.

    Where its material lacked values, those named in `stand_in_for` (keys of a materials table) were borrowed of the
    material `stand_in`, as the owner asked.
    """

    input: int
    material: Material
    label: str = ""
    lot: str = ""
    dried: bool = False
    stand_in: str = ""
    stand_in_for: tuple[str, ...] = ()
    drive: Drive = Drive()

    @property
    def wet_factor(self) -> float:
        """Factor on the cautious dose rate [-]: 1 when the owner says the strand is dry."""
        return 1.0 if self.dried else self.material.wet_factor


@dataclass(frozen=True, slots=True)
class AlertLimits:
    """Limits that belong to the watch, not to a material."""

    idle_backstop_h: float = 8.0
    """A strand standing hot this long raises a CAUTION whatever the model says (common practice, no source)."""
    softening_warn_min: float = 10.0
    softening_limit_min: float = 30.0
    """Softening dose at which to warn, and which must not be passed [min at 20 K above glass]. Judgement, no source."""
    stale_after_s: float = 5.0
    """Age at which a value counts as STALE [s]."""
    unavailable_after_s: float = 55.0
    """Silence after which the machine counts as lost [s]: it is to be told within a minute."""
    cold_end_margin_k: float = 8.0
    """Below the lowest glass transition: a cold end warmer than that is not cooled as it should be [K]. Judgement."""


@dataclass(frozen=True, slots=True)
class Parameters:
    """All that the engine needs to know of one machine and its load.

    `zones` stand in flow order, from the cold end to the nozzle; `zones[last_before_merge]` ends at the merge point,
    x = 0. Every channel is alike: the strands differ only in material.
    """

    machine: str
    filament_diameter_mm: float
    ambient_c: float
    zones: tuple[Zone, ...]
    last_before_merge: int
    strands: tuple[Strand, ...]
    liners: Mapping[str, LinerLimits] = field(default_factory=dict)
    limits: AlertLimits = field(default_factory=AlertLimits)
    cold_end: ColdEnd | None = None
    heaters: tuple[Heater, ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.last_before_merge < len(self.zones):
            raise ValueError(
                f"last_before_merge is {self.last_before_merge}; allowed: 0 to {len(self.zones) - 1}, a zone's index"
            )
        inputs = [strand.input for strand in self.strands]
        if len(set(inputs)) != len(inputs):
            raise ValueError(f"strands name the same input twice: {inputs}")
        for zone in self.zones:
            _check_zone(zone, self)
        estimated = {zone.sensor for zone in self.zones if zone.law is WallLaw.ESTIMATED}
        if len(estimated) > 1 or bool(estimated) != (self.cold_end is not None):
            raise ValueError(f"cold_end goes with exactly one estimated wall; got {self.cold_end} with {estimated}")

    @property
    def path_length_mm(self) -> float:
        """From the upstream end of the first zone to the merge point [mm]."""
        return sum(zone.length_mm for zone in self.zones[: self.last_before_merge + 1])

    @property
    def estimated_sensor(self) -> str | None:
        """Name of the wall reading that is estimated, if there is one."""
        return next((zone.sensor for zone in self.zones if zone.law is WallLaw.ESTIMATED), None)

    @property
    def sensors_needed(self) -> tuple[str, ...]:
        """Those of `sensors` that the machine must report, because nothing can stand in for them."""
        return tuple(name for name in self.sensors if name != self.estimated_sensor)

    @property
    def sensors(self) -> tuple[str, ...]:
        """Names of the sensors that walls depend on, in flow order, each once."""
        return tuple(dict.fromkeys(z.sensor for z in self.zones if z.sensor is not None))


def _check_zone(zone: Zone, parameters: Parameters) -> None:
    if zone.length_mm <= 0:
        raise ValueError(f"zone {zone.name!r}: length_mm is {zone.length_mm}; allowed: above 0")
    if zone.bore_mm < parameters.filament_diameter_mm:
        raise ValueError(
            f"zone {zone.name!r}: bore_mm is {zone.bore_mm}; allowed: at least the filament's"
            f" {parameters.filament_diameter_mm} mm"
        )
    if (zone.law in {WallLaw.SENSOR, WallLaw.ESTIMATED}) != (zone.sensor is not None):
        raise ValueError(f"zone {zone.name!r}: law {zone.law} and sensor {zone.sensor!r} do not go together")
    if zone.law is WallLaw.BRIDGE and zone in (parameters.zones[0], parameters.zones[-1]):
        raise ValueError(f"zone {zone.name!r}: a bridge needs a neighbour on both sides")
