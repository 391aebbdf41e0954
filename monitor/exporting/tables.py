"""The tables of an export: their columns, and what of a watch goes into a row. Pure; writes nothing."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Final, Literal, NamedTuple, Protocol

from connectors.telemetry import Sample
from monitor.core.alert_types import AlertTransition
from monitor.core.assessment import Assessment, StrandAssessment

Cell = float | int | str | None
Kind = Literal["number", "whole", "text"]


class Column(NamedTuple):
    """A column: its name, with its unit, and what is in it."""

    name: str
    kind: Kind


@dataclass(frozen=True, slots=True)
class Table:
    """A table before it is written."""

    name: str
    columns: tuple[Column, ...]


class Sink(Protocol):
    """Takes the rows of one table."""

    def row(self, cells: Sequence[Cell]) -> None:
        """Take one row; None is an empty cell."""
        ...

    def close(self) -> None:
        """No more rows come."""
        ...


def _columns(**kinds: Kind) -> tuple[Column, ...]:
    return tuple(Column(name, kind) for name, kind in kinds.items())


DOSES: Final = Table(
    "doses",
    _columns(
        time_s="number",
        input="whole",
        material="text",
        label="text",
        activity="text",
        quality="text",
        dose_min="number",
        dose_low_min="number",
        dose_warn_min="number",
        dose_limit_min="number",
        dose_share="number",
        reference_c="number",
        idle_s="number",
        fed_mm="number",
        hottest_c="number",
        soft_front_mm="number",
        softening_min="number",
        limit_left_low_s="number",
        limit_left_high_s="number",
    ),
)
"""One row for each strand and minute."""

ALERTS: Final = Table(
    "alerts",
    _columns(
        time_s="number",
        event="text",
        id="text",
        condition="text",
        subject="text",
        input="whole",
        priority="text",
        state="text",
        value="number",
        limit="number",
        unit="text",
        text="text",
        action="text",
    ),
)
"""One row for each change of an alert's state."""


def samples_table(channels: Sequence[str]) -> Table:
    """The table of samples: a column for each channel, named as in the recording."""
    return Table(
        "samples", (*_columns(time_s="number", execution="text"), *(Column(name, "number") for name in channels))
    )


def sample_row(sample: Sample, channels: Sequence[str]) -> tuple[Cell, ...]:
    """Values of a sample; what it did not report is empty."""
    values: Mapping[str, float] = sample.values
    execution = None if sample.execution is None else str(sample.execution)
    return (sample.time_s, execution, *map(values.get, channels))


def dose_rows(assessment: Assessment) -> Iterator[tuple[Cell, ...]]:
    """Every strand at one moment."""
    for strand in assessment.strands:
        yield _dose_row(assessment.time_s, strand)


def _dose_row(time_s: float, strand: StrandAssessment) -> tuple[Cell, ...]:
    numbers = (
        strand.dose_now_min,
        strand.dose_low_min,
        strand.dose_warn_min,
        strand.dose_limit_min,
        strand.dose_share,
        strand.reference_c,
        strand.idle_s,
        strand.fed_mm,
        strand.hottest_c,
        strand.soft_front_mm,
        strand.softening_min,
        strand.limit_left_s.low,
        strand.limit_left_s.high,
    )
    words = (strand.material, strand.label, str(strand.activity), str(strand.quality))
    return (time_s, strand.input, *words, *map(_number, numbers))


def alert_row(transition: AlertTransition) -> tuple[Cell, ...]:
    """One change of an alert."""
    alert = transition.alert
    return (
        transition.time_s,
        transition.event,
        alert.id,
        alert.condition,
        alert.subject,
        alert.input,
        alert.priority.name,
        str(alert.state),
        _number(alert.value),
        _number(alert.limit),
        alert.unit,
        alert.text,
        alert.action,
    )


def _number(value: float | None) -> float | None:
    """A finite number; what is infinite or unknown is empty."""
    return float(value) if value is not None and isfinite(value) else None
