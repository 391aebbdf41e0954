"""Planned times in words: hours and minutes from the start of the build."""


def planned_words(time_s: float) -> str:
    """Hours and minutes, to the nearest minute.

    >>> planned_words(29), planned_words(3 * 3600 + 1790), planned_words(40 * 3600)
    ('0:00', '3:30', '40:00')
    """
    minutes = round(time_s / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d}"
