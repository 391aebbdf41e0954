"""What a heater's balance says of itself: through the engine, as plain data, and in a quiet line of the screen."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Event, Sample
from monitor.config import demo_profile
from monitor.core.assessment import Assessment
from monitor.core.engine import run
from monitor.core.heater_balance import (
    Calibration,
    HeaterReading,
    advance_balance,
    initial_balance,
    is_missing,
    least_missing_j,
    least_missing_mm3,
    why_unavailable,
)
from monitor.core.parameters import Parameters
from monitor.core.stall_findings import BalanceSight
from monitor.plain_data import assessment_data, output_line
from monitor.tui.present import frame
from monitor.tui.strand_rows import balance_lines
from monitor.tui.view import View
from tests.screen_samples import healthy
from tests.stall_judge.heater import heater_case
from tests.stall_judge.rigs import STRAND_MM2

PARAMETERS = demo_profile().parameters
SCHEMA = Path(__file__).parent.parent / "monitor" / "output.schema.json"
ARMED = BalanceSight("manifold heater", (1, 2), "", 41.0, 93.2, 0.5)


def _night(hours: float, told: tuple[str, ...], parameters: Parameters = PARAMETERS) -> Assessment:
    """A healthy night of which only these kinds of channels of the drives are told."""
    *_, last = run(
        _only(simulate(SCENARIOS["healthy-night"], period_s=2.0, duration_s=hours * 3600.0), told), parameters
    )
    return last.assessment


def _only(events: Iterable[Event], told: tuple[str, ...]) -> Iterator[Event]:
    for event in events:
        if isinstance(event, Sample):
            hidden = [name for name in event.values if name.startswith(("sensed_mm", "stall")) and name not in told]
            yield replace(event, values={name: v for name, v in event.values.items() if name not in hidden})


def test_it_says_why_it_cannot_see_yet() -> None:
    """After a quarter of an hour, heating up included, it does not know the melt well enough, and says so."""
    (sight,) = _night(0.25, ()).balances
    assert sight.heater == "manifold heater"
    assert "J per mm³ is only known to ±" in sight.why_not
    assert sight.least_j is None
    assert sight.least_mm is None


def test_it_says_what_it_can_see() -> None:
    """Armed, it tells the energy and the feed that must be missing: between 20 J and half a metre here."""
    (sight,) = _night(4.0, ()).balances
    assert sight.inputs == (1, 2, 3, 4, 5, 6)
    assert sight.why_not == ""
    assert sight.least_j is not None
    assert 20.0 <= sight.least_j < 300.0
    assert sight.least_mm is not None
    assert 15.0 < sight.least_mm < 500.0


def test_machines_with_encoders_need_no_line() -> None:
    """Where each strand has an encoder or a driver that tells, nothing hangs on the heater; one left out does.

    From the first feed on: a strand that fed before the pace of reports was known counts as seen too.
    """
    every = (*(f"sensed_mm:{number}" for number in range(1, 6)), "stall:6")
    for hours in (0.12, 0.25, 0.5):
        assert _night(hours, every).balances == ()
    (sight,) = _night(1.5, every[:-1]).balances
    assert sight.inputs == (6,)


def test_without_a_heater_nothing_is_seen() -> None:
    """A machine of which neither drives nor heaters tell anything says that."""
    (sight,) = _night(0.5, (), replace(PARAMETERS, heaters=())).balances
    assert sight.heater == ""
    assert sight.why_not == "no heater at the merge point has a known power"


@pytest.mark.parametrize(("flow_mm3_s", "most_mm3"), [(2.0, 118.9), (6.0, 174.9)])
def test_feed_that_goes_missing_unseen(flow_mm3_s: float, most_mm3: float) -> None:
    """Of a strand that stopped, each mm³ leaves half its melting energy over the allowance; 14 s pass besides.

    With 0.44 J/mm³ and a limit of 20 J, the least there is, that is 90.9 mm³; four seconds the heater is late, and ten
    a block lasts.
    """
    known = Calibration(coefficients=(10.0, 0.44, 12.0), residual_w2=1e-4, flow=flow_mm3_s)
    assert least_missing_j(known) == 20.0
    assert least_missing_mm3(known) == pytest.approx(most_mm3, abs=0.05)


@pytest.mark.parametrize("draught_w", [0.25, 0.5])
def test_what_it_says_it_can_see_is_what_it_sees(draught_w: float) -> None:
    """Over twenty full stalls of another hand's heater, the feed to the word is what was promised, within 40 %."""
    ratios = sorted(ratio for seed in range(20) if (ratio := _told_over_promised(seed, draught_w)) is not None)
    assert len(ratios) >= 15
    assert 0.6 < ratios[len(ratios) // 2] < 1.4


def _told_over_promised(seed: int, draught_w: float) -> float | None:
    case, state, promised_mm = heater_case(seed, draught_w, (5.0, 8.0), stops=True), initial_balance(), 0.0
    for row, mark_mm in zip(case.rows, case.mark_mm.tolist(), strict=True):
        state = advance_balance(state, HeaterReading(*row))
        if mark_mm <= case.onset_mm:
            promised_mm = least_missing_mm3(state.calibration) / STRAND_MM2 if why_unavailable(state) is None else 0.0
        if is_missing(state):
            return (mark_mm - case.onset_mm) / promised_mm if promised_mm > 0.0 and mark_mm > case.onset_mm else None
    return None


def test_plain_data_is_valid() -> None:
    """Known and unknown, under the published schema."""
    unknown = replace(ARMED, why_not="it is still calibrating: 3 min more are needed", least_j=None, least_mm=None)
    line = output_line("assessment", 1.0, assessment_data(replace(healthy(), balances=(ARMED, unknown))))
    checker = jsonschema.Draft202012Validator(json.loads(SCHEMA.read_text()))
    assert [error.message for error in checker.iter_errors(json.loads(line))] == []
    assert json.loads(line)["balances"][0] == {
        "heater": "manifold heater",
        "inputs": [1, 2],
        "why_not": "",
        "least_j": 41.0,
        "least_mm": 93.2,
        "least_share": 0.5,
    }


def test_the_screen_says_it_quietly() -> None:
    """One dim phrase under the strands; none where nothing depends on it."""
    latest = replace(healthy(), balances=(ARMED,))
    shown = ["".join(span.text for span in line) for line in frame(View(latest, "a test"), 120, 40)]
    words = "inputs 1, 2: seen by manifold heater alone; a strand that stops shows after about 93 mm, less than"
    assert any(words in line for line in shown)
    assert all(span.look.dim for line in balance_lines(latest, 80) for span in line if span.text.strip())
    why = replace(ARMED, least_j=None, least_mm=None, why_not="it is still calibrating")
    (line,) = balance_lines(replace(latest, balances=(why,)), 120)
    assert "no stall of inputs 1, 2 can be seen: manifold heater: it is still" in "".join(s.text for s in line)
    assert balance_lines(healthy(), 80) == []
