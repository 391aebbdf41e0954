"""The report's plots, drawn by matplotlib as SVG whose colours are the page's own, so that they follow dark and light.

Owns how a figure becomes SVG. matplotlib is an extra (`report`), so it is imported only here and in `plots.py`.
"""

import io
import re
import warnings
from collections.abc import Callable
from typing import Any, Final

from matplotlib import rc_context
from matplotlib.figure import Figure

INK: Final = "#010101"
FAINT: Final = "#020202"
LINE: Final = "#030303"
GAP: Final = "#040404"
STAND: Final = "#050505"
WARN: Final = "#060606"
LIMIT: Final = "#070707"
SERIES: Final = tuple(f"#08080{number}" for number in range(1, 9))
_VARIABLES: Final = {
    INK: "--ink",
    FAINT: "--faint",
    LINE: "--line",
    GAP: "--gap",
    STAND: "--stand",
    WARN: "--warn",
    LIMIT: "--limit",
    **{colour: f"--s{number}" for number, colour in enumerate(SERIES, start=1)},
}
"""Colours that stand for variables of the page's style: nothing else is drawn in them."""
_LOOK: Final[Any] = {
    "svg.fonttype": "none",
    "text.parse_math": False,  # a name may hold what would be taken for a formula
    "font.family": "sans-serif",
    "font.size": 9.0,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": FAINT,
    "xtick.color": FAINT,
    "ytick.color": FAINT,
    "axes.facecolor": "none",
    "figure.facecolor": "none",
    "savefig.facecolor": "none",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "legend.frameon": False,
    "hatch.color": LINE,
}
_SIZE: Final = re.compile(r'(<svg [^>]*?) (?:width|height)="[^"]*"')


def svg_of(name: str, draw: Callable[[], Figure]) -> str:
    """SVG of a figure, fit to stand in a page: no declaration, no size of its own, no id that another has."""
    out = io.StringIO()
    with rc_context({**_LOOK, "svg.hashsalt": name}), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # the browser has other fonts than we have
        draw().savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = _SIZE.sub(r"\1", _SIZE.sub(r"\1", text, count=1), count=1)
    for colour, variable in _VARIABLES.items():
        text = text.replace(colour, f"var({variable})")
    return _own_ids(text, name)


def _own_ids(text: str, name: str) -> str:
    text = re.sub(r' id="([^"]+)"', rf' id="{name}-\1"', text)
    text = re.sub(r'"#([^"]+)"', rf'"#{name}-\1"', text)
    return re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", text)
