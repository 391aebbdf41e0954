"""The bench: a step test that finds the lowest manifold temperature at which a strand feeds. Pure.

Each module is handed what it judges: no clock, no files, no machine. What carries events, answers and files about
stands beside this package (`monitor.bench_seat`).
"""
