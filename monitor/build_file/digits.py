"""Decimal numbers of a whole block at a time, bit-equal to `float(text)`.

Owns the arithmetic. Up to eight digits on each side of the point are read as two integers; their joint mantissa is
divided by a power of ten. Integers below 2**53 and powers up to 10**22 are exact in binary64, so the one rounding of
the division is the correct one (IEEE 754; Clinger 1990, 'How to read floating point numbers accurately').
"""

from typing import Final

import numpy as np
import numpy.typing as npt

Words64 = npt.NDArray[np.uint64]

MOST_DIGITS: Final = 8
MOST_TOGETHER: Final = 15
"""Digits of a mantissa that surely stays below 2**53."""

_U: Final = np.uint64
_ASCII_ZEROS: Final = _U(0x3030303030303030)
_KEEP: Final = np.array([((1 << 64) - 1) ^ ((1 << 8 * (8 - count)) - 1) for count in range(9)], np.uint64)
_POWERS: Final = 10 ** np.arange(MOST_DIGITS + 1, dtype=np.uint64)
_POWERS_FLOAT: Final = 10.0 ** np.arange(MOST_DIGITS + 1)
_TEN, _BYTE, _PAIR = _U(10), _U(8), _U(16)
_LANES: Final = _U(0x000000FF000000FF)
_OUTER: Final = _U(0x000F424000000064)  # 1e6 << 32 | 1e2
_INNER: Final = _U(0x0000271000000001)  # 1e4 << 32 | 1
_HIGH: Final = _U(32)


def last_digits(raw: Words64, count: npt.NDArray[np.int64]) -> Words64:
    """Value of the last `count` (0 to 8) ASCII digits of each little-endian word of eight characters.

    Digits are joined to pairs, then pairs to fours and eight by two multiplications: a well-known trick of integer
    arithmetic within one machine word. In place, since fetching memory takes as long as the arithmetic.
    """
    keep = _KEEP[count]
    digits = raw & keep
    keep &= _ASCII_ZEROS
    digits -= keep
    pairs = digits >> _BYTE
    digits *= _TEN
    pairs += digits
    outer = pairs & _LANES
    outer *= _OUTER
    pairs >>= _PAIR
    pairs &= _LANES
    pairs *= _INNER
    pairs += outer
    pairs >>= _HIGH
    return pairs


def decimals(whole: Words64, fraction: Words64, fraction_digits: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """The numbers made of digits before and after the point."""
    mantissa = _POWERS[fraction_digits]
    mantissa *= whole
    mantissa += fraction
    value = mantissa.astype(np.float64)
    value /= _POWERS_FLOAT[fraction_digits]
    return value
