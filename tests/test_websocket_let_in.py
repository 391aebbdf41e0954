"""The websocket link and who lets it in: tokens, redirects, certificates, against real servers on loopback."""

import asyncio
import ssl
from http import HTTPStatus
from pathlib import Path
from typing import Any

import pytest
import trustme
from websockets.asyncio.server import ServerConnection
from websockets.http11 import Request, Response

from connectors.telemetry import Malformed
from tests.websocket_examples import full
from tests.websocket_server import (
    TOKEN,
    failure,
    make,
    serving,
    started,
    stays,
    until,
    until_sample,
    until_told,
)


def gate(status: HTTPStatus, token: str | None = None, **headers: str) -> Any:  # noqa: ANN401 -- the server's own type
    """Answer of a server that lets only a token in."""

    def check(connection: ServerConnection, request: Request) -> Response | None:
        if token is not None and request.headers.get("Authorization") == f"Bearer {token}":
            return None
        response = connection.respond(status, "no\n")
        for name, value in headers.items():
            response.headers[name] = value
        return response

    return check


def token_file(tmp_path: Path, token: str) -> str:
    """A file that holds a token."""
    path = tmp_path / "token"
    path.write_text(token)
    path.chmod(0o600)
    return str(path)


@pytest.mark.parametrize("status", [HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN])
async def test_token(tmp_path: Path, status: HTTPStatus) -> None:
    """The right token opens; a wrong or missing one fails with what to do and without showing it."""
    async with serving(stays, process_request=gate(status, TOKEN)) as (_, url):
        async with started(make(url, token_file=token_file(tmp_path, TOKEN))) as events:
            await until_sample(events)
        wrong = await failure(make(url, token_file=token_file(tmp_path, "wrong-" + TOKEN)))
        missing = await failure(make(url))
    assert f"the server does not let us in (HTTP {status})" in wrong
    assert "is the token in" in wrong
    assert TOKEN not in wrong
    assert "give link.token_file or link.token_env" in missing


async def test_token_that_the_server_repeats(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A token that comes back from the server shows in no event, no log and no representation."""
    caplog.set_level("DEBUG")

    async def handler(connection: ServerConnection) -> None:
        await connection.send(f"hello {TOKEN}")
        await connection.close(4000, f"bye {TOKEN}")

    async with serving(handler) as (_, url):
        link = make(url, token_file=token_file(tmp_path, TOKEN))
        async with started(link) as events:
            told = await until(events, lambda e: isinstance(e, Malformed))
            lost = await until_told(events, "code 4000")
    assert isinstance(told, Malformed)
    assert told.excerpt == "hello (withheld)"
    assert "said: bye (withheld)" in lost.reason
    assert TOKEN not in repr(link)
    assert TOKEN not in "".join(record.getMessage() for record in caplog.records if "server" not in record.name)


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (HTTPStatus.NOT_FOUND, "no websocket there (HTTP 404): check the path"),
        (HTTPStatus.SERVICE_UNAVAILABLE, "not ready (HTTP 503)"),
    ],
)
async def test_other_answers(status: HTTPStatus, words: str) -> None:
    """An answer that is no websocket fails at the start with what it means."""
    async with serving(stays, process_request=gate(status)) as (_, url):
        assert words in await failure(make(url))


async def test_redirects_are_not_followed(tmp_path: Path) -> None:
    """A redirect could carry the token to another host: it ends the attempt."""
    visits: list[str] = []

    async def other(connection: ServerConnection) -> None:
        visits.append("visited")
        await connection.wait_closed()

    async with serving(other) as (_, elsewhere):
        answer = gate(HTTPStatus.FOUND, Location=elsewhere)
        async with serving(stays, process_request=answer) as (_, url):
            link = make(url, token_file=token_file(tmp_path, TOKEN), auth_header="X-Key")
            assert "put the final address into link.url" in await failure(link)
    assert visits == []


def tls_server(authority: trustme.CA, name: str = "localhost") -> ssl.SSLContext:
    """Certificate of a server, signed by `authority`."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(name).configure_cert(context)
    return context


async def test_own_authority(tmp_path: Path) -> None:
    """TLS with a certificate of the owner's own authority works; without trust in it, or by another name, it fails."""
    authority, other = trustme.CA(), trustme.CA()
    own, strange = str(tmp_path / "own.pem"), str(tmp_path / "other.pem")
    authority.cert_pem.write_to_path(own)
    other.cert_pem.write_to_path(strange)
    async with serving(stays, ssl=tls_server(authority)) as (_, url):
        async with started(make(url, ca_file=own)) as events:
            await until_sample(events)
        assert "is link.ca_file the authority that signed it?" in await failure(make(url, ca_file=strange))
        assert "give the authority's certificate in link.ca_file" in await failure(make(url, wait_for_server=True))
    async with serving(stays, ssl=tls_server(authority, "elsewhere.example")) as (_, url):
        assert "certificate is not trusted" in await failure(make(url, ca_file=own))


async def test_certificate_that_changes_in_mid_watch(tmp_path: Path) -> None:
    """The server comes back with a certificate of somebody else: told, nothing is taken from it; later its own is."""
    authority, other = trustme.CA(), trustme.CA()
    own = str(tmp_path / "own.pem")
    authority.cert_pem.write_to_path(own)
    visits = 0

    async def stranger(connection: ServerConnection) -> None:
        nonlocal visits
        visits += 1
        await connection.send(full({"heat": {"now": 20.0}}))

    async with serving(stays, ssl=tls_server(authority)) as (server, url):
        port = server.sockets[0].getsockname()[1]
        async with started(make(url, ca_file=own, token_file=token_file(tmp_path, TOKEN))) as events:
            await until_sample(events)
            server.close()
            await server.wait_closed()
            async with serving(stranger, port, ssl=tls_server(other)):
                told = await until_told(events, "certificate is not trusted")
            assert not told.available
            async with serving(stays, port, ssl=tls_server(authority)):
                await until_told(events, "connected to")
                assert (await until_sample(events)).values["temp_c:manifold"] == 210.5
    assert visits == 0


async def test_tls_where_there_is_none() -> None:
    """A wss:// address for a port that speaks plain ws:// is told as such, and something that is no websocket too."""

    async def talks(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 good evening\r\n\r\n")
        writer.close()

    async with serving(stays) as (_, url):
        assert "does this port speak wss://, or plain ws://?" in await failure(make(url.replace("ws://", "wss://")))
    async with await asyncio.start_server(talks, "127.0.0.1", 0) as server:
        url = f"ws://127.0.0.1:{server.sockets[0].getsockname()[1]}/"
        assert "not as a websocket" in await failure(make(url))
