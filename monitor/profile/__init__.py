"""The machine profile: its keys, its faults, its defaults, and what it comes to for engine, plan and bench."""
