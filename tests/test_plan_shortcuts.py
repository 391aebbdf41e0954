"""What makes plans quick changes nothing: each shortcut against the long way, on the same build."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.config import demo_profile
from monitor.core.engine import advance
from monitor.core.engine_state import initial_state
from monitor.planning.course import samples
from monitor.planning.forward_run import PERIOD_S, run_forward
from monitor.planning.options import COARSE_S, Build, Changes, options
from monitor.planning.plan import prepared
from tests.planned_builds import Turn, lantern, layers, schedule_of


def _build(turns: list[Turn]) -> Build:
    profile = demo_profile()
    return prepared(profile.parameters, profile.planning, schedule_of(turns, 195.0))


def test_the_bare_field_does_what_the_engine_does() -> None:
    """Doses and walls of every sample are the engine's own, to the last digits."""
    build = _build(layers(1.5, 1, 4, 6, 3))
    course = build.course(Changes(), PERIOD_S)
    quick = run_forward(build.model, build.schedule, course)
    known, state = [], initial_state(build.model)
    for sample in samples(course, build.model.parameters):
        state, _ = advance(build.model, state, sample)
        assert state.field is not None
        known.append(state.field)
    doses = np.array([build.model.field.oldest_min(field) for field in known])

    assert len(known) == len(course.times_s)
    assert np.stack([strand.dose_min for strand in quick.strands], axis=1) == pytest.approx(doses, rel=1e-9, abs=1e-9)
    assert quick.merge_c == pytest.approx([field.walls.merge_c for field in known])


def test_strands_run_alone_come_to_what_they_come_to_with_the_others() -> None:
    """Every option of the twelve hours with something fed into waste, run again with all strands."""
    build = _build(lantern())
    tried = list(options(build, build.tried("as planned", Changes())))
    wasteful = [option for option in tried if option.changes.advances]

    assert len(wasteful) >= 2
    for option in wasteful[:2]:
        whole = build.tried(option.name, option.changes, COARSE_S)
        assert [it.outcome for it in option.verdicts] == [it.outcome for it in whole.verdicts]
        assert [it.share for it in option.verdicts] == pytest.approx([it.share for it in whole.verdicts], rel=1e-9)


def test_withdrawing_a_strand_changes_no_other() -> None:
    """The run is taken over from the option without withdrawal; the verdicts of the others are the same."""
    build = _build(lantern())
    as_planned = build.tried("as planned", Changes(), COARSE_S)
    withdrawn = build.judged("withdrawn", replace(as_planned.changes, withdrawn_s={4: 3000.0}), as_planned.run)

    assert withdrawn.verdicts[3].share < as_planned.verdicts[3].share
    assert withdrawn.verdicts[:3] + withdrawn.verdicts[4:] == as_planned.verdicts[:3] + as_planned.verdicts[4:]
