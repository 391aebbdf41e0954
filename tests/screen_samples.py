"""Assessments made by hand for the tests of the screen; the machine, its materials and its build are invented."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from connectors.telemetry import Execution
from monitor.core.alert_types import Alert, AlertState, Priority, RequestKind
from monitor.core.assessment import (
    Activity,
    Assessment,
    Condition,
    LinerReading,
    Quality,
    SharedReading,
    StrandAssessment,
    WallReading,
    ZonePlace,
)
from monitor.core.span import Span
from monitor.history.memory import History

NEVER = float("inf")
HOUR_S = 3600.0

ZONES = (
    ZonePlace("cold end", 30.0, 52.0, "cold_end", "PTFE"),
    ZonePlace("heat break", 16.0, 30.0, None, "PTFE"),
    ZonePlace("manifold", 0.0, 16.0, "manifold", None),
    ZonePlace("second heat break", -10.0, 0.0, None, None),
    ZonePlace("nozzle", -18.0, -10.0, "nozzle", None),
)

LABELS = ("amber structural", "slate body", "moss support", "chalk detail", "coal tough", "ember accent")
MATERIALS = ("demo-amber", "demo-slate", "demo-moss", "demo-chalk", "demo-coal", "demo-ember")
GLASS_C = (62.0, 70.0, 58.0, 55.0, 85.0, 66.0)


def strand(
    number: int,
    *,
    activity: Activity = Activity.IDLE,
    dose_share: float = 0.2,
    idle_s: float = 1900.0,
    front_mm: float = 19.0,
    quality: Quality = Quality.GOOD,
    condition: Condition = Condition.NORMAL,
) -> StrandAssessment:
    """A strand with a smooth temperature profile that crosses its glass transition at `front_mm`."""
    glass_c = GLASS_C[(number - 1) % 6]
    x_mm = np.arange(0.25, 52.0, 0.5)
    temp_c = 34 + (195 - 34) / (1 + np.exp((x_mm - front_mm) / 4) * (195 - glass_c) / (glass_c - 34))
    dose_min = dose_share * 100 * np.exp(-((x_mm / 14) ** 2))
    feeding = activity is Activity.FEEDING
    return StrandAssessment(
        input=number,
        material=MATERIALS[(number - 1) % 6],
        label=LABELS[(number - 1) % 6],
        activity=activity,
        condition=condition,
        quality=quality,
        idle_s=0.0 if feeding else idle_s,
        feed_mm_s=2.1 if feeding else 0.0,
        fed_mm=1234.5,
        dose_now_min=dose_share * 100,
        dose_warn_min=60.0,
        dose_limit_min=100.0,
        reference_c=200.0,
        warn_left_s=_left(0.6 - dose_share, feeding=feeding),
        limit_left_s=_left(1.0 - dose_share, feeding=feeding),
        hottest_c=194.6,
        glass_c=glass_c,
        softening_min=0.0,
        softening_warn_min=10.0,
        softening_limit_min=30.0,
        soft_front_mm=front_mm,
        stiff_from_mm=30.0,
        merge_wall_c=195.2,
        min_feed_c=176.0,
        min_feed_is_rule=True,
        x_mm=x_mm,
        temp_c=temp_c,
        dose_min=dose_min,
    )


def _left(share: float, *, feeding: bool) -> Span:
    if feeding:
        return Span(NEVER, NEVER)
    return Span(max(0.0, share) * 6 * HOUR_S, max(0.0, share) * 11 * HOUR_S)


def alert(
    priority: Priority,
    number: int | None,
    *,
    state: AlertState = AlertState.UNACKNOWLEDGED,
    since_s: float = 21_000.0,
    action: str = "advance 14 mm, or withdraw the strand 40 mm and let it cool",
) -> Alert:
    """An alert with an invented text of the usual length."""
    subject = "link" if number is None else f"input {number}"
    return Alert(
        id=f"dose_{priority.name.lower()}-{number}-1",
        condition="dose",
        respond_within_s=1800.0,
        subject=subject,
        input=number,
        priority=priority,
        state=state,
        since_s=since_s,
        text=f"the material standing hot in {subject} has taken 64 % of its limit dose",
        action=action,
        value=64.0,
        limit=60.0,
        unit="min",
    )


def walls(quality: Quality = Quality.GOOD, age_s: float = 0.4) -> tuple[WallReading, ...]:
    """The three sensors of the path."""
    return (
        WallReading("cold_end", 34.2, None, None, quality, age_s),
        WallReading("manifold", 195.2, 195.0, 0.34, quality, age_s),
        WallReading("nozzle", 224.8, 225.0, 0.41, quality, age_s),
    )


@dataclass(frozen=True)
class Night:
    """The one place that says what an ordinary moment of the invented night looks like."""

    counts: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({"samples": 90_000, "malformed": 0}))

    def moment(self) -> Assessment:
        """All is well: input 1 feeds, the others stand for half an hour."""
        strands = tuple(strand(n, activity=Activity.FEEDING if n == 1 else Activity.IDLE) for n in range(1, 7))
        return Assessment(
            time_s=22_331.0,
            machine="six-input demo machine",
            execution=Execution.ACTIVE,
            progress=0.42,
            link_available=True,
            link_reason="",
            sample_age_s=0.4,
            quality=Quality.GOOD,
            condition=Condition.NORMAL,
            zones=ZONES,
            walls=walls(),
            strands=strands,
            liners=(LinerReading("cold end", "PTFE", 61.0, 200.0, 230.0, 250.0, 0.0, 0.0, 0.0),),
            alerts=(),
            counts=self.counts,
        )


def healthy() -> Assessment:
    """Nothing is wrong."""
    return Night().moment()


def troubled() -> Assessment:
    """One ALARM, two WARNINGs, three CAUTIONs in several states; input 4 is past its limit and soft too far up."""
    calm = healthy()
    worse = {
        2: strand(2, dose_share=0.66, idle_s=4 * HOUR_S, condition=Condition.WARNING),
        4: strand(4, dose_share=1.07, idle_s=6.6 * HOUR_S, front_mm=33.0, condition=Condition.FAULT),
        5: strand(5, activity=Activity.COLD, dose_share=0.01, idle_s=7 * HOUR_S, front_mm=0.0),
    }
    return replace(
        calm,
        condition=Condition.FAULT,
        strands=tuple(worse.get(s.input, s) for s in calm.strands),
        alerts=(
            alert(Priority.ALARM, 4),
            alert(Priority.WARNING, 2),
            alert(Priority.WARNING, 3, state=AlertState.ACKNOWLEDGED),
            alert(Priority.CAUTION, 6, state=AlertState.RETURNED),
            alert(Priority.CAUTION, 1, state=AlertState.LATCHED),
            alert(Priority.CAUTION, None, since_s=22_300.0),
        ),
        held_back=(alert(Priority.CAUTION, 5, state=AlertState.SHELVED),),
    )


def stale() -> Assessment:
    """The machine has been silent for 75 s."""
    calm = healthy()
    return replace(
        calm,
        link_available=False,
        link_reason="the port went away: check the cable",
        sample_age_s=75.0,
        quality=Quality.STALE,
        condition=Condition.UNAVAILABLE,
        execution=Execution.ACTIVE,
        walls=walls(Quality.STALE, 75.0),
        strands=tuple(
            replace(s, quality=Quality.STALE, activity=Activity.IDLE, condition=Condition.UNAVAILABLE)
            for s in calm.strands
        ),
        alerts=(replace(alert(Priority.WARNING, None), text="the machine has been silent for 75 s"),),
    )


def heating_up() -> Assessment:
    """The first moments: nothing reported but one wall, every strand cold."""
    calm = healthy()
    cold = tuple(
        replace(
            strand(n, activity=Activity.COLD, dose_share=0.0, idle_s=12.0, front_mm=0.0),
            fed_mm=None,
            temp_c=np.full(104, 25.0),
            hottest_c=25.0,
            warn_left_s=Span(NEVER, NEVER),
            limit_left_s=Span(NEVER, NEVER),
        )
        for n in range(1, 7)
    )
    return replace(
        calm,
        time_s=12.0,
        execution=None,
        progress=None,
        strands=cold,
        walls=(WallReading("manifold", None, None, None, Quality.BAD, 12.0),),
        liners=(),
    )


class FakeWatch:
    """A watch that says what the test puts into it."""

    def __init__(self, latest: Assessment | None = None) -> None:
        self.latest = latest
        self.source = "simulated machine"
        self.notice = ""
        self.ended: str | None = None
        self.history = History()
        self.acknowledged: list[str] = []
        self.asked: list[tuple[RequestKind, str, str, float]] = []

    def ask(self, kind: RequestKind, alert_id: str, *, reason: str = "", for_s: float = 0.0) -> None:
        """Remember what was asked, and show an acknowledgement as the engine would."""
        self.asked.append((kind, alert_id, reason, for_s))
        if kind is RequestKind.ACKNOWLEDGE:
            self._acknowledge(alert_id)

    def _acknowledge(self, alert_id: str) -> None:
        self.acknowledged.append(alert_id)
        if self.latest is not None:
            seen = tuple(
                replace(a, state=AlertState.ACKNOWLEDGED) if a.id == alert_id else a for a in self.latest.alerts
            )
            self.latest = replace(self.latest, alerts=seen)


def unsure() -> Assessment:
    """A cold end without a sensor, and a gap of hours in the data behind: what is estimated or open is marked."""
    calm = healthy()
    gap = {
        2: replace(calm.strands[1], dose_now_min=50.0, dose_low_min=20.0),
        3: replace(calm.strands[2], idle_s=3.2 * HOUR_S, idle_low_s=720.0, doubt="gap in the data"),
    }
    return replace(
        calm,
        walls=(WallReading("cold_end", 41.2, None, None, Quality.GOOD, 22_331.0, is_estimate=True), *walls()[1:]),
        strands=tuple(gap.get(s.input, s) for s in calm.strands),
        shared=(SharedReading(1, 0.8, 12.0, 0.4, 60.0, 100.0), SharedReading(4, 0.2, 260.0, 1.4, 60.0, 100.0)),
    )
