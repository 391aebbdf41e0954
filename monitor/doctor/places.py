"""Where a watch keeps its files: may they be written, read by others, and is there room.

Pure: judges what `sight` saw of each place.
"""

import stat
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, NamedTuple

from monitor.doctor.findings import Finding, fine, look, wrong

PLENTY_BYTES: Final = 1_000_000_000
LEAST_BYTES: Final = 100_000_000
"""A night's recording takes some ten megabytes; logs and updates of the computer want room beside it."""

_BY_OTHERS: Final = stat.S_IRWXG | stat.S_IRWXO


class Place(NamedTuple):
    """A directory that is there or would be made.

    `mode` is None where it does not exist yet; `standing` is the nearest directory above that does; `in_the_way` is
    what stands there, or on the way there, and is no directory.
    """

    path: Path
    mode: int | None
    standing: Path
    is_writable: bool
    is_read_only_disk: bool
    free_bytes: int | None
    in_the_way: Path | None = None


def recordings(seen: Place) -> Iterator[Finding]:
    """Judge the directory of recordings and the disk below it."""
    subject = "recordings"
    if seen.in_the_way is not None:
        yield wrong(subject, f"{seen.in_the_way} is no directory", "name a directory; one that is not there is made")
    elif seen.is_read_only_disk:
        yield wrong(subject, f"{seen.standing} is on a disk mounted read-only", "mount it for writing, or use --record")
    elif not seen.is_writable:
        yield wrong(subject, f"{seen.standing} may not be written to", "let your user write there, or use --record")
    elif seen.mode is not None and seen.mode & _BY_OTHERS:
        yield look(subject, f"others on this computer may look into {seen.path}", f"close it: chmod 700 {seen.path}")
    else:
        yield fine(subject, f"{seen.path}{' (will be made)' if seen.mode is None else ''}")
    yield _room(seen)


def _room(seen: Place) -> Finding:
    if seen.free_bytes is None:
        return look("free disk", "not known", f"see that {seen.standing} has room")
    shown = f"{seen.free_bytes / 1e9:.1f} GB" if seen.free_bytes >= PLENTY_BYTES else f"{seen.free_bytes / 1e6:.0f} MB"
    if seen.free_bytes < LEAST_BYTES:
        return wrong("free disk", shown, "make room: a full disk ends the recording, though not the watch")
    if seen.free_bytes < PLENTY_BYTES:
        return look("free disk", shown, "enough for some nights; make room before it runs out")
    return fine("free disk", shown)


def other_watches(writers: Sequence[tuple[Path, str]]) -> Finding:
    """Tell of recordings that other programs are writing."""
    if not writers:
        return fine("other watches", "none is seen to record here")
    named = "; ".join(f"{path.name} by {who}" for path, who in writers)
    return look("other watches", named, "a serial port serves one watch only, and so does a recording")
