"""What alerts tell to do cures what they tell, and nothing is asked for that cannot be done."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from connectors.telemetry import Execution, Sample
from monitor.core.advice_types import AdviceKind
from monitor.core.alert_types import Alert
from monitor.core.assessment import Assessment
from monitor.core.engine import run
from monitor.core.machine_advice_texts import pause_advice
from monitor.core.parameters import AlertLimits, Parameters, Strand
from monitor.core.pause_cost import PauseCost
from monitor.core.span import Span
from monitor.core.stall_findings import Detector, StallFinding, StallPattern
from monitor.core.stall_texts import stall_action, stall_text
from tests.alert_examples import OnePoint, rule
from tests.machines import GREY, machine
from tests.watch_examples import STRAND

_PLACES = {"temp_c:cold_end": 32.0, "temp_c:nozzle": 225.0}


def _by_turns(
    set_c: float, wall_c: float, execution: Execution | None, needs_c: float = 188.0, until_s: int = 600
) -> Assessment:
    """Both inputs of a bench feed by turns; the second needs more heat."""

    def samples() -> Iterator[Sample]:
        for time_s in range(0, until_s, 2):
            turn, rest = divmod(time_s, 60)
            fed_mm = [30.0 * (turn + 1 - first) // 2 * 2 + (rest if turn % 2 == first else 0.0) for first in (0, 1)]
            fed = {f"fed_mm:{number}": value for number, value in enumerate(fed_mm, start=1)}
            yield Sample(
                float(time_s), {**_PLACES, "temp_c:manifold": wall_c, "set_c:manifold": set_c, **fed}, execution
            )

    strands = tuple(Strand(it, replace(GREY, min_feed_c=c), dried=True) for it, c in ((1, 182.0), (2, needs_c)))
    *_, last = run(samples(), replace(machine(), strands=strands))
    return last.assessment


def _only(assessment: Assessment) -> Alert:
    (alert,) = [alert for alert in assessment.alerts if alert.condition == "cold_feed"]
    return alert


def test_the_order_serves_every_input_that_the_alert_names() -> None:
    """It leads with input 1, names input 2, and asks for what input 2 needs: the very figure of the advice."""
    assessment = _by_turns(170.0, 170.0, Execution.ACTIVE)
    alert = _only(assessment)
    (point,) = [piece for piece in assessment.advice if piece.kind is AdviceKind.SET_POINT]

    assert (alert.subject, alert.also) == ("input 1", ("input 2",))
    assert "Raise the manifold to 190 °C (input 2 needs 188) or pause the build" in alert.action
    assert point.figure("set_c") == 190.0
    assert point.text == "Raise the manifold to 190 °C: input 2 needs 188 °C to feed."


def test_no_order_goes_beyond_a_ceiling() -> None:
    """Where one strand needs more than another bears, no set point is asked for."""
    alert = _only(_by_turns(170.0, 170.0, Execution.ACTIVE, needs_c=236.0))

    assert alert.action.startswith("Pause the build. No set point serves all: input 2 needs 236 °C to feed")


def test_a_manifold_that_cannot_hold_its_set_point_is_not_raised_further() -> None:
    """The set point is enough already: wait while the wall still rises, then the heater is at fault."""
    rising = _only(_by_turns(195.0, 170.0, Execution.ACTIVE, until_s=100))
    stuck = _only(_by_turns(195.0, 170.0, Execution.ACTIVE))

    assert rising.action.startswith("Wait: the manifold is on its way to its set point of 195 °C")
    assert stuck.action.startswith("Pause the build: the manifold does not come to its set point of 195 °C.")


@pytest.mark.parametrize(("execution", "asks"), [(Execution.PROGRAM_COMPLETED, False), (Execution.ACTIVE, True)])
def test_a_build_that_is_over_is_not_to_be_paused(execution: Execution, *, asks: bool) -> None:
    """No alert and no advice speaks of pausing what does not run."""
    assessment = _by_turns(170.0, 170.0, execution)

    assert ("pause the build" in _only(assessment).action) is asks
    assert (AdviceKind.PAUSE in {piece.kind for piece in assessment.advice}) is asks


@pytest.mark.parametrize("pattern", StallPattern)
def test_no_stall_asks_to_pause_a_build_that_is_over(pattern: StallPattern) -> None:
    """With a build, all but skipping and a clog ask for a pause at once."""
    found = _finding(pattern)

    assert "Pause the build" not in stall_action(1, found, is_building=False)
    is_slight = pattern in {StallPattern.COLD_SKIPPING, StallPattern.SLOW_CLOG}
    assert stall_action(1, found, is_building=True).startswith("Pause the build. ") is not is_slight


def _finding(pattern: StallPattern, *, is_held: bool = False) -> StallFinding:
    return StallFinding(
        pattern, 9.0, 9.0, Span(0.0, 1.0), 1.0, is_final=True, evidence=("9 mm lost in 9 mm", "why"),
        detector=Detector.FAST, is_held=is_held,
    )  # fmt: skip


def test_a_run_out_and_a_tangle_ask_for_different_things() -> None:
    """Where the evidence tells, nobody is asked which of the two it is; the reason comes before the lengths."""
    gone, held = (_finding(StallPattern.RUN_OUT_OR_TANGLE, is_held=is_held) for is_held in (False, True))

    assert stall_text(gone) == "does not move: the strand has run out; why; 9 mm lost in 9 mm"
    assert stall_text(held).startswith("does not move: held fast on its spool (tangle); why")
    assert "Load new strand on input 3" in stall_action(3, gone, is_building=True)
    assert "Free the strand of input 3" in stall_action(3, held, is_building=True)


def test_what_else_is_wrong_with_the_same_input_is_named() -> None:
    """Aged and standing for long: the alert on input 1 does not say 'also input 1'."""
    still = (Sample(30.0 * step, {**_PLACES, "temp_c:manifold": 195.0, "fed_mm:1": 0.0}) for step in range(960))
    limits = AlertLimits(idle_backstop_h=7.0)
    *_, last = run(still, _with(limits))
    (alert,) = last.assessment.alerts

    assert (alert.condition, alert.also) == ("dose", ("standing hot for long",))


def _with(limits: AlertLimits) -> Parameters:
    return replace(machine(), limits=limits)


def test_equal_times_are_told_once() -> None:
    """Standing and going on lead to the same first limit."""
    reason = pause_advice([STRAND], PauseCost(0, 5400.0, 0, 5400.0, 3600.0)).reason

    assert reason.startswith("Standing hot or going on, the first limit is 1 h 30 min away; ")


def test_an_alert_says_why_it_became_more_urgent() -> None:
    """A WARNING that nobody saw, and one whose value rose: only the first is told so."""
    unseen, worse = OnePoint(rule()), OnePoint(rule())
    for point, value in ((unseen, 15.0), (worse, 25.0)):
        point.sees(15.0, 0.0)
        point.sees(value, 31.0)
    stories = [point.book.records[0].story for point in (unseen, worse)]

    assert [(story[-1].event, story[-1].why) for story in stories] == [
        ("escalated", "unseen for 31 s"),
        ("escalated", ""),
    ]


def test_a_first_level_may_leave_longer_to_respond() -> None:
    """Half of the longer time passes before nobody's having seen it counts."""
    point = OnePoint(rule(first_within_s=600.0))
    point.sees(15.0, 0.0)
    point.sees(15.0, 299.0)
    assert "escalated" not in point.events
    point.sees(15.0, 301.0)
    assert point.events[-1] == "escalated"
