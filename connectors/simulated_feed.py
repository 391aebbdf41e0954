"""One strand of the simulated machine between spool and melt: drive, slip, encoder, stall flag.

Owns how much of a commanded move really arrives, and what encoder and driver say of it. The numbers are invented, of
the size common in practice (no source); the shapes are known ones: elastic slip that grows with speed, and a flow
limit that falls with temperature. Knows nothing of programs, heaters or links.
"""

from math import exp, floor, sqrt
from random import Random
from typing import Final

from connectors.simulated_faults import NO_LOSS, StrandFault
from connectors.simulated_program import Piece
from connectors.simulated_scenarios import INPUTS, Fault, FaultKind

CYCLE_MM: Final = 0.36
"""Strand lost when the motor slips by one electrical cycle: 4 full steps, whatever the microstepping."""
COUNT_MM: Final = 0.1
"""Strand per count of the encoder."""
PLAY_MM: Final = 0.2
"""Between drive and encoder, at each reversal."""
LATE_S: Final = (0.02, 0.10)
"""Age of an encoder reading."""
WHEEL_ERROR: Final = 0.01
"""Largest error of scale of an encoder's wheel."""
RANDOM_SLIP_MM: Final = 0.04
"""Spread of the slip of a healthy drive, per square root of a millimetre fed."""
ELASTIC_SLIP_S_MM: Final = 0.002
"""Slip of a healthy drive, per mm/s of speed."""
FLAG_CHANCE: Final = 0.5
"""That the driver notices a skip at all."""
FALSE_FLAG_CHANCE: Final = 1 / 3_000
"""That it reports a stall on a withdrawal where none was."""
OUT_OF_HEAT_MM: Final = 40.0
"""Drawn back so far, nothing of a strand is left in the hot channel."""
LIMIT_MM_S: Final = 4.6
"""Speed above which a drive skips while the manifold is at the strand's own `LIMIT_C`."""
LIMIT_PER_K: Final = 0.035
LIMIT_C: Final = dict(zip(INPUTS, (188.0, 190.0, 186.0, 192.0, 189.0, 191.0), strict=True))


class StrandFeed:
    """State of one strand's feed.

    `random` makes the drive's and the encoder's own errors; `luck` decides what only faults bring, so that a fault
    changes nothing before its onset.
    """

    def __init__(self, number: int, random: Random, luck: Random, fault: StrandFault | None = None) -> None:
        self.commanded_mm = 0.0
        self.mark_mm = 0.0  # highest commanded_mm so far
        self.stalled = False  # the driver has reported a stall; whoever reads it clears it
        self.limit_c = LIMIT_C[number]  # from here on the drive gets LIMIT_MM_S through
        self._number = number
        self._random, self._luck, self._fault = random, luck, fault
        self._scale = random.uniform(-WHEEL_ERROR, WHEEL_ERROR)
        self._driven_mm, self._seen_mm, self._owed_mm = 0.0, 0.0, 0.0
        self._way_mm, self._way_s = 0.0, 0.0  # of the encoder in the newest piece; no time once that is done

    def move(self, piece: Piece, manifold_c: float, time_s: float) -> float:
        """Carry out one piece of a move; tell how much new strand reached the melt [mm]."""
        self.commanded_mm += piece.length_mm
        new_mm = max(0.0, self.commanded_mm - self.mark_mm)
        self.mark_mm += new_mm
        loss = NO_LOSS if self._fault is None else self._fault.loss(new_mm, self.mark_mm, time_s)
        too_fast = self._too_fast(piece.speed_mm_s, manifold_c, loss.limit_mm_s) if new_mm > 0 else 0.0
        skipped = max(loss.skipped, too_fast)
        healthy_mm = piece.length_mm - self._healthy_loss_mm(piece)
        self._driven_mm += healthy_mm * (1.0 - loss.smooth) - self._jumped_mm(skipped * new_mm)
        before_mm = self._seen_mm
        self._seen_mm = min(max(before_mm, self._driven_mm - PLAY_MM), self._driven_mm)
        self._way_mm = self._seen_mm - before_mm
        self._way_s = piece.length_mm / piece.speed_mm_s if piece.under_way else 0.0
        return new_mm * loss.melted * (1.0 - skipped)

    @property
    def is_in_heat(self) -> bool:
        """Whether it has not been drawn out of the hot channel."""
        return self.mark_mm - self.commanded_mm < OUT_OF_HEAT_MM

    def jam(self, time_s: float) -> None:
        """From now on the strand is jammed, whatever else it had; it shows within its next millimetres."""
        self._fault = StrandFault(Fault(FaultKind.JAM, time_s, input=self._number), self._luck)

    def encoder_mm(self) -> float:
        """What the encoder says now: whole counts, a little late while the strand moves [mm]."""
        late_mm = 0.0
        if self._way_s > 0:
            late_mm = self._way_mm * min(1.0, self._random.uniform(*LATE_S) / self._way_s)
        return round(COUNT_MM * floor((self._seen_mm - late_mm) / COUNT_MM), 1)

    def _healthy_loss_mm(self, piece: Piece) -> float:
        loss_mm = self._scale * piece.length_mm
        if piece.length_mm > 0:
            loss_mm += ELASTIC_SLIP_S_MM * min(piece.speed_mm_s, LIMIT_MM_S) * piece.length_mm
            loss_mm += RANDOM_SLIP_MM * sqrt(piece.length_mm) * self._random.gauss(0.0, 1.0)
        elif self._random.random() < FALSE_FLAG_CHANCE:
            self.stalled = True
        return loss_mm

    def _too_fast(self, speed_mm_s: float, manifold_c: float, passes_mm_s: float) -> float:
        """Share that cannot melt or pass: none below the limits, more the faster, the colder and the narrower."""
        limit_mm_s = min(passes_mm_s, LIMIT_MM_S * exp(LIMIT_PER_K * (manifold_c - self.limit_c)))
        return max(0.0, 1.0 - limit_mm_s / speed_mm_s)

    def _jumped_mm(self, slipped_mm: float) -> float:
        """Let the motor wind up, and spring back by whole electrical cycles [mm]."""
        self._owed_mm += slipped_mm
        cycles = floor(self._owed_mm / CYCLE_MM)
        self._owed_mm -= cycles * CYCLE_MM
        if cycles > 0 and self._luck.random() < FLAG_CHANCE:
            self.stalled = True
        return cycles * CYCLE_MM
