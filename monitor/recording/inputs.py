"""What the engine was told beside the machine's own events, as recorded: the owner's requests, the plan's words."""

from typing import Any

from connectors.recording import Conclusion
from monitor.core.alert_types import Request
from monitor.core.next_use import NextUses
from monitor.recording.plan_note_data import KIND, next_uses_data, next_uses_in
from monitor.recording.request_data import request_data, request_in


def recorded_input(told: Request | NextUses) -> tuple[str, dict[str, Any]]:
    """Kind and keys of the line that records it."""
    return request_data(told) if isinstance(told, Request) else (KIND, next_uses_data(told))


def input_in(conclusion: Conclusion) -> Request | NextUses | None:
    """What a recorded conclusion told the engine; None for one that told it nothing, or a damaged one."""
    return request_in(conclusion) or next_uses_in(conclusion)
