"""Shares as the watch's sentences tell them: in percent, with a blank before the sign (ISO 80000-1, 7.2)."""


def percent(share: float, digits: int = 0) -> str:
    """A share in percent.

    >>> percent(0.917), percent(0.0123, 1)
    ('92 %', '1.2 %')
    """
    return f"{100.0 * share:.{digits}f} %"
