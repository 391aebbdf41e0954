"""One cause, one alert: of the alerts that share a cause one is shown, the others are folded under it.

The most urgent leads; of equals one that nobody has seen, then the first that was raised. Derived from the records, so
there is nothing to store that could go wrong. Which alerts share a cause stands in the table (alert_table.py).
"""

from collections.abc import Mapping

from monitor.core.alert_table import Rule
from monitor.core.alert_types import AlertState, Priority
from monitor.core.alerts import AlertLaw, Record


def priority_of(rule: Rule, record: Record) -> Priority:
    """Urgency of an alert: that of its level, and ALARM once a WARNING has gone unseen for too long."""
    priority = rule.priorities[max(1, record.level or record.highest) - 1]
    return Priority.ALARM if record.is_overdue and priority is Priority.WARNING else priority


def leaders(law: AlertLaw, records: Mapping[int, Record]) -> dict[int, int]:
    """For each point that is not at rest, the one it is folded under; itself where it leads."""
    groups: dict[str, list[int]] = {}
    for point, record in records.items():
        if record.state is not AlertState.NORMAL:
            groups.setdefault(law.points[point].group, []).append(point)
    found: dict[int, int] = {}
    for points in groups.values():
        leader = min(points, key=lambda point: _order(law, point, records[point]))
        found |= dict.fromkeys(points, leader)
    return found


def _order(law: AlertLaw, point: int, record: Record) -> tuple[bool, int, bool, int, float, int]:
    """What leads: what is active, most urgent, not seen yet, at the highest level; then what came first."""
    raised_s = 0.0 if record.raised_s is None else record.raised_s
    priority = priority_of(law.points[point].rule, record)
    return record.level == 0, -priority, record.acknowledged, -record.level, raised_s, point
