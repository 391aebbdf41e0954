"""Invented builds of the invented demo machine, written as files: who feeds when is known here without reading them."""

import io
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from monitor.build_file import BuildSchedule, MotionSettings, read_build_file
from monitor.build_file.settings import NO_LIMIT

SETTINGS = MotionSettings(acceleration_mm_s2=NO_LIMIT, toolchange_s=0.0, tool_heating_k_s=1e9, inputs=6)
HOUR_S = 3600.0


class Turn(NamedTuple):
    """One strand feeds evenly for so long, so fast."""

    input: int
    length_s: float
    speed_mm_s: float = 1.0


def build_text(turns: Iterable[Turn], *, manifold_c: float | None = None) -> str:
    """The file: heat, then turn after turn, with moves of a minute or less; tool 9 is the manifold's heater."""
    lines = ["; an invented build", "G21", "M83", "M109 S225"]
    lines += [] if manifold_c is None else [f"M104 T9 S{manifold_c:g}"]
    for turn in turns:
        lines.append(f"T{turn.input - 1}")
        lines += list(_moves(turn))
    return "\n".join([*lines, "M104 S0", "M104 T9 S0", ""])


def _moves(turn: Turn) -> Iterator[str]:
    left_s = turn.length_s
    while left_s > 1e-9:
        part_s = min(60.0, left_s)
        left_s -= part_s
        yield (
            f"G1 E{turn.speed_mm_s * part_s:.3f} F{turn.speed_mm_s * 60.0:g}" if turn.speed_mm_s else f"G4 S{part_s:g}"
        )


def schedule_of(turns: Iterable[Turn], manifold_c: float | None = None) -> BuildSchedule:
    """The file read."""
    return read_build_file(io.BytesIO(build_text(turns, manifold_c=manifold_c).encode()), SETTINGS)


def layers(hours: float, *inputs: int, turn_s: float = 300.0) -> list[Turn]:
    """Turns of these inputs, over and over."""
    count = round(hours * HOUR_S / turn_s)
    return [Turn(inputs[at % len(inputs)], turn_s) for at in range(count)]


def lantern() -> list[Turn]:
    """Twelve hours of six strands: coal (5), which needs the hottest manifold, feeds in the seventh hour alone.

    Chalk (4) feeds in the first hour and never again; ember (6) at the beginning and in the last half hour.
    """
    return [
        *layers(1.0, 1, 4, 6, 3),
        *layers(5.0, 1, 3, 2),
        *layers(1.0, 5, 1, 2),
        *layers(4.5, 1, 3),
        *layers(0.5, 6, 1),
    ]
