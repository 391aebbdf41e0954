"""Power balance of a heater: whether the melt takes the power that its flow should.

Owns the calibration of heater power against flow, the energy that is missing, and the judgement whether anything can be
seen at all. One heater sees the sum of what flows through its block. Knows nothing of inputs, encoders or alerts. In
words, with what it can and cannot see: stalls.md.
"""

import math
from typing import Final, NamedTuple

import numpy as np

from monitor.core.assessment import Array
from monitor.core.cusum import ZERO, CusumState, grown
from monitor.core.run_length import diffusion_limit

BLOCK_S: Final = 10.0  # power is averaged over this: temperature noise telescopes within, duty is coarse
_LONGEST_BLOCK_S: Final = 30.0  # a block that a gap stretched beyond this is dropped
_LAG_S: Final = 4.0  # judgement: how long after the flow the heater answers
_MEMORY_S: Final = 2400.0  # of the calibration
_LEAST_BLOCKS: Final = 60
_LEAST_J_PER_MM3, _MOST_J_PER_MM3 = 0.15, 0.9  # no known filament melts for less or more
_WORST_ERROR: Final = 0.20  # of the calibration, relative
_WORST_NOISE_W: Final = 0.7  # judgement, from simulation: above it a full stall is found too late to be of use
_LEAST_FLOW_SD: Final = 0.3  # mm³/s; whether it is enough the error of the calibration tells
ALLOWANCE: Final = 0.5  # share of the melting power: finds full stalls, and what loses less than half never
_RATE_PER_S: Final = 0.2 / (1000.0 * 3600.0)  # false alarms
_FROZEN_ABOVE: Final = 0.3  # of the limit: calibrating on would eat the fault
_LONGEST_FAULT_S: Final = 3600.0  # of melting: what lasts longer is taken for new surroundings, and learned
_LEAST_J: Final = 20.0  # what some 20 mm of strand take: less is nobody's concern, however quiet the heater
_HIGHEST: Final = 1.2  # of the limit
_CLIP_SD: Final = 3.0
_PRIOR_VARIANCE: Final = np.array([1e4, 1.0, 1e4])  # W², (J/mm³)², (J/K)²
_STANDING_MM3_S: Final = 0.2
_CORRELATED_BLOCKS: Final = 6


class HeaterReading(NamedTuple):
    """One sample of a heater; `power_w` is its full power, `flow_mm3_s` commanded, of all it melts together."""

    time_s: float
    temp_c: float
    duty: float  # 0 to 1
    power_w: float
    flow_mm3_s: float


class _Block(NamedTuple):
    """Sums over the block that is being filled."""

    began_s: float
    began_c: float
    energy_j: float = 0.0
    volume_mm3: float = 0.0


class Calibration(NamedTuple):
    """Power as a line in flow and warming: `standing + melt * flow + capacity * warming`."""

    coefficients: tuple[float, float, float] = (0.0, 0.0, 0.0)  # W, J/mm³, J/K
    covariance: tuple[tuple[float, ...], ...] = tuple(map(tuple, np.diag(_PRIOR_VARIANCE).tolist()))
    blocks: int = 0
    weight: float = 0.0  # of the faded sums below
    residual_w2: float = 1.0
    products_w2: tuple[float, ...] = (0.0,) * _CORRELATED_BLOCKS  # residual times those of the blocks before
    earlier_w: tuple[float, ...] = (0.0,) * _CORRELATED_BLOCKS
    flow: float = 0.0  # mean
    flow_2: float = 0.0  # mean square

    @property
    def noise_w(self) -> float:
        """Standard deviation of a block's unexplained power [W]."""
        return math.sqrt(self.residual_w2)

    @property
    def walk_j(self) -> float:
        """Random walk of unexplained energy [J per sqrt s], draughts that last longer than a block included."""
        fading = sum((1.0 - (j + 1) / (_CORRELATED_BLOCKS + 1)) * p for j, p in enumerate(self.products_w2))
        return math.sqrt(max(self.residual_w2, self.residual_w2 + 2.0 * fading) * BLOCK_S)

    @property
    def flow_sd(self) -> float:
        """How much the flow has varied [mm³/s]."""
        return math.sqrt(max(0.0, self.flow_2 - self.flow**2))


class HeaterBalance(NamedTuple):
    """State of the balance."""

    last: HeaterReading | None = None
    lagged_mm3_s: float = 0.0  # flow as the heater feels it
    block: _Block | None = None
    calibration: Calibration = Calibration()
    missing: CusumState = ZERO  # energy that the melt should have taken and did not [J]
    limit_j: float = math.inf


def initial_balance() -> HeaterBalance:
    """State before the first reading."""
    return HeaterBalance()


def advance_balance(state: HeaterBalance, reading: HeaterReading) -> HeaterBalance:
    """State after one reading of the heater. Times must not fall."""
    last, block = state.last, state.block
    if last is None or block is None:
        return state._replace(last=reading, block=_Block(reading.time_s, reading.temp_c))
    elapsed_s = reading.time_s - last.time_s
    if elapsed_s > _LONGEST_BLOCK_S:
        return state._replace(last=reading, block=_Block(reading.time_s, reading.temp_c))
    keep = math.exp(-elapsed_s / _LAG_S)
    lagged = keep * state.lagged_mm3_s + (1.0 - keep) * reading.flow_mm3_s
    energy_j = block.energy_j + elapsed_s * (last.duty * last.power_w + reading.duty * reading.power_w) / 2.0
    block = _Block(block.began_s, block.began_c, energy_j, block.volume_mm3 + lagged * elapsed_s)
    state = state._replace(last=reading, lagged_mm3_s=lagged, block=block)
    return state if reading.time_s - block.began_s < BLOCK_S else _closed(state, block, reading)


def why_unavailable(state: HeaterBalance) -> str | None:
    """Why nothing can be seen, in words; None where the balance is armed."""
    return "its temperature and duty have not been told yet" if state.last is None else _why_unknown(state.calibration)


def _why_unknown(known: Calibration) -> str | None:
    if known.blocks < _LEAST_BLOCKS:
        minutes = (_LEAST_BLOCKS - known.blocks) * BLOCK_S / 60.0
        return f"it is still calibrating: {minutes:.0f} min more of normal running are needed"
    if known.flow_sd < _LEAST_FLOW_SD:
        return (
            f"the flow has hardly varied ({known.flow_sd:.1f} mm³/s about {known.flow:.1f}), "
            "so power cannot be told to belong to it"
        )
    melt, error = known.coefficients[1], melt_error(known)
    if error > _WORST_ERROR * melt:
        return f"its calibration of {melt:.2f} J per mm³ is only known to ± {error:.2f}"
    if not _LEAST_J_PER_MM3 <= melt <= _MOST_J_PER_MM3:
        return (
            f"{melt:.2f} J per mm³ was found where {_LEAST_J_PER_MM3} to {_MOST_J_PER_MM3} "
            "is possible: flow or heater power is told wrong"
        )
    if known.noise_w > _WORST_NOISE_W:
        return (
            f"{known.noise_w:.1f} W come and go unexplained (at most {_WORST_NOISE_W} W): "
            "draught, a fan or the supply hides the melt"
        )
    return None


def least_missing_j(known: Calibration) -> float:
    """Energy that must be missing before that is more than chance; infinite while nothing is known of the melt [J].

    At the mean flow: a sum gathers over many flows, and one fast block must not lower the limit.
    """
    allowance_w = ALLOWANCE * known.coefficients[1] * known.flow
    if allowance_w <= 0.0:
        return math.inf
    return max(_LEAST_J, diffusion_limit(_RATE_PER_S, allowance_w, known.walk_j))


def least_missing_mm3(known: Calibration) -> float:
    """Feed after which so much energy is missing when nothing of it arrives, at the mean flow [mm³].

    Of each cubic millimetre the allowance forgives its share. The heater answers late, and whole blocks are judged.
    """
    melt = known.coefficients[1]
    if melt <= 0.0:
        return math.inf
    return least_missing_j(known) / ((1.0 - ALLOWANCE) * melt) + (_LAG_S + BLOCK_S) * known.flow


def melt_error(known: Calibration) -> float:
    """Standard error of the melting energy [J/mm³], for noise that lasts over several blocks."""
    return math.sqrt(max(0.0, known.covariance[1][1])) * known.walk_j / math.sqrt(BLOCK_S)


def is_missing(state: HeaterBalance) -> bool:
    """Whether more energy is missing than chance explains."""
    return state.missing.total > state.limit_j and why_unavailable(state) is None


def _closed(state: HeaterBalance, block: _Block, reading: HeaterReading) -> HeaterBalance:
    """A block is full: judge it by the calibration so far, then let it calibrate on."""
    seconds = reading.time_s - block.began_s
    row = np.array([1.0, block.volume_mm3 / seconds, (reading.temp_c - block.began_c) / seconds])
    known = state.calibration
    power_w, expected_w = block.energy_j / seconds, float(np.dot(row, known.coefficients))
    flow = float(row[1])
    state = state._replace(block=_Block(reading.time_s, reading.temp_c))
    if known.blocks >= _LEAST_BLOCKS:
        state = _judged(state, expected_w - power_w, flow, seconds)
    if state.missing.total > _FROZEN_ABOVE * state.limit_j and state.missing.since < _LONGEST_FAULT_S:
        return state
    return state._replace(calibration=_calibrated(known, row, power_w - expected_w, seconds))


def _judged(state: HeaterBalance, short_w: float, flow: float, seconds: float) -> HeaterBalance:
    if flow < _STANDING_MM3_S:
        return state  # nothing should melt, so nothing can be missing
    known = state.calibration
    melt_w = known.coefficients[1] * flow
    missing = grown(state.missing, short_w * seconds, ALLOWANCE * melt_w, seconds)
    if math.isfinite(state.limit_j):  # no higher than it needs to be, so that it clears soon once all is well
        missing = CusumState(min(missing.total, _HIGHEST * state.limit_j), missing.since)
    return state._replace(missing=missing, limit_j=least_missing_j(known))


def _calibrated(known: Calibration, row: Array, miss_w: float, seconds: float) -> Calibration:
    """Recursive least squares with forgetting; one odd block is clipped."""
    keep = math.exp(-seconds / _MEMORY_S)
    covariance = np.array(known.covariance)
    if covariance.trace() < keep * _PRIOR_VARIANCE.sum():  # forget no further than what was not known at the start
        covariance /= keep
    gain = covariance @ row
    spread = max(1.0, 1.0 + float(row @ gain))  # rounding after absurd flows
    clip = _CLIP_SD * known.noise_w * math.sqrt(spread) if known.blocks >= _LEAST_BLOCKS // 2 else math.inf
    clipped_w = max(-clip, min(clip, miss_w))
    covariance -= np.outer(gain, gain) / spread
    return _noted(known, keep, clipped_w, float(row[1]))._replace(
        coefficients=tuple((np.array(known.coefficients) + gain / spread * clipped_w).tolist()),
        covariance=tuple(map(tuple, covariance.tolist())),
        blocks=known.blocks + 1,
    )


def _noted(known: Calibration, keep: float, miss_w: float, flow: float) -> Calibration:
    """Means of residuals and flow, faded; the first blocks show the unlearned line, not noise."""
    weight = keep * known.weight + 1.0
    new = 1.0 / weight
    if known.blocks < _CORRELATED_BLOCKS:
        miss_w = 0.0
    return known._replace(
        weight=weight,
        residual_w2=known.residual_w2 + new * (miss_w**2 - known.residual_w2),
        products_w2=tuple(
            old + new * (miss_w * before - old) for old, before in zip(known.products_w2, known.earlier_w, strict=True)
        ),
        earlier_w=(miss_w, *known.earlier_w[:-1]),
        flow=known.flow + new * (flow - known.flow),
        flow_2=known.flow_2 + new * (flow**2 - known.flow_2),
    )
