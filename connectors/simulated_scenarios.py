"""The nights the simulated machine can live through: what goes wrong, where, and from when on.

Owns the truth of each scenario. It is meant for stories and tests; the machine never tells it in its telemetry.
Machine, build and strands are invented. Knows nothing of physics or of how the night is stepped through.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from connectors.simulated_build import SimulatedBuild

INPUTS: Final = (1, 2, 3, 4, 5, 6)
NIGHT_S: Final = 36_000.0
COOL_DOWN_S: Final = 1_500.0
"""Kept free at the end of the night: the build is over and the machine cools."""
BUILD: Final = "harbour lantern"


class FaultKind(StrEnum):
    """What goes wrong inside the machine."""

    RADIATOR = "radiator"  # gives off less and less heat, over hours
    COLD_MANIFOLD = "cold manifold"  # set point too low for a stretch
    JAM = "jam"  # the strand has swollen while it stood; the drive skips in whole electrical cycles
    GRIND = "grind"  # the drive wheel cuts a groove and turns on without the strand
    CLOG = "clog"  # a channel narrows; slip grows with what has been fed
    NARROWING = "narrowing"  # a channel lets less and less through; the fastest stretches skip first
    RUN_OUT = "run-out"  # the end of the strand passes the encoder
    TANGLE = "tangle"  # loops on the spool draw tight; the strand stretches, then the drive skips
    HEATER = "heater"  # the manifold's gives nothing, whatever its duty
    HEATER_ON = "heater on"  # the manifold's gives all it can, whatever its duty
    LOOSE_SENSOR = "loose sensor"  # the manifold's loses contact for moments


class Severity(StrEnum):
    """How bad a fault is, where it comes in degrees."""

    SLIGHT = "slight"
    PLAIN = "plain"  # the usual size
    SEVERE = "severe"


_SIZES: Final[Mapping[FaultKind, Mapping[Severity, float]]] = {
    FaultKind.COLD_MANIFOLD: {Severity.SLIGHT: 0.6, Severity.PLAIN: 1.0, Severity.SEVERE: 1.4},  # 15, 25, 35 K
    FaultKind.JAM: {Severity.SLIGHT: 0.5, Severity.PLAIN: 1.0, Severity.SEVERE: 1.3},
    FaultKind.GRIND: {Severity.SLIGHT: 0.4, Severity.PLAIN: 1.0, Severity.SEVERE: 1.05},
    FaultKind.CLOG: {Severity.SLIGHT: 1.0 / 3.0, Severity.PLAIN: 1.0, Severity.SEVERE: 10.0 / 3.0},  # 2, 6, 20 % per m
    FaultKind.NARROWING: {Severity.SLIGHT: 0.5, Severity.PLAIN: 1.0, Severity.SEVERE: 2.5},
    FaultKind.TANGLE: {Severity.SLIGHT: 0.3, Severity.PLAIN: 1.0, Severity.SEVERE: 1.1},
}
"""Against the usual size of the fault. Judgement; what is not here knows no degrees: an empty spool is empty."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that goes wrong.

    Parameters
    ----------
    kind : FaultKind
    onset_s : float
        Machine time from which it is there [s]. A fault of a strand shows when that strand next feeds.
    until_s : float
        Machine time at which it is gone again [s].
    input : int or None
        The strand concerned; None for the machine as a whole.
    severity : float
        How bad, against the usual size of that fault [-]: how much of the feed a jam, grinding or a tangle takes, how
        fast a clog or narrowing grows, how many kelvin too cold. The radiator and run-out know no degrees.
    """

    kind: FaultKind
    onset_s: float
    until_s: float = math.inf
    input: int | None = None
    severity: float = 1.0


@dataclass(frozen=True, slots=True)
class Absence:
    """The build does not use `input` from `from_s` to `until_s` [s]; a turn already begun is finished."""

    input: int
    from_s: float
    until_s: float = math.inf


@dataclass(frozen=True, slots=True)
class Outage:
    """No data reach the watch for `length_s` from `start_s` on [s]; `told` when the link itself notices."""

    start_s: float
    length_s: float
    told: bool


@dataclass(frozen=True, slots=True)
class Scenario:
    """One night of the simulated machine.

    Parameters
    ----------
    name, title, story : str
        Key; short heading; one or two sentences for the owner.
    fault : Fault or None
    absences : tuple of Absence
        Stretches in which the build leaves a strand standing.
    outages : tuple of Outage
        In order of time, without overlap.
    garbled_s : tuple of float
        Machine times [s], in order, at which a reading arrives garbled.
    duration_s : float
        Length of the night [s].
    build : str
        Name of the invented build.
    planned : SimulatedBuild or None
        What is carried out instead of the invented program.
    """

    name: str
    title: str
    story: str
    fault: Fault | None = None
    absences: tuple[Absence, ...] = ()
    outages: tuple[Outage, ...] = ()
    garbled_s: tuple[float, ...] = ()
    duration_s: float = NIGHT_S
    build: str = BUILD
    planned: SimulatedBuild | None = None

    @property
    def onset_s(self) -> float:
        """Machine time before which the night equals the healthy one of the same seed [s]; inf if always.

        With absences `progress` alone differs from the beginning: the file of such a build is another one.
        """
        starts = [self.fault.onset_s] if self.fault is not None else []
        starts += [absence.from_s for absence in self.absences]
        starts += [outage.start_s for outage in self.outages]
        return min([*starts, *self.garbled_s], default=math.inf)


_NIGHTS = (
    Scenario(
        "healthy-night",
        "Healthy night",
        "Every strand is used at least once in 75 minutes and everything holds its temperature.",
    ),
    Scenario(
        "fading-radiator",
        "Radiator fading",
        "From an hour and a half on, the radiator of the coolant loop loses its draught over four hours. Coolant and "
        "cold end warm until strands soften where they must be stiff.",
        Fault(FaultKind.RADIATOR, onset_s=5_400.0),
    ),
    Scenario(
        "left-idle",
        "Strand left idle",
        "Input 4 is used in the first half hour and then stands hot for the rest of the night.",
        absences=(Absence(4, from_s=1_500.0),),
    ),
    Scenario(
        "cold-manifold",
        "Manifold too cold",
        "Two and a half hours into the night the manifold is set 25 K lower for an hour and a half. At higher flow "
        "the drives skip.",
        Fault(FaultKind.COLD_MANIFOLD, onset_s=9_000.0, until_s=14_400.0),
    ),
    Scenario(
        "jam-after-idle",
        "Jam after standing",
        "Input 5 stands hot for more than two hours and jams when it is next pushed.",
        Fault(FaultKind.JAM, onset_s=12_600.0, input=5),
        absences=(Absence(5, from_s=4_500.0, until_s=12_600.0),),
    ),
    Scenario(
        "grinding",
        "Drive grinding",
        "The drive of input 2 begins to grind: it turns on while the strand hardly moves.",
        Fault(FaultKind.GRIND, onset_s=12_000.0, input=2),
    ),
    Scenario(
        "slow-clog",
        "Slow clog",
        "The channel of input 1 narrows bit by bit, and a growing share of its feed does not arrive.",
        Fault(FaultKind.CLOG, onset_s=7_200.0, input=1),
    ),
    Scenario(
        "run-out",
        "Strand run out",
        "The spool of input 3 is empty; the end of the strand passes the encoder.",
        Fault(FaultKind.RUN_OUT, onset_s=15_000.0, input=3),
    ),
    Scenario(
        "tangle",
        "Strand tangled on its spool",
        "The loops on the spool of input 2 draw tight. The strand still stretches a little, then the drive skips.",
        Fault(FaultKind.TANGLE, onset_s=13_500.0, input=2),
    ),
    Scenario(
        "narrowing-channel",
        "Channel narrowing",
        "The channel of input 1 lets less and less through. First the drive skips in fast stretches alone, in the end "
        "in all.",
        Fault(FaultKind.NARROWING, onset_s=7_200.0, input=1),
    ),
    Scenario(
        "link-drop-outs",
        "Link dropping out",
        "The machine is well, but its line is not: it goes silent for seconds to minutes, and now and then a reading "
        "arrives garbled.",
        outages=(
            Outage(3_600.0, 20.0, told=False),
            Outage(7_000.0, 95.0, told=True),
            Outage(11_300.0, 45.0, told=False),
            Outage(16_000.0, 240.0, told=True),
            Outage(22_500.0, 30.0, told=True),
            Outage(27_000.0, 420.0, told=False),
        ),
        garbled_s=(2_950.0, 7_100.0, 9_420.0, 9_421.0, 14_010.0, 19_333.0, 30_218.0),
    ),
    Scenario(
        "heater-failing",
        "Heater failing",
        "Two hours and a half into the night the heater of the manifold gives nothing any more, for ten minutes: a "
        "wire has come loose. The manifold cools, and the drives skip.",
        Fault(FaultKind.HEATER, onset_s=9_000.0, until_s=9_600.0),
    ),
    Scenario(
        "loose-sensor",
        "Sensor loose",
        "From two hours on the sensor of the manifold loses contact for moments, time and again: its reading drops by "
        "tens of kelvin and comes back.",
        Fault(FaultKind.LOOSE_SENSOR, onset_s=7_200.0),
    ),
)

SCENARIOS: Final[Mapping[str, Scenario]] = MappingProxyType({night.name: night for night in _NIGHTS})
"""All scenarios by name."""


def has_degrees(scenario: Scenario) -> bool:
    """Whether what goes wrong can be more or less bad."""
    return scenario.fault is not None and scenario.fault.kind in _SIZES


def of_severity(scenario: Scenario, severity: Severity) -> Scenario:
    """The same night with its fault so bad.

    Raises
    ------
    ValueError
        If what goes wrong knows no degrees.
    """
    fault = scenario.fault
    if fault is None or fault.kind not in _SIZES:
        raise ValueError(f"scenario {scenario.name} knows no degrees of severity")
    return replace(scenario, fault=replace(fault, severity=_SIZES[fault.kind][severity]))
