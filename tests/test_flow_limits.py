"""Table of observed slip by flow and manifold temperature."""

import pytest

from monitor.core.flow_limits import FlowLimits, observe
from monitor.core.stall import initial_stall
from tests.strand_examples import Strand, law_of, watch


def test_bins_hold_feed_and_slip() -> None:
    """Feed goes into the bin of its flow and temperature; slip is lost over fed, whatever the order."""
    table = FlowLimits()
    for _ in range(10):
        table = observe(table, 5.0, 213.0, 1.0, 0.1)
        table = observe(table, 9.0, 213.0, 2.0, 0.0)
        table = observe(table, 5.0, 187.0, 1.0, 0.5)
    told = [(cell.flow_mm3_s, cell.manifold_c, cell.fed_mm, cell.slip) for cell in table.observed()]
    assert told == [
        (4.0, 180.0, 10.0, pytest.approx(0.5)),
        (4.0, 210.0, 10.0, pytest.approx(0.1)),
        (8.0, 210.0, 20.0, 0.0),
    ]


def test_extremes_go_into_the_outer_bins() -> None:
    """Anything faster, colder or hotter than the table has a place in it, and nothing is lost."""
    table = FlowLimits()
    for flow, manifold_c in ((500.0, -20.0), (0.0, 900.0)):
        table = observe(table, flow, manifold_c, 1.0, 0.0)
    assert [(cell.flow_mm3_s, cell.manifold_c) for cell in table.observed()] == [(22.0, 140.0), (0.0, 310.0)]


def test_watched_feed_fills_it() -> None:
    """Feed at 2 mm/s of a 1.75 mm strand, 4.81 mm³/s, with a wheel that reads 2 % short: one bin, 2 %."""
    law, strand = law_of(), Strand(healthy_slip=0.02)
    state = watch(law, initial_stall(law), strand.feed(400.0))
    (cell,) = state.limits.observed()
    assert (cell.flow_mm3_s, cell.manifold_c) == (4.0, 220.0)
    assert cell.slip == pytest.approx(0.02, abs=0.001)
