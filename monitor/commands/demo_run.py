"""Runs `demo`: a night of the simulated machine, listed or watched."""

import argparse
from collections.abc import Iterable, Iterator

from connectors.simulated_link import SimulatedLink
from connectors.simulated_scenarios import SCENARIOS, Scenario, Severity, has_degrees, of_severity
from monitor.attach.server import AttachServer
from monitor.commands.loading import loaded
from monitor.config import demo_profile
from monitor.core.engine import Engine
from monitor.exit_codes import DONE, WrongUseError
from monitor.history.keeping import spacing_at
from monitor.recording.start import start_recording
from monitor.running import Words, carry_out, manner_of, speed_of
from monitor.session import Session
from monitor.totals import Totals


def run(arguments: argparse.Namespace) -> int:
    """Watch a simulated night, or list the nights there are."""
    if arguments.list:
        print("\n".join(_listing(SCENARIOS.values())))
        return DONE
    if arguments.scenario not in SCENARIOS:
        raise WrongUseError(
            f"there is no scenario {arguments.scenario!r}; choose one of {', '.join(SCENARIOS)}"
            " (strandwatch demo --list tells what happens in them)"
        )
    return _watch_night(_so_bad(SCENARIOS[arguments.scenario], arguments.severity), arguments)


def _listing(scenarios: Iterable[Scenario]) -> Iterator[str]:
    for scenario in scenarios:
        degrees = " (--severity)" if has_degrees(scenario) else ""
        yield f"{scenario.name:<18}{scenario.title}. {scenario.story}{degrees}"


def _so_bad(scenario: Scenario, severity: str | None) -> Scenario:
    if severity is None:
        return scenario
    if not has_degrees(scenario):
        names = ", ".join(night.name for night in SCENARIOS.values() if has_degrees(night))
        raise WrongUseError(f"scenario {scenario.name} knows no degrees of severity; those that do: {names}")
    return of_severity(scenario, Severity(severity))


def _watch_night(scenario: Scenario, arguments: argparse.Namespace) -> int:
    manner, profile = manner_of(arguments), loaded(demo_profile)
    speed = speed_of(arguments, manner)
    session = Session(
        SimulatedLink(scenario, seed=arguments.seed, speed=speed),
        Engine(profile.parameters),
        name=", ".join(filter(None, ("simulated machine", scenario.name, arguments.severity))),
        sensors=profile.parameters.sensors_needed,
        over="the simulated night is over",
    )
    if speed is not None:  # as fast as it goes, it is over before anybody looks
        session.keep_history(spacing_at(speed))
    session.serve_with(AttachServer(session, profile.parameters.machine))
    opening = [f"SIMULATED machine, invented strands, build '{scenario.build}', seed {arguments.seed}"]
    so_bad = "" if arguments.severity is None else f", {arguments.severity}"
    opening.append(f"scenario {scenario.name}{so_bad}: {scenario.story}")
    if arguments.record is not None:
        opening.append(f"recording to {start_recording(session, profile, arguments.record)}")
    return carry_out(session, manner, Totals(profile.parameters.limits.stale_after_s), Words(tuple(opening)))
