"""How fast a night that is not live is shown. Cheap to import."""

from typing import Final

SCREEN_SPEED: Final = 60.0
"""Pace on a screen when none is asked for: a night of ten hours takes ten minutes."""
