"""Heights at which a build feeds. Owns what counts as a layer, and the bound on their number."""

from typing import Final

import numpy as np

from monitor.build_file.look_ahead import Timed
from monitor.build_file.schedule import Layer
from monitor.build_file.words import Floats

MOST_LAYERS: Final = 20_000
_STEP_MM: Final = 1e-3


class LayerList:
    """Gathers heights in the order of their first use."""

    def __init__(self) -> None:
        self.layers: list[Layer] = []
        self._seen: set[int] = set()
        self._last = np.nan

    def add(self, timed: Timed, edges_s: Floats) -> None:
        """Look at moves that feed while they travel, each with the time of its start."""
        feeds = np.flatnonzero((timed.moves.feed_mm > 0.0) & ~np.isnan(timed.moves.z_mm))
        if not feeds.size:
            return
        height = np.round(timed.moves.z_mm[feeds] / _STEP_MM)
        changes = np.flatnonzero(height != np.concatenate([[self._last], height[:-1]]))
        self._last = float(height[-1])
        for place in changes.tolist() if len(self._seen) < MOST_LAYERS else ():
            key = int(height[place])
            if key not in self._seen and len(self._seen) < MOST_LAYERS:
                self._seen.add(key)
                self.layers.append(Layer(float(edges_s[feeds[place]]), key * _STEP_MM))
