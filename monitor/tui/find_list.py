"""What a search found, a line each, the marked one first to be gone to."""

from typing import Final

from monitor.tui.find import Finding
from monitor.tui.ink import BOLD, DIM, EMPTY, PLAIN, Line, Span, crop

_HEAD_ROWS: Final = 2


def find_list(finding: Finding, width: int, rows: int) -> list[Line]:
    """The places that fit around the marked one; how many there are besides is told."""
    fitting = finding.fitting
    head: list[Line] = [(Span("  where to?", BOLD), Span("  type some letters, ↑↓ choose", DIM)), EMPTY]
    if not fitting:
        return [*head, (Span("  nothing here is called that; backspace takes a letter back", BOLD),)]
    room = max(1, rows - _HEAD_ROWS - 1)
    at = min(finding.at, len(fitting) - 1)
    first = max(0, min(at - room // 2, len(fitting) - room))
    for number, found in enumerate(fitting[first : first + room], first):
        mark = Span("▸ ", BOLD) if number == at else Span("  ")
        head.append(crop((mark, Span(found.words, BOLD if number == at else PLAIN)), width))
    hidden = len(fitting) - room
    return [*head, (Span(f"  {hidden} more", DIM),)] if hidden > 0 else head
