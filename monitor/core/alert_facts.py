"""What the words of an alert may draw on. Plain data; decides nothing."""

from dataclasses import dataclass

from monitor.core.advice_types import Advice, AdviceKind
from monitor.core.alert_points import Point
from monitor.core.assessment import LinerReading, SharedReading, StrandAssessment, WallReading


@dataclass(frozen=True, slots=True)
class SensorFacts:
    """A sensor's reading, and what is odd about it: how long it stands still where it never did, how far it jumped."""

    wall: WallReading
    still_s: float | None
    longest_still_s: float
    jumps_k: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """What a text may draw on: the point's value and level, and the strand, liner or shared channel it belongs to.

    Of what the shared channel holds, `shared` is the most aged; feeding `channel_mm` of strand renews the channel.
    `advice` is what concerns the strand, and the machine as a whole. `softest` names the strand that softens first,
    `margin_k` below whose glass transition the cooling's limit lies. `neediest` is the strand in use that needs the
    hottest manifold, for which `enough_c` is enough as a set point. While it is not known, `is_building` is true.
    """

    point: Point
    level: int
    value: float
    strand: StrandAssessment | None
    liner: LinerReading | None
    shared: SharedReading | None = None
    channel_mm: float = 0.0
    advice: tuple[Advice, ...] = ()
    sensor: SensorFacts | None = None
    softest: str = ""
    margin_k: float = 0.0
    merge_set_c: float | None = None  # set point of the manifold, where it is known
    is_on_its_way: bool = False  # the manifold, to that set point
    neediest: StrandAssessment | None = None
    enough_c: float = 0.0
    is_building: bool = True

    def advised(self, kind: AdviceKind) -> Advice | None:
        """The advice of that kind, if there is one."""
        return next((piece for piece in self.advice if piece.kind is kind), None)


def strand_of(facts: Facts) -> StrandAssessment:
    """The strand that the alert belongs to; ValueError where it belongs to none."""
    if facts.strand is None:
        raise ValueError(f"condition {facts.point.rule.condition!r} belongs to a strand; got none")
    return facts.strand
