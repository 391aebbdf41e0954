"""One strand by itself."""

from monitor.core.assessment import Assessment
from monitor.tui.ink import Line
from monitor.tui.view import View


def strand_page(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """All that is known of the strand that is looked at."""
    del view, latest, width, rows
    return []
