"""The table of injected faults: what is done to a watch, what must happen, and whether it does.

`python -m tests.fault_table` runs every row's tests and prints the table; its status is 1 when a row does not pass.
The rows only name tests, so that each fault is injected at one place. `test_fault_table` sees that all of them exist.
"""

import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final, NamedTuple

import pytest

_ROOT: Final = Path(__file__).parent.parent


class Row(NamedTuple):
    """A fault, what must happen, and the tests that inject it: file without `tests/test_` and test without `test_`."""

    fault: str
    must: str
    tests: tuple[str, ...]


_RECOVERS: Final = "told; goes on by itself"
_UNREAD: Final = "counted, told once in a while; nothing is made up"

ROWS: Final[tuple[Row, ...]] = (
    Row("serial: unplugged, plugged in again", _RECOVERS, ("serial_link::unplugged_and_plugged_in_again",)),
    Row(
        "serial: port missing at the start",
        "fails in words, or waits if told to",
        ("serial_link::missing_port_fails_at_first_unless_told_to_wait",),
    ),
    Row(
        "serial: controller resets in mid build",
        "told; no huge move; goes on",
        (
            "serial_link::restart_later_is_told_and_the_port_stays_open",
            "serial_protocol::restart_is_told_and_never_a_huge_move",
        ),
    ),
    Row(
        "serial: opening restarts the controller",
        "told loudly; never opened twice",
        ("serial_link::controller_that_restarts_on_opening_is_not_opened_twice",),
    ),
    Row("serial: wrong speed", "the speed is named", ("serial_link::only_garbage_names_the_speed",)),
    Row(
        "serial: half lines, cut anywhere",
        "the same as whole, or dropped whole",
        (
            "serial_protocol::cutting_and_line_endings_make_no_difference",
            "framing::part_older_than_five_seconds_is_dropped_with_its_tail",
        ),
    ),
    Row(
        "serial: two readers",
        "the second is refused, the holder named",
        ("serial_link::port_serves_one_reader", "serial_link::port_held_by_another_program_is_not_even_opened"),
    ),
    Row(
        "serial: garbage at line rate",
        _UNREAD,
        (
            "faults::ten_minutes_of_garbage_at_line_rate",
            "serial_protocol::flood_of_garbage_is_counted_but_reported_once_a_second",
        ),
    ),
    Row(
        "serial: faster than it is read",
        "the sender is paused; nothing lost",
        ("serial_wire::sender_is_paused_and_nothing_is_lost",),
    ),
    Row("serial: 1 MB without end of line", _UNREAD, ("faults::a_megabyte_without_an_end_of_line",)),
    Row(
        "serial: NUL and escape bytes",
        "shown harmlessly",
        (
            "serial_protocol::unusable_lines_yield_nothing_but_a_count",
            "fuzz::the_corpus_raises_nothing_undocumented[serial-escapes-and-nul]",
        ),
    ),
    Row(
        "serial: feed while it was away",
        "dose and idle time become ranges",
        (
            "serial_link::unplugged_and_plugged_in_again",
            "gaps::a_reconnect_after_which_feed_counts_anew_leaves_the_dose_open",
        ),
    ),
    Row("websocket: server restarts", _RECOVERS, ("websocket_link::server_that_restarts",)),
    Row("websocket: cut off without a word", _RECOVERS, ("websocket_trouble::connection_cut_without_a_word",)),
    Row("websocket: half-open, no FIN", "given up by ping; goes on", ("websocket_trouble::peer_that_went_deaf",)),
    Row(
        "websocket: accepts and closes",
        "pauses grow",
        ("websocket_trouble::server_that_accepts_and_closes_is_not_hammered",),
    ),
    Row("websocket: accepts and never answers", "can be ended", ("websocket_link::closing_while_connecting",)),
    Row(
        "websocket: we are slow, it floods",
        "little is held, nothing lost",
        ("websocket_trouble::server_that_floods_a_slow_reader",),
    ),
    Row(
        "websocket: oversize message",
        "closed with 1009; the key is named",
        ("websocket_trouble::message_beyond_the_limit",),
    ),
    Row(
        "websocket: bad JSON, wrong types",
        _UNREAD,
        (
            "fuzz::the_corpus_raises_nothing_undocumented[websocket-types]",
            "fuzz::the_corpus_raises_nothing_undocumented[websocket-texts]",
            "websocket_protocol::nothing_received_raises",
        ),
    ),
    Row(
        "websocket: deep nesting",
        _UNREAD,
        (
            "websocket_protocol::TestEdgeCases::deep_nesting",
            "fuzz::the_corpus_raises_nothing_undocumented[websocket-deep]",
        ),
    ),
    Row(
        "websocket: an update is lost",
        "connects anew for a full status",
        (
            "websocket_trouble::gap_is_mended_by_a_new_full_status",
            "websocket_protocol::TestEdgeCases::sequence_gap_voids_the_status",
        ),
    ),
    Row(
        "websocket: updates sent again",
        "dropped",
        (
            "websocket_trouble::updates_sent_again_change_nothing",
            "websocket_protocol::TestEdgeCases::duplicates_and_late_ones_are_dropped",
        ),
    ),
    Row(
        "websocket: updates out of order",
        "never mixed in; a full status is had",
        ("websocket_trouble::updates_out_of_order_are_never_mixed_in",),
    ),
    Row(
        "websocket: token no longer valid", "told; tried again", ("websocket_link::refusal_after_it_worked_is_no_end",)
    ),
    Row("websocket: certificate not trusted", "refused in words", ("websocket_let_in::own_authority",)),
    Row(
        "websocket: certificate changes",
        "told, not trusted; goes on when it is right",
        ("websocket_let_in::certificate_that_changes_in_mid_watch",),
    ),
    Row(
        "one wrong low temperature",
        "held; does not end the standing clock",
        (
            "websocket_protocol::TestGate::what_was_only_read_again_confirms_nothing",
            "hot_clock::wrong_readings_for_seconds_do_not_end_it",
            "hot_clock::one_low_websocket_reading_that_stands_in_the_status_does_not_end_it",
        ),
    ),
    Row(
        "samples without a temperature",
        "count as no data, and are told",
        ("gaps::samples_without_a_temperature_do_not_hold_off_that_no_data_come",),
    ),
    Row("websocket: silence", "told; connects anew", ("websocket_link::silence_is_told_and_mended",)),
    Row(
        "wall clock set forward, set back",
        "no length of time changes",
        (
            "notifier_ladder::a_time_of_day_that_jumps_changes_no_length_of_time",
            "recorder::a_time_of_day_that_jumps_is_recorded_and_moves_nothing",
            "resuming::a_clock_that_was_set_back_counts_as_no_gap_and_is_told",
        ),
    ),
    Row("own clock jumps eight hours", "silence told; one query; goes on", ("faults::a_clock_that_jumps_eight_hours",)),
    Row("process stopped and continued", "goes on; nothing lost", ("faults::a_watch_that_is_stopped_and_goes_on",)),
    Row(
        "disk full",
        "told; watch goes on; records again",
        ("recorder::a_full_disk_is_told_and_never_raises", "recorder::a_recording_resumes_when_there_is_room_again"),
    ),
    Row(
        "disk turns read-only in mid watch",
        "told; watch goes on; records again",
        ("recorder::a_disk_that_turns_read_only_in_mid_watch",),
    ),
    Row(
        "disk slow or failing to sync",
        "watch is not held up; told",
        ("recorder::the_disk_is_asked_in_the_background", "recorder::a_failing_sync_is_told"),
    ),
    Row(
        "directory that cannot be written",
        "told before the machine is opened",
        (
            "recorder::a_place_that_cannot_be_written_is_told",
            "commands_watch::a_recording_that_cannot_be_begun_is_told_before_the_machine_is_opened",
        ),
    ),
    Row("recording deleted", "told", ("recorder::a_deleted_recording_is_told",)),
    Row(
        "recording cut off anywhere", "every whole line is kept", ("recording::cut_anywhere_it_keeps_every_whole_line",)
    ),
    Row(
        "SIGKILL",
        "nothing acknowledged lost; gone on with",
        (
            "recorder::a_killed_watch_loses_nothing_acknowledged",
            "commands_resume::a_killed_watch_is_gone_on_with_unasked",
        ),
    ),
    Row(
        "SIGTERM, SIGINT, SIGHUP",
        "ends cleanly, reason recorded",
        ("commands_watch::a_watch_records_what_it_hears_until_a_signal_ends_it",),
    ),
    Row(
        "terminal gone, with a signal",
        "ends cleanly",
        ("commands_watch::a_vanished_terminal_ends_the_watch_and_keeps_the_recording",),
    ),
    Row(
        "terminal gone, without a signal",
        "ends cleanly",
        ("screen_terminal::a_terminal_that_goes_away_without_a_signal_ends_the_screen",),
    ),
    Row("terminal stalled", "holds up nobody", ("screen_terminal::a_stalled_terminal_holds_up_nobody",)),
    Row(
        "terminal resized to one cell",
        "goes on; all is back with the room",
        ("screen_terminal::a_terminal_made_one_cell_large_and_large_again",),
    ),
    Row(
        "a hundred screens attached, killed",
        "no trace left",
        ("attach::a_hundred_screens_that_are_killed_leave_no_trace",),
    ),
    Row(
        "reader of the output gone",
        "ends; recording kept",
        ("commands_watch::a_vanished_reader_ends_the_watch_and_keeps_the_recording",),
    ),
    Row(
        "notifier hangs",
        "delays neither watch nor others",
        (
            "notifier::a_channel_that_hangs_delays_neither_the_watch_nor_the_other_channel",
            "notify_service::a_server_that_never_answers_is_left_alone_after_our_own_time",
        ),
    ),
    Row(
        "out of file descriptors",
        "said in words; goes on when there are some",
        (
            "faults::out_of_file_descriptors_a_link_says_so_and_recovers",
            "faults::a_watch_started_with_hardly_any_descriptors_says_so",
        ),
    ),
    Row(
        "file of a newer version",
        "refused; its version is named",
        (
            "upgrades::a_newer_recording_is_refused_by_its_version",
            "upgrades::a_newer_file_of_the_owners_is_refused_by_its_version",
        ),
    ),
    Row(
        "many of these at once, for hours",
        "doses right or in their range; nothing grows",
        ("soak::hours_of_everything_that_may_go_wrong",),
    ),
    Row(
        "rules fail (a fault of ours)",
        "ends; never taken for an alarm",
        ("session::an_engine_that_fails_still_ends_the_watch", "cli::a_fault_of_our_own_is_never_taken_for_an_alarm"),
    ),
)


def node(test: str) -> str:
    """Name of a test as pytest has it."""
    file, *classes, name = test.split("::")
    return "::".join([f"tests/test_{file}.py", *classes, f"test_{name}"])


class Outcomes:
    """Part of pytest: keeps for each test, its parameters left out, whether all of its runs passed."""

    def __init__(self) -> None:
        self.failed: set[str] = set()
        self.ran: set[str] = set()

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note one phase of one test."""
        names = {report.nodeid, report.nodeid.partition("[")[0]}
        if report.when == "call" and report.passed:
            self.ran |= names
        if report.failed or report.skipped:
            self.failed |= names

    def passed(self, row: Row) -> bool:
        """Whether all tests of a row ran and passed."""
        names = {node(test) for test in row.tests}
        return names <= self.ran and not names & self.failed


def table(rows: Sequence[Row], passed: Mapping[str, bool]) -> Iterator[str]:
    """Lay out the table."""
    widths = [max(len(row.fault) for row in rows), max(len(row.must) for row in rows)]
    for row in rows:
        result = "passed" if passed[row.fault] else "NOT PASSED"
        yield f"{row.fault:<{widths[0]}}  {row.must:<{widths[1]}}  {result}"
    yield f"{sum(passed.values())} of {len(rows)} rows passed"


def main() -> int:
    """Run all rows; print the table."""
    outcomes = Outcomes()
    by_file: defaultdict[str, list[str]] = defaultdict(list)
    for test in dict.fromkeys(test for row in ROWS for test in row.tests):
        by_file[test.partition("::")[0]].append(node(test))
    pytest.main(["-q", "--rootdir", str(_ROOT), *(name for names in by_file.values() for name in names)], [outcomes])
    passed = {row.fault: outcomes.passed(row) for row in ROWS}
    print("\n" + "\n".join(table(ROWS, passed)))  # noqa: T201 -- printing is its job
    return 0 if all(passed.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
