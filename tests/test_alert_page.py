"""The page of alerts, and the questions asked before an alert is held back."""

from dataclasses import replace

import pytest

from monitor.core.advice_types import Advice, AdviceKind
from monitor.core.alert_types import AlertState, Moment, Priority, RequestKind
from monitor.core.assessment import Assessment
from monitor.tui.ink import Line
from monitor.tui.pages import Page
from monitor.tui.present import frame
from monitor.tui.questions import Question
from monitor.tui.view import View
from tests import screen_samples as samples
from tests.screen_samples import FakeWatch
from tests.test_screen import app_of


def _page(latest: Assessment, selected: str | None = None, width: int = 80, height: int = 24) -> list[str]:
    view = View(latest, "simulated machine", clock="03:12:07", page=Page.ALERTS, selected=selected)
    return ["".join(span.text for span in line) for line in frame(view, width, height)]


def _looks(lines: tuple[Line, ...]) -> set[Priority | None]:
    return {span.look.signal for line in lines for span in line} - {None}


def test_the_page_lists_every_alert_and_tells_the_marked_one_in_full() -> None:
    """One line each, held back ones too; of the marked one what, do, why and its story, nothing cut."""
    story = (
        Moment(20_000.0, "raised", Priority.WARNING, "engine"),
        Moment(21_000.0, "acknowledged", Priority.WARNING, "owner"),
    )
    calm = samples.troubled()
    first = replace(calm.alerts[0], condition="dose", story=story)
    text = "\n".join(_page(replace(calm, alerts=(first, *calm.alerts[1:])), width=120, height=40))

    for alert in (*calm.alerts, *calm.held_back):
        assert alert.state.value in text
    assert "▸▲ ALARM   input 4, aged material" in text
    assert "the strand stands hot while others feed; if ignored, the polymer breaks down" in text
    assert "raised 38 min ago, WARNING; acknowledged by owner 22 min ago, WARNING" in text


def test_a_shelved_alert_tells_its_reason_and_how_long_it_stays() -> None:
    """What is held back says why, and until when."""
    shelved = replace(
        samples.alert(Priority.CAUTION, 5, state=AlertState.SHELVED),
        why_held_back="it is being dealt with",
        held_back_until_s=22_331.0 + 1805.0,
    )
    text = "\n".join(_page(replace(samples.healthy(), held_back=(shelved,)), width=120))

    assert "Shelved for 30 min more: it is being dealt with" in text
    assert "held back: 1" in text


def test_advice_stands_beside_the_alert_it_belongs_to() -> None:
    """Only what concerns the marked alert's input, or the whole machine, with what may be typed and what to mind."""
    advice = tuple(
        Advice(
            AdviceKind.ADVANCE,
            number,
            is_advised=True,
            text=f"Advance input {number}.",
            reason="aged",
            figures=(),
            caution="hot parts",
            lines=("G91", "G1 E14 F60"),
            lines_note="letters differ",
        )
        for number in (4, 2)
    )
    text = " ".join("\n".join(_page(replace(samples.troubled(), advice=advice), width=120, height=40)).split())

    assert "Advance input 4. (aged) To type: G91 / G1 E14 F60 (letters differ) Mind: hot parts" in text
    assert "Advance input 2" not in text


def test_many_alerts_are_counted_where_there_is_no_room() -> None:
    """At 80 × 24 the marked alert stays whole; what does not fit is counted, and the mark brings it into view."""
    many = tuple(replace(samples.alert(Priority.CAUTION, 1), id=f"a{at}", subject=f"part {at}") for at in range(40))
    top = _page(replace(samples.healthy(), alerts=many))
    low = _page(replace(samples.healthy(), alerts=many), selected="a39")

    assert any("more: arrow keys" in line for line in top)
    assert any(line.startswith("▸● CAUTION part 39") for line in low)


def test_without_alerts_the_page_says_so() -> None:
    """An empty page is no blank page; and it has no colour."""
    assert "no alerts, and none held back" in "\n".join(_page(samples.healthy()))
    assert _looks(frame(View(samples.healthy(), "x", page=Page.ALERTS), 80, 24)) == set()


async def test_shelving_asks_for_how_long_and_why() -> None:
    """Two digits; then the request goes out with time and reason, and the question is gone."""
    watch = FakeWatch(samples.troubled())
    app = app_of(watch)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("s")
        assert app.desk.view.question is not None
        await pilot.press("2", "1")
        assert watch.asked == [(RequestKind.SHELVE, watch.latest.alerts[0].id, "being dealt with", 7200.0)]  # type: ignore[union-attr] # set above
        assert app.desk.view.question is None


@pytest.mark.parametrize("keys", [("s", "9"), ("s", "1", "x"), ("s", "escape"), ("o", "7"), ("s", "down")])
async def test_any_other_key_leaves_the_alert_as_it_is(keys: tuple[str, ...]) -> None:
    """A slip at night changes nothing."""
    watch = FakeWatch(samples.troubled())
    app = app_of(watch)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*keys)
        assert (watch.asked, app.desk.view.question) == ([], None)


async def test_what_is_held_back_is_announced_again_by_the_same_key() -> None:
    """On the page of alerts the mark reaches what is shelved; s ends it, o and r ask their own."""
    watch = FakeWatch(samples.troubled())
    app = app_of(watch)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("a", *["down"] * 20, "s", "o", "3", "r")
    asked = [(kind, reason) for kind, _, reason, _ in watch.asked]
    assert asked == [
        (RequestKind.UNSHELVE, ""),
        (RequestKind.TAKE_OUT, "reading is wrong"),
        (RequestKind.RESET, ""),
    ]


def test_questions_fit_a_small_screen() -> None:
    """Every question is whole within 80 columns."""
    asked = Question(RequestKind.SHELVE, "x")
    then = asked.answered("1")

    assert then is not None
    assert max(len(asked.text), len(then.text)) <= 80
    assert not then.is_answered
