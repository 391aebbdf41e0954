"""What is to be tested, and how: one strand on one machine, with the bounds that nothing on the bench may pass.

Owns the choice of temperatures and lengths from what the profile says. Knows nothing of files or of the lesson.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, pi
from typing import Final

from monitor.bench.purge import purge_lengths
from monitor.bench.slip import attempt_mm
from monitor.bench.step_test import TestRange
from monitor.core.parameters import Drive, Parameters, Strand, WallLaw, Zone

FROM_BELOW_RULE_K: Final = 40.0
"""Where the steps begin, below what is known or guessed of the lowest feeding temperature (judgement)."""
HOT_ABOVE_K: Final = 30.0
"""Filled so far above it (judgement), as far as the limits allow."""
LEAST_ABOVE_GLASS_K: Final = 10.0
"""Nothing flows below that: no step is asked for there (judgement)."""
ATTEMPT_MM: Final = (20.0, 60.0)
"""Feed of an attempt, at the least and at the most (judgement)."""
STOP_MM: Final = 8.0
MOVE_ON_MM: Final = 30.0
FAILED_AT_ONE_PLACE: Final = 3
LOST_AT_ONE_PLACE_MM: Final = 30.0
"""When the drive might chew the strand: lost in one attempt, then at one place of the strand. Common practice, no
source; the figures are judgement."""


class BenchError(ValueError):
    """The test cannot be made as asked; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Job:
    """One test.

    Parameters
    ----------
    machine, material, label : str
        What is tested, and where.
    input : int
        Its feed path.
    manifold, nozzle : str, str or None
        Names of the sensors; None where the nozzle has none of its own.
    tool, nozzle_tool : int or None
        Numbers by which commands name the heaters of manifold and nozzle; None where the profile does not tell.
    span : TestRange
        Temperatures that may be tried.
    hot_c, nozzle_c : float, float or None
        Manifold for filling and moving on, nozzle all along [°C].
    limit_c : float
        What the manifold must never pass [°C]; `limit_is` says what sets it.
    fill_mm, attempt_mm : float
        Lengths of feed [mm].
    speed_mm_s, area_mm2 : float
        Of the feed, of the strand.
    count_mm : float or None
        Strand per count of the encoder, as far as the profile tells [mm].
    """

    machine: str
    material: str
    label: str
    input: int
    manifold: str
    nozzle: str | None
    tool: int | None
    nozzle_tool: int | None
    span: TestRange
    hot_c: float
    nozzle_c: float | None
    limit_c: float
    limit_is: str
    fill_mm: float
    attempt_mm: float
    speed_mm_s: float
    area_mm2: float
    count_mm: float | None = None

    @property
    def flow_mm3_s(self) -> float:
        """Flow at which it is tested [mm³/s]."""
        return self.speed_mm_s * self.area_mm2


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the owner asked for; None where the choice is left to the bench."""

    from_c: float | None = None
    to_c: float | None = None
    step_k: float = 10.0
    confidence: float = 0.9
    nozzle_c: float | None = None
    speed_mm_s: float = 2.0


def make_job(
    parameters: Parameters, input_number: int, wishes: Wishes, *, maker_c: float | None, tools: Mapping[int, str]
) -> Job:
    """Put a test together.

    Parameters
    ----------
    parameters : Parameters
        Of the machine.
    input_number : int
        The input on the bench.
    wishes : Wishes
        What the owner asked for.
    maker_c : float or None
        Middle of the range that the material's maker, or its data, give [°C].
    tools : Mapping[int, str]
        Sensor of each heater that has a number in commands.

    Raises
    ------
    BenchError
        When it cannot be, or would pass a limit.
    """
    strand = _strand(parameters, input_number)
    limit_c, limit_is = _limit(parameters, strand)
    span = _span(strand, wishes, limit_c, limit_is)
    manifold, nozzle = _manifold_sensor(parameters), _nozzle_sensor(parameters)
    numbers = {sensor: number for number, sensor in tools.items()}
    nozzle_c = maker_c if wishes.nozzle_c is None else wishes.nozzle_c
    _check_nozzle(parameters, strand, nozzle_c)
    return Job(
        machine=parameters.machine,
        material=strand.material.name,
        label=strand.label,
        input=input_number,
        manifold=manifold,
        nozzle=nozzle,
        tool=numbers.get(manifold),
        nozzle_tool=None if nozzle is None else numbers.get(nozzle),
        span=span,
        hot_c=min(floor(limit_c), max(span.to_c, ceil(strand.material.min_feed_c + HOT_ABOVE_K))),
        nozzle_c=nozzle_c,
        limit_c=limit_c,
        limit_is=limit_is,
        fill_mm=10.0 * ceil(purge_lengths(parameters).path_mm / 10.0 + 2.0),
        attempt_mm=attempt_mm(_count_mm(strand.drive), *ATTEMPT_MM),
        speed_mm_s=wishes.speed_mm_s,
        area_mm2=pi / 4.0 * parameters.filament_diameter_mm**2,
        count_mm=_count_mm(strand.drive),
    )


def _count_mm(drive: Drive) -> float | None:
    return drive.encoder_mm_per_count


def _strand(parameters: Parameters, input_number: int) -> Strand:
    for strand in parameters.strands:
        if strand.input == input_number:
            return strand
    loaded = ", ".join(str(strand.input) for strand in parameters.strands)
    raise BenchError(f"the profile has no strand in input {input_number}; it has: {loaded}. Add the strand to it")


def _limit(parameters: Parameters, strand: Strand) -> tuple[float, str]:
    """What the manifold must not pass: the material's ceiling, the liners' warning at and before the merge point."""
    return _lowest_limit(parameters, strand, parameters.zones[: parameters.last_before_merge + 1])


def _lowest_limit(parameters: Parameters, strand: Strand, zones: Sequence[Zone]) -> tuple[float, str]:
    """The lowest of the strand's ceiling and of what the liners of these zones bear without a warning [°C]."""
    liners = [
        (parameters.liners[zone.liner].warn_c, f"what the {zone.liner} liner in {zone.name} bears")
        for zone in zones
        if zone.liner is not None
    ]
    return min([(strand.material.ceiling_c, f"the ceiling of {strand.material.name}"), *liners])


def _span(strand: Strand, wishes: Wishes, limit_c: float, limit_is: str) -> TestRange:
    lowest_c = ceil(strand.material.glass_c + LEAST_ABOVE_GLASS_K)
    known_c = strand.material.min_feed_c
    from_c = max(lowest_c, 5.0 * floor((known_c - FROM_BELOW_RULE_K) / 5.0)) if wishes.from_c is None else wishes.from_c
    to_c = min(floor(limit_c), max(from_c, known_c) + HOT_ABOVE_K) if wishes.to_c is None else wishes.to_c
    if max(from_c, to_c) > limit_c:
        raise BenchError(
            f"{max(from_c, to_c):g} °C is refused: {limit_is} is {limit_c:g} °C, and the bench never asks for more."
            f" Give --from and --to below it"
        )
    if from_c < lowest_c:
        raise BenchError(
            f"--from {from_c:g} °C is refused: {strand.material.name} is stiff up to {strand.material.glass_c:g} °C"
            f" and nothing would feed. Begin at {lowest_c:g} °C or higher"
        )
    try:
        return TestRange(from_c, to_c, wishes.step_k, min(5.0, wishes.step_k), wishes.confidence)
    except ValueError as error:
        raise BenchError(f"{error}. Change --from, --to, --step or --confidence") from error


def _check_nozzle(parameters: Parameters, strand: Strand, nozzle_c: float | None) -> None:
    limit_c, limit_is = _lowest_limit(parameters, strand, parameters.zones[parameters.last_before_merge + 1 :])
    if nozzle_c is not None and nozzle_c > limit_c:
        raise BenchError(
            f"a nozzle at {nozzle_c:g} °C is refused: {limit_is} is {limit_c:g} °C. Give --nozzle below it"
        )


def _manifold_sensor(parameters: Parameters) -> str:
    zone = parameters.zones[parameters.last_before_merge]
    if zone.law is not WallLaw.SENSOR or zone.sensor is None:
        raise BenchError(
            f"zone {zone.name!r}, which ends at the merge point, has no sensor of its own, so nobody can say how"
            " hot the manifold is. The test needs one"
        )
    return zone.sensor


def _nozzle_sensor(parameters: Parameters) -> str | None:
    """The last sensor beyond the merge point; None where there is none but the manifold's."""
    beyond = parameters.zones[parameters.last_before_merge + 1 :]
    merge = parameters.zones[parameters.last_before_merge].sensor
    sensors = [zone.sensor for zone in beyond if zone.law is WallLaw.SENSOR and zone.sensor != merge]
    return sensors[-1] if sensors else None
