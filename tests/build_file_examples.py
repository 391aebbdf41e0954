"""Build files composed for tests, by a composer that knows the truth about them without reading them.

Its machine speeds up at once (an acceleration without limit), so that the time of a move is its length over its speed,
and everything can be added up by hand.
"""

import io
import math
import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import reduce
from itertools import pairwise
from operator import xor
from typing import NamedTuple

from monitor.build_file import BuildSchedule, MotionSettings, read_build_file
from monitor.build_file.settings import NO_LIMIT, Mix
from monitor.build_file.tally import Counted

AT_ONCE = MotionSettings(acceleration_mm_s2=NO_LIMIT, toolchange_s=7.0, tool_heating_k_s=1e9, plate_heating_k_s=1e9)
INCH_MM = 25.4


def read(text: str | bytes, settings: MotionSettings = AT_ONCE, block_bytes: int = 1 << 20) -> BuildSchedule:
    """Read a text as a build file."""
    raw = text.encode() if isinstance(text, str) else text
    return read_build_file(io.BytesIO(raw), settings, block_bytes=block_bytes)


def counted(rows: Iterable[Counted]) -> dict[str, tuple[int, int]]:
    """What was counted: how often, and where first."""
    return {row.what: (row.count, row.first_line) for row in rows}


class Fed(NamedTuple):
    """One feed of one input."""

    start_s: float
    end_s: float
    feed_mm: float


@dataclass
class Truth:
    """What a composed file asks for, added up move by move."""

    feeds: dict[int, list[Fed]] = field(default_factory=dict)
    time_s: float = 0.0
    tool_changes: int = 0
    set_points: list[tuple[float, int, float]] = field(default_factory=list)
    heights: list[float] = field(default_factory=list)

    def new_feeds(self, number: int) -> list[tuple[float, float, float]]:
        """Start, end and length of whatever of an input's feed goes beyond all before."""
        at = high = 0.0
        found = []
        for start_s, end_s, feed_mm in self.feeds.get(number, []):
            at += feed_mm
            if at > high + 1e-9:
                found.append((start_s, end_s, at - high))
                high = at
        return found

    def gaps(self, number: int) -> list[float]:
        """Times between new feeds of an input."""
        news = self.new_feeds(number)
        return [after[0] - before[1] for before, after in pairwise(news)]


class Composer:
    """Writes a file in some dialect and keeps the truth beside it.

    Positions are kept with three decimals, as integers of a micrometre, so that nothing is lost in writing.
    """

    def __init__(self, seed: int, *, is_tidy: bool = False) -> None:
        self.random = random.Random(seed)  # noqa: S311 -- files, not secrets
        self.truth = Truth()
        self.lines: list[str] = []
        self.is_tidy = is_tidy
        self.settings = replace(AT_ONCE, tools={9: ((1, 0.25), (3, 0.75))})
        self.at_um = {"X": 0, "Y": 0, "Z": 0}
        self.shown_um = {"X": 0, "Y": 0, "Z": 0}
        self.fed_10nm = 0  # what the controller shows of the feed, in its last decimal
        self.tool = 0
        self.speed_mm_min = 1800
        self.is_relative = self.feeds_relative = False
        self.mixes: dict[int, Mix] = {number: ((number + 1, 1.0),) for number in range(6)} | dict(self.settings.tools)
        self.is_back = False
        self.flow = 1.0

    def emit(self, words: str) -> None:
        """Write a line the way some program might."""
        if not self.is_tidy:
            words = self._untidy(words)
        self.lines.append(words)

    def _untidy(self, words: str) -> str:
        numbered = f"N{len(self.lines)} {words} "
        forms = (
            words.lower(),
            words.replace(" ", ""),
            f"{words} ; a comment with T3 X99 (E7)",
            f"(before) {words} (after; T4 X3)",
            f"{numbered}*{reduce(xor, numbered.encode(), 0)}",
            f"  {words.replace(' ', '   ')}\t",
            words.replace(" X", " X ").replace(" E", "\tE\t"),
        )
        return self.random.choice(forms) if self.random.random() < 0.4 else words

    def text(self, newline: str = "\n") -> bytes:
        """The file."""
        return (newline.join(self.lines) + newline).encode()

    def _feed(self, feed_mm: float, length_s: float) -> None:
        start_s, end_s = self.truth.time_s, self.truth.time_s + length_s
        self.truth.time_s = end_s
        if feed_mm:
            for number, share in self.mixes[self.tool]:
                self.truth.feeds.setdefault(number, []).append(Fed(start_s, end_s, feed_mm * share))

    def _axis(self, axis: str, to_um: int) -> str:
        step_um = to_um - self.at_um[axis]
        self.at_um[axis] = to_um
        self.shown_um[axis] += step_um
        if step_um == 0 and (self.is_relative or self.random.random() < 0.5):
            return ""
        return f" {axis}{(step_um if self.is_relative else self.shown_um[axis]) / 1000:.3f}"

    def _e(self, feed_mm: float) -> tuple[str, float]:
        step = round(feed_mm * 100_000)
        self.fed_10nm += step
        shown = step if self.feeds_relative else self.fed_10nm
        return (f" E{shown / 100_000:.5f}", step / 100_000) if step else ("", 0.0)

    def _f(self) -> str:
        if self.random.random() < 0.7 and len(self.lines) > 3:
            return ""
        self.speed_mm_min = self.random.choice([600, 1800, 3000, 9000])
        return f" F{self.speed_mm_min}"

    def move(self, x_mm: float, y_mm: float, feed_mm: float = 0.0, z_mm: float | None = None) -> None:
        """Go straight to a place."""
        z_um = self.at_um["Z"] if z_mm is None else round(z_mm * 1000)
        before = dict(self.at_um)
        axes = self._axis("X", round(x_mm * 1000)) + self._axis("Y", round(y_mm * 1000)) + self._axis("Z", z_um)
        e, fed_mm = self._e(feed_mm)
        length_mm = math.dist(list(before.values()), list(self.at_um.values())) / 1000
        speed = self._f()
        self.emit(f"G{1 if feed_mm else 0}{axes}{e}{speed}")
        if length_mm or fed_mm:
            self._feed(fed_mm * self.flow, (length_mm or abs(fed_mm * self.flow)) / (self.speed_mm_min / 60))
        if length_mm and fed_mm * self.flow > 0 and z_um not in self.truth.heights:
            self.truth.heights.append(z_um)

    def half_turn(self, x_mm: float, y_mm: float, feed_mm: float) -> None:
        """Go to a place on half a circle."""
        before = dict(self.at_um)
        axes = self._axis("X", round(x_mm * 1000)) + self._axis("Y", round(y_mm * 1000))
        i, j = ((self.at_um[axis] - before[axis]) / 2000 for axis in "XY")
        e, fed_mm = self._e(feed_mm)
        radius_mm = math.hypot(i, j)
        if not axes or not radius_mm:
            return
        self.emit(f"G{self.random.choice([2, 3])}{axes} I{i:.4f} J{j:.4f}{e}")
        self._feed(fed_mm * self.flow, math.pi * radius_mm / (self.speed_mm_min / 60))
        if fed_mm * self.flow > 0 and self.at_um["Z"] not in self.truth.heights:
            self.truth.heights.append(self.at_um["Z"])

    def feed_only(self, feed_mm: float) -> None:
        """Feed, or draw back, in place."""
        e, fed_mm = self._e(feed_mm)
        self.speed_mm_min = 2400
        self.emit(f"G1{e} F2400")
        self._feed(fed_mm * self.flow, abs(fed_mm * self.flow) / 40)

    def use_tool(self, tool: int) -> None:
        """Change the tool."""
        if tool != self.tool:
            self.truth.tool_changes += 1
            self.truth.time_s += self.settings.toolchange_s
        self.tool = tool
        self.emit(f"T{tool}")

    def mix(self, tool: int, weights: dict[int, float]) -> None:
        """Give a tool a mix."""
        for number in range(1, 7):
            self.emit(f"M163 S{number - 1} P{weights.get(number, 0.0):.2f}")
        self.emit(f"M164 S{tool}")
        total = sum(weights.values())
        self.mixes[tool] = tuple((number, weight / total) for number, weight in sorted(weights.items()))

    def reset_feed(self, to_mm: float = 0.0) -> None:
        """Say that the feed is somewhere else."""
        self.fed_10nm = round(to_mm * 100_000)
        self.emit(f"G92 E{to_mm:.3f}")

    def reset_axes(self) -> None:
        """Say that the axes are somewhere else."""
        for axis in "XY":
            self.shown_um[axis] = self.random.randrange(-5000, 5000)
        self.emit(f"G92 X{self.shown_um['X'] / 1000:.3f} Y{self.shown_um['Y'] / 1000:.3f}")

    def relative(self, *, axes: bool, feed: bool) -> None:
        """Change what words are taken for."""
        self.is_relative, self.feeds_relative = axes, feed
        self.emit("G91" if axes else "G90")
        self.emit("M83" if feed else "M82")

    def dwell(self, time_s: float) -> None:
        """Stand."""
        self.emit(self.random.choice([f"G4 P{time_s * 1000:.0f}", f"G4 S{time_s:.3f}"]))
        self.truth.time_s += time_s

    def set_tool_c(self, tool: int, target_c: float) -> None:
        """Ask for a temperature."""
        self.truth.set_points.append((self.truth.time_s, tool, target_c))
        self.emit(f"M104 T{tool} S{target_c:.0f}")

    def set_flow(self, factor: float) -> None:
        """Feed more or less than the file says; only of the tool that is active."""
        self.flow = factor
        self.emit(f"M221 S{factor * 100:.0f}")

    def draw_back(self) -> None:
        """Let the controller draw back, or forth again."""
        self.emit("G11" if self.is_back else "G10")
        length_mm = self.settings.retract_mm
        self._feed(length_mm if self.is_back else -length_mm, length_mm / self.settings.retract_speed_mm_s)
        self.is_back = not self.is_back

    def distraction(self) -> None:
        """Write something that changes nothing."""
        lines = [
            "M117 T5 G92 E100 at X7 (done",
            'M118 "T4" E99',
            "; T3 and E1000",
            "(T2 E500)",
            "",
            "   ",
            "M106 S128",
            "M204 S1000000000",
            "G21",
            "M73 P5 R80",
            "M23 T1E5.GCO",
            "M105",
            "M400",
        ]
        self.lines.append(self.random.choice(lines))


def composed(seed: int, steps: int = 400) -> Composer:
    """A file of everything, with its truth."""
    work = Composer(seed)
    pick = work.random
    work.emit("G21")
    work.move(50, 50, z_mm=0.2)
    acts: dict[Callable[[Composer, float, float], None], int] = {
        lambda work, x, y: work.move(x, y, pick.randrange(1, 200_000) / 100_000): 55,
        lambda work, x, y: work.half_turn(x, y, pick.randrange(1, 100_000) / 100_000): 7,
        lambda work, x, y: work.move(x, y): 6,
        _there_and_back: 6,
        _seldom: 8,
        lambda work, *_: work.distraction(): 8,
        lambda work, *_: work.draw_back(): 3,
        lambda work, *_: work.dwell(pick.choice([0.25, 3.0, 40.0])): 3,
        lambda work, *_: work.use_tool(pick.choice([0, 1, 2, 3, 9])): 4,
    }
    for act in pick.choices(list(acts), list(acts.values()), k=steps):
        act(work, pick.randrange(10_000) / 100, pick.randrange(10_000) / 100)
    return work


def _there_and_back(work: Composer, x_mm: float, y_mm: float) -> None:
    """Draw the strand back, travel, and prime it."""
    back_mm = work.random.choice([0.8, 2.0, 30.0])
    work.feed_only(-back_mm)
    work.move(x_mm, y_mm)
    work.feed_only(back_mm)


def _seldom(work: Composer, *_: float) -> None:
    pick = work.random
    acts: tuple[Callable[[], None], ...] = (
        lambda: work.reset_feed(pick.choice([0.0, 2.0])),
        work.reset_axes,
        lambda: work.relative(axes=pick.random() < 0.5, feed=pick.random() < 0.5),
        lambda: work.move(work.at_um["X"] / 1000, work.at_um["Y"] / 1000, z_mm=pick.randrange(1, 100) / 10),
        lambda: work.set_tool_c(pick.randrange(4), pick.randrange(180, 260)),
        lambda: work.mix(9, {1: pick.randrange(1, 9) / 10, 4: 0.5}),
    )
    pick.choice(acts)()
