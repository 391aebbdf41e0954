"""The summary at the end of a watch, as plain lines. Pure; prints nothing."""

from collections.abc import Iterator

from monitor.clock_text import clock_text, span_text
from monitor.core.alert_types import Priority
from monitor.totals import StrandTotals, Totals


def summary_lines(totals: Totals, reason: str) -> Iterator[str]:
    """Tell what a watch adds up to; `reason` says why it ended."""
    yield f"{clock_text(totals.end_s)}  end: {reason}"
    strands = totals.strands()
    if not totals.events["samples"]:
        yield "The machine reported nothing."
        return
    yield from _strand_lines(strands)
    yield f"alerts: {_alerts_text(totals)}"
    yield f"data: {_data_text(totals)}"


def _strand_lines(strands: tuple[StrandTotals, ...]) -> Iterator[str]:
    width = max((len(strand.newest.material) for strand in strands), default=0)
    yield f"{'':10}{'':{width}}  {'fed':>10}  {'longest idle':>12}  {'highest dose':>13}  {'of its limit':>12}"
    for strand in strands:
        newest = strand.newest
        fed = "no report" if newest.fed_mm is None else f"{newest.fed_mm:.0f} mm"
        share = strand.highest_dose_min / newest.dose_limit_min
        yield (
            f"input {newest.input:<4}{newest.material:{width}}  {fed:>10}  {span_text(strand.longest_idle_s):>12}"
            f"  {strand.highest_dose_min:>9.1f} min  {share:>12.0%}{_verdict(strand)}"
        )


def _verdict(strand: StrandTotals) -> str:
    if strand.highest_dose_min >= strand.newest.dose_limit_min:
        return "  past its limit"
    return "  past its warning" if strand.highest_dose_min >= strand.newest.dose_warn_min else ""


def _alerts_text(totals: Totals) -> str:
    raised = totals.raised
    counts = [f"{raised[priority]} {priority.name}" for priority in sorted(Priority, reverse=True)]
    return f"{', '.join(counts)} (each at its highest priority)" if sum(raised.values()) else "none"


def _data_text(totals: Totals) -> str:
    events, whole_s = totals.events, totals.end_s - (totals.begin_s or 0.0)
    silent_s = totals.silent_s + totals.open_silence_s()
    share = 1.0 if whole_s <= 0 else 1.0 - silent_s / whole_s
    return (
        f"samples {events['samples']}, not understood {events['malformed']}, link changes {events['link_changes']};"
        f" without fresh data for {span_text(silent_s)}, fresh for {share:.1%} of the time"
    )
