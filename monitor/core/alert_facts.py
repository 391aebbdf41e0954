"""What the words of an alert may draw on. Plain data; decides nothing."""

from dataclasses import dataclass

from monitor.core.advice_types import Advice, AdviceKind
from monitor.core.alert_points import Point
from monitor.core.assessment import LinerReading, SharedReading, StrandAssessment


@dataclass(frozen=True, slots=True)
class Facts:
    """What a text may draw on: the point's value and level, and the strand, liner or shared channel it belongs to.

    Of what the shared channel holds, `shared` is the most aged; feeding `channel_mm` of strand renews the channel.
    `advice` is what concerns the strand, and the machine as a whole.
    """

    point: Point
    level: int
    value: float
    strand: StrandAssessment | None
    liner: LinerReading | None
    shared: SharedReading | None = None
    channel_mm: float = 0.0
    advice: tuple[Advice, ...] = ()

    def advised(self, kind: AdviceKind) -> Advice | None:
        """The advice of that kind, if there is one."""
        return next((piece for piece in self.advice if piece.kind is kind), None)


def strand_of(facts: Facts) -> StrandAssessment:
    """The strand that the alert belongs to; ValueError where it belongs to none."""
    if facts.strand is None:
        raise ValueError(f"condition {facts.point.rule.condition!r} belongs to a strand; got none")
    return facts.strand
