"""What is to come."""

from monitor.core.assessment import Assessment
from monitor.tui.ink import Line
from monitor.tui.view import View


def ahead_page(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """When each strand is needed next, against the time it has left."""
    del view, latest, width, rows
    return []
