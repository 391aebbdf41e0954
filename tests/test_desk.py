"""The desk: every key on every page, the search, and strings that would like to be more than text."""

import unicodedata
from dataclasses import replace

import pytest
from rich.cells import cell_len

from connectors.clean_text import clean_text
from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Sample, Tick
from monitor.config import demo_profile
from monitor.core.alert_types import AlertState, RequestKind
from monitor.core.assessment import Activity, Assessment
from monitor.core.engine import Engine
from monitor.core.span import Span
from monitor.core.stall_findings import Detector, StallFinding, StallPattern
from monitor.replay.player import Player
from monitor.tui.ahead.page import verdict
from monitor.tui.desk import Desk
from monitor.tui.keys import KEYS, REPLAY_KEYS, deeds
from monitor.tui.pages import Page
from monitor.tui.replay_desk import ReplayDesk
from tests import screen_samples as samples
from tests.screen_samples import FakeWatch
from tests.test_replay_player import left_idle

SIZES = ((1, 1), (20, 6), (60, 15), (80, 24), (120, 40), (250, 70))
HOSTILE = (
    "\x1b]0;owned\x07\x1b[2J\x1b[31mred\x1b[0m",
    "a\u202etxt.exe\u2066b\u200b\u200d\ufeff",
    "e" + "\u0301" * 400,
    "炭" * 300,
    "[bold red on white]markup[/] [@click=app.bell]x[/]",
    "<script>alert(1)</script> & '\"",
    "\t\r\n\x00\x9b\x85",
    "𓀀🧵👩‍🔧" * 50,
    "",
)


def _desk(latest: Assessment | None = None) -> tuple[Desk, FakeWatch]:
    watch = FakeWatch(samples.troubled() if latest is None else latest)
    desk = Desk(watch, monotonic=lambda: 0.0)
    desk.take_newest()
    return desk, watch


def _text(desk: Desk, width: int = 80, height: int = 24) -> str:
    return "\n".join("".join(span.text for span in line) for line in desk.lines(width, height))


def _replay_desk() -> ReplayDesk:
    desk = ReplayDesk(Player(left_idle(), "a recording", speed=60.0, clock=lambda: 0.0))
    desk.take_newest()
    return desk


def _pressable() -> list[str]:
    return sorted({name for key in (*KEYS, *REPLAY_KEYS) for name in key.keys})


def test_every_deed_of_the_tables_is_one_of_the_desks_and_the_other_way_round() -> None:
    """No key leads nowhere, and nothing can be done without a key."""
    names = {deed.partition("(")[0] for deed in deeds()}
    assert names == _replay_desk().deeds().keys()


@pytest.mark.parametrize("page", list(Page))
@pytest.mark.parametrize("key", _pressable())
def test_every_key_on_every_page_leaves_a_whole_screen(key: str, page: Page) -> None:
    """Live and in a replay, with and without data: nothing raises, and every line is there."""
    for desk in (_desk()[0], Desk(FakeWatch()), _replay_desk()):
        desk.change(page=page, helped=Page.TRENDS)
        desk.press(key)
        desk.take_newest()
        assert len(desk.lines(80, 24)) == 24


@pytest.mark.parametrize(
    ("key", "page", "words"),
    [
        ("a", Page.ALERTS, "story"),
        ("p", Page.PATH, "glass transition"),
        ("4", Page.STRAND, "4 chalk detail (demo-chalk)"),
        ("v", Page.TRENDS, "trends"),
        ("c", Page.AHEAD, "to come"),
        ("?", Page.HELP, "cautions"),
    ],
)
def test_a_key_turns_to_a_page_and_back(key: str, page: Page, words: str) -> None:
    """The same key again leads back to the overview, and so does Esc."""
    desk, _ = _desk()
    for back in (key, "escape"):
        desk.press(key)
        assert desk.view.page is page
        assert words in _text(desk, 120, 40)
        desk.press(back)
        assert desk.view.page is Page.WATCH


def test_help_is_about_the_page_it_was_opened_from_and_leads_back_to_it() -> None:
    """On the page of trends it names the keys that zoom; from there Esc leads back to the trends."""
    desk, _ = _desk()
    desk.press("v")
    desk.press("?")
    assert "closer; x: wider" in _text(desk)
    desk.press("escape")
    assert desk.view.page is Page.TRENDS
    desk.press("c")
    desk.press("?")
    assert "closer; x: wider" not in _text(desk)


def test_tab_goes_round_the_inputs() -> None:
    """From the last to the first, and back the other way; a number goes straight there."""
    desk, _ = _desk()
    desk.press("6")
    desk.press("tab")
    assert desk.view.input == 1
    desk.press("shift+tab")
    assert desk.view.input == 6
    desk.press("3")
    assert (desk.view.page, desk.view.input) == (Page.STRAND, 3)
    desk.press("9")
    assert (desk.view.page, desk.view.input) == (Page.STRAND, 3)  # there is no input 9


def test_on_a_strands_page_keys_mean_its_own_alerts_alone() -> None:
    """The ALARM of input 4 is the most urgent; looking at input 2, k tells that its own alert was seen."""
    desk, watch = _desk()
    desk.press("2")
    desk.press("k")
    (kind, alert_id, _, _) = watch.asked[0]
    assert kind is RequestKind.ACKNOWLEDGE
    assert alert_id == next(alert.id for alert in samples.troubled().alerts if alert.input == 2)
    desk.press("5")  # no alert of its own
    desk.press("k")
    assert len(watch.asked) == 1


@pytest.mark.parametrize("key", ["v", "?"])
def test_where_only_the_most_urgent_alert_is_shown_keys_mean_that_one(key: str) -> None:
    """An alert marked elsewhere is not acknowledged unseen."""
    desk, watch = _desk()
    desk.press("down")
    desk.press(key)
    desk.press("k")
    assert watch.asked[0][1] == samples.troubled().alerts[0].id


def test_a_question_takes_every_key_until_it_is_answered_or_given_up() -> None:
    """No key acknowledges or leaves by chance while the owner is asked why."""
    desk, watch = _desk()
    for given_up in ("k", "q", "x", "escape"):
        desk.press("s")
        assert desk.view.question is not None
        desk.press(given_up)
        assert desk.view.question is None
    assert watch.asked == []
    assert not desk.is_left


def test_a_search_leads_to_pages_inputs_and_alerts() -> None:
    """A few letters of any words, in any order; arrows choose among what fits, Enter goes, Esc gives up."""
    desk, _ = _desk()
    for typed, page, number in (("mos 3", Page.STRAND, 3), ("come", Page.AHEAD, 3), ("held back ones", Page.ALERTS, 3)):
        desk.press("/")
        for letter in typed:
            desk.press(letter)
        assert f"find: {typed}_" in _text(desk)
        desk.press("enter")
        assert (desk.view.page, desk.view.input) == (page, number)
    desk.press("/")
    for key in ("z", "z", "y", "z", "backspace", "enter"):
        desk.press(key)
    assert desk.view.finding is None
    assert desk.view.page is Page.ALERTS  # nothing fits, nothing happens
    desk.press("/")
    desk.press("q")
    desk.press("escape")
    assert (desk.view.finding, desk.is_left) == (None, False)


def test_a_search_finds_an_alert_and_marks_it() -> None:
    """The second place that fits is reached with the arrow, and the alert it names is the one that is marked."""
    desk, _ = _desk()
    desk.press("/")
    for letter in "warning":
        desk.press(letter)
    assert desk.view.finding is not None
    second = desk.view.finding.fitting[1]
    desk.press("down")
    desk.press("enter")
    assert desk.view.page is Page.ALERTS
    assert desk.view.marked is not None
    assert desk.view.marked.id == second.alert_id


@pytest.mark.parametrize("typed", ["", "warning", "zzz"])
@pytest.mark.parametrize("size", SIZES)
def test_a_search_fits_every_size(typed: str, size: tuple[int, int]) -> None:
    """Many places, few or none: as many lines as there are, none too wide."""
    desk, _ = _desk()
    desk.press("/")
    for letter in typed:
        desk.press(letter)
    lines = desk.lines(*size)
    assert len(lines) == size[1]
    assert max(sum(cell_len(span.text) for span in line) for line in lines) <= size[0]


def _hostile(text: str) -> Assessment:
    """A machine that calls everything by the same name, as it comes through the door for outside text."""
    name = clean_text(text)
    calm = samples.troubled()
    return replace(
        calm,
        machine=name,
        link_reason=name,
        strands=tuple(replace(it, label=name, material=name, stand_in=name, doubt=name) for it in calm.strands),
        alerts=tuple(replace(it, text=name, action=name, subject=name) for it in calm.alerts),
        zones=tuple(replace(it, name=name) for it in calm.zones),
        walls=tuple(replace(it, sensor=name) for it in calm.walls),
    )


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("page", list(Page))
def test_hostile_names_stay_text_on_every_page(text: str, page: Page) -> None:
    """No control or direction character reaches the terminal, no line grows too wide, at any size, searched or not."""
    desk, watch = _desk(_hostile(text))
    watch.source = watch.notice = clean_text(text)
    desk.take_newest()
    desk.change(page=page)
    for searching in (False, True):
        if searching:
            desk.press("/")
        for width, height in SIZES:
            lines = desk.lines(width, height)
            assert len(lines) == height
            assert max(sum(cell_len(span.text) for span in line) for line in lines) <= width
            shown = "".join(span.text for line in lines for span in line)
            assert not {unicodedata.category(char) for char in shown} & {"Cc", "Cf", "Cs"}


def test_what_is_typed_into_a_search_is_cleaned_as_well() -> None:
    """A terminal may hand over anything that was pasted."""
    desk, _ = _desk()
    desk.press("/")
    for letter in "\x1b\u202ea\u0301":
        desk.press(letter)
    assert desk.view.finding is not None
    assert desk.view.finding.typed.isprintable()


def test_a_healthy_night_has_no_coloured_cell_on_any_page() -> None:
    """Looked at every ten minutes of simulated hours, from heating up on, at two sizes."""
    engine, seen = Engine(demo_profile().parameters), 0
    due_s = 0.0
    for event in simulate(SCENARIOS["healthy-night"], period_s=8.0):
        step = engine.advance(event)
        if event.time_s > 2 * 3600.0:
            break
        if not isinstance(event, Sample) or event.time_s < due_s:
            continue
        due_s = event.time_s + 600.0
        desk, _ = _desk(step.assessment)
        for page in Page:
            desk.change(page=page)
            for size in ((80, 24), (120, 40)):
                signals = [span for line in desk.lines(*size) for span in line if span.look.signal is not None]
                if page is not Page.HELP:
                    assert signals == []
                seen += 1
    assert seen >= 150


def test_what_does_not_fit_is_reached_by_scrolling() -> None:
    """On the page of alerts at 80 × 24 the story of a long alert is below the edge; PgDn shows it, PgUp goes back."""
    long = replace(samples.troubled().alerts[0], condition="dose", action="advance 14 mm; " * 120)
    desk, _ = _desk(replace(samples.troubled(), alerts=(long,)))
    desk.press("a")
    assert "more lines: PgDn" in _text(desk)
    assert "story" not in _text(desk)
    for _ in range(20):
        desk.press("pagedown")
    assert "story" in _text(desk)
    assert "above: PgUp" in _text(desk)
    assert _text(desk).startswith("ACTIVE")
    for _ in range(20):
        desk.press("pageup")
    assert "above" not in _text(desk)
    desk.press("escape")
    assert desk.view.scroll == 0


def test_help_left_in_its_middle_leaves_the_page_below_at_its_top() -> None:
    """How far one page was moved on means nothing on another."""
    desk, _ = _desk()
    desk.press("a")
    desk.press("?")
    desk.lines(60, 15)
    desk.press("pagedown")
    assert desk.view.scroll > 0
    desk.press("escape")
    assert (desk.view.page, desk.view.scroll) == (Page.ALERTS, 0)


def test_help_is_whole_on_a_small_screen() -> None:
    """At 60 × 15 the last caution is reached."""
    desk, _ = _desk()
    desk.press("?")
    desk.lines(60, 15)
    seen = _text(desk, 60, 15)
    for _ in range(20):
        desk.press("pagedown")
        seen += _text(desk, 60, 15)
    assert "leave, call for help" in " ".join(seen.split())


def test_a_watch_without_data_claims_nothing() -> None:
    """Before the first report no dose, no limit and no wall is shown: the page says what it waits for."""
    engine = Engine(demo_profile().parameters)
    step = engine.advance(Tick(5.0))
    desk, _ = _desk(step.assessment)
    for page in set(Page) - {Page.HELP, Page.ALERTS}:
        desk.change(page=page)
        text = _text(desk)
        assert "waiting for the first data" in text
        assert "limit" not in text
        assert "nan" not in text


def test_a_shelved_alarm_is_told_where_alerts_stand() -> None:
    """No alerts are announced, yet the page does not look as if nothing were wrong."""
    shelved = replace(
        samples.troubled().alerts[0], state=AlertState.SHELVED, held_back_until_s=22_331.0 + 600, why_held_back="later"
    )
    desk, _ = _desk(replace(samples.healthy(), held_back=(shelved,)))
    assert "▲ ALARM input 4, aged material: Shelved for 10 min more: later" in _text(desk)


def test_nothing_is_asked_of_a_watch_that_has_ended() -> None:
    """The keys for it are not offered, and no question is asked."""
    desk, watch = _desk()
    watch.ended = "stopped by the owner"
    desk.take_newest()
    assert "seen it" not in _text(desk)
    desk.press("s")
    assert desk.view.question is None


def test_a_strand_that_is_stuck_does_not_look_well() -> None:
    """Its row, its column in the hot path and the alert's first line say what it is; no time left is promised."""
    finding = StallFinding(
        StallPattern.GRINDING,
        90.0,
        100.0,
        Span(0.0, 1.0),
        0.9,
        is_final=True,
        evidence=("seen",),
        detector=Detector.FAST,
    )
    stuck = replace(samples.strand(2, activity=Activity.FEEDING), stall=finding)
    calm = samples.healthy()
    alert = replace(samples.troubled().alerts[0], condition="stall", subject="input 2", input=2)
    strands = tuple(stuck if it.input == 2 else it for it in calm.strands)
    text = _text(_desk(replace(calm, strands=strands, alerts=(alert,)))[0])
    assert "ALARM input 2, grinding" in text
    assert "feeding, STUCK" in text
    assert "not sure: STUCK" in text
    assert "2 STUCK" in text


def test_a_cold_strand_is_promised_no_limit() -> None:
    """Nothing ages it, so neither its line of hours nor its words speak of a limit that comes."""
    cold = samples.strand(5, activity=Activity.COLD)
    assert verdict(cold) == "cold: nothing ages it as long as it stays so"


def test_a_strand_with_an_alert_has_no_empty_rows() -> None:
    """Where there is no room for its hours, its heat along the path takes what is left."""
    desk, _ = _desk()
    desk.press("4")
    assert [row for row in _text(desk).splitlines()[2:-1] if not row.strip()] == []
