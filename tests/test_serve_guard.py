"""Who is let in to the page of a watch: Host, Origin, token and pass, as pure decisions."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.serve.address import Listening, authority, listening, origins, public_origin
from monitor.serve.guard import Asked, LetIn, OnceMore, Refused, Wanted, decide
from monitor.serve.replies import cookie_name, policy, reply
from monitor.serve.token import TOKEN_BYTES, Token, TokenError, new_token, read_token

TOKEN = Token("a-token-that-nobody-can-guess-at-all-1234")
HOST, ORIGIN, COOKIE = "127.0.0.1:8642", "http://127.0.0.1:8642", cookie_name(8642)
OURS = (ORIGIN, "http://localhost:8642", "https://watch.example")
PASS = f"{COOKIE}={TOKEN.pass_text}"
PAGE = Asked("GET", TOKEN.path, [HOST], [], [PASS])
LIVE = Asked("GET", TOKEN.path + "live", [HOST], [ORIGIN], [PASS], is_upgrade=True)
KNOCK = Asked("GET", f"/?token={TOKEN.text}", [HOST])


def status(asked: Asked) -> int:
    """What a request comes to: 0 where it is let in."""
    decision = decide(asked, TOKEN, OURS, COOKIE)
    return decision.status.value if isinstance(decision, Refused) else 0


def test_who_knows_the_token_is_given_a_pass_and_sent_to_an_address_without_it() -> None:
    """The redirect's address and its cookie hold nothing of the token.

    HttpOnly and Path: RFC 6265, sections 4.1.2.4 and 4.1.2.6. SameSite: draft-ietf-httpbis-rfc6265bis.
    """
    decision = decide(KNOCK, TOKEN, OURS, COOKIE)
    assert decision == LetIn(ORIGIN)
    answer = reply(decision, TOKEN, COOKIE)
    assert (answer.status, answer.headers["Location"], answer.body) == (303, TOKEN.path, b"")
    flags = answer.headers["Set-Cookie"].split("; ")
    assert flags == [PASS, f"Path={TOKEN.path}", "HttpOnly", "SameSite=Strict"]
    assert TOKEN.text not in str(answer)
    by_tls = replace(KNOCK, hosts=["watch.example"])
    assert "; Secure" in reply(decide(by_tls, TOKEN, OURS, COOKIE), TOKEN, COOKIE).headers["Set-Cookie"]


def test_who_holds_the_pass_gets_the_page_and_the_websocket() -> None:
    """Every part of the page, and the websocket, for each of the names that can be ours."""
    assert decide(PAGE, TOKEN, OURS, COOKIE) == Wanted("", ORIGIN)
    assert decide(replace(PAGE, target=TOKEN.path + "screen.js"), TOKEN, OURS, COOKIE) == Wanted("screen.js", ORIGIN)
    assert decide(LIVE, TOKEN, OURS, COOKIE) == Wanted("live", ORIGIN)
    by_proxy = replace(LIVE, hosts=["Watch.example"], origins=["https://watch.example"])
    assert decide(by_proxy, TOKEN, OURS, COOKIE) == Wanted("live", "https://watch.example")


@pytest.mark.parametrize("changed", [
    replace(KNOCK, target="/"),
    replace(KNOCK, target="/?token="),
    replace(KNOCK, target=f"/?token={TOKEN.text}x"),
    replace(KNOCK, target=f"/?token={TOKEN.text[:-1]}"),
    replace(KNOCK, target="/?token=wrong&token=" + TOKEN.text),
    replace(KNOCK, target="/?" + "a=1&" * 9 + f"token={TOKEN.text}"),
    replace(KNOCK, target=f"/?token={TOKEN.pass_text}"),
    replace(KNOCK, target="/?token=%ff%00"),
    replace(KNOCK, target=f"/{TOKEN.text}"),
    replace(KNOCK, target="*"),
    replace(PAGE, target=TOKEN.path + "?again", cookies=[]),
    replace(PAGE, target=TOKEN.path + "screen.js", cookies=[]),
    replace(PAGE, target=TOKEN.path + "?again", cookies=[f"{COOKIE}={TOKEN.text}"]),
    replace(PAGE, target=TOKEN.path + "?again", cookies=[f"{COOKIE}={new_token().pass_text}"]),
    replace(PAGE, target=TOKEN.path + "?again", cookies=[f"strandwatch-1={TOKEN.pass_text}"]),
    replace(PAGE, target="/", cookies=[PASS]),
    replace(PAGE, target="/screen.js"),
    replace(PAGE, target=new_token().path),
    replace(LIVE, cookies=[]),
    replace(LIVE, cookies=[f"{COOKIE}="]),
    replace(LIVE, target="/live"),
    replace(LIVE, target=TOKEN.path),
    replace(LIVE, target=f"/?token={TOKEN.text}"),
])  # fmt: skip
def test_who_neither_knows_the_token_nor_holds_the_pass_is_refused_alike(changed: Asked) -> None:
    """401 and one text, whatever it was that was wrong, so that nothing can be learnt from it."""
    decision = decide(changed, TOKEN, OURS, COOKIE)
    assert isinstance(decision, Refused)
    assert (decision.status, decision.text) == (401, decide_text())


def decide_text() -> str:
    """The one text."""
    decision = decide(replace(KNOCK, target="/"), TOKEN, OURS, COOKIE)
    assert isinstance(decision, Refused)
    return decision.text


@pytest.mark.parametrize("host", [
    "evil.example", "evil.example:8642", "127.0.0.1", "127.0.0.1:8643", "127.0.0.1:8642.evil.example", "192.0.2.7:8642",
    "", "watch.example:443", "localhost", "user@127.0.0.1:8642", "127.0.0.1:8642 ",
])  # fmt: skip
def test_a_name_that_is_not_ours_is_refused_even_with_token_and_pass(host: str) -> None:
    """Names that others can make lead to us (DNS rebinding) reach nothing."""
    assert [status(replace(each, hosts=[host])) for each in (KNOCK, PAGE, LIVE)] == [403, 403, 403]


@pytest.mark.parametrize("hosts", [[], [HOST, HOST], [HOST, "evil.example"]])
def test_a_request_names_its_host_exactly_once(hosts: list[str]) -> None:
    """RFC 9112, section 3.2: none, or more than one, is an error."""
    assert status(replace(PAGE, hosts=hosts)) == 403


@pytest.mark.parametrize("told", [
    ["http://evil.example"], ["null"], ["http://127.0.0.1:8643"], ["https://127.0.0.1:8642"], ["http://localhost:8642"],
    ["https://watch.example"], [ORIGIN, ORIGIN], [ORIGIN + "/"], [""],
])  # fmt: skip
def test_another_page_cannot_open_the_websocket(told: list[str]) -> None:
    """A websocket knows no same-origin policy of its own (RFC 6455, section 10.2): we compare."""
    assert status(replace(LIVE, origins=told)) == 403


def test_a_websocket_without_an_origin_is_no_page_of_ours() -> None:
    """Every browser names it."""
    assert status(replace(LIVE, origins=[])) == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "HEAD", "OPTIONS", "get", ""])
def test_nothing_but_get_is_answered(method: str) -> None:
    """There is nothing that could be sent to the page."""
    assert status(replace(PAGE, method=method)) == 405


def test_where_another_site_led_here_the_page_asks_once_more_by_itself() -> None:
    """Browsers keep a Strict cookie to themselves when another site led to the page; its own request then holds it."""
    decision = decide(replace(PAGE, cookies=[]), TOKEN, OURS, COOKIE)
    assert decision == OnceMore()
    assert b'url=?again"' in reply(decision, TOKEN, COOKIE).body
    assert status(replace(PAGE, target=TOKEN.path + "?again", cookies=[])) == 401  # no second time: no loop
    assert status(replace(PAGE, target=TOKEN.path + "?again")) == 0


@given(st.text(st.characters(max_codepoint=255), max_size=60), st.lists(st.text(max_size=30), max_size=3))
def test_no_request_raises_and_none_gets_in_by_chance(target: str, headers: list[str]) -> None:
    """Whatever stands in it, a request without the secret is refused."""
    for asked in (
        Asked("GET", target, headers, headers, headers, is_upgrade=False),
        Asked("GET", "/" + target, [HOST], [], headers),
        Asked("GET", TOKEN.path + target, [HOST], [ORIGIN], headers, is_upgrade=True),
    ):
        assert isinstance(decide(asked, TOKEN, OURS, COOKIE), Refused | OnceMore)


def test_a_token_is_long_new_at_each_start_and_shows_nowhere_by_itself() -> None:
    """32 random bytes; path and pass tell nothing of it and differ from each other."""
    one, two = new_token(), new_token()
    assert TOKEN_BYTES == 32
    assert len(one.text) == 43  # 32 bytes in base64 without padding (RFC 4648, section 5)
    assert len({one.text, two.text, one.pass_text, two.pass_text, one.path, two.path}) == 6
    assert one.text not in repr(one) + str(one)
    assert re.fullmatch(r"/[A-Za-z0-9_-]{22}/", one.path)


def test_a_token_from_a_file_must_be_private_and_hard_to_guess(tmp_path: Path) -> None:
    """Read by its owner alone, one line, 32 characters or more; the complaint holds nothing of it."""
    file = tmp_path / "token"
    file.write_text("x" * 16 + "y" * 16 + "\n")
    file.chmod(0o600)
    assert read_token(file) == Token("x" * 16 + "y" * 16)
    for mode in (0o640, 0o604, 0o660):
        file.chmod(mode)
        with pytest.raises(TokenError, match="chmod 600") as told:
            read_token(file)
        assert "xxx" not in str(told.value)
    file.chmod(0o600)
    for bad in ("short", "", "z" * 201, "z" * 40 + " z", "z" * 40 + "\nz", "ü" * 40, "z" * 40 + "&a=b"):
        file.write_text(bad)
        with pytest.raises(TokenError, match="does not hold a token") as told:
            read_token(file)
        assert "zzz" not in str(told.value)
    for no_file in (tmp_path, tmp_path / "none"):
        with pytest.raises(TokenError, match=r"plain file|cannot be read"):
            read_token(no_file)


def test_a_token_in_a_named_pipe_is_not_waited_for(tmp_path: Path) -> None:
    """It is no plain file."""
    import os  # noqa: PLC0415 -- here only

    os.mkfifo(tmp_path / "pipe", 0o600)
    with pytest.raises(TokenError, match="plain file"):
        read_token(tmp_path / "pipe")


@pytest.mark.parametrize(("text", "at"), [
    ("8700", Listening("127.0.0.1", 8700)),
    ("192.168.1.20", Listening("192.168.1.20", 8642)),
    ("192.168.1.20:80", Listening("192.168.1.20", 80)),
    ("localhost:8700", Listening("localhost", 8700)),
    ("[::]:8700", Listening("::", 8700)),
    ("[::1]", Listening("::1", 8642)),
])  # fmt: skip
def test_where_to_listen_is_read_from_a_few_words(text: str, at: Listening) -> None:
    """HOST, PORT or both; this computer alone unless another address is named."""
    assert listening(text) == at
    assert at.is_own_computer_only is (at.host in {"127.0.0.1", "localhost", "::1"})


@pytest.mark.parametrize(
    "text", ["0", "65536", "99999999999", "name.example:80", "::1", "1.2.3.4:x", "", ":80", "[a]:1", "²"]
)
def test_what_cannot_be_listened_at_is_told(text: str) -> None:
    """No port, a port out of range, a name instead of an address."""
    with pytest.raises(ValueError, match=r"port|HOST|address"):
        listening(text)


@pytest.mark.parametrize("text", [
    "watch.example", "ftp://watch.example", "https://", "https://a b", "https://u@watch.example", "https://w.example/x",
    "https://w.example?x", "https://w.example:0x", "javascript://x", "https://w.example#x", "https://w.example:99999",
])  # fmt: skip
def test_a_public_address_that_is_none_is_told(text: str) -> None:
    """It is a scheme and a name, and nothing more."""
    with pytest.raises(ValueError, match=r"address|end with|[Pp]ort"):
        public_origin(text)


def test_origins_follow_the_address_at_which_a_connection_came_in() -> None:
    """The address of numbers that was called; 'localhost' on this computer alone; what the owner gave."""
    assert origins(("127.0.0.1", 8642), "http", ()) == (ORIGIN, "http://localhost:8642")
    assert origins(("192.168.1.20", 80), "http", ()) == ("http://192.168.1.20",)
    assert origins(("::1", 8642), "http", ()) == ("http://[::1]:8642", "http://localhost:8642")
    assert origins(("::ffff:192.168.1.20", 443), "https", ("http://a:1",)) == ("https://192.168.1.20", "http://a:1")
    assert authority("fe80::1", 8642, "http") == "[fe80::1]:8642"


class _Links(HTMLParser):
    """Gathers what a page would load, run or style by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.loaded: list[str] = []
        self.inline: list[str] = []
        self._in = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._in = tag
        told = dict(attrs)
        self.loaded += [str(told[name]) for name in ("src", "href", "action", "data", "srcset") if name in told]
        self.inline += [name for name in told if name == "style" or name.startswith("on")]

    def handle_data(self, data: str) -> None:
        if self._in in {"script", "style"} and data.strip():
            self.inline.append(data)


def test_the_page_loads_nothing_from_outside_and_runs_nothing_inline() -> None:
    """Its script, style and icon lie beside it; none of them names another place, and none is written into it."""
    static = files("monitor.serve") / "static"
    links = _Links()
    links.feed((static / "page.html").read_text(encoding="utf-8"))
    assert sorted(links.loaded) == ["icon.svg", "screen.css", "screen.js"]
    assert links.inline == []
    for name in ("page.html", "screen.css", "screen.js", "icon.svg"):
        text = (static / name).read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")  # a name, no place
        assert not re.search(r"https?://|//[a-z]+\.|url\(|@import|eval\(|innerHTML|outerHTML|document\.write", text), (
            name
        )


def test_every_answer_forbids_what_a_page_need_not_do() -> None:
    """Kept, framed, guessed at, fetched by others, told to others: none of it; nothing loads from elsewhere.

    Content Security Policy Level 3 (W3C), Fetch (WHATWG), RFC 9111, section 5.2.2.5.
    """
    for asked in (KNOCK, PAGE, replace(PAGE, cookies=[]), replace(PAGE, target="/"), replace(PAGE, method="PUT")):
        headers = reply(decide(asked, TOKEN, OURS, COOKIE), TOKEN, COOKIE).headers
        assert headers["Cache-Control"] == "no-store"
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["X-Frame-Options"] == "DENY"
        assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
        directives = dict(part.split(" ", 1) for part in headers["Content-Security-Policy"].split("; "))
        assert directives["default-src"] == directives["frame-ancestors"] == directives["form-action"] == "'none'"
        assert "unsafe" not in headers["Content-Security-Policy"]
    assert "connect-src 'self' ws://127.0.0.1:8642;" in policy(ORIGIN)
    assert "connect-src 'self' wss://watch.example;" in policy("https://watch.example")


@pytest.mark.parametrize(
    "name", ["../page.html", "static/", "page.html", "screen.js.map", "%2e%2e/x", ".", "/etc/passwd"]
)
def test_there_is_no_directory_and_no_way_out_of_it(name: str) -> None:
    """Four parts by name, and nothing else, even for who is let in."""
    decision = decide(replace(PAGE, target=TOKEN.path + name), TOKEN, OURS, COOKIE)
    assert reply(decision, TOKEN, COOKIE).status == 404
