"""Feed of every strand: what moved, and since when no new material has.

Idle time runs from the high-water mark of feed: a retraction and its return bring nothing new and do not restart it.
"""

import math
from collections.abc import Mapping
from typing import Final, NamedTuple

NEW_MATERIAL_MM: Final = 0.05  # rise above the high-water mark that counts as new material
FEEDING_WITHIN_S: Final = 10.0  # a strand that brought new material this recently is feeding
_SPEED_OVER_S: Final = 5.0  # time constant of the mean speed
_PLAY_MM: Final = 2.0  # whoever withdraws a strand by its path counts in whole millimetres
_STANDING_MM_S: Final = 1e-4  # slower is standing


class Feed(NamedTuple):
    """One strand's feed."""

    fed_mm: float | None = None  # last value reported, since the connector's own zero
    first_mm: float = 0.0  # value first reported
    high_mm: float = 0.0  # highest value reported
    moved_s: float = 0.0  # when new material last moved, or the session's start: the earliest that it may have been
    moved_late_s: float = 0.0  # and the latest: reports may have been missing in between
    pending_mm: float = 0.0  # fed, but not yet carried into the field
    speed_mm_s: float = 0.0  # smoothed, signed
    gap_s: float = 0.0  # how long before it was told the pending part may have moved, where reports were missing

    @property
    def has_fed(self) -> bool:
        """Whether it brought new material since the session began."""
        return self.high_mm > self.first_mm


def is_feeding(feed: Feed, time_s: float) -> bool:
    """Whether new material moved within the last seconds."""
    return time_s - feed.moved_late_s <= FEEDING_WITHIN_S and feed.has_fed


def is_withdrawn(feed: Feed, path_mm: float) -> bool:
    """Whether the strand was drawn back by the whole length of its path: then nothing of it stands hot."""
    return feed.fed_mm is not None and feed.high_mm - feed.fed_mm >= path_mm - _PLAY_MM and feed.has_fed


class Feeds(NamedTuple):
    """All strands' feed, and when each was last reported."""

    strands: tuple[Feed, ...] = ()
    seen_s: tuple[float, ...] = ()


def read_feeds(
    known: Feeds, channels: tuple[str, ...], values: Mapping[str, float], time_s: float, longest_gap_s: float
) -> Feeds:
    """Feeds after a sample; `channels` holds the feed channel of each strand.

    Reports further apart than `longest_gap_s` leave open when the strand moved in between.
    """
    reported = [values.get(name) for name in channels]
    strands = [  # most of them stand still
        feed
        if fed_mm is None or (fed_mm == feed.fed_mm and feed.speed_mm_s == 0.0)
        else _reported(feed, fed_mm, time_s, seen_s, longest_gap_s)
        for feed, fed_mm, seen_s in zip(known.strands, reported, known.seen_s, strict=True)
    ]
    if None not in reported:
        return Feeds(tuple(strands), (time_s,) * len(reported))
    pairs = zip(reported, known.seen_s, strict=True)
    return Feeds(tuple(strands), tuple(seen_s if fed_mm is None else time_s for fed_mm, seen_s in pairs))


def _reported(feed: Feed, fed_mm: float, time_s: float, seen_s: float, longest_gap_s: float) -> Feed:
    if feed.fed_mm is None:
        return feed._replace(fed_mm=fed_mm, first_mm=fed_mm, high_mm=fed_mm)
    moved_mm, elapsed_s = fed_mm - feed.fed_mm, time_s - seen_s
    is_new = fed_mm > feed.high_mm + NEW_MATERIAL_MM
    earliest_s = time_s if elapsed_s <= longest_gap_s else seen_s
    return Feed(
        fed_mm,
        feed.first_mm,
        fed_mm if is_new else feed.high_mm,
        earliest_s if is_new else feed.moved_s,
        time_s if is_new else feed.moved_late_s,
        feed.pending_mm + moved_mm,
        _smoothed(feed.speed_mm_s, moved_mm, elapsed_s),
        max(feed.gap_s, time_s - earliest_s) if is_new else feed.gap_s,
    )


def moved_untold(feeds: Feeds, time_s: float) -> Feeds:
    """Feeds after a time in which nobody counted: strands may have moved until just now, but none counts as feeding."""
    latest_s = time_s - 1.1 * FEEDING_WITHIN_S
    moved = (feed._replace(moved_late_s=max(feed.moved_late_s, latest_s), speed_mm_s=0.0) for feed in feeds.strands)
    return Feeds(tuple(moved), feeds.seen_s)


def _smoothed(speed_mm_s: float, moved_mm: float, elapsed_s: float) -> float:
    if elapsed_s <= 0.0:
        return speed_mm_s
    keep = math.exp(-elapsed_s / _SPEED_OVER_S)
    smoothed = keep * speed_mm_s + (1 - keep) * moved_mm / elapsed_s
    return smoothed if abs(smoothed) > _STANDING_MM_S else 0.0


def carried(feeds: Feeds) -> Feeds:
    """Feeds once their pending part has gone into the field."""
    if all(feed.pending_mm == 0.0 == feed.gap_s for feed in feeds.strands):
        return feeds
    strands = (
        feed if feed.pending_mm == 0.0 == feed.gap_s else feed._replace(pending_mm=0.0, gap_s=0.0)
        for feed in feeds.strands
    )
    return Feeds(tuple(strands), feeds.seen_s)
