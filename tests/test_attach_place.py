"""Where a watch offers itself: who may attach, what is cleared away, and that it goes on where no socket can be."""

import asyncio
import os
import stat
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.attach import client as attached_client
from monitor.attach import place as attach_place
from monitor.attach import screen as attach_screen
from monitor.attach import server as attach_server
from monitor.attach.client import AttachedClient, AttachError
from monitor.attach.wire import Bye
from tests.attach_examples import (
    SESSIONS,
    HeldNight,
    attached,
    offered,
    raw,
    short_directory,
    two_hours,
    until,
)

NOBODY = 65534


@pytest.fixture
def place() -> Iterator[Path]:
    """A directory whose sockets have short enough paths whatever the test is called."""
    yield from short_directory()


@pytest.fixture
def night() -> HeldNight:
    """Two hours of the night, then silence."""
    return two_hours()


async def test_only_the_same_user_may_attach(place: Path, night: HeldNight, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever the kernel says is another user gets one sentence and nothing of the machine."""
    async with offered(SESSIONS[night], place) as server:
        monkeypatch.setattr(attach_screen, "user_at_other_end", lambda _: (1, os.getuid() + 1))
        async with raw(server.path) as other:
            other.greet()
            heard = await other.heard()
        assert [type(message) for message in heard] == [Bye]
        assert "another user" in heard[0].text  # type: ignore[union-attr]  # it is a Bye
        assert server.attached == 0
        monkeypatch.undo()
        monkeypatch.setattr(attached_client, "user_at_other_end", lambda _: (1, os.getuid() + 1))
        assert server.path is not None
        with pytest.raises(AttachError, match="another user's process"):
            await AttachedClient(server.path).connect()


def _mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def _open_to_all(path: Path) -> None:
    for directory in path.parents[:2]:
        directory.chmod(0o755)
    path.chmod(0o666)


@pytest.mark.skipif(os.getuid() != 0, reason="only root can be another user")
async def test_another_user_is_refused_by_the_kernel_and_by_us(place: Path, night: HeldNight) -> None:
    """The modes keep others out; were they opened, the kernel's word on who it is still would."""
    read = "import socket, sys; s = socket.socket(socket.AF_UNIX); s.connect(sys.argv[1]); print(s.recv(999))"

    async def as_nobody() -> tuple[bytes, bytes]:
        other = await asyncio.create_subprocess_exec(
            "/usr/bin/env", "python3", "-c", read, str(server.path), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            user=NOBODY, group=NOBODY, extra_groups=[], env={"PATH": "/usr/bin:/bin"}, cwd="/",
        )  # fmt: skip
        return await other.communicate()

    async with offered(SESSIONS[night], place) as server:
        assert server.path is not None
        assert (_mode(server.path), _mode(place)) == (0o600, 0o700)
        assert b"PermissionError" in (await as_nobody())[1]
        _open_to_all(server.path)
        assert b"only that user may attach" in (await as_nobody())[0]


def _bad(place: Path, trouble: str) -> Path:
    """Make a directory below `place` that no socket can be in."""
    place.mkdir(mode=0o700)
    (place / "file").write_text("")
    (place / "link").symlink_to(place)
    return {"a file": place / "file" / "x", "too long": place / ("x" * 100), "a link": place / "link"}[trouble]


@pytest.mark.parametrize("trouble", ["a file", "too long", "a link"])
async def test_where_no_socket_can_be_the_watch_goes_on_and_says_so(
    place: Path, night: HeldNight, trouble: str
) -> None:
    """A directory that cannot be used is told with the reason; the next one is used, if there is one."""
    bad = _bad(place, trouble)
    session = SESSIONS[night]
    async with offered(session, bad) as server:
        await night.held.wait()
        why = {
            "a file": "Not a directory",
            "too long": "the path of a socket in it is longer than 107 bytes",
            "a link": "it is no directory of your own",
        }
        assert session.notice.startswith(f"no screen can be attached: {bad}: {why[trouble]}")
        assert server.path is None
    other = attach_place.listen("the bench", [bad, place])
    assert other.path.parent == place
    other.leave()


@pytest.mark.skipif(os.getuid() == 0, reason="root may write everywhere")
def test_a_directory_that_may_not_be_written_is_told(place: Path) -> None:
    """The reason is the system's own."""
    place.mkdir(mode=0o500)
    with pytest.raises(attach_place.NotOfferedError, match="Permission denied"):
        attach_place.listen("the bench", [place / "below"])


def test_what_the_dead_left_is_cleared_away_and_the_living_stay(place: Path) -> None:
    """A socket that nobody listens to is removed by whoever looks; another file, and a living watch's, is not."""
    living = attach_place.listen("living", [place])
    dead = attach_place.listen("dead", [place])
    dead.listener.close()
    (place / "notes.sock").write_text("mine")
    (place / "4.coming").write_text("")
    os.utime(place / "4.coming", (0, 0))
    assert attach_place.sockets([place]) == [living.path]
    assert sorted(path.name for path in place.iterdir()) == sorted([living.path.name, "notes.sock"])
    living.leave()
    assert attach_place.sockets([place, place / "none"]) == []


def _vanish(path: Path) -> None:
    path.unlink()
    path.parent.rmdir()


async def test_a_socket_that_vanishes_is_offered_again(
    place: Path, night: HeldNight, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Session managers clear the directory when its owner logs out; the watch makes it anew, and screens stay."""
    monkeypatch.setattr(attach_server, "TEND_S", 0.05)
    async with offered(SESSIONS[night], place) as server, attached(server) as client:
        await until(lambda: server.attached == 1)
        assert server.path is not None
        _vanish(server.path)
        await until(lambda: server.path is not None and server.path.exists())
        async with attached(server) as other:
            await until(lambda: server.attached == 2 and other.latest is not None)
            assert client.ended is None
