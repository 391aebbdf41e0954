"""A sign of life is given only while fresh samples pass; a real local server is asked; the address never shows."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

import pytest

from connectors.telemetry import Event, LinkChange, Sample, Tick
from monitor.notify.attempt import NO_ANSWER, Letter, Outcome
from monitor.notify.check_in import RETRY_S, CheckIn, fetcher
from monitor.notify.notifier import Notifier
from monitor.notify.plan import NotifyPlan
from tests.notify_examples import Postman, free_port, silent_server, until
from tests.watch_examples import ScriptedStep, sample

EVERY_S = 300.0


@dataclass
class Asked:
    """A server's port, what it answers with, and the paths that it was asked for."""

    port: int
    status: int = 200
    paths: list[str] = field(default_factory=list)

    @property
    def url(self) -> str:
        """Address with a secret in it."""
        return f"http://127.0.0.1:{self.port}/secret-path?key=secret"


@contextmanager
def _server(status: int = 200) -> Iterator[Asked]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            state.paths.append(self.path)
            self.send_response(state.status)
            self.end_headers()

        def log_message(self, *_args: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    state = Asked(server.server_address[1], status)
    thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield state
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def _fetched(url: str) -> Outcome:
    return fetcher(url)(Letter("", "", 1))  # type: ignore[arg-type]  # nothing of it is used


def _tells(check_in: CheckIn, *events: Event) -> None:
    for event in events:
        check_in.take(ScriptedStep(event))


async def test_a_fresh_sample_is_told_every_so_often_and_nothing_else_is() -> None:
    """At once, then every five minutes; ticks and changes of the link are no sign that the rules have run."""
    postman = Postman()
    check_in = CheckIn(postman, EVERY_S)
    _tells(check_in, Tick(0.0), LinkChange(1.0, available=True, reason="opened"), Tick(2.0))
    _tells(check_in, Sample(2.5, {"fed_mm:1": 3.0}))  # without a temperature it tells nothing of the strands
    assert postman.letters == []
    for second in range(3, 3 + 901):
        _tells(check_in, sample(float(second)), Tick(second + 0.5))
    await until(lambda: len(postman.letters) == 4 and not check_in._began_s)
    silent_s = 2000.0
    _tells(check_in, *(Tick(1000.0 + second) for second in range(int(silent_s))))
    _tells(check_in, sample(1000.0 + silent_s))
    await until(lambda: len(postman.letters) == 5)
    assert check_in.notice == ""


async def test_a_failure_is_shown_tried_again_sooner_and_taken_back() -> None:
    """The notifier passes the notice on to the screen."""
    postman = Postman(refusal="refused with status 404")
    check_in = CheckIn(postman, EVERY_S)
    notifier = Notifier(NotifyPlan(check_in=check_in), "bench")
    notifier.take(ScriptedStep(sample(0.0)))
    await until(lambda: notifier.notice == "the check-in fails: refused with status 404; it is tried again")
    postman.refusal = None
    notifier.take(ScriptedStep(sample(RETRY_S - 1.0)))
    assert len(postman.letters) == 1
    notifier.take(ScriptedStep(sample(RETRY_S)))
    await until(lambda: notifier.notice == "")
    assert len(postman.letters) == 2
    await notifier.close()


async def test_one_that_hangs_is_told_and_holds_up_nothing() -> None:
    """Its thread is left alone; few of them may hang at the same time."""
    hanging = Postman(hangs=True)
    check_in = CheckIn(hanging, EVERY_S)
    for second in range(0, 3600, 10):
        _tells(check_in, sample(float(second)))
    assert check_in.notice == f"the check-in fails: {NO_ANSWER}; it is tried again"
    await until(lambda: len(hanging.letters) == 4)
    hanging.go_on.set()
    await until(lambda: check_in.notice == "")


def test_a_real_server_is_asked_for_the_whole_address() -> None:
    """By GET; any answer that is no error will do."""
    with _server() as server:
        assert _fetched(server.url) is None
    assert server.paths == ["/secret-path?key=secret"]


@pytest.mark.parametrize("status", [401, 404, 500])
def test_what_a_server_refuses_is_told_by_its_status(status: int) -> None:
    """Nothing of the address is in it."""
    with _server(status) as server:
        assert _fetched(server.url) == f"refused with status {status}"


def test_a_server_that_is_not_there_or_ends_the_connection_is_told_without_its_address() -> None:
    """Also one that leads elsewhere for ever, and a name that nobody has (RFC 6761: '.invalid' never resolves)."""
    unreached = "it could not be reached, or gave no answer"
    assert _fetched(f"http://127.0.0.1:{free_port()}/secret") == unreached
    assert _fetched("http://nowhere.invalid/secret") == unreached


async def test_a_server_that_never_answers_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """The socket's own time ends it."""
    monkeypatch.setattr("monitor.notify.check_in.SOCKET_TIMEOUT_S", 0.05)
    with silent_server() as (port, _):
        assert _fetched(f"http://127.0.0.1:{port}/secret") == "it could not be reached, or gave no answer"
