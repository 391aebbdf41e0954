"""The hot path as a picture: strands side by side, cold end at the top, nozzle at the bottom, to scale.

Each strand shows its heat against its own glass transition, its soft front and its aged material, by characters
alone. From the merge point down lies the one channel that all share.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from monitor.core.assessment import Assessment, StrandAssessment
from monitor.tui.ink import BOLD, DIM, PLAIN, Line, Look, Span, crop, fit
from monitor.tui.path.scale import PathScale, ageing_marks, heat_levels, scale_for
from monitor.tui.path.side import side_texts
from monitor.tui.path.words import MARK_LOOK, shared_words
from monitor.tui.strand_rows import is_doubtful, mark_of
from monitor.tui.view import View
from monitor.tui.words import stall_word, temperature

LEAST_ROWS: Final = 8
"""With fewer rows the picture says too little [rows]."""

_TWO_HEADS_FROM_ROWS: Final = 11
_WALLED_FROM_CELLS: Final = 8
_SIDE_CELLS: Final = 20
_WIDE_SIDE_CELLS: Final = 28
_WIDE_FROM_CELLS: Final = 100


@dataclass(frozen=True, slots=True)
class _Channel:
    """One strand, ready to draw: `cells` wide, of which `inside` show its heat."""

    strand: StrandAssessment
    levels: str
    marks: str
    front_row: int | None
    cells: int
    look: Look

    @property
    def walled(self) -> bool:
        return self.cells >= _WALLED_FROM_CELLS

    @property
    def inside(self) -> int:
        return self.cells - 6 if self.walled else max(1, self.cells - 2)


def hot_path_picture(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """The picture with its heads and legend in exactly `rows` lines."""
    heads = 2 if rows >= _TWO_HEADS_FROM_ROWS else 1
    scale = scale_for(latest.zones, rows - heads - 1)
    side = _SIDE_CELLS if width < _WIDE_FROM_CELLS else _WIDE_SIDE_CELLS
    cells = max(3, min(20, (width - side) // max(1, len(latest.strands))))
    strands = latest.strands[: (width - side) // cells]
    channels = [_channel(strand, scale, cells, doubtful=is_doubtful(strand, view)) for strand in strands]
    texts = side_texts(latest, scale, side, is_old=view.is_old)
    look = DIM if view.is_old else PLAIN
    body = [
        *_upstream(channels, scale, texts, look),
        *_shared(channels, scale, texts, look, shared_words(latest.shared)),
    ]
    return [crop(line, width) for line in [*_heads(view, channels, side)[:heads], *body, _legend(width)]]


def _channel(strand: StrandAssessment, scale: PathScale, cells: int, *, doubtful: bool) -> _Channel:
    return _Channel(
        strand,
        heat_levels(strand, scale),
        ageing_marks(strand, scale),
        _front_row(strand, scale),
        cells,
        DIM if doubtful else PLAIN,
    )


def _stiff_row(strand: StrandAssessment, scale: PathScale) -> int | None:
    """The row from which on upwards it must be stiff: the one above the row that holds the border."""
    row = scale.row_of(strand.stiff_from_mm)
    return None if row is None else max(0, row - 1)


def _front_row(strand: StrandAssessment, scale: PathScale) -> int | None:
    """Row of the soft front: on the border's row, or above it, only once it has come so far."""
    row, stiff = scale.row_of(strand.soft_front_mm), _stiff_row(strand, scale)
    if strand.soft_front_mm <= 0 or row is None or stiff is None:
        return row if strand.soft_front_mm > 0 else None
    return min(row, stiff) if strand.soft_front_mm >= strand.stiff_from_mm else max(row, stiff + 1)


def _heads(view: View, channels: Sequence[_Channel], side: int) -> list[Line]:
    first: list[Span] = [Span(fit("hot path", side), DIM)]
    second: list[Span] = [Span(fit("glass transition", side), DIM)]
    for channel in channels:
        strand = channel.strand
        first += [
            mark_of(strand, view.alerts),
            Span(fit(f"{strand.input} {stall_word(strand) or strand.activity.value}", channel.cells - 1), channel.look),
        ]
        second.append(Span(fit(f" {temperature(strand.glass_c)}", channel.cells), channel.look))
    return [tuple(first), tuple(second)]


def _upstream(channels: Sequence[_Channel], scale: PathScale, texts: Sequence[str], look: Look) -> list[Line]:
    stiff_row = _stiff_row(channels[0].strand, scale) if channels else None
    lines: list[Line] = []
    for row in range(scale.upstream_rows):
        text, gap = texts[row], "┄" if row == stiff_row else " "
        if row == stiff_row and not text.strip():
            text = fit("must be stiff above", len(text))
        cells = [span for channel in channels for span in _channel_cells(channel, row, gap)]
        lines.append((Span(text, look), *cells))
    return lines


def _channel_cells(channel: _Channel, row: int, gap: str) -> list[Span]:
    """One row of one strand: heat, mark of ageing, and the millimetres of the soft front on its own row."""
    is_front = row == channel.front_row
    heat = ("━" if is_front else channel.levels[row]) * channel.inside
    mark = channel.marks[row]
    tube = f"{gap}│{heat}│" if channel.walled else heat
    spans = [Span(tube, channel.look), Span(mark.replace(" ", gap), MARK_LOOK.get(mark, channel.look))]
    rest = channel.cells - len(tube) - 1
    note = f"{channel.strand.soft_front_mm:.0f}"[:rest] if is_front and channel.walled else ""
    too_far = channel.strand.soft_front_mm > channel.strand.stiff_from_mm
    return [*spans, Span(note, BOLD if too_far else channel.look), Span(gap * (rest - len(note)), channel.look)]


def _shared(channels: Sequence[_Channel], scale: PathScale, texts: Sequence[str], look: Look, words: str) -> list[Line]:
    """From the merge point down: the strands join, then one channel to the nozzle, and beside it what it holds."""
    if not scale.shared_rows or not channels:
        return [(Span(text, look),) for text in texts[scale.upstream_rows :]]
    cells = channels[0].cells
    middles = [at * cells + 1 + channels[0].inside // 2 + channels[0].walled for at in range(len(channels))]
    centre = (middles[0] + middles[-1]) // 2
    pictures = [_joining(middles, centre)]
    pictures += [" " * (centre - 2) + "│   │" for _ in range(scale.shared_rows - 1)]
    if scale.shared_rows > 1:
        pictures[-1] = " " * (centre - 2) + "╰─┬─╯"
        pictures[1] += f"  {words}"
    rows = zip(texts[scale.upstream_rows :], pictures, strict=True)
    return [(Span(text, look), Span(picture, look)) for text, picture in rows]


def _joining(middles: Sequence[int], centre: int) -> str:
    cells = [" "] * (middles[-1] + 1)
    cells[middles[0] :] = "─" * (middles[-1] - middles[0] + 1)
    for middle in middles:
        cells[middle] = "┴"
    cells[centre] = "┬"
    if len(middles) > 1:
        cells[middles[0]], cells[middles[-1]] = "╰", "╯"
    return "".join(cells)


def _legend(width: int) -> Line:
    text = "· stiff  : near glass  ░▒▓ soft, 40 K, 100 K over it  ━ soft front, mm  w L aged"
    return (Span(fit(text, width).rstrip(), DIM),)
