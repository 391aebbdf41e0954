"""What the plots of a report show: temperatures, doses, the strands' timeline, feed around a stall."""

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from typing import Final, NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from monitor.core.assessment import Activity
from monitor.report.figures import FAINT, GAP, INK, LIMIT, LINE, SERIES, STAND, WARN
from monitor.report.gathered import Gathered
from monitor.report.rows import Row, StrandPoint, is_gap

HOT_C: Final = 90.0
"""Sensors that were never hotter have a panel of their own: what happens there is small against a manifold [°C]."""
_HOUR_S: Final = 3600.0
_FED_MM: Final = 0.2
_NAN: Final = float("nan")
_MOST_BARS: Final = 4000


class LimitLine(NamedTuple):
    """A limit to be drawn, among the hot sensors or the cold ones."""

    name: str
    temp_c: float
    is_hot: bool


def temperatures(gathered: Gathered, limits: Sequence[LimitLine]) -> Figure:
    """Every sensor with its set point, hot ones above, cold ones below; gaps stay open; `limits` are drawn by name."""
    hot, cold = _panels(gathered)
    panels = [columns for columns in (hot, cold) if columns]
    heights = [2.2 if columns is hot else 1.3 for columns in panels]
    figure = Figure(figsize=(9.0, 0.8 + 1.5 * sum(heights)), layout="constrained")
    all_axes = figure.subplots(len(panels), 1, sharex=True, squeeze=False, height_ratios=heights)[:, 0]
    for axes, columns in zip(all_axes, panels, strict=True):
        for column in columns:
            _sensor(axes, gathered, column)
        for limit in limits:
            if limit.is_hot is (columns is hot):
                _limit(axes, limit.temp_c, f"{limit.name} {limit.temp_c:.0f} °C")
        axes.set_ylabel("°C")
        _finish(axes, gathered)
        axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0))
    all_axes[-1].set_xlabel("hours since the watch began")
    return figure


def doses(gathered: Gathered) -> Figure:
    """Dose of each strand's oldest part, as a share of its limit, with warnings and the limit."""
    figure = Figure(figsize=(9.0, 3.4), layout="constrained")
    axes = figure.subplots()
    for place, strand in enumerate(gathered.strands):
        shares = [100.0 * row.strands[place].dose_share for row in gathered.rows]
        axes.plot(_hours(gathered.rows), shares, color=_colour(place), linewidth=1.2, label=f"input {strand.input}")
    _limit(axes, 100.0, "limit")
    warns = sorted({round(100.0 * strand.warn_share) for strand in gathered.strands})
    axes.axhspan(warns[0], 100.0, color=WARN, alpha=0.12, linewidth=0)
    axes.axhline(warns[0], color=WARN, linewidth=0.9, linestyle="--")
    axes.text(
        0.005, warns[0], f"warning, from {warns[0]} %", color=WARN, va="bottom", transform=axes.get_yaxis_transform()
    )
    axes.set(ylabel="dose, % of the limit", xlabel="hours since the watch began", ylim=(0, None))
    _finish(axes, gathered)
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0))
    return figure


def timeline(gathered: Gathered) -> Figure:
    """A bar for each strand: feeding, standing hot, past its warning or limit; nothing where it was cold or unknown."""
    count = len(gathered.strands)
    figure = Figure(figsize=(9.0, 1.0 + 0.38 * count), layout="constrained")
    axes = figure.subplots()
    for place, strand in enumerate(gathered.strands):
        for colour, bars in _bars(gathered, place, strand.warn_share):
            axes.broken_barh(bars, (place - 0.36, 0.72), facecolors=colour, linewidth=0)
        raised = [told.raised_s / _HOUR_S for told in gathered.incidents if told.input == strand.input]
        axes.plot(raised, [place] * len(raised), "v", color=INK, markersize=6, markeredgecolor=INK)
        share = f"{strand.highest_dose_share:.0%}"
        axes.text(1.005, place, share, va="center", color=FAINT, transform=axes.get_yaxis_transform())
    axes.set_yticks(range(count), [f"input {strand.input}" for strand in gathered.strands])
    axes.set(xlabel="hours since the watch began", ylim=(count - 0.4, -0.6))
    axes.spines["left"].set_visible(False)
    _finish(axes, gathered)
    key = {"feeds": SERIES[0], "stands hot": STAND, "past its warning": WARN, "past its limit": LIMIT}
    figure.legend(
        handles=[Patch(color=colour, label=word) for word, colour in key.items()], loc="outside upper left", ncols=4
    )
    return figure


def motion(gathered: Gathered, number: int, time_s: float, around_s: float = 2400.0) -> Figure:
    """Feed of one input around a moment, as commanded and as its encoder saw it."""
    place = gathered.strand_at(number)
    rows = [row for row in gathered.rows if abs(row.time_s - time_s) <= around_s]
    points = [row.strands[place] for row in rows]
    figure = Figure(figsize=(9.0, 2.8), layout="constrained")
    axes = figure.subplots()
    axes.plot(_hours(rows), [point.commanded_mm for point in points], color=SERIES[0], label="commanded")
    sensed = [_NAN if point.sensed_mm is None else point.sensed_mm for point in points]
    axes.plot(_hours(rows), sensed, color=SERIES[1], linestyle="--", label="sensed by the encoder")
    axes.axvline(time_s / _HOUR_S, color=LIMIT, linewidth=0.9)
    axes.set(ylabel=f"input {number}, mm", xlabel="hours since the watch began")
    axes.legend(loc="upper left")
    axes.grid(color=LINE, linewidth=0.5)
    return figure


def has_temperatures(gathered: Gathered) -> bool:
    """Whether any sensor was ever reported."""
    return any(wall is not None for row in gathered.rows for wall in row.walls)


def has_motion(gathered: Gathered, number: int) -> bool:
    """Whether an encoder told anything of the input."""
    return any(row.strands[gathered.strand_at(number)].sensed_mm is not None for row in gathered.rows)


def _panels(gathered: Gathered) -> tuple[list[int], list[int]]:
    hottest: dict[int, float] = {}
    for row in gathered.rows:
        for column, wall in enumerate(row.walls):
            if wall is not None:
                hottest[column] = max(wall.high_c, hottest.get(column, wall.high_c))
    hot = [column for column, temp_c in sorted(hottest.items()) if temp_c > HOT_C]
    return hot, [column for column in sorted(hottest) if column not in hot]


def _sensor(axes: Axes, gathered: Gathered, column: int) -> None:
    hours: list[float] = []
    points: list[tuple[float, float, float, float]] = []
    for before, row in pairwise((gathered.rows[0], *gathered.rows)):
        wall = row.walls[column]
        if wall is None or is_gap(before, row, gathered.every_s):
            hours.append(row.time_s / _HOUR_S)
            points.append((_NAN, _NAN, _NAN, _NAN))
        if wall is not None:
            hours.append(row.time_s / _HOUR_S)
            points.append((wall.low_c, wall.high_c, wall.last_c, wall.set_c or _NAN))
    low, high, last, set_c = (list(course) for course in zip(*points, strict=True))
    colour = _colour(column)
    axes.fill_between(hours, low, high, color=colour, alpha=0.25, linewidth=0)
    axes.plot(hours, last, color=colour, linewidth=1.2, label=gathered.sensors[column])
    axes.plot(hours, set_c, color=colour, linewidth=0.8, linestyle=":")


def _bars(gathered: Gathered, place: int, warn_share: float) -> Iterator[tuple[str, list[tuple[float, float]]]]:
    pieces = [
        (_look(before, row, place, warn_share, gathered.every_s), before.time_s, row.time_s)
        for before, row in pairwise(gathered.rows)
    ]
    bars: dict[str, list[tuple[float, float]]] = {}
    for colour, run in groupby(pieces, key=lambda piece: piece[0]):
        stretch = list(run)
        begin_s, end_s = stretch[0][1], stretch[-1][2]
        if colour:
            bars.setdefault(colour, []).append((begin_s / _HOUR_S, (end_s - begin_s) / _HOUR_S))
    yield from ((colour, stretches[:_MOST_BARS]) for colour, stretches in bars.items())


def _look(before: Row, row: Row, place: int, warn_share: float, every_s: float) -> str:
    """Colour of a strand between two rows; empty where it was cold or nothing is known."""
    if is_gap(before, row, every_s):
        return ""
    point = row.strands[place]
    if point.commanded_travel_mm - before.strands[place].commanded_travel_mm > _FED_MM:
        return SERIES[0]
    return _standing_look(point, warn_share)


def _standing_look(point: StrandPoint, warn_share: float) -> str:
    if point.dose_share >= 1.0:
        return LIMIT
    if point.dose_share >= warn_share:
        return WARN
    return "" if point.activity is Activity.COLD else STAND


def _finish(axes: Axes, gathered: Gathered) -> None:
    """The common parts: the whole watch as x, gaps in grey, a grid."""
    for silence in gathered.silences:
        if silence.length_s > gathered.every_s / 2.0:
            axes.axvspan(silence.from_s / _HOUR_S, silence.until_s / _HOUR_S, color=GAP, linewidth=0, zorder=0)
    length_s = max(gathered.end_s - gathered.begin_s, 1.0)
    axes.set_xlim(gathered.begin_s / _HOUR_S, (gathered.begin_s + length_s) / _HOUR_S)
    axes.grid(color=LINE, linewidth=0.5)
    axes.set_axisbelow(True)


def _limit(axes: Axes, at: float, text: str) -> None:
    axes.axhline(at, color=LIMIT, linewidth=0.9, linestyle="--")
    axes.annotate(
        text,
        (0.995, at),
        xytext=(0.0, -3.0),
        xycoords=axes.get_yaxis_transform(),
        textcoords="offset points",
        color=LIMIT,
        va="top",
        ha="right",
    )


def _colour(place: int) -> str:
    return SERIES[place % len(SERIES)]


def _hours(rows: Sequence[Row]) -> list[float]:
    return [row.time_s / _HOUR_S for row in rows]
