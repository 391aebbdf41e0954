"""What a profile tells of the drives: the arithmetic of their motors, and whether anything sees the strands move.

Owns the way from the keys of `[[inputs]]` to a drive, what must go together among them, and the lines in which
`profile check` tells it. Knows nothing of detectors.
"""

import math
from collections.abc import Iterable, Iterator
from typing import Final

from monitor.core.melt_watch import melt_watch
from monitor.core.motor import (
    FULL_STEPS_PER_CYCLE,
    SPRING_BACK_CURRENT,
    mm_per_cycle,
    mm_per_full_step,
    pressure_mpa,
    push_n,
    torque_share,
)
from monitor.core.parameters import Drive, Parameters
from monitor.profile.draft import Draft
from monitor.profile.faults import Finding
from monitor.profile.link_mapping import Link, duties_reported, inputs_reported, motions_reported
from monitor.profile.model import InputTable

USUAL_FULL_STEPS: Final = 200
"""Of 1.8 degrees, as most such motors have; common practice, no source."""
_AGREE: Final = 0.05
_SINE_TO_PEAK: Final = {"peak": True, "rms": False, None: True}


def drive_of(row: InputTable) -> Drive:
    """What the engine is told of one drive."""
    return Drive(_step_mm(row), row.motor_current_a, row.rated_current_a, row.encoder_mm_per_count, _push_n(row))


def check_drives(read: Draft) -> Iterator[Finding]:
    """Find currents that the motor does not bear, and keys that contradict each other or are of no use alone."""
    for place, row in read.inputs.items():
        rated_a = math.inf if row.rated_current_a is None else row.rated_current_a
        if row.motor_current_a is not None and row.motor_current_a > rated_a:
            allowed = f"at most rated_current_a, {rated_a}"
            yield Finding(("inputs", place, "motor_current_a"), "above what the motor is rated for", allowed)
        if row.gear_ratio is not None and row.drive_diameter_mm is None:
            yield Finding(("inputs", place, "drive_diameter_mm"), "missing", "a gear_ratio needs the wheel it drives")
        if row.motor_current_is is not None and row.motor_current_a is None:
            yield Finding(("inputs", place, "motor_current_a"), "missing", "motor_current_is tells what it means")
        by_wheel_mm = _by_wheel_mm(row)
        told_mm = row.mm_per_full_step
        if by_wheel_mm is not None and told_mm is not None and abs(by_wheel_mm / told_mm - 1.0) > _AGREE:
            problem = f"drive_diameter_mm, gear_ratio and full_steps_per_turn give {by_wheel_mm:.4f} mm"
            yield Finding(("inputs", place, "mm_per_full_step"), problem, f"within {_AGREE:.0%} of that, or left out")


def drive_lines(rows: Iterable[InputTable], filament_diameter_mm: float) -> Iterator[str]:
    """Tell what follows for each drive of which the owner knows something."""
    for row in rows:
        words = ", ".join(_words(row, filament_diameter_mm))
        if words:
            yield f"input {row.input}: {words}"


def motion_lines(parameters: Parameters, link: Link) -> Iterator[str]:
    """Tell by what it will be seen that a strand does not move, where that is less than an encoder or a driver."""
    seen, fed = motions_reported(link), inputs_reported(link)
    blind = [str(strand.input) for strand in parameters.strands if strand.input in fed - seen]
    if not blind:
        return
    which = f"input{'s' * (len(blind) > 1)} {', '.join(blind)}: neither encoder nor stall flags are reported"
    heaters = [heater for heater in melt_watch(parameters).heaters if heater.sensor in duties_reported(link)]
    if not heaters:
        yield (
            f"{which}, so a strand that stops will not be seen; map sensed_mm or stall, or give [[heaters]] power_w"
            " and report the duty of the manifold's heater"
        )
        return
    names = ", ".join(heater.name for heater in heaters)
    yield (
        f"{which}; the power of {names} shows a strand that stops, late: after ten minutes of learning, some 0.1 to"
        " 0.2 m of feed, at 5 mm³/s or more; never skipping, slight slip or a slow clog (simulated)"
    )


def _words(row: InputTable, filament_diameter_mm: float) -> Iterator[str]:
    step_mm, force_n = _step_mm(row), _push_n(row)
    if step_mm is not None:
        cycle_mm = mm_per_cycle(step_mm)
        yield f"a slipped electrical cycle, {FULL_STEPS_PER_CYCLE} full steps, loses {cycle_mm:.3f} mm"
    if row.motor_current_a is not None and row.rated_current_a is not None:
        yield f"motor at {row.motor_current_a / row.rated_current_a:.0%} of its rated current"
    if force_n is not None:
        mpa = pressure_mpa(force_n, filament_diameter_mm)
        assumed = ", ".join(_assumed(row))
        yield f"pushes with {force_n:.0f} N at most, {mpa:.0f} MPa on the strand{f' ({assumed})' if assumed else ''}"
    elif row.holding_torque_n_cm is not None:
        yield "its force needs motor_current_a, rated_current_a and mm_per_full_step or drive_diameter_mm as well"


def current_notes(rows: Iterable[InputTable]) -> Iterator[str]:
    """Warn of drives whose motor is set to more current than the trade's rule allows."""
    for row in rows:
        if row.motor_current_a is None or row.rated_current_a is None:
            continue
        share = row.motor_current_a / row.rated_current_a
        if share > SPRING_BACK_CURRENT:
            yield (
                f"NOTE: input {row.input}: the motor is set to {share:.0%} of its rated current; above"
                f" {SPRING_BACK_CURRENT:.0%} a small drive cuts the strand rather than stall and spring back"
                " (common practice, no source)."
            )


def _assumed(row: InputTable) -> Iterator[str]:
    if row.full_steps_per_turn is None:
        yield f"{USUAL_FULL_STEPS} full steps a turn taken"
    if row.motor_current_is is None:
        yield "the current taken as the peak of the sine"


def _step_mm(row: InputTable) -> float | None:
    return _by_wheel_mm(row) if row.mm_per_full_step is None else row.mm_per_full_step


def _by_wheel_mm(row: InputTable) -> float | None:
    if row.drive_diameter_mm is None:
        return None
    return mm_per_full_step(row.drive_diameter_mm, _full_steps(row), 1.0 if row.gear_ratio is None else row.gear_ratio)


def _full_steps(row: InputTable) -> int:
    return USUAL_FULL_STEPS if row.full_steps_per_turn is None else row.full_steps_per_turn


def _push_n(row: InputTable) -> float | None:
    step_mm, current_a, rated_a = _step_mm(row), row.motor_current_a, row.rated_current_a
    if row.holding_torque_n_cm is None or step_mm is None or current_a is None or rated_a is None:
        return None
    share = torque_share(current_a, rated_a, is_peak_of_sine=_SINE_TO_PEAK[row.motor_current_is])
    return push_n(share * row.holding_torque_n_cm / 100.0, step_mm, _full_steps(row))
