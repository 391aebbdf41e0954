"""Benchmarks that print ratios; none is a timed test. Each module states its figures and their bounds as data."""

import os

# the linear-algebra library's own threads make small products slower, as `monitor/cli.py` knows; before numpy is loaded
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
