"""Runs `bench`: a step test on a machine, as its profile describes it; or the table of results."""

import argparse
import asyncio
import sys
import time
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from textwrap import wrap
from typing import Any, Final, NamedTuple

from connectors.clean_text import clean_text
from connectors.errors import LinkFailedError
from monitor.bench.job import BenchError, Job, Wishes, make_job
from monitor.bench.lesson import Lesson
from monitor.bench.orders import HOW
from monitor.bench.purge import purge_lengths, purge_text
from monitor.bench.report import CAUTIONS, Figure, figure, opening, result_text, table_lines
from monitor.bench_seat.answers import Answers
from monitor.bench_seat.log import append, entry_data, log_beside, read
from monitor.bench_seat.materials import KEY, NotWrittenError, by_hand, standing, write_figure
from monitor.bench_seat.seat import TEST_OVER, Seat
from monitor.commands.loading import loaded
from monitor.config import Profile, load_profile
from monitor.core.engine import Engine
from monitor.exit_codes import DONE, OWN_FAULT, WrongUseError
from monitor.links import link_text, open_link
from monitor.materials.files import user_file
from monitor.output import Output
from monitor.recording.start import start_recording
from monitor.running import run_alone
from monitor.session import Session
from monitor.session_parts import Source

WIDTH: Final = 78


class Bench(NamedTuple):
    """One test and what belongs to it."""

    job: Job
    profile: Profile
    maker_c: tuple[float, float] | None
    materials: Path
    output: Output
    answers: Answers


def run(arguments: argparse.Namespace) -> int:
    """Lead through a test, or list the results."""
    materials = arguments.materials[-1] if arguments.materials else user_file()
    if arguments.what == "list":
        return _list(log_beside(materials))
    if arguments.profile is None or arguments.input is None:
        raise WrongUseError("bench needs --profile FILE and --input N (strandwatch bench --help tells what it does)")
    profile = loaded(lambda: load_profile(arguments.profile, user_materials=arguments.materials))
    if profile.link is None:
        raise WrongUseError(f"{arguments.profile}: the profile has no [link], so the machine cannot be watched")
    begin_s = time.monotonic()
    link = open_link(
        profile.link,
        lambda: time.monotonic() - begin_s,
        may_reset=arguments.i_know_open_may_reset,
        waits=arguments.wait,
    )
    bench = make_bench(arguments, profile, materials)
    where = None if arguments.no_record else arguments.record or Path()
    return carry_out(bench, link, link_text(profile.link), where, writes=arguments.write)


def make_bench(arguments: argparse.Namespace, profile: Profile, materials: Path) -> Bench:
    """Put a test together; raises WrongUseError when it cannot be made as asked."""
    wishes = Wishes(
        arguments.from_c, arguments.to_c, arguments.step, arguments.confidence, arguments.nozzle, arguments.speed
    )
    maker_c = _maker_range(profile, arguments.input)
    middle_c = None if maker_c is None else sum(maker_c) / 2.0
    tools = profile.planning.tool_sensors
    try:
        job = make_job(profile.parameters, arguments.input, wishes, maker_c=middle_c, tools=tools)
    except BenchError as error:
        raise WrongUseError(str(error)) from error
    return Bench(job, profile, maker_c, materials, Output(sys.stdout, sys.stderr), Answers(sys.stdin))


def _maker_range(profile: Profile, number: int) -> tuple[float, float] | None:
    """The processing range of the strand's material, where its data have one."""
    name = next((strand.material.name for strand in profile.parameters.strands if strand.input == number), "")
    process: Mapping[str, Any] = profile.material_tables.get(name, {}).get("process_c", {})
    low_c, high_c = process.get("low"), process.get("high")
    return None if low_c is None or high_c is None else (low_c, high_c)


def carry_out(bench: Bench, source: Source, name: str, where: Path | None, *, writes: bool) -> int:
    """Lead through the test, over events of `source`; `where` is None for no recording, `Path()` for the default place.

    Raises
    ------
    LinkFailedError
        When the link failed for good; what was measured is kept by then.
    """
    job, parameters = bench.job, bench.profile.parameters
    inputs = [strand.input for strand in parameters.strands]
    session = Session(source, Engine(parameters), name=name, sensors=parameters.sensors_needed, inputs=[job.input])
    lesson = Lesson(job)
    seat = Seat(session, lesson, bench.answers, bench.output)
    _say(bench, opening(job, others=tuple(number for number in inputs if number != job.input)))
    for caution in CAUTIONS:
        _say(bench, [caution], mark="- ")
    _say(bench, [HOW, "Ctrl-C ends the test; what was measured is kept."])
    recording = ""
    if where is not None:
        recording = str(start_recording(session, bench.profile, None if where == Path() else where))
        _say(bench, [f"recording to {clean_text(recording)}"])
    session.observe(seat.take)
    failure = None
    try:
        asyncio.run(_attended(session, seat, bench.answers))
    except LinkFailedError as error:
        failure = error
    _conclude(bench, lesson, "" if session.ended == TEST_OVER else session.ended or "", recording, writes=writes)
    if failure is not None:
        raise failure
    return DONE if session.fault is None else OWN_FAULT


async def _attended(session: Session, seat: Seat, answers: Answers) -> None:
    with answers.listening(seat.answer):
        seat.begin()
        await run_alone(session)


def _conclude(bench: Bench, lesson: Lesson, why: str, recording: str, *, writes: bool) -> None:
    """Tell the result, keep it, and write it where the owner says so."""
    job, result, now = bench.job, lesson.result(), datetime.now().astimezone()
    bench.output.line("")
    _say(bench, [result_text(job, result, lesson.broken_off or why)])
    if result.attempts:
        at = now.isoformat(timespec="seconds")
        data = entry_data(job, result, at=at, maker_c=bench.maker_c, why=lesson.broken_off or why, recording=recording)
        _keep(bench, data)
    found = figure(job, result, f"{now:%Y-%m-%d}")
    if found is not None:
        _offer(bench, found, writes=writes)
    if result.attempts:
        _say(bench, [purge_text(purge_lengths(bench.profile.parameters))])
    _say(bench, ["The machine is still hot: set what it needs."])


def _keep(bench: Bench, data: dict[str, Any]) -> None:
    path = log_beside(bench.materials)
    try:
        append(path, data)
    except OSError as error:
        bench.output.message(f"the attempts cannot be kept in {clean_text(str(path))}: {error.strerror}")
    else:
        _say(bench, [f"The attempts are kept in {clean_text(str(path))}; strandwatch bench list shows all results."])


def _offer(bench: Bench, found: Figure, *, writes: bool) -> None:
    """Write the figure, if the owner wants it, and say what still stands in its way."""
    material, place = bench.job.material, clean_text(str(bench.materials))
    lines = ["The lines for your materials:", ""]
    try:
        old = standing(bench.materials, material)
        if old is not None:
            _say(bench, [f"{place} says so far: {KEY} = {clean_text(str(old))}"])
        question = f"{'Replace it by' if old is not None else 'Write'} {KEY} = {found.value_c:g} in {place}? y, n:"
        if writes or _agreed(bench, question):
            write_figure(bench.materials, material, found)
            _say(bench, [f"Written to {place}: {material}, {KEY} = {found.value_c:g}.", *_in_the_way(bench)])
            return
    except NotWrittenError as error:
        bench.output.message(f"not written: {error}")
        lines[0] = "To be written by hand:"
    for line in [*lines, *by_hand(material, found).splitlines(), ""]:
        bench.output.line(line)


def _agreed(bench: Bench, question: str) -> bool:
    """Whether the owner says yes; not where nobody can."""
    if bench.answers.is_terminal:
        bench.answers.drop()
    _say(bench, [question])
    try:
        return (bench.answers.wait() or "") in {"y", "yes"}
    except KeyboardInterrupt:
        return False


def _in_the_way(bench: Bench) -> list[str]:
    """Say what overrides the owner's materials in this profile."""
    material, table = bench.job.material, bench.profile.table
    strands = [row for row in table.get("strands", []) if row.get("input") == bench.job.input and KEY in row]
    told = [f"But the profile's strand in input {bench.job.input} has a {KEY} of its own, which counts: take it out."]
    if KEY in table.get("materials", {}).get(material, {}):
        return [
            f"But the profile's [materials] has a {KEY} for it, which counts: take it out.",
            *(told if strands else []),
        ]
    return told if strands else []


def _say(bench: Bench, texts: Sequence[str], mark: str = "") -> None:
    for text in texts:
        indent = " " * len(mark)
        for line in wrap(text, WIDTH, initial_indent=mark, subsequent_indent=indent, break_on_hyphens=False):
            bench.output.line(line)


def _list(path: Path) -> int:
    try:
        log = read(path)
    except OSError as error:
        raise WrongUseError(f"{clean_text(str(path))} cannot be read: {error.strerror}") from error
    if not log.rows:
        print(f"there are no results yet in {clean_text(str(path))}")
    else:
        print("\n".join(table_lines(log.rows)))
    if log.note:
        print(log.note)
    return DONE
