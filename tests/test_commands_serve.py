"""`watch --serve` and `attach --serve`: what is told where, and a real browser that looks through both."""

import io
import re
import signal
import socket
import stat
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
import segno

from monitor.cli import main
from monitor.commands.serve_choice import served_words
from monitor.commands.serve_run import Finder
from monitor.serve.address import Listening
from monitor.serve.choice import Choice
from monitor.serve.token import Token
from monitor.serve.words import address, caution, where_to_open
from tests.live_browser import LivePage, live_page
from tests.notify_examples import free_port
from tests.test_commands_attach import PROGRAM, ROOT, SAFETY_S, Place, place
from tests.test_commands_watch import REPORT, Device, _read_until, _watching, device

__all__ = ["device", "place"]

TOKEN = "s3cret-token-of-a-file-11aa-22bb-33cc-44dd"  # noqa: S105 -- invented


def opened(url: str, host: str = "") -> tuple[int, str]:
    """Open an address without keeping cookies: status and text."""
    asked = urllib.request.Request(url, headers={"Host": host} if host else {})  # noqa: S310 -- our own
    try:
        with urllib.request.urlopen(asked, timeout=SAFETY_S) as answer:  # noqa: S310 -- our own
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read().decode()


def test_a_watch_without_a_terminal_is_served_and_tells_its_token_to_no_log(device: Device) -> None:
    """Its lines name a private file that holds the address, for as long as it runs; nothing written holds the token."""
    port = free_port()
    words = ["--record", str(device.recordings), "--serve", str(port)]
    with _watching(device.profile, *words) as process:
        said = _read_until(process, "a browser can look on at")
        found = re.search(rf"http://127\.0\.0\.1:{port}; the address with its token is in (\S+)", said)
        assert found is not None, said
        kept = Path(found[1])
        assert stat.S_IMODE(kept.stat().st_mode) == 0o600
        url = kept.read_text().strip()
        token = url.partition("?token=")[2]
        assert len(token) == 43
        device.says(REPORT)
        said += _read_until(process, "manifold 195 °C")
        assert opened(url)[0] == 200  # no cookies are kept here: the page sends who lacks the pass round once
        assert opened(f"http://127.0.0.1:{port}/")[0] == 401
        assert opened(url, "evil.example")[0] == 403
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=SAFETY_S)
        assert process.returncode == 0
    assert not kept.exists()
    written = [path for path in device.recordings.iterdir() if token in path.read_text(encoding="utf-8")]
    assert (token in said + out + err, written) == (False, [])


@pytest.mark.long
def test_a_port_that_is_taken_ends_no_watch(device: Device) -> None:
    """It is told as a notice, and the machine is watched all the same."""
    with (
        socket.create_server(("127.0.0.1", 0)) as taken,
        _watching(device.profile, "--no-record", "--serve", str(taken.getsockname()[1])) as process,
    ):
        device.says(REPORT)
        _read_until(process, "manifold 195 °C")
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=SAFETY_S)
        assert process.returncode == 0
        assert "no browser can look on: 127.0.0.1 port" in err


@pytest.mark.parametrize(("words", "told"), [
    (["--serve-may-ask"], "--serve-may-ask means nothing without --serve"),
    (["--serve-as", "https://w.example"], "--serve-as means nothing without --serve"),
    (["--serve", "70000"], "there is no port 70000"),
    (["--serve", "garage:80"], "no address of numbers"),
    (["--serve", "--serve-as", "w.example"], "is no address as https://"),
    (["--serve", "--serve-key", "k.pem"], "--serve-key needs --serve-cert"),
    (["--serve", "--serve-cert", "/nowhere/c.pem"], "--serve-cert /nowhere/c.pem: No such file"),
    (["--serve", "--serve-cert", __file__], "--serve-cert"),
    (["--serve", "--serve-token-file", "/nowhere/t"], "/nowhere/t cannot be read"),
])  # fmt: skip
def test_options_that_make_no_sense_are_told(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Before anything is opened, with the option's name; status 2."""
    assert main(["attach", *words]) == 2
    assert told in capsys.readouterr().err


def _choice(host: str, token_file: Path | None = None, public: tuple[str, ...] = ()) -> Choice:
    return Choice(Listening(host, 8642), Token(TOKEN), token_file, public)


def test_what_is_said_of_the_way_there() -> None:
    """The address on a terminal, a file elsewhere, the public name where there is one; plain http where it matters."""
    here = _choice("127.0.0.1")
    assert where_to_open(here, address(here), None) == f"a browser can look on at http://127.0.0.1:8642/?token={TOKEN}"
    assert TOKEN not in where_to_open(here, "", Path("/run/x"))
    filed = _choice("192.168.1.20", Path("/home/me/token"))
    assert where_to_open(filed, "", None).endswith("192.168.1.20:8642/?token=…, with the token of /home/me/token")
    assert [line[:20] for line in caution(filed)] == ["caution: plain http;"]
    assert list(caution(here)) == []
    assert list(caution(_choice("0.0.0.0", public=("https://watch.example",)))) == []  # noqa: S104 -- never listened at
    assert address(_choice("::", public=("https://watch.example",))).startswith("https://watch.example/?token=")
    assert re.match(r"http://[0-9.]+:8642/", address(_choice("0.0.0.0")))  # noqa: S104


def test_a_telephone_reads_the_address_from_the_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The picture is the code of the address, dark on light, with its margin (ISO/IEC 18004).

    Held against the modules of the library that makes codes; that cameras read those is its own matter. An address
    that only this computer reaches has none.
    """
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    for stream in ("sys.stdout", "sys.stderr"):
        monkeypatch.setattr(stream, _Stream(is_terminal=True))
    with served_words(_choice("127.0.0.1")) as told:
        assert len(told) == 1
    choice = _choice("192.168.1.20")
    with served_words(choice) as told:
        picture = [
            line.removeprefix("\x1b[30;107m").removesuffix("\x1b[0m") for line in told if "▀" in line or "▄" in line
        ]
    upper, lower = {"▀", "█"}, {"▄", "█"}
    modules = [[letter in half for letter in line] for line in picture for half in (upper, lower)]
    expected = [[bool(it) for it in row] for row in segno.make_qr(address(choice), error="l").matrix]
    found = [row for row in modules if any(row)]
    assert [row[4:-4] for row in found] == expected
    assert not any(any(row[:4]) or any(row[-4:]) for row in modules)
    assert len(picture[0]) < 80


class _Stream(io.StringIO):
    """Output that is a terminal, or not."""

    def __init__(self, *, is_terminal: bool) -> None:
        super().__init__()
        self._is_terminal = is_terminal

    encoding = "utf-8"

    def isatty(self) -> bool:
        return self._is_terminal


def test_the_token_is_shown_on_a_terminal_and_nowhere_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where output or errors lead elsewhere, a private file has it; where none can be written, it is told so."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    left = tmp_path / "run" / "strandwatch" / "browser-4194999.address"  # beyond the kernel's highest number
    left.parent.mkdir(parents=True)
    left.write_text("left by a watch that was killed")
    for out, err in ((True, True), (True, False), (False, True)):
        monkeypatch.setattr("sys.stdout", _Stream(is_terminal=out))
        monkeypatch.setattr("sys.stderr", _Stream(is_terminal=err))
        with served_words(_choice("127.0.0.1")) as told:
            (kept,) = left.parent.iterdir()
            assert stat.S_IMODE(kept.stat().st_mode) == 0o600
            assert kept.read_text() == f"http://127.0.0.1:8642/?token={TOKEN}\n"
            assert (TOKEN in told[0]) is (out and err)
            assert str(kept) in told[0]
        assert not list(left.parent.iterdir())
    monkeypatch.setattr("monitor.commands.serve_choice.directories", lambda: [Path("/proc/none")])
    with served_words(_choice("127.0.0.1")) as told:
        assert "its token is nowhere, as no private file could be written" in told[0]
    with served_words(None) as told:
        assert told == []


def test_a_watch_that_was_started_anew_is_found_again(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same machine under another process number; one of two cannot be chosen; none is none."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(place.directory))
    monkeypatch.setenv("XDG_STATE_HOME", str(place.directory / "state"))
    directory = place.directory / "strandwatch"
    directory.mkdir(mode=0o700)
    watches = {name: socket.socket(socket.AF_UNIX) for name in ("bench-1", "bench-2", "bench-3", "garage-9")}

    def start(name: str) -> Path:
        watches[name].bind(str(directory / f"{name}.sock"))
        watches[name].listen()
        return directory / f"{name}.sock"

    find, second = Finder(start("bench-1")), directory / "bench-2.sock"
    start("garage-9")
    assert find() == directory / "bench-1.sock"
    watches["bench-1"].close()  # it is killed, and leaves its name
    assert find() is None
    assert (start("bench-2"), find()) == (second, second)
    start("bench-3")
    assert find() == second
    watches["bench-2"].close()
    assert find() == directory / "bench-3.sock"
    for each in watches.values():
        each.close()


@pytest.fixture
def page(tmp_path: Path) -> Iterator[LivePage]:
    """A browser with an empty page."""
    with live_page(tmp_path) as live:
        yield live


def _serving(place: Place, *words: str) -> str:
    """Serve the watch that runs; the address to open."""
    token = place.directory / "token"
    token.write_text(TOKEN)
    token.chmod(0o600)
    port = free_port()
    serving = subprocess.Popen(  # noqa: S603 -- our own interpreter
        [*PROGRAM, "attach", "--serve", str(port), "--serve-token-file", str(token), *words], env=place.environ,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, cwd=ROOT,
    )  # fmt: skip
    place.started.append(serving)
    assert serving.stdout is not None
    assert b"with the token of" in serving.stdout.readline()
    assert b"Ctrl-C ends this" in serving.stdout.readline()
    end = time.monotonic() + SAFETY_S
    while True:
        try:
            assert opened(f"http://127.0.0.1:{port}/")[0] == 401
        except urllib.error.URLError:
            assert time.monotonic() < end
            time.sleep(0.05)
        else:
            return f"http://127.0.0.1:{port}/?token={TOKEN}"


def _tap(page: LivePage, label: str) -> None:
    page.until(f"[...document.querySelectorAll('button')].some(it => it.innerText.startsWith('{label}'))")
    page.value(f"[...document.querySelectorAll('button')].find(it => it.innerText.startsWith('{label}')).click()")


HOSTILE = "<img src=x onerror=hit=2><script>hit=1</script>&lt;"
_SHOWN = f"""(() => {{
  const hostile = "{HOSTILE}", count = (those) => document.querySelectorAll(those).length, keys = [["k", hostile, ""]];
  take({{size: [80, 1], rows: [[0, hostile, 9, " input 4 ", 0, "中", 64]], title: hostile, keys}});
  const shown = document.querySelector("#screen");
  const told = {{hit: typeof hit, elements: count("#screen img, script:not([src]), #keys img"),
    wide: shown.querySelector("u").textContent, text: shown.innerText}};
  return told;
}})()"""
SCREEN = "document.querySelector('#screen').innerText"
STATE = "document.querySelector('#state').innerText"


def test_a_browser_shows_the_watch_takes_keys_and_says_when_it_is_gone(place: Place, page: LivePage) -> None:
    """On a telephone: the overview, a page by touch and one by key, turned round; killed, it says so within seconds.

    Nothing is asked of any other place, nothing is complained of, and the address has lost its token.
    """
    demo = place.demo("left-idle", "--speed", "60")
    url = _serving(place)
    page.size(390, 844, phone=True)
    page.open(url)
    page.until(f"{SCREEN}.includes('hot path') && {SCREEN}.includes('left, at least')")
    assert "token" not in page.value("location.href")
    assert page.value("document.cookie") == ""  # HttpOnly: no script can read it
    _tap(page, "?")
    page.until(f"{SCREEN}.includes('cautions')")
    page.press("Escape")
    page.until(f"{SCREEN}.includes('hot path')")
    _tap(page, "/")
    page.ask("Input.insertText", text="coal")
    page.until(f"{SCREEN}.includes('input 5') && {SCREEN}.includes('find: coal')")
    page.press("Escape")
    narrow = page.value("document.documentElement.dataset.size")
    page.size(844, 390, dark=True, phone=True)
    page.until(f"document.documentElement.dataset.size !== '{narrow}' && {SCREEN}.includes('hot path')")
    widths = page.value("[...document.querySelectorAll('#screen > div')].map(it => it.scrollWidth - it.clientWidth)")
    assert max(widths) == 0
    asked = {it["params"]["request"]["url"] for it in page.events if it["method"] == "Network.requestWillBeSent"}
    assert {each.split("/")[2] for each in asked} == {url.split("/")[2]}
    bad = [it for it in page.events if it["method"] in {"Log.entryAdded", "Runtime.exceptionThrown"}]
    assert bad == []
    demo.kill()
    begin_s = time.monotonic()
    page.until(f"{STATE}.includes('NO WATCH since')")
    assert time.monotonic() - begin_s < 5.0
    assert "gone without a word" in " ".join(page.value(SCREEN).split())
    assert page.value("document.title").startswith("LOST ENDED")
    assert page.value("document.querySelector('#keys').inert") is True
    place.demo("left-idle", "--speed", "60")
    page.until(f"document.querySelector('#state').hidden && {SCREEN}.includes('hot path')")


def test_hostile_words_are_letters_in_the_browser_and_foreign_pages_stay_out(place: Place, page: LivePage) -> None:
    """Markup that came by the websocket runs nothing; a page of another origin cannot open, frame or read ours."""
    place.demo("left-idle", "--speed", "60")
    url = _serving(place)
    page.open(url)
    page.until(f"{SCREEN}.includes('hot path')")
    own = page.value("location.href")
    shown = page.value(_SHOWN)
    assert (shown["hit"], shown["elements"], shown["wide"]) == ("undefined", 0, "中")
    assert shown["text"].startswith(f"{HOSTILE} input 4")
    page.open(_of_another_site(place, own))
    page.until("window.told && window.told.length === 2")
    assert page.value("window.told.sort().join()") == "fetch refused,websocket refused"
    page.until_complained("frame-ancestors")
    _tap_link(page)
    page.until(f"location.search === '?again' && {SCREEN}.includes('hot path')")  # led here, and has the pass


def _of_another_site(place: Place, own: str) -> str:
    path = place.directory / "evil.html"
    path.write_text(
        f"""<!doctype html><iframe src="{own}"></iframe><a href="{own}">look</a><script>
        window.told = [];
        fetch("{own}", {{credentials: "include"}}).then(() => told.push("fetched"), () => told.push("fetch refused"));
        const line = new WebSocket("{own.replace("http", "ws")}live");
        line.onopen = () => told.push("websocket open");
        line.onerror = () => told.push("websocket refused");
        </script>""",
        encoding="utf-8",
    )
    return path.as_uri()


def _tap_link(page: LivePage) -> None:
    page.value("document.querySelector('a').click()")
