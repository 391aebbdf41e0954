"""The table of alerts in words."""

import pytest

from monitor.alert_report import alert_table_lines
from monitor.cli import main
from monitor.core.alert_table import ALERT_TABLE


def test_every_condition_is_told_with_all_that_an_alert_must_have() -> None:
    """Rationalisation (ISA-TR18.2.2): each block says cause, consequence, action and time to respond."""
    text = "\n".join(alert_table_lines())
    blocks = text.split("\n\n")[1:]

    assert [block.split(" ")[0] for block in blocks] == list(ALERT_TABLE)
    for block in blocks:
        for head in ("cause", "if ignored", "do", "respond within", "manners"):
            assert f"\n  {head} " in block


def test_lines_fit_a_wide_terminal_and_causes_in_common_are_named() -> None:
    """No line is wider than 120 columns; what folds together says so."""
    lines = list(alert_table_lines())
    at = lines.index("softening (soft where it must be stiff): WARNING, then ALARM")
    block = lines[at : at + 10]

    assert max(map(len, lines)) <= 120
    assert "  one cause with  its own kind, cooling" in block
    assert any("a WARNING unseen for 10 min becomes an ALARM" in line for line in block)


def test_the_command_prints_it(capsys: pytest.CaptureFixture[str]) -> None:
    """`strandwatch alerts list` prints the table, and then how an alert is told."""
    assert main(["alerts", "list"]) == 0
    listed = capsys.readouterr().out
    assert main(["alerts"]) == 0
    printed, table = capsys.readouterr().out.splitlines(), list(alert_table_lines())
    assert printed[: len(table)] == table
    assert listed.splitlines() == printed
    assert any("until" in line or "min" in line for line in printed[len(table) :])
