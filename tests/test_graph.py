"""Curves in cells: never out of their place, nothing lost of a spike, nothing drawn across a gap, no need of colour."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.alert_types import Priority
from monitor.tui.graphs.canvas import AHEAD, CURVE, GAP, LIMIT, NOW, OVER
from monitor.tui.graphs.graph import Curve, Layout, Level, graph, layout_for
from monitor.tui.graphs.scale import scale_for
from monitor.tui.ink import Line, ascii_line, width_of

_ANY = st.floats(allow_nan=True, allow_infinity=True)
_COLUMNS = st.lists(st.tuples(_ANY, _ANY, st.booleans()), max_size=40)
_UNITS = st.sampled_from(("°C", "%", "min", "s", "mm", "mm/s", "1"))
_SIDES = st.lists(st.tuples(_ANY, _ANY), max_size=12)
_LEVELS = st.lists(st.tuples(st.sampled_from(("warn", "limit", "set", "must feed")), _ANY), max_size=4)


def text_of(lines: list[Line]) -> list[str]:
    return ["".join(span.text for span in line) for line in lines]


def plot_of(lines: list[Line], layout: Layout) -> list[str]:
    """The columns alone, without the labels beside them."""
    return [text[layout.left : layout.left + layout.cells] for text in text_of(lines)]


def steady(cells: int, value: float = 195.0, unit: str = "°C") -> Curve:
    return Curve(np.full(cells, value), np.full(cells, value), np.ones(cells, bool), unit)


@settings(max_examples=60, deadline=None)
@given(_COLUMNS, _UNITS, _SIDES, _LEVELS, st.integers(0, 120), st.integers(-1, 20), st.integers(-2, 50))
def test_any_values_fill_exactly_their_place(
    columns: list[tuple[float, float, bool]],
    unit: str,
    ahead: list[tuple[float, float]],
    limits: list[tuple[str, float]],
    width: int,
    rows: int,
    before: int,
) -> None:
    """Whatever the numbers, also none, NaN, infinite or beyond sense: as many rows as asked for, none too wide."""
    low, high, known = zip(*columns, strict=True) if columns else ((), (), ())
    ahead_low, ahead_high = zip(*ahead, strict=True) if ahead else ((), ())
    levels = [Level(name, value, Priority.ALARM) for name, value in limits]
    layout = layout_for(width, levels)
    lines = graph(Curve(low, high, known, unit, before, ahead_low, ahead_high), levels, layout, rows)
    assert len(lines) == max(0, rows)
    assert all(width_of(line) <= width for line in lines)
    assert all(width_of(line) >= layout.left + layout.cells for line in lines)
    assert all(text.isascii() for text in text_of([ascii_line(line) for line in lines]))


def test_a_spike_of_one_column_is_seen() -> None:
    """One reading of 230 in an hour at 195 stands in its column up to the top rows, and in no other."""
    high = np.full(60, 195.4)
    high[17] = 230.0
    layout = Layout(0, 60, 0)
    plot = plot_of(graph(Curve(np.full(60, 194.8), high, np.ones(60, bool), "°C"), (), layout, 8), layout)
    assert {at for at in range(60) if plot[1][at] != " "} == {17}
    assert all(row[17] in CURVE[1:] for row in plot[1:7])


def test_half_rows_tell_values_apart() -> None:
    """A rise over the whole scale takes twice as many steps as there are rows."""
    values = np.linspace(0.0, 100.0, 16)
    layout = Layout(0, 16, 0)
    plot = plot_of(graph(Curve(values, values, np.ones(16, bool), "min"), (), layout, 8), layout)
    assert [row.strip() for row in plot] == ["▄▀"] * 8


def test_nothing_is_drawn_across_a_gap() -> None:
    """Columns without a value have a light mark in the middle row, and else at most the line of a limit."""
    known = np.ones(40, bool)
    known[10:20] = False
    curve, layout = Curve(np.full(40, 180.0), np.full(40, 210.0), known, "°C"), Layout(0, 40, 0)
    plot = plot_of(graph(curve, [Level("set", 195.0)], layout, 7), layout)
    for at in range(40):
        column = "".join(row[at] for row in plot)
        if known[at]:
            assert GAP not in column
        else:
            assert column.replace(LIMIT, "").split() == [GAP]


def test_before_the_watch_nothing_is_missing() -> None:
    """Columns before the first moment of the watch stay blank: that is no gap in the data."""
    known = np.arange(30) >= 12
    layout = Layout(0, 30, 0)
    values = np.where(known, 60.0, math.nan)
    plot = plot_of(graph(Curve(values, values, known, "min", before=12), (), layout, 6), layout)
    assert all(row[:12].strip() == "" for row in plot)
    assert all(GAP not in row for row in plot)


@pytest.mark.parametrize(("unit", "value"), [("°C", 195.0), ("mm", 22.0), ("min", 3.0), ("mm/s", 1.4)])
def test_noise_is_not_blown_up(unit: str, value: float) -> None:
    """Values that only tremble by a hundredth of what is usual keep within two neighbouring half rows of twelve."""
    noise = value + 0.05 * np.sin(np.arange(50))
    layout = Layout(0, 50, 0)
    plot = plot_of(graph(Curve(noise, noise, np.ones(50, bool), unit), (), layout, 6), layout)
    drawn = [number for number, row in enumerate(plot) if row.strip()]
    halves = {(number, char) for number in drawn for char in plot[number] if char != " "}
    assert drawn[-1] - drawn[0] <= 1
    assert len(halves) <= 2


def test_limits_are_named_with_their_value_at_their_row() -> None:
    """The names stand at the right, at the dashed line; one far out of scale at the edge, with an arrow."""
    levels = [Level("set", 195.0), Level("warn", 240.0, Priority.WARNING), Level("glass", 62.0)]
    layout = layout_for(80, levels)
    text = text_of(graph(steady(layout.cells), levels, layout, 6))
    assert text[0].endswith(" warn 240↑")
    assert text[-1].endswith(" glass 62↓")
    row = next(line for line in text if line.endswith(" set 195"))
    assert "█" in row or "▀" in row or "▄" in row


def test_two_limits_of_one_row_are_both_named() -> None:
    """Where two limits fall into one row, the second is named in the next one: none is lost."""
    levels = [Level("set", 195.0), Level("must feed", 194.0), Level("other", 193.9)]
    text = "\n".join(text_of(graph(steady(50), levels, layout_for(80, levels), 5)))
    assert all(name in text for name in ("set 195", "must feed 194", "other 194"))


def test_a_limit_that_moves_is_drawn_where_it_was() -> None:
    """A set point that was raised in the middle is low at the left and high at the right."""
    at = np.where(np.arange(40) < 20, 180.0, 220.0)
    curve, layout = Curve(np.full(40, 200.0), np.full(40, 200.0), np.ones(40, bool), "°C"), Layout(0, 40, 0)
    plot = plot_of(graph(curve, [Level("set", at)], layout, 9), layout)
    rows = [{number for number, row in enumerate(plot) if LIMIT in row[half]} for half in (slice(20), slice(20, 40))]
    assert min(rows[0]) > max(rows[1])


def test_a_healthy_curve_has_no_colour_and_a_bad_one_only_where_it_is_bad() -> None:
    """Colour begins where a value reaches its limit, and the text is the same with and without."""
    values = np.linspace(0.0, 80.0, 40)
    curve, layout = Curve(values, values, np.ones(40, bool), "min"), Layout(0, 40, 0)
    plain = graph(curve, [Level("warn", 60.0)], layout, 8)
    signal = graph(curve, [Level("warn", 60.0, Priority.WARNING)], layout, 8)
    assert text_of(plain) == text_of(signal)
    assert not [span for line in plain for span in line if span.look.signal is not None]
    coloured = "".join(s.text for line in signal for s in line if s.look.signal is Priority.WARNING)
    assert len(coloured) == sum(values >= 60.0)
    healthy = graph(curve, [Level("warn", 90.0, Priority.WARNING)], layout, 8)
    assert not [span for line in healthy for span in line if span.look.signal is not None]


def test_what_may_come_looks_like_nothing_that_was_measured() -> None:
    """After the mark of now only the characters of the band, before it only those of the curve; also in ASCII."""
    curve = Curve(
        np.full(20, 50.0),
        np.full(20, 52.0),
        np.ones(20, bool),
        "min",
        0,
        np.linspace(52, 60, 10),
        np.linspace(52, 90, 10),
    )
    layout = Layout(0, 20 + 1 + 10, 0)
    lines = graph(curve, (), layout, 8)
    plot = plot_of(lines, layout)
    assert {row[20] for row in plot} == {NOW}
    assert {char for row in plot for char in row[21:]} == {" ", AHEAD}
    assert AHEAD not in "".join(row[:20] for row in plot)
    plain = plot_of([ascii_line(line) for line in lines], layout)
    measured = {char for row in plain for char in row[:20]} - {" "}
    assert not measured & {char for row in plain for char in row[20:]}


def test_without_an_end_is_told_by_an_arrow_at_the_top() -> None:
    """Time left without end is known, but in no scale: an arrow stands for it, and no gap."""
    values = np.where(np.arange(20) < 10, math.inf, 3600.0)
    layout = Layout(0, 20, 0)
    plot = plot_of(graph(Curve(values, values, np.ones(20, bool), "s"), (), layout, 6), layout)
    assert plot[0][:10] == OVER * 10
    assert OVER not in plot[0][10:]
    assert GAP not in "".join(plot)


def test_a_trifle_below_zero_is_drawn_at_the_bottom() -> None:
    """Slip of a fraction of a percent below 0 takes no room from what is above, and is no arrow."""
    values = np.where(np.arange(20) < 10, -0.3, 4.0)
    layout = layout_for(40)
    text = text_of(graph(Curve(values, values, np.ones(20, bool), "%"), (), layout, 5))
    assert text[-1].split()[0] == "0"
    assert text[-1].count("▄") == 10


@settings(max_examples=80, deadline=None)
@given(_UNITS, st.lists(_ANY, max_size=8), st.lists(_ANY, max_size=4))
def test_a_scale_has_its_labels_in_it_and_its_ends_in_order(
    unit: str, values: list[float], limits: list[float]
) -> None:
    """Two or three labels lie within the scale, the lowest first; all finite values but long times lie in it too."""
    scale = scale_for(unit, values, limits)
    at = [value for value, _ in scale.labels]
    assert at == sorted(at)
    assert len(at) in {2, 3} or (not at and not [value for value in values if abs(value) <= 1e12])
    assert all(scale.bottom <= value <= scale.top for value in at)
    sane = [value for value in values if abs(value) <= 1e12]
    slack = 1e-6 * max(1.0, scale.top - scale.bottom)
    assert scale.bottom < scale.top
    assert all(
        value >= scale.bottom - slack - 0.05 * max(scale.top, 10.0) and (unit == "s" or value <= scale.top + slack)
        for value in sane
    )
