"""What leaves for a telephone is short, complete, and text to every service."""

import pytest

from monitor.core.alert_types import Priority
from monitor.notify.message import LONGEST_TEXT, LONGEST_TITLE, message_of, plain
from tests.notify_examples import NOW, transition


def test_a_message_says_what_and_what_to_do_and_since_when() -> None:
    """Title, text, action and the time of day that the alert began, an hour before."""
    message = message_of(transition("escalated", Priority.ALARM), "invented bench", NOW)
    assert message is not None
    assert message.title == "ALARM: input 4, aged material, escalated (invented bench)"
    assert message.body().splitlines() == [
        "input 4 (demo-chalk) is ageing: 300 min at 195 °C taken",
        "do: Advance input 4 by 18 mm.",
        "since 02:25 on 2026-11-27, for 1 h 00 min",
    ]
    assert message.body(is_late=True).endswith("\nlate: this was first tried at 03:25 on 2026-11-27")


@pytest.mark.parametrize("event", ["cleared", "eased", "acknowledged"])
def test_nobody_is_told_what_needs_no_action(event: str) -> None:
    """Good news and the owner's own doings wake nobody."""
    assert message_of(transition(event), "bench", NOW) is None


@pytest.mark.parametrize("event", ["raised", "re-raised", "escalated", "settled", "goes on"])
def test_what_needs_action_is_told_by_the_alert_that_has_the_cause(event: str) -> None:
    """One cause, one message (IMO MSC.302(87), 5.2): what is folded under another alert is not told."""
    assert message_of(transition(event), "bench", NOW) is not None
    assert message_of(transition(event, folded_under="cooling/link/1"), "bench", NOW) is None


def test_a_hostile_device_cannot_speak_through_a_message() -> None:
    """Escape sequences, markup, mentions, line breaks and a megabyte come out as a short line of plain text."""
    hostile = "\x1b]0;x\x07<script>@everyone [here](http://evil.example) `rm` *b*\r\nBcc: x\u202e" + "A" * 1_000_000
    message = message_of(transition(subject=hostile, text=hostile, action=hostile), hostile, NOW)
    assert message is not None
    assert len(message.title) <= LONGEST_TITLE + len("(at)")
    for text in (message.title, message.text, message.action):
        assert len(text) <= LONGEST_TEXT + len("(at)")
        assert not set(text) & set("\x1b\x07\r\n\u202e<>[]`*@")
    assert len(message.body().splitlines()) == 3


def test_words_of_the_trade_pass_unharmed() -> None:
    """Degrees, dashes, underscores and quotes are what our own texts are made of."""
    text = "input 4 (demo_chalk) – 244 min at 200 °C, limit 'soft front' > none & more"
    assert plain(text, 200) == text.replace(">", "›")
