"""A short soak, and that its checks would see what they are for. `python -m tests.soak` soaks for days."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from pathlib import Path

import pytest

from connectors.recording import Encoder
from connectors.telemetry import Event, LinkChange, Sample, Tick
from tests.recording_examples import HEADER
from tests.soak import soak
from tests.soak_link import losing, machine_events, noisy
from tests.soak_measures import (
    GROWTH_MIB_H,
    Course,
    Doses,
    Look,
    doses_outside,
    recording_faults,
    unequal_doses,
)

HOURS = 1.5
PERIOD_S = 4.0


def test_hours_of_everything_that_may_go_wrong() -> None:
    """Doses, recording, replay, descriptors, threads and tasks are as they must be; memory needs more time."""
    assert soak(HOURS, seed=7, period_s=PERIOD_S, say=lambda _text: None) == []


def test_noise_loses_nothing_and_a_bad_line_does() -> None:
    """What the machine says is all there between the noise; the bad line lacks samples and says so in part."""
    true = list(machine_events(5.0, 5, 8.0))
    noise = list(noisy(true, 5))
    bad = list(losing(noise, 5))
    samples = [event for event in true if isinstance(event, Sample)]
    assert [event for event in noise if isinstance(event, Sample)] == samples
    assert sum(isinstance(event, Sample) for event in bad) < len(samples)
    assert any(isinstance(event, LinkChange) and event.feed_unknown for event in bad)
    assert list(losing(noise, 5)) == bad


TRUE = {1800.0: Doses((10.0, 20.0), (10.0, 20.0), is_known=True)}


@pytest.mark.parametrize(
    ("low", "high", "is_known", "faults"),
    [
        ((9.0, 20.0), (10.0, 30.0), True, 0),
        ((12.0, 20.0), (13.0, 20.0), True, 1),
        ((0.0, 0.0), (8.0, 9.0), True, 2),
        ((0.0, 0.0), (8.0, 9.0), False, 0),
    ],
)
def test_a_dose_outside_of_its_range_is_found(
    low: tuple[float, ...],
    high: tuple[float, ...],
    is_known: bool,  # noqa: FBT001 -- a parameter of the test
    faults: int,
) -> None:
    """Too high a low end and too low a high end are; while data are missing nothing is claimed."""
    assert len(list(doses_outside(TRUE, {1800.0: Doses(low, high, is_known)}))) == faults


def test_a_dose_that_is_not_the_same_is_found() -> None:
    """By the last bit, and one that is missing."""
    assert list(unequal_doses(TRUE, TRUE)) == []
    assert len(list(unequal_doses(TRUE, {1800.0: TRUE[1800.0]._replace(high_min=(10.0, 20.000000000001))}))) == 1
    assert len(list(unequal_doses(TRUE, {}))) == 1


def _course(growth_mib_h: float = 0.0, descriptors_h: float = 0.0) -> Course:
    hours = [number / 6 for number in range(144)]
    return Course([Look(h, 90.0 + growth_mib_h * h, 12 + round(descriptors_h * h), 3, 4) for h in hours])


def test_what_grows_is_found() -> None:
    """Memory beyond the bound, and one descriptor an hour; what stays as it is is not."""
    assert list(_course().faults()) == []
    assert "memory grows" in next(_course(growth_mib_h=2 * GROWTH_MIB_H).faults())
    assert "descriptors grow" in next(_course(descriptors_h=1.0).faults())


def _recorded(path: Path, events: list[Event]) -> Iterator[str]:
    encoder = Encoder(HEADER)
    path.write_bytes(encoder.header_line() + b"".join(map(encoder.encode, events)))
    return recording_faults(path, EVENTS, len(EVENTS), may_lose=False)


EVENTS: list[Event] = [Tick(0.0), Sample(1.0, {"fed_mm:1": 1.0}), Tick(2.0), Tick(3.0)]


def test_a_recording_that_lacks_or_changes_anything_is_found(tmp_path: Path) -> None:
    """A line missing at the end or in the middle, another value, another order; the whole one is none of it."""
    path = tmp_path / "night.jsonl"
    assert list(_recorded(path, EVENTS)) == []
    changed = [*EVENTS[:1], replace(EVENTS[1], time_s=1.5), *EVENTS[2:]]
    for wrong in (EVENTS[:-1], EVENTS[1:], changed, [*islice(reversed(EVENTS), 4)]):
        assert list(_recorded(path, wrong))
