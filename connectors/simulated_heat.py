"""Heat in the simulated machine: four lumped capacities, two heaters with their controllers, a coolant loop.

Owns the stand-in's own, deliberately plain physics; it shares nothing with the model that watches the machine.
All constants are invented for the demo machine, of an ordinary size for such a machine. Left out: temperature along
the strands, melting enthalpy, conduction through standing strands, sensor lag.
"""

from dataclasses import dataclass
from math import sqrt
from random import Random
from typing import Final

AMBIENT_C: Final = 25.0


@dataclass(frozen=True, slots=True)
class Plant:
    """Constants of the hot path: capacities [J/K], conductances [W/K], powers [W], strand heat [J/(mm K)]."""

    manifold_j_k: float = 110.0
    nozzle_j_k: float = 14.0
    cold_end_j_k: float = 60.0
    coolant_j_k: float = 1_500.0
    heat_breaks_w_k: float = 0.07  # manifold to cold end, all six together
    second_break_w_k: float = 0.05  # manifold to nozzle
    manifold_loss_w_k: float = 0.06  # to the room
    nozzle_loss_w_k: float = 0.03
    cold_end_loss_w_k: float = 3.0  # to the coolant
    radiator_w_k: float = 2.2  # coolant to the room, while the radiator is well
    pump_w: float = 3.0  # warms the coolant
    manifold_heater_w: float = 60.0
    nozzle_heater_w: float = 40.0
    strand_j_mm_k: float = 5.4e-3  # density times heat capacity times cross-section of a 1.75 mm strand


@dataclass(slots=True)
class HeatState:
    """Temperatures [°C] of the four lumps, moved on by `step`."""

    plant: Plant
    manifold_c: float = AMBIENT_C
    nozzle_c: float = AMBIENT_C
    cold_end_c: float = AMBIENT_C
    coolant_c: float = AMBIENT_C

    def step(self, step_s: float, heat_w: tuple[float, float], flow_mm_s: float, radiator: float = 1.0) -> None:
        """Move on by `step_s`, short against the quickest time constant: 1 s will do.

        Parameters
        ----------
        step_s : float
            Length of the step [s].
        heat_w : tuple of float
            Heat put into manifold and nozzle [W].
        flow_mm_s : float
            Strand that really passes, warming up on its way through cold end, manifold and nozzle [mm/s].
        radiator : float
            Share of the radiator's conductance that is left, 0..1 [-].
        """
        plant = self.plant
        strand_w_k = flow_mm_s * plant.strand_j_mm_k
        up_w = plant.heat_breaks_w_k * (self.manifold_c - self.cold_end_c)
        across_w = plant.second_break_w_k * (self.nozzle_c - self.manifold_c)
        cooled_w = plant.cold_end_loss_w_k * (self.cold_end_c - self.coolant_c)
        manifold_w = heat_w[0] + across_w - up_w - plant.manifold_loss_w_k * (self.manifold_c - AMBIENT_C)
        manifold_w -= strand_w_k * (self.manifold_c - self.cold_end_c)
        nozzle_w = heat_w[1] - across_w - plant.nozzle_loss_w_k * (self.nozzle_c - AMBIENT_C)
        nozzle_w -= strand_w_k * (self.nozzle_c - self.manifold_c)
        cold_end_w = up_w - cooled_w - strand_w_k * (self.cold_end_c - AMBIENT_C)
        coolant_w = cooled_w + plant.pump_w - radiator * plant.radiator_w_k * (self.coolant_c - AMBIENT_C)
        self.manifold_c += step_s * manifold_w / plant.manifold_j_k
        self.nozzle_c += step_s * nozzle_w / plant.nozzle_j_k
        self.cold_end_c += step_s * cold_end_w / plant.cold_end_j_k
        self.coolant_c += step_s * coolant_w / plant.coolant_j_k


class Controller:
    """Proportional-integral control of one heater, its duty limited to 0..1."""

    GAIN_PER_K: Final = 0.08
    RESET_S: Final = 90.0
    NEAR_K: Final = 10.0  # the integral rests while farther away than this, or it would wind up

    def __init__(self) -> None:
        self._integral = 0.0

    def duty(self, set_c: float, measured_c: float, step_s: float) -> float:
        """Duty for the coming step [-]; a set point of 0 means off."""
        if set_c <= 0:
            self._integral = 0.0
            return 0.0
        error_k = set_c - measured_c
        if abs(error_k) < self.NEAR_K:
            self._integral += self.GAIN_PER_K * error_k * step_s / self.RESET_S
            self._integral = min(1.0, max(0.0, self._integral))
        return min(1.0, max(0.0, self.GAIN_PER_K * error_k + self._integral))


class Draught:
    """Loss that wanders about zero as the air in the room moves [W]: an Ornstein–Uhlenbeck process."""

    SPREAD_W: Final = 0.3
    MEMORY_S: Final = 25.0

    def __init__(self, random: Random) -> None:
        self._random, self._loss_w = random, 0.0

    def step(self, step_s: float) -> float:
        """Move on by `step_s` and tell the loss [W]."""
        kick_w = self.SPREAD_W * sqrt(2 * step_s / self.MEMORY_S) * self._random.gauss(0.0, 1.0)
        self._loss_w += kick_w - self._loss_w * step_s / self.MEMORY_S
        return self._loss_w


class HotPath:
    """The heat side as a whole: plant, controllers, sensors with noise.

    `random` feeds the noise alone; equal generators give equal noise whatever happens in the machine.
    """

    NOISE_K: Final = 0.05

    def __init__(self, random: Random, plant: Plant | None = None) -> None:
        self.state = HeatState(plant or Plant())
        self.set_c = (0.0, 0.0)
        self.duty = (0.0, 0.0)
        self.measured_c = (AMBIENT_C, AMBIENT_C)
        self.given: float | None = None  # share of its power that the manifold's heater gives; None: its duty
        self.loose_k = 0.0  # the manifold's sensor reads so much too low
        self._random = random
        self._controllers = (Controller(), Controller())
        self._draughts = (Draught(random), Draught(random))

    def step(self, step_s: float, flow_mm_s: float, radiator: float) -> None:
        """Read the sensors, set the heaters, move on by `step_s`."""
        state, plant = self.state, self.state.plant
        self.measured_c = (self.sensed_c(state.manifold_c - self.loose_k), self.sensed_c(state.nozzle_c))
        manifold, nozzle = self._controllers
        self.duty = (
            manifold.duty(self.set_c[0], self.measured_c[0], step_s),
            nozzle.duty(self.set_c[1], self.measured_c[1], step_s),
        )
        given = self.duty[0] if self.given is None else self.given
        manifold_w = given * plant.manifold_heater_w - self._draughts[0].step(step_s)
        nozzle_w = self.duty[1] * plant.nozzle_heater_w - self._draughts[1].step(step_s)
        state.step(step_s, (manifold_w, nozzle_w), flow_mm_s, radiator)

    def sensed_c(self, true_c: float) -> float:
        """What a sensor at `true_c` says: noise, and steps of 0.1 °C."""
        return round(true_c + self._random.gauss(0.0, self.NOISE_K), 1)

    @property
    def settled(self) -> bool:
        """Both heated blocks read within 1 K of their set points."""
        return all(abs(wanted - is_c) < 1.0 for wanted, is_c in zip(self.set_c, self.measured_c, strict=True))
