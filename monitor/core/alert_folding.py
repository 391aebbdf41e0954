"""One cause, one alert: of the alerts that share a cause one is shown, the others are folded under it.

The most urgent leads; of equals one that nobody has seen, then the first that was raised (first-out). Derived from the
records, so there is nothing to store that could go wrong. Which alerts share a cause stands in the table
(alert_table.py).
"""

from collections.abc import Mapping

from monitor.core.alert_record import Record, priority_of
from monitor.core.alert_types import AlertState
from monitor.core.alerts import AlertLaw


def leaders(law: AlertLaw, records: Mapping[int, Record], causes: Mapping[int, str]) -> dict[int, int]:
    """For each point that is not at rest, the one it is folded under; itself where it leads.

    `causes` has the points that have another cause at present than they have in general.
    """
    groups: dict[str, list[int]] = {}
    for point, record in records.items():
        if record.state is not AlertState.NORMAL:
            groups.setdefault(causes.get(point, law.points[point].group), []).append(point)
    found: dict[int, int] = {}
    for points in groups.values():
        leader = min(points, key=lambda point: _order(law, point, records[point]))
        found |= dict.fromkeys(points, leader)
    return found


def _order(law: AlertLaw, point: int, record: Record) -> tuple[bool, bool, int, bool, float, int]:
    """What leads: what is announced and active, most urgent, not seen yet; then what came first."""
    raised_s = 0.0 if record.raised_s is None else record.raised_s
    priority = priority_of(law.points[point].rule, record)
    return record.is_held_back, record.level == 0, -priority, record.acknowledged, raised_s, point
