"""A widget that draws whole lines itself and repaints only the cells that changed.

Owns the step from looks to terminal styles: the sixteen colours of the terminal's own palette, three of them used,
and its own background throughout. Knows nothing of what the lines say.
"""

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Final

from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from monitor.core.alert_types import Priority
from monitor.tui.ink import Line, Look
from monitor.tui.terminal.changed_cells import changed_cells

_COLOURS: Final = {Priority.ALARM: 1, Priority.WARNING: 3, Priority.CAUTION: 6}
"""Red, yellow and cyan of the terminal's palette."""


@lru_cache(maxsize=64)
def style_of(look: Look, *, colour: bool) -> Style:
    """Terminal style of a look; without a colour the cells keep the terminal's own."""
    shown = Color.from_ansi(_COLOURS[look.signal]) if colour and look.signal is not None else None
    return Style(color=shown, dim=look.dim or None, bold=look.bold or None, reverse=look.reverse or None)


class LineWidget(Widget):
    """Fills its place with the lines that `draw(width, height)` returns.

    Parameters
    ----------
    draw : callable
        Exactly `height` lines, none wider than `width` cells.
    colour : bool
        Whether the three colours of the priorities may be used.
    """

    DEFAULT_CSS = "LineWidget { width: 100%; height: 100%; }"

    def __init__(self, draw: Callable[[int, int], Sequence[Line]], *, colour: bool) -> None:
        super().__init__()
        self._draw = draw
        self._colour = colour
        self._lines: Sequence[Line] = ()
        self._strips: list[Strip] = []
        self._drawn_width = 0

    def update(self) -> None:
        """Draw anew and repaint the cells that changed."""
        changed = self._rebuild()
        if changed:
            self.refresh(*changed)

    def on_resize(self) -> None:
        """Draw anew at the new size."""
        self._rebuild()
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """Return one line as it was drawn last."""
        return self._strips[y] if y < len(self._strips) else Strip.blank(self.size.width)

    def render_lines(self, crop: Region) -> list[Strip]:
        """Lines of a region, straight from the last drawing: far cheaper than the cache of styles it bypasses."""
        lines = [self.render_line(y) for y in range(crop.y, crop.bottom)]
        if crop.x == 0 and crop.width == self._drawn_width:
            return lines
        return [line.crop_extend(crop.x, crop.right, None) for line in lines]

    def _rebuild(self) -> list[Region]:
        """Draw all lines; return where cells have changed."""
        width, height = self.size
        lines = self._draw(width, height)
        if width != self._drawn_width or len(lines) != len(self._lines):
            self._strips = [self._strip(line, width) for line in lines]
            changed = [Region(0, 0, width, len(lines))]
        else:
            changed = []
            for y, (line, before) in enumerate(zip(lines, self._lines, strict=True)):
                if line != before:
                    self._strips[y] = self._strip(line, width)
                    first, last = changed_cells(before, line, width)
                    changed.append(Region(first, y, last - first, 1))
        self._lines, self._drawn_width = lines, width
        return changed

    def _strip(self, line: Line, width: int) -> Strip:
        segments = [Segment(span.text, style_of(span.look, colour=self._colour)) for span in line if span.text]
        return Strip(segments).adjust_cell_length(width)
