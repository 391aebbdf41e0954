"""What one frame of the screen is drawn from.

Owns no drawing. Everything that changes with time comes in as a value, so that drawing stays pure.
"""

from dataclasses import dataclass
from typing import Final

from monitor.core.alert_types import Alert
from monitor.core.assessment import Assessment, Quality, StrandAssessment
from monitor.history.memory import History
from monitor.replay.view import ReplayView
from monitor.tui.find import Finding
from monitor.tui.jump import Jump
from monitor.tui.pages import Page
from monitor.tui.questions import Question
from monitor.tui.trends.choice import FIRST_TREND, TrendChoice

SILENT_AFTER_S: Final = 5.0
"""A running watch concludes something about once a second; after this long it counts as silent [s]."""


@dataclass(frozen=True, slots=True)
class View:
    """One moment of a watch, as its screen knows it.

    Parameters
    ----------
    latest : Assessment or None
        The newest assessment; None before the first.
    source, notice, ended
        As in `monitor.client.WatchClient`.
    clock : str
        Time of day, in words; it stands still when the program does.
    unheard_s : float
        Since the watch last concluded anything, or since the screen opened [s].
    selected : str or None
        Id of the alert the owner chose; None for the most urgent.
    page, helped : Page
        What fills the screen, and the page that the page of help is about.
    input : int or None
        The input whose strand is looked at by itself; None for the first.
    trend : TrendChoice
        Which values are shown over which time.
    scroll : int
        By how many lines a page of running text is moved on.
    asked_to_leave : bool
        The owner pressed the leaving key once and leaving would end the watch.
    question : Question or None
        What the screen waits to be told before it passes on a request.
    replay : ReplayView or None
        Where a replay stands; None for a watch that runs.
    jump : Jump or None
        Where to jump in a replay, as far as it was typed.
    finding : Finding or None
        What is looked for, as far as it was typed.
    history : History or None
        What the values were; it goes on while the watch does.
    """

    latest: Assessment | None
    source: str
    notice: str = ""
    ended: str | None = None
    clock: str = ""
    unheard_s: float = 0.0
    selected: str | None = None
    page: Page = Page.WATCH
    helped: Page = Page.WATCH
    input: int | None = None
    trend: TrendChoice = FIRST_TREND
    scroll: int = 0
    asked_to_leave: bool = False
    question: Question | None = None
    replay: ReplayView | None = None
    jump: Jump | None = None
    finding: Finding | None = None
    history: History | None = None

    @property
    def alerts(self) -> tuple[Alert, ...]:
        """The alerts that are announced, most urgent first."""
        if self.latest is None:
            return ()
        return self.latest.alerts

    @property
    def listed(self) -> tuple[Alert, ...]:
        """The alerts that may be marked: on their own page those held back too, on a strand's page its own alone."""
        if self.page is Page.STRAND:
            return tuple(alert for alert in self.alerts if self.strand is not None and alert.input == self.strand.input)
        held_back = self.latest.held_back if self.latest is not None and self.page is Page.ALERTS else ()
        return (*self.alerts, *held_back)

    @property
    def hidden_alerts(self) -> int:
        """How many alerts are shelved, suppressed or out of service."""
        if self.latest is None:
            return 0
        return len(self.latest.held_back)

    @property
    def chosen(self) -> int:
        """Index in `listed` of the selected alert, the most urgent when none is selected or it is gone."""
        return next((at for at, alert in enumerate(self.listed) if alert.id == self.selected), 0)

    @property
    def marked(self) -> Alert | None:
        """The selected alert, the most urgent when none is selected or it is gone."""
        return self.listed[self.chosen] if self.listed else None

    @property
    def strand(self) -> StrandAssessment | None:
        """The strand that is looked at by itself: the chosen input's, else the first."""
        strands = () if self.latest is None else self.latest.strands
        return next((strand for strand in strands if strand.input == self.input), strands[0] if strands else None)

    @property
    def known_s(self) -> tuple[float, float]:
        """From when to when anything is known [s of machine time]."""
        now_s = 0.0 if self.latest is None else self.latest.time_s
        span = None if self.history is None else self.history.span
        return (0.0 if span is None else min(span[0], now_s)), now_s

    @property
    def has_data(self) -> bool:
        """Whether the machine has reported anything yet."""
        if self.latest is None:
            return False
        is_warm = any(wall.temp_c is not None and not wall.is_estimate for wall in self.latest.walls)
        return is_warm or any(strand.fed_mm is not None for strand in self.latest.strands)

    @property
    def is_silent(self) -> bool:
        """Whether a watch that should be running has stopped concluding."""
        return self.replay is None and self.ended is None and self.unheard_s > SILENT_AFTER_S

    @property
    def data_age_s(self) -> float:
        """Age of the newest sample [s], counting on while the watch is silent, or has ended."""
        sample_age_s = 0.0 if self.latest is None else self.latest.sample_age_s
        return sample_age_s + (self.unheard_s if self.is_silent or self.ended is not None else 0.0)

    @property
    def is_old(self) -> bool:
        """Whether the values shown are no longer those of now."""
        if self.latest is None or self.latest.quality is not Quality.GOOD:
            return True
        return self.is_silent or self.ended is not None
