"""From what was commanded and what an encoder or a driver said meanwhile to whether an attempt fed.

Owns the limits of slip and what a reading may err by. Knows nothing of temperatures or steps.
"""

from math import sqrt
from typing import Final, NamedTuple

from monitor.bench.attempts import Outcome

SKIPS_FROM: Final = 0.08
"""Share of the feed beyond a hot strand's slip from which an attempt counts as skipped (judgement): a drive that skips
at all soon loses more, and no build would bear it."""
_PLAY_MM: Final = 0.4
"""Play between drive and encoder, and a wheel out of true (judgement, as for the watch's own stall tests)."""
_WALK_MM: Final = 0.05
"""Random loss of a healthy drive, per square root of a millimetre (judgement)."""
_UNKNOWN_COUNT_MM: Final = 1.0
_SCALE_UNKNOWN: Final = 0.02
"""By how much an encoder's scale may be wrong where no hot feed could be measured (judgement)."""
FLAGS_THAT_COUNT: Final = 2
"""Flags in one attempt that are no accident: drivers report stalls where none were, now and then."""


class Lost(NamedTuple):
    """What did not arrive of a feed, and how far that may be wrong, about two standard deviations [mm]."""

    lost_mm: float
    error_mm: float


class HotSlip(NamedTuple):
    """Slip of the hot strand, measured over the filling [-], with its own error; the encoder's scale is in it."""

    share: float = 0.0
    error: float = _SCALE_UNKNOWN


def hot_slip(fed_mm: float, sensed_mm: float, count_mm: float | None) -> HotSlip:
    """Slip while the strand is so hot that it does not skip."""
    error_mm = _position_error_mm(count_mm) + 2.0 * _WALK_MM * sqrt(fed_mm)
    return HotSlip(1.0 - sensed_mm / fed_mm, error_mm / fed_mm)


def lost(fed_mm: float, sensed_mm: float, hot: HotSlip, count_mm: float | None) -> Lost:
    """What went missing beyond a hot strand's slip.

    The error adds what a count at each end may hide, play, the random walk of a healthy drive and what is not known of
    the hot slip, the random ones in quadrature.
    """
    random_mm = sqrt((2.0 * _WALK_MM) ** 2 * fed_mm + (hot.error * fed_mm) ** 2)
    return Lost(fed_mm * (1.0 - hot.share) - sensed_mm, _position_error_mm(count_mm) + random_mm)


def outcome_by_encoder(fed_mm: float, missing: Lost) -> Outcome:
    """Whether it fed: unclear where the limit lies within the error."""
    limit_mm = SKIPS_FROM * fed_mm
    if missing.lost_mm - missing.error_mm > limit_mm:
        return Outcome.SKIPPED
    return Outcome.FED if missing.lost_mm + missing.error_mm < limit_mm else Outcome.UNCLEAR


def outcome_by_both(fed_mm: float, missing: Lost, flags: int) -> Outcome:
    """Whether it fed, where the driver reports stalls as well: what the encoder leaves open the flags may settle.

    A flag together with a sure loss is a skip. No flag and no sure loss is none: of a loss at the limit a driver would
    have noticed some skip.
    """
    by_encoder = outcome_by_encoder(fed_mm, missing)
    if by_encoder is not Outcome.UNCLEAR:
        return by_encoder
    is_sure = missing.lost_mm > missing.error_mm
    if is_sure and flags > 0:
        return Outcome.SKIPPED
    return Outcome.FED if not is_sure and flags == 0 else Outcome.UNCLEAR


def outcome_by_flags(flags: int) -> Outcome:
    """Whether it fed, by the driver's word alone: one flag may be an accident."""
    if flags >= FLAGS_THAT_COUNT:
        return Outcome.SKIPPED
    return Outcome.FED if flags == 0 else Outcome.UNCLEAR


def attempt_mm(count_mm: float | None, least_mm: float, most_mm: float) -> float:
    """Feed for an attempt [mm] that tells, at half of the limit of slip, whether it fed; within the bounds."""
    length_mm = least_mm
    while length_mm < most_mm and 2.0 * _error_at_mm(length_mm, count_mm) > SKIPS_FROM * length_mm:
        length_mm += 5.0
    return min(length_mm, most_mm)


def _error_at_mm(length_mm: float, count_mm: float | None) -> float:
    return _position_error_mm(count_mm) + 2.0 * _WALK_MM * sqrt(length_mm)


def _position_error_mm(count_mm: float | None) -> float:
    """Of a difference of two positions [mm]."""
    return (_UNKNOWN_COUNT_MM if count_mm is None else count_mm) + _PLAY_MM
