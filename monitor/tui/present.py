"""One frame of the screen as lines of text: a pure function of a view and a size.

Owns the order and the shares of height: first the machine and the alerts, then a line per input, then the picture.
"""

from itertools import zip_longest
from typing import Final

from monitor.core.assessment import Assessment
from monitor.tui.ahead.page import ahead_page, ahead_rows
from monitor.tui.alert_band import alert_band, most_urgent_line, notice_lines
from monitor.tui.alert_page import alert_page
from monitor.tui.find_list import find_list
from monitor.tui.ink import BOLD, EMPTY, Line, Span, ascii_line, beside, crop, width_of
from monitor.tui.key_help import LEAVING, foot_line, help_page, question_line
from monitor.tui.masthead import masthead, waiting
from monitor.tui.pages import Page
from monitor.tui.path.picture import LEAST_ROWS, hot_path_picture
from monitor.tui.replay_bar import replay_foot
from monitor.tui.scrolling import SCROLLING, in_room, most_scroll
from monitor.tui.strand.page import strand_page
from monitor.tui.strand_rows import balance_lines, stand_in_lines, strand_rows
from monitor.tui.trends.page import trends_page, wall_trends
from monitor.tui.view import View

_FOOT_FROM_ROWS: Final = 10
_PICTURE_FROM_CELLS: Final = 50
_BAND_ROWS_BESIDE_PICTURE: Final = 6
_GOOD_PICTURE_ROWS: Final = 16
_AIR_FROM_ROWS: Final = 18
_BETWEEN: Final = 3
_NO_PICTURE: Final = "  the window is too small for the picture of the hot path"
_TRENDS_FROM_CELLS: Final = 48


def frame(view: View, width: int, height: int, *, ascii_only: bool = False) -> tuple[Line, ...]:
    """Exactly `height` lines, none wider than `width` cells."""
    if width <= 0 or height <= 0:
        return ()
    foot = _foot(view, width, height)
    room = height - len(foot)
    scroll = view.scroll if view.page in SCROLLING and view.finding is None else None
    lines = in_room(_above_foot(view, width, room), room, width, fixed=_fixed(view, width, room), scroll=scroll)
    whole = [*lines, *[EMPTY] * (room - len(lines)), *foot]
    return tuple(ascii_line(line) if ascii_only else line for line in (crop(line, width) for line in whole))


def farthest_scroll(view: View, width: int, height: int) -> int:
    """How far the page can be moved on at this size [lines]; 0 for one that cannot."""
    if view.page not in SCROLLING:
        return 0
    room = height - len(_foot(view, width, height))
    return most_scroll(len(_above_foot(view, width, room)), _fixed(view, width, room), room)


def _fixed(view: View, width: int, height: int) -> int:
    """How many of the first lines stay when the page is moved."""
    if view.page is Page.ALERTS:
        return len(masthead(view, width, height)) + len(notice_lines(view.notice, width))
    return len(most_urgent_line(view, width))


def _above_foot(view: View, width: int, height: int) -> list[Line]:
    if view.finding is not None:
        return [*most_urgent_line(view, width), *find_list(view.finding, width, height - len(view.alerts[:1]))]
    if view.page is Page.HELP:
        return [*most_urgent_line(view, width), *help_page(view, width)]
    head = [*masthead(view, width, height), *notice_lines(view.notice, width)]
    if view.latest is None:
        return [*head, *waiting(view, width)]
    if not view.has_data and view.page is not Page.ALERTS:
        return [*head, *alert_band(view, view.latest, width, height), *waiting(view, width)]
    if view.page is Page.TRENDS:
        head += most_urgent_line(view, width)
    draw = _ALONE.get(view.page)
    if draw is not None:
        return [*head, *draw(view, view.latest, width, height - len(head))]
    return [*head, *_body(view, view.latest, width, height - len(head))]


def _body(view: View, latest: Assessment, width: int, room: int) -> list[Line]:
    loans = [] if view.page is Page.PATH else [*stand_in_lines(latest, width), *balance_lines(latest, width)]
    table_rows = 0 if view.page is Page.PATH else len(latest.strands) + 1 + len(loans)
    if width >= _PICTURE_FROM_CELLS and latest.strands:
        picture = min(_GOOD_PICTURE_ROWS, max(LEAST_ROWS, room // 3))
        most = _BAND_ROWS_BESIDE_PICTURE if view.page is Page.PATH else room - table_rows - picture
        band = alert_band(view, latest, width, max(_BAND_ROWS_BESIDE_PICTURE, most))
        left = room - len(band) - table_rows
        if left >= LEAST_ROWS:
            table = [*strand_rows(view, latest, width, table_rows - len(loans)), *loans] if table_rows else []
            air = [EMPTY] if left >= _AIR_FROM_ROWS else []
            ahead = _ahead(view, latest, width, left - len(air)) if table else []
            shown = _picture(view, latest, width, left - 2 * len(air) - len(ahead))
            return [*band, *air, *table, *air, *ahead, *shown]
    if view.page is Page.PATH:
        return [*alert_band(view, latest, width, room - 1), (Span(_NO_PICTURE, BOLD),)]
    band = alert_band(view, latest, width, room - len(latest.strands))
    rows = strand_rows(view, latest, width, max(0, room - len(band)))
    left = room - len(band) - len(rows)
    return [*band, *rows, *(loans if len(loans) <= left else ())]


def _picture(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """The hot path, and where the screen is very wide its walls over the last hours beside it."""
    picture = hot_path_picture(view, latest, width, rows)
    begin = max(map(width_of, picture)) + _BETWEEN
    trends = wall_trends(view, latest, width - begin, rows) if width - begin >= _TRENDS_FROM_CELLS else []
    return [beside(parts, begin) for parts in zip_longest(picture, trends, fillvalue=EMPTY)] if trends else picture


def _ahead(view: View, latest: Assessment, width: int, room: int) -> list[Line]:
    """What is to come, a line a strand, where the picture stays good beside it."""
    rows = ahead_rows(view, latest, width, is_short=True)
    return [*rows, EMPTY] if room - len(rows) - 2 >= _GOOD_PICTURE_ROWS else []


def _foot(view: View, width: int, height: int) -> list[Line]:
    if view.finding is not None:
        return [question_line(f" find: {view.finding.typed}_   Enter: go   Esc: back ", width)]
    if view.question is not None:
        return [question_line(view.question.text, width)]
    if view.jump is not None:
        return [question_line(view.jump.text, width)]
    if view.asked_to_leave:
        return [question_line(LEAVING, width)]
    keys = foot_line(view, width)
    if view.replay is not None and view.page is not Page.HELP:
        return replay_foot(view.replay, keys, width, height)
    return [keys] if height >= _FOOT_FROM_ROWS else []


_ALONE: Final = {
    Page.ALERTS: alert_page,
    Page.STRAND: strand_page,
    Page.TRENDS: trends_page,
    Page.AHEAD: ahead_page,
}
"""Pages that have all the room below the masthead."""
