"""Runs `watch`: a real machine, live, as its profile describes it."""

import argparse
import os
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from monitor.build_loading import read_schedule
from monitor.commands.loading import loaded
from monitor.commands.resume_choice import resumed_watch
from monitor.commands.serve_choice import serve_choice, served_words
from monitor.commands.serve_run import doors
from monitor.config import Profile, load_profile
from monitor.core.engine import Engine
from monitor.exit_codes import DONE, WrongUseError
from monitor.followed_source import FollowedSource
from monitor.links import link_text, open_link
from monitor.notify.file import plan_of
from monitor.notify.notifier import Notifier
from monitor.notify.plan import NotifyPlan, channel_text, ladder_text
from monitor.planning.following import PlanFollower
from monitor.profile.link_mapping import host
from monitor.profile.report import CAUTION, loan_lines
from monitor.recording.start import go_on_recording, start_recording
from monitor.resume.seam import Resumption
from monitor.running import Words, carry_out, manner_of
from monitor.service.heartbeat import Heartbeat
from monitor.service.service_manager import service_manager
from monitor.service.unit import unit_text
from monitor.session import Session
from monitor.session_parts import Source
from monitor.totals import Totals


def run(arguments: argparse.Namespace) -> int:
    """Watch a machine until it, the link or the owner ends."""
    if arguments.print_unit:
        print(unit_text(Path(sys.prefix) / "bin" / "strandwatch", arguments.profile), end="")
        return DONE
    choice = serve_choice(arguments)
    profile = loaded(lambda: load_profile(arguments.profile, user_materials=arguments.materials))
    plan = plan_of(profile.notify_file, host(profile.link))
    resumed, of_resuming = resumed_watch(arguments, profile)
    session = _make_session(profile, arguments, resumed)
    notifier = Notifier(plan, profile.parameters.machine, record=lambda data: session.record_note("notification", data))
    session.notify_with(notifier)
    session.keep_history(past=None if resumed is None else resumed.taken.caught_up.history)
    session.serve_with(doors(session, profile.parameters.machine, choice))
    opening = [*_opening(profile, session, plan), *of_resuming]
    if resumed is not None:
        opening.append(f"recording on to {go_on_recording(session, resumed)}")
    elif not arguments.no_record:
        opening.append(f"recording to {start_recording(session, profile, arguments.record)}")
    totals = Totals(profile.parameters.limits.stale_after_s)
    manner = manner_of(arguments)
    with served_words(choice) as told, told_to_the_manager(session):
        if manner.on_screen:
            print("\n".join(told), end="\n" if told else "")  # before the screen covers it
        else:
            opening += told
        return carry_out(session, manner, totals, Words(tuple(opening), notifier.lines))


@contextmanager
def told_to_the_manager(session: Session) -> Iterator[None]:
    """Give signs of work to the service manager that started this program, if one did."""
    manager = service_manager(os.environ)
    if manager is None:
        yield
        return
    heartbeat = Heartbeat(manager)
    session.observe(heartbeat.take)
    with closing(manager), heartbeat.beating():
        yield


def _make_session(profile: Profile, arguments: argparse.Namespace, resumed: Resumption | None) -> Session:
    if profile.link is None:
        raise WrongUseError(
            f"{arguments.profile}: the profile has no [link], so there is nothing to watch. Add one that says how the"
            " machine is reached (strandwatch profile new writes an example)"
        )
    engine = Engine(profile.parameters) if resumed is None else resumed.taken.caught_up.engine
    begin_s = _now_s() - (0.0 if resumed is None else resumed.time_s)
    link = open_link(
        profile.link,
        lambda: _now_s() - begin_s,
        may_reset=arguments.i_know_open_may_reset,
        waits=arguments.wait,
    )
    source: Source = link if resumed is None else resumed.link(link)
    if arguments.plan is not None:
        planned_s = 0.0 if resumed is None else resumed.taken.caught_up.planned_s
        source = FollowedSource(source, PlanFollower(read_schedule(arguments.plan, profile.motion), planned_s))
    return Session(
        source,
        engine,
        name=link_text(profile.link),
        sensors=profile.parameters.sensors_needed,
        inputs=[strand.input for strand in profile.parameters.strands],
    )


def _now_s() -> float:
    """Seconds that only go forward, and go on while the computer sleeps: strands age then as well [s]."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def _opening(profile: Profile, session: Session, plan: NotifyPlan) -> Iterator[str]:
    yield f"watching {profile.parameters.machine} over {session.source}; Ctrl-C ends it"
    yield from loan_lines(profile)
    if plan.channels:
        yield f"alerts are sent to {', '.join(map(channel_text, plan.channels))}; strandwatch alerts test tries that"
        yield ladder_text(plan)
    yield CAUTION
