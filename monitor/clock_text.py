"""Times in words for plain lines."""

_MINUTE_S, _HOUR_S = 60, 3600


def clock_text(time_s: float) -> str:
    """Machine time as hours, minutes, seconds; the hours go on beyond a day.

    >>> clock_text(18868.9), clock_text(400_000)
    ('05:14:28', '111:06:40')
    """
    whole_s = int(time_s)
    return f"{whole_s // _HOUR_S:02d}:{whole_s // _MINUTE_S % 60:02d}:{whole_s % 60:02d}"


def span_text(length_s: float) -> str:
    """A length of time to the minute; in seconds below two minutes.

    >>> span_text(7300), span_text(600), span_text(42.4)
    ('2 h 01 min', '10 min', '42 s')
    """
    if length_s < 2 * _MINUTE_S:
        return f"{length_s:.0f} s"
    hours, minutes = divmod(int(length_s) // _MINUTE_S, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"
