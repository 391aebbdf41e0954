"""Values over time."""

from monitor.core.assessment import Assessment
from monitor.tui.ink import Line
from monitor.tui.view import View


def trends_page(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """The values chosen over the time chosen."""
    del view, latest, width, rows
    return []
