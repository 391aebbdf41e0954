"""Exact run lengths of a CUSUM on normal values, to hold the watch's quick formulas and its detector against.

The integral equation of Page (1954) on Gauss-Legendre nodes. All run lengths count the sample that signals.
"""

import math
from typing import Final

import numpy as np
from scipy.optimize import brentq

from monitor.core.assessment import Array

_NODES: Final = 96


def run_length(allowance: float, limit: float, mean: float = 0.0, head_start: float = 0.0) -> float:
    """Average run length of a one-sided CUSUM on normal values of unit variance [samples].

    Solves `L(z) = 1 + Phi(k - z - mean) L(0) + integral over 0..h of L(x) phi(x + k - z - mean) dx`.
    """
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    nodes, weights = limit / 2 * (nodes + 1), limit / 2 * weights
    starts = np.concatenate([[0.0], nodes])
    shift = allowance - mean - starts
    kernel = np.empty((starts.size, starts.size))
    kernel[:, 0] = [_normal(value) for value in shift]
    kernel[:, 1:] = weights * _density(nodes[None, :] + shift[:, None])
    lengths = np.linalg.solve(np.eye(starts.size) - kernel, np.ones(starts.size))
    if head_start == 0.0:
        return float(lengths[0])
    at = allowance - mean - head_start
    return float(1.0 + _normal(at) * lengths[0] + (weights * _density(nodes + at)) @ lengths[1:])


def two_sided(upper: float, lower: float) -> float:
    """Run length of two one-sided CUSUMs side by side, without head start: their rates add."""
    return 1.0 / (1.0 / upper + 1.0 / lower)


def two_sided_with_head_start(upper: tuple[float, float], lower: tuple[float, float]) -> float:
    """The same with head start; each pair is the run length without and with it (Lucas and Crosier 1982)."""
    (upper_0, upper_s), (lower_0, lower_s) = upper, lower
    return (upper_s * lower_0 + lower_s * upper_0 - upper_0 * lower_0) / (upper_0 + lower_0)


def limit_for(target: float, allowance: float, mean: float = 0.0) -> float:
    """Limit of the one-sided CUSUM on unit normal values whose average run length is `target` samples."""
    largest = 1.0  # a run length beyond 1e15 samples could not be solved for, so come from below
    while run_length(allowance, largest, mean) < target:
        largest *= 2.0
    return float(brentq(lambda limit: run_length(allowance, limit, mean) - target, 1e-9, largest, xtol=1e-9))


def _density(x: Array) -> Array:
    return np.asarray(np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi))


def _normal(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))
