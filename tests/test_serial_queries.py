"""What is asked of a controller, and when. The pacing is common practice, no source."""

from itertools import pairwise

import pytest

from connectors.serial_queries import BUSY_CALM_S, ERROR_CALM_S, LEAST_SPACING_S, Asker, Query
from connectors.serial_settings import SerialSettings


def _asker(*, position: bool = False, progress: bool = True) -> Asker:
    return Asker(
        SerialSettings(
            port="/dev/invented",
            mode="ask",
            sensors={"manifold": "T0"},
            position_query_is_safe=position,
            ask_progress=progress,
        )
    )


def _asked(asker: Asker, from_s: float, to_s: float, answer_after_s: float | None = 0.02) -> list[tuple[float, Query]]:
    """Queries that go out when asked ten times a second, each answered `answer_after_s` later (None: never)."""
    found: list[tuple[float, Query]] = []
    for tenth in range(round(from_s * 10), round(to_s * 10)):
        query = asker.next_query(tenth / 10)
        if query is not None:
            found.append((tenth / 10, query))
            if answer_after_s is not None:
                asker.answered(query, tenth / 10 + answer_after_s)
    return found


def test_listening_asks_nothing() -> None:
    """In listen mode no query ever goes out."""
    asker = Asker(SerialSettings(port="/dev/invented", sensors={"manifold": "T0"}, position_query_is_safe=True))
    assert _asked(asker, 0, 100) == []


def test_position_is_asked_only_when_declared_safe() -> None:
    """M114 may let a controller's motion queue run dry: never sent without the profile's word."""
    assert {query for _, query in _asked(_asker(), 0, 60)} == {Query.TEMPERATURES, Query.PROGRESS}
    assert {query for _, query in _asked(_asker(position=True), 0, 60)} == set(Query)


def test_pace_is_at_most_two_a_second_and_one_a_second_each() -> None:
    """Queries keep half a second apart, and temperatures come once a second or a little later."""
    found = _asked(_asker(position=True), 0, 60)
    times = [time_s for time_s, _ in found]
    assert min(later - earlier for earlier, later in pairwise(times)) >= LEAST_SPACING_S
    assert 50 <= [query for _, query in found].count(Query.TEMPERATURES) <= 60


def test_one_query_at_a_time() -> None:
    """Without an answer nothing else goes out for 5 s, and then ever more rarely, up to a minute apart."""
    found = _asked(_asker(progress=False), 0, 400, answer_after_s=None)
    times = [time_s for time_s, _ in found]
    gaps = [round(later - earlier) for earlier, later in pairwise(times)]
    assert gaps[:5] == [10, 15, 25, 45, 65]
    assert set(gaps[5:]) == {65}


@pytest.mark.parametrize("calm_s", [BUSY_CALM_S, ERROR_CALM_S])
def test_busy_or_upset_controller_is_left_alone(calm_s: float) -> None:
    """Nothing goes out until the calm has lasted."""
    asker = _asker()
    asker.hold(3.0, calm_s)
    assert _asked(asker, 3.0, 3.0 + calm_s) == []
    assert _asked(asker, 3.0 + calm_s, 6.0 + calm_s)


def test_late_answer_ends_all_asking() -> None:
    """An answer after more than 2 s shows that the query waits for moves: from then on only listening."""
    asker = _asker()
    assert asker.next_query(0.0) is Query.TEMPERATURES
    reason = asker.answered(Query.TEMPERATURES, 2.5)
    assert reason is not None
    assert "only listens" in reason
    assert _asked(asker, 3, 60) == []


def test_answer_after_giving_up_is_still_judged() -> None:
    """An answer that comes after it was given up is late all the same."""
    asker = _asker(progress=False)
    asker.next_query(0.0)
    assert asker.next_query(6.0) is None
    assert asker.answered(Query.TEMPERATURES, 7.0) is not None


def test_late_answer_of_a_busy_controller_is_excused() -> None:
    """A controller that said it is busy may answer late."""
    asker = _asker()
    asker.next_query(0.0)
    asker.hold(1.0, BUSY_CALM_S)
    assert asker.answered(Query.TEMPERATURES, 4.0) is None
    assert _asked(asker, 4.0 + BUSY_CALM_S, 60)


def test_unasked_report_is_no_answer() -> None:
    """A report that the controller sends by itself says nothing about queries."""
    assert _asker().answered(Query.POSITION, 100.0) is None


def test_position_later_than_temperature_is_given_up() -> None:
    """A position that takes 0.3 s where a temperature takes 0.02 s, twice in a row, is not asked again."""
    asker = _asker(position=True)
    told = []
    for tenth in range(100):
        query = asker.next_query(tenth / 10)
        if query is not None:
            told.append(asker.answered(query, tenth / 10 + (0.3 if query is Query.POSITION else 0.02)))
    assert [reason for reason in told if reason is not None and "position" in reason]
    assert Query.POSITION not in {query for _, query in _asked(asker, 20, 60)}
    assert _asked(asker, 60, 100)


def test_command_the_controller_does_not_know_is_given_up() -> None:
    """Only the query that is named is dropped, and only when it is one of ours."""
    asker = _asker()
    assert asker.refused('echo:Unknown command: "M155 S1"') is None
    assert "M27" in str(asker.refused('echo:Unknown command: "M27"'))
    assert {query for _, query in _asked(asker, 0, 60)} == {Query.TEMPERATURES}


def test_restart_forgets_what_was_asked() -> None:
    """After a restart no answer is awaited."""
    asker = _asker()
    asker.next_query(0.0)
    asker.restart()
    assert asker.next_query(1.0) is not None
    assert asker.answered(Query.TEMPERATURES, 60.0) is None
