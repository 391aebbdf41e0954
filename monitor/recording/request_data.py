"""What the owner asked of alerts as plain data: how it stands in a recording, and how it is read back."""

from typing import Any

from connectors.clean_text import clean_text
from connectors.recording import Conclusion
from monitor.core.alert_types import Request, RequestKind

_PLAIN_KIND = "acknowledge"
_OTHER_KIND = "request"


def request_data(request: Request) -> tuple[str, dict[str, Any]]:
    """Kind and keys of the line that records a request."""
    who = {"alert_id": request.alert_id, "actor": request.actor}
    if request.kind is RequestKind.ACKNOWLEDGE:
        return _PLAIN_KIND, who
    return _OTHER_KIND, {**who, "ask": request.kind.value, "reason": request.reason, "for_s": request.for_s}


def request_in(conclusion: Conclusion) -> Request | None:
    """The request that a recorded conclusion holds; None for any other, or a damaged one."""
    data = conclusion.data
    alert_id, actor = data.get("alert_id"), data.get("actor")
    if conclusion.kind not in {_PLAIN_KIND, _OTHER_KIND} or not isinstance(alert_id, str) or not isinstance(actor, str):
        return None
    if conclusion.kind == _PLAIN_KIND:
        return Request(conclusion.time_s, RequestKind.ACKNOWLEDGE, alert_id, actor)
    reason, for_s = data.get("reason", ""), data.get("for_s", 0.0)
    if not isinstance(reason, str) or not isinstance(for_s, int | float):
        return None
    try:
        kind = RequestKind(str(data.get("ask")))
        return Request(conclusion.time_s, kind, alert_id, actor, clean_text(reason), float(for_s))
    except ValueError:
        return None
