"""Which plots a report has, and what each says in words."""

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from monitor.report.blocks import Plot
from monitor.report.cause_types import Findings
from monitor.report.figures import svg_of
from monitor.report.gathered import Gathered
from monitor.report.plots import LimitLine, doses, has_motion, has_temperatures, motion, temperatures, timeline

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def plot_blocks(gathered: Gathered, findings: Findings, cooling_limit_c: float | None) -> Iterator[Plot]:
    """The strands' timeline, doses, temperatures and, around a stall, feed."""
    if len(gathered.rows) < 2:  # noqa: PLR2004 -- a line needs two points
        return
    yield _plot("timeline", "Timeline of the strands", _timeline_words(gathered), lambda: timeline(gathered))
    yield _plot("doses", "Heat dose", _dose_words(gathered), lambda: doses(gathered))
    if has_temperatures(gathered):
        says, limits = _temperature_words(gathered), _limits(gathered, findings, cooling_limit_c)
        yield _plot("temperatures", "Temperatures", says, lambda: temperatures(gathered, limits))
    yield from _motion(gathered, findings)


def _motion(gathered: Gathered, findings: Findings) -> Iterator[Plot]:
    failure = findings.failure
    if failure is None or failure.input is None or failure.condition != "stall":
        return
    number, time_s = failure.input, failure.time_s
    if has_motion(gathered, number):
        says = f"Feed of input {number} around the failure (red): where the lines part, strand did not arrive."
        yield _plot("motion", "Feed around the failure", says, lambda: motion(gathered, number, time_s))


def _plot(name: str, title: str, says: str, draw: "Callable[[], Figure]") -> Plot:
    return Plot(title, says, svg_of(name, draw))


def _timeline_words(gathered: Gathered) -> str:
    fed = [strand for strand in gathered.strands if strand.last_fed_s is not None]
    longest = max(gathered.strands, key=lambda strand: strand.longest_idle_s)
    return (
        f"{len(fed)} of {len(gathered.strands)} strands were fed; input {longest.input} stood hot for longest,"
        f" {longest.longest_idle_s / 3600.0:.1f} h. Right: highest dose of each, of its limit. ▼: an alert was raised."
        " Grey background: no data."
    )


def _dose_words(gathered: Gathered) -> str:
    worst = max(gathered.strands, key=lambda strand: strand.highest_dose_share)
    return (
        f"Dose of each strand's oldest part, as a share of its limit. Highest: input {worst.input},"
        f" {worst.highest_dose_share:.0%}. It goes on in gaps, by the cautious end. Result of the model."
    )


def _temperature_words(gathered: Gathered) -> str:
    gaps = sum(silence.length_s > gathered.every_s / 2.0 for silence in gathered.silences)
    return (
        f"Readings of {', '.join(gathered.sensors)}; dotted: set points; dashed: limits. The band spans the lowest and"
        f" highest reading of each minute or more. Gaps of more than half a minute: {gaps}, left open."
    )


def _limits(gathered: Gathered, findings: Findings, cooling_limit_c: float | None) -> list[LimitLine]:
    number = None if findings.failure is None else findings.failure.input
    needy = max(gathered.strands, key=lambda strand: strand.min_feed_c)
    strand = next((strand for strand in gathered.strands if strand.input == number), needy)
    limits = [LimitLine(f"input {strand.input} feeds from", strand.min_feed_c, is_hot=True)]
    if cooling_limit_c is not None:
        limits.append(LimitLine("cooling alert from", cooling_limit_c, is_hot=False))
    return limits
