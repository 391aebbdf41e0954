"""Replies of a serial controller -> values of our channels, as the settings map them.

Owns the way from a heater word, a feed axis or an owner's pattern to a channel, through the rules of plausibility and
the feed ledger. Pure; knows nothing of bytes or of queries.
"""

from collections.abc import Mapping
from typing import Final

from connectors.build_state import BuildState
from connectors.feed_ledger import FeedLedger, RunningTotal
from connectors.plausibility import SetPointGate, TemperatureGate, share_of
from connectors.serial_settings import SerialSettings
from connectors.serial_words import Heat, Position, Storage, Temperatures
from connectors.telemetry import LinkChange, channel

FAULTS_TOLD_AFTER: Final = 3
"""A sensor's fault is told once it came in this many reports in a row: one odd report proves nothing."""

Values = dict[str, float]


class SerialSamples:
    """Keeps what must be remembered between reports: believed temperatures, feed counters, the state of the build."""

    def __init__(self, settings: SerialSettings) -> None:
        self._settings = settings
        self._gates = {name: TemperatureGate(settings.temperature_bounds) for name in settings.sensors}
        self._set_points = {name: SetPointGate(settings.highest_c) for name in settings.sensors}
        self._faults = dict.fromkeys(settings.sensors, 0)
        self._sensed: dict[int, tuple[RunningTotal, float]] = {}
        self._stall_ends_s: dict[int, float] = {}
        self.ledger = FeedLedger(
            settings.shares, settings.feed_bounds, settings.tool_at_start, axis_mm_per_mm=settings.axis_per_mm
        )
        self.build = BuildState()

    @property
    def lacks_tool(self) -> bool:
        """Whether the feed axis cannot be shared out, because the active tool is not known."""
        return self._settings.feed == "single_axis" and bool(self._settings.shares) and self.ledger.tool is None

    def select(self, tool: int) -> None:
        """The controller named the active tool."""
        if self._settings.tool_source == "reported":
            self.ledger.select(tool)

    def lose_tool(self) -> bool:
        """Take the active tool as unknown, because a line that told it may be lost. Returns whether it was known."""
        was_known = self._settings.tool_source == "reported" and self.ledger.tool is not None
        if was_known:
            self.ledger.select(None)
        return was_known

    def restart(self, *, is_tool_known: bool) -> None:
        """Baselines are void: the controller restarted (its first tool is active again), or was out of sight."""
        is_fixed = self._settings.tool_source == "fixed"
        self.ledger.restart(self._settings.tool_at_start if is_tool_known or is_fixed else None)
        for total, _ in self._sensed.values():
            total.restart()

    def temperatures(self, report: Temperatures, time_s: float) -> tuple[Values, list[LinkChange]]:
        """Believed temperatures, set points and duties of a report, and sensors that began or ceased to fail."""
        values: Values = {}
        changes: list[LinkChange] = []
        for name, word in self._settings.sensors.items():
            key = self._key_in(report, word)
            heat = None if key is None else report.heats[key]
            if heat is not None and key is not None:
                values |= self._heat(name, heat, time_s)
                values |= self._duty(name, report.power.get(key))
                changes += self._fault_change(name, time_s)
        return values, changes

    def position(self, report: Position, time_s: float) -> Values:
        """Cumulative feed per input that a position report proves."""
        fed_mm: Mapping[int, float] = {}
        if self._settings.feed == "per_drive":
            fed_mm = self.ledger.take_drives(report.drives_mm, time_s)
        elif report.feed_mm is not None:
            fed_mm = self.ledger.take_axis(report.feed_mm, time_s)
        return {channel("fed_mm", number): total_mm for number, total_mm in fed_mm.items()}

    def storage(self, place: Storage) -> Values:
        """Place reached in the build file."""
        if place.byte is None or not place.of or place.byte > place.of:
            return {}
        return {channel("file_byte"): float(place.byte), channel("progress"): place.byte / place.of}

    def pattern(self, text: str, time_s: float) -> Values | None:
        """Values of the first pattern of the owner that fits the whole line; None when none fits."""
        for pattern in self._settings.patterns:
            read = pattern.read(text)
            if read is None:
                continue
            values: Values = {}
            for (kind, owner), value in read.items():
                believed = self._from_pattern(kind, owner, value, time_s)
                if believed is not None:
                    values[channel(kind, owner)] = believed
                if kind == "stall" and value and pattern.clears_after_s is not None:
                    self._stall_ends_s[int(owner)] = time_s + pattern.clears_after_s
            return values
        return None

    def elapse(self, time_s: float) -> Values:
        """Stalls that were reported once, long enough ago to be taken as over."""
        over = [number for number, end_s in self._stall_ends_s.items() if time_s >= end_s]
        for number in over:
            del self._stall_ends_s[number]
        return {channel("stall", number): 0.0 for number in over}

    def _key_in(self, report: Temperatures, word: str) -> str | None:
        """Heater word of the report that speaks of the heater `word`: itself, or T while that tool is the active one.

        While a command waits for a temperature, T belongs to the tool that is waited for.
        """
        active = self.ledger.tool if report.waits_for is None else report.waits_for
        if word == "T":
            is_other_tool = report.waits_for is not None and self.ledger.tool not in (None, report.waits_for)
            return "T" if "T" in report.heats and not is_other_tool else None
        if word in report.heats:
            return word
        has_numbers = any(key[0] == "T" and len(key) > 1 for key in report.heats)
        return "T" if "T" in report.heats and not has_numbers and word == f"T{active}" else None

    def _heat(self, name: str, heat: Heat, time_s: float) -> Values:
        now_c = self._gates[name].accept(heat.now_c, time_s)
        set_c = self._set_points[name].accept(heat.set_c)
        found = {"temp_c": now_c, "set_c": set_c}
        return {channel(kind, name): value for kind, value in found.items() if value is not None}

    def _duty(self, name: str, power: float | None) -> Values:
        duty = None if power is None else share_of(power, self._settings.duty_full)
        return {} if duty is None else {channel("duty", name): duty}

    def _fault_change(self, name: str, time_s: float) -> list[LinkChange]:
        fault = self._gates[name].fault
        before = self._faults[name]
        self._faults[name] = 0 if fault is None else min(before + 1, FAULTS_TOLD_AFTER)
        word = self._settings.sensors[name]
        if fault is None and before == FAULTS_TOLD_AFTER:
            return [LinkChange(time_s, available=True, reason=f"sensor {name} ({word}) reports again")]
        if fault is not None and before == FAULTS_TOLD_AFTER - 1:
            return [LinkChange(time_s, available=True, reason=f"sensor {name} ({word}) is absent: {fault}")]
        return []

    def _from_pattern(self, kind: str, owner: str | int, value: float, time_s: float) -> float | None:
        if kind == "sensed_mm":
            return self._sense(int(owner), value, time_s)
        if kind == "stall":
            return float(value != 0)
        name = str(owner)
        if kind == "duty":
            return share_of(value, 1.0)
        if kind == "set_c":
            gate = self._set_points.setdefault(name, SetPointGate(self._settings.highest_c))
            return gate.accept(value)
        return self._gates.setdefault(name, TemperatureGate(self._settings.temperature_bounds)).accept(value, time_s)

    def _sense(self, number: int, reading_mm: float, time_s: float) -> float | None:
        """Measured feed, re-based like the commanded one: cumulative since the watch began."""
        total, sum_mm = self._sensed.get(number) or (RunningTotal(self._settings.feed_bounds), 0.0)
        step_mm = total.advance(reading_mm, time_s)
        self._sensed[number] = (total, sum_mm + (step_mm or 0.0))
        return None if step_mm is None else sum_mm + step_mm
