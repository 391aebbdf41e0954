"""The whole report as blocks, in the order in which it is read. Pure; the plots come from outside."""

from collections.abc import Iterator, Mapping, Sequence

from connectors.recording import Header
from monitor.config import Profile
from monitor.report.blocks import Block, Heading, Plot, Words
from monitor.report.cause_types import Findings
from monitor.report.detail_blocks import alert_blocks, data_blocks, request_blocks, strand_blocks
from monitor.report.gathered import Gathered
from monitor.report.read_state import ReadState
from monitor.report.settings_blocks import caution_blocks, settings_blocks
from monitor.report.summary_blocks import cause_blocks, summary_blocks
from monitor.report.times import Times

LONGEST_NAME = 120


def title_of(header: Header) -> str:
    """What the page is called."""
    return f"Report: {header.machine[:LONGEST_NAME]}, {header.start:%Y-%m-%d %H:%M}"


def document(
    header: Header, profile: Profile, gathered: Gathered, state: ReadState, findings: Findings, plots: Sequence[Plot]
) -> Iterator[Block]:
    """Everything that is told of a recording."""
    times = Times(header.start)
    yield Heading(title_of(header), 1)
    yield Words(
        f"Recorded by strandwatch {header.program[:40]} from {header.source[:LONGEST_NAME]}; judged anew for this page."
    )
    yield Heading("In short")
    yield from summary_blocks(gathered, findings, times)
    yield from cause_blocks(findings, times)
    yield from alert_blocks(gathered, times)
    yield Heading("The strands")
    yield from strand_blocks(gathered, materials_of(profile), times)
    yield from plots
    yield from request_blocks(gathered, times)
    yield from data_blocks(gathered, state, times)
    yield from settings_blocks(profile)
    yield from caution_blocks()


def materials_of(profile: Profile) -> Mapping[int, str]:
    """Material and label of each input."""
    return {
        strand.input: f"{strand.material.name}{f' ({strand.label[:LONGEST_NAME]})' if strand.label else ''}"
        for strand in profile.parameters.strands
    }
