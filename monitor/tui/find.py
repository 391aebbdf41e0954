"""What is looked for by a few letters: pages, inputs, alerts, values; typed at the foot, chosen with the arrows.

Pure. Knows where a find leads, not how one gets there.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

from monitor.core.assessment import Assessment
from monitor.tui.pages import Page
from monitor.tui.words import full_name_of

_MOST_LETTERS: Final = 40


class Found(NamedTuple):
    """A place that can be gone to.

    `input`, `alert_id` and `channel` say what of the page is meant, where that is anything.
    """

    words: str
    page: Page
    input: int | None = None
    alert_id: str | None = None
    channel: str | None = None


_PAGES: Final = (
    Found("overview: alerts, strands, hot path", Page.WATCH),
    Found("hot path alone", Page.PATH),
    Found("alerts: all of them, held back ones too, with their story", Page.ALERTS),
    Found("trends: values over hours", Page.TRENDS),
    Found("to come: next uses against time left", Page.AHEAD),
    Found("help: keys, marks, cautions", Page.HELP),
)


@dataclass(frozen=True, slots=True)
class Finding:
    """A search as far as it was typed.

    Parameters
    ----------
    places : tuple of Found
        All that can be found.
    typed : str
        The letters so far.
    at : int
        Which of the places that fit is marked.
    """

    places: tuple[Found, ...]
    typed: str = ""
    at: int = 0

    @property
    def fitting(self) -> tuple[Found, ...]:
        """The places in which every typed word occurs."""
        wanted = self.typed.casefold().split()
        return tuple(place for place in self.places if all(_holds(place.words.casefold(), word) for word in wanted))

    @property
    def marked(self) -> Found | None:
        """The place that Enter leads to; None where nothing fits."""
        fitting = self.fitting
        return fitting[min(self.at, len(fitting) - 1)] if fitting else None

    def after(self, key: str) -> "Finding | None":
        """The search after a key; None when the key means that the owner gives up."""
        if key in {"up", "down"}:
            last = max(0, len(self.fitting) - 1)
            return replace(self, at=min(last, max(0, self.at + (1 if key == "down" else -1))))
        if key == "backspace":
            return replace(self, typed=self.typed[:-1], at=0)
        if len(key) == 1 and key.isprintable():
            return replace(self, typed=(self.typed + key)[:_MOST_LETTERS], at=0)
        return None if key == "escape" else self


def _holds(words: str, wanted: str) -> bool:
    """Whether the letters occur, blanks or not: 'in2' means input 2 as well."""
    return wanted in words or wanted in words.replace(" ", "") or wanted in words.replace("input ", "in")


def places_of(latest: Assessment | None, channels: tuple[tuple[str, str], ...] = ()) -> tuple[Found, ...]:
    """All that can be gone to now; `channels` are keys and titles of values with a trend."""
    told = () if latest is None else (*_of_alerts(latest), *_of_inputs(latest))
    values = tuple(Found(f"trend of {title}", Page.TRENDS, channel=key) for key, title in channels)
    return (*told, *_PAGES, *values)


def _of_alerts(latest: Assessment) -> Iterator[Found]:
    for alert in (*latest.alerts, *latest.held_back):
        yield Found(f"{alert.priority.name} {alert.subject}: {alert.text}", Page.ALERTS, alert.input, alert.id)


def _of_inputs(latest: Assessment) -> Iterator[Found]:
    for strand in latest.strands:
        yield Found(f"input {strand.input}: {full_name_of(strand)}", Page.STRAND, strand.input)
