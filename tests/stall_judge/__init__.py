"""Made-up feed telemetry to judge stall detection with, and the truth kept apart from it.

Written from descriptions of the patterns alone, by another hand than the detectors: it imports nothing of `monitor`
and nothing of the simulated machine. All rigs are drawn anew for every seed, within the ranges stated in `rigs`.
"""
