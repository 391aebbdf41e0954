"""The rationalisation table: every condition that may raise an alert, why it exists and how it behaves.

One row per condition; code reads it, nothing else decides an alert's manners. Limits come from the strands, liners and
alert settings; here stand the causes, consequences, actions, delays and deadbands. Words of ISA-18.2 / IEC 62682;
priorities of IMO MSC.302(87). Delays, deadbands and times to respond are our own judgement.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from monitor.core.alert_types import Priority


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the table.

    `priorities` has one entry per level, rising: a condition with a warn and a stop limit is one alert that escalates,
    not two. `needs_fresh` conditions neither rise nor clear while the machine is silent, `needs_walls` ones while any
    wall sensor of the strands is.
    """

    condition: str
    title: str
    cause: str
    consequence: str
    action: str  # in general; the alert itself says it with its numbers
    priorities: tuple[Priority, ...]
    unit: str
    respond_within_s: float
    deadband: float
    on_delay_s: float
    off_delay_s: float
    needs_fresh: bool
    needs_walls: bool = False
    group: str = ""  # alerts of one group have one cause; `{subject}` stands for the point's; empty: each its own


MINUTE_S: Final = 60.0

_ROWS: Final = (
    Rule(
        condition="dose",
        title="aged material",
        cause="the strand stands hot while others feed",
        consequence="the polymer breaks down, chars or swells; it jams or spoils the part at its next use",
        action="advance the strand until the aged part is past the merge point, or withdraw it",
        priorities=(Priority.WARNING, Priority.ALARM),
        unit="min",
        respond_within_s=30 * MINUTE_S,
        deadband=0.0,
        on_delay_s=0.0,
        off_delay_s=0.0,
        needs_fresh=False,
        group="ageing of {subject}",
    ),
    Rule(
        condition="softening",
        title="soft where it must be stiff",
        cause="the cold side has warmed: coolant, radiator or fan fading, or a long stop at high heat",
        consequence="the strand swells in the cold end and jams at its next use",
        action="cool the cold end: coolant, radiator, fan; or lower the manifold",
        priorities=(Priority.WARNING, Priority.ALARM),
        unit="min",
        respond_within_s=20 * MINUTE_S,
        deadband=0.0,
        on_delay_s=60.0,
        off_delay_s=300.0,
        needs_fresh=False,
        group="warm cold side",
    ),
    Rule(
        condition="ceiling",
        title="too hot for the material",
        cause="a set point, a heater or its sensor is wrong",
        consequence="the polymer decomposes within minutes, with fumes",
        action="lower the manifold or stop heating; air the room before going close",
        priorities=(Priority.ALARM,),
        unit="°C",
        respond_within_s=5 * MINUTE_S,
        deadband=3.0,
        on_delay_s=10.0,
        off_delay_s=60.0,
        needs_fresh=True,
        needs_walls=True,
        group="hot manifold",
    ),
    Rule(
        condition="liner",
        title="hot liner",
        cause="the manifold is too hot, the liner reaches too far into it, or cooling is failing",
        consequence="the liner creeps and grips the strand; far above, fluoropolymers give off harmful fumes",
        action="lower the manifold, check the cooling; stop heating at the stop limit",
        priorities=(Priority.WARNING, Priority.ALARM, Priority.ALARM),
        unit="°C",
        respond_within_s=10 * MINUTE_S,
        deadband=3.0,
        on_delay_s=10.0,
        off_delay_s=60.0,
        needs_fresh=True,
        needs_walls=True,
        group="hot manifold",
    ),
    Rule(
        condition="cold_feed",
        title="too cold to feed",
        cause="the manifold is below the strand's lowest feeding temperature while it feeds",
        consequence="the drive skips, grinds or stalls",
        action="raise the manifold to what the strand needs, or pause",
        priorities=(Priority.WARNING,),
        unit="K",
        respond_within_s=10 * MINUTE_S,
        deadband=2.0,
        on_delay_s=15.0,
        off_delay_s=60.0,
        needs_fresh=True,
        needs_walls=True,
        group="cold manifold",
    ),
    Rule(
        condition="standing",
        title="standing hot for long",
        cause="the strand has not been used for hours",
        consequence="whatever the model says, long standing is how strands are lost (common practice, no source)",
        action="advance the strand when the build allows, or withdraw it",
        priorities=(Priority.CAUTION,),
        unit="h",
        respond_within_s=60 * MINUTE_S,
        deadband=0.0,
        on_delay_s=0.0,
        off_delay_s=0.0,
        needs_fresh=False,
        group="ageing of {subject}",
    ),
    Rule(
        condition="shared",
        title="aged material on the way to the nozzle",
        cause="the machine pauses hot, and what all strands share stands still with it",
        consequence="what comes out first is degraded: it chars, clogs the nozzle or spoils the part",
        action="purge what lies between merge point and nozzle",
        priorities=(Priority.WARNING,),
        unit="%",
        respond_within_s=30 * MINUTE_S,
        deadband=0.0,
        on_delay_s=2 * MINUTE_S,  # aged melt that is being purged is on its way out
        off_delay_s=0.0,
        needs_fresh=False,
    ),
    Rule(
        condition="stall",
        title="strand not moving as it should",
        cause="cold skipping, a jam after standing, grinding, a clog, or no strand left",
        consequence="the part misses material; a drive that goes on chews the strand",
        action="by pattern: more heat, withdraw and cut, clean the drive, look at the spool",
        priorities=(Priority.WARNING, Priority.ALARM),
        unit="%",
        respond_within_s=5 * MINUTE_S,
        deadband=20.0,
        on_delay_s=0.0,
        off_delay_s=30 * MINUTE_S,  # slipping comes and goes
        needs_fresh=False,
    ),
    Rule(
        condition="melt",
        title="less is melted than is fed",
        cause="a strand does not arrive; no encoder or driver tells which",
        consequence="the part misses material; a drive that goes on chews the strand",
        action="pause; look at the strand that feeds: drive, spool, cold end",
        priorities=(Priority.ALARM,),
        unit="J",
        respond_within_s=5 * MINUTE_S,
        deadband=0.0,
        on_delay_s=0.0,
        off_delay_s=10 * MINUTE_S,
        needs_fresh=False,
    ),
    Rule(
        condition="sensor",
        title="silent sensor",
        cause="the machine does not report a sensor that the profile names, or stopped reporting it",
        consequence="what happens there is guessed, not measured",
        action="check the sensor's wire, and its name in the profile",
        priorities=(Priority.WARNING,),
        unit="s",
        respond_within_s=30 * MINUTE_S,
        deadband=0.0,
        on_delay_s=0.0,
        off_delay_s=0.0,
        needs_fresh=True,
        group="telemetry",
    ),
    Rule(
        condition="link",
        title="no data",
        cause="the link, the machine or its power is gone",
        consequence="the build runs unwatched",
        action="check power, cable and controller",
        priorities=(Priority.ALARM,),
        unit="s",
        respond_within_s=10 * MINUTE_S,
        deadband=0.0,
        on_delay_s=0.0,
        off_delay_s=0.0,
        needs_fresh=False,
        group="telemetry",
    ),
)

ALERT_TABLE: Final[Mapping[str, Rule]] = {row.condition: row for row in _ROWS}
