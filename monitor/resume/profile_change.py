"""What of a machine or its load has changed since a recording was begun: whether its doses still mean anything.

Pure. The link, and whom alerts are sent to, may change as they like.
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final

import msgspec

from connectors.recording import Header
from connectors.recording_header import clean_data
from connectors.withheld import without_secrets
from monitor.config import Profile, ProfileError, profile_from_tables

_SHOWN: Final = 3
_ABSENT: Final = object()


def profile_change(header: Header, profile: Profile) -> str:
    """What is another now than in the recording, in words; empty when the engine would be told the same."""
    try:
        then = profile_from_tables(header.profile, header.materials, "the recording")
    except ProfileError:
        return "its profile does not satisfy this version of strandwatch"
    if then.parameters == profile.parameters:
        return ""
    changed = [
        *_differences(header.profile, _plain(profile.table), ""),
        *_differences(header.materials, _plain(profile.material_tables), "materials"),
    ]
    told = [place for place in changed if not place.startswith("link")]
    if not told:
        return "this version of strandwatch has other defaults"
    more = f" and {len(told) - _SHOWN} more" if len(told) > _SHOWN else ""
    return f"since then {', '.join(told[:_SHOWN])}{more} changed in the profile or its materials"


def _plain(table: Mapping[str, Any]) -> Any:  # noqa: ANN401 -- decoded JSON
    """The table as it would stand in a recording."""
    return clean_data(msgspec.json.decode(msgspec.json.encode(without_secrets(dict(table)))))


def _differences(then: Any, now: Any, place: str) -> Iterator[str]:  # noqa: ANN401 -- decoded JSON
    """Places at which two plain tables differ, as in ``strands[4].material``."""
    if isinstance(then, dict) and isinstance(now, dict):
        for key in {**then, **now}:
            yield from _differences(then.get(key, _ABSENT), now.get(key, _ABSENT), f"{place}.{key}" if place else key)
    elif isinstance(then, list) and isinstance(now, list) and len(then) == len(now):
        for number, (old, new) in enumerate(zip(then, now, strict=True), start=1):
            yield from _differences(old, new, f"{place}[{number}]")
    elif then != now:
        yield place
