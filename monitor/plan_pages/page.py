"""Blocks as one page for a browser: nothing is fetched, nothing runs, every text is escaped.

Owns the page's markup and its looks, for dark and light screens and for paper.
"""

from collections.abc import Iterable, Iterator
from html import escape
from typing import Final

from monitor.page_parts import heading, items, page, paragraph, table
from monitor.plan_pages.blocks import Block, Heading, Items, Table, Timeline, Typed, Words
from monitor.plan_pages.svg import svg_text

FIRST_LINE: Final = "<!DOCTYPE html><!-- strandwatch plan -->\n"
_STYLE: Final = """
:root { color-scheme: light dark; --ink: #1c1c1c; --paper: #fff; --faint: #666; --line: #ccc; --good: #17652f;
  --bad: #a3131d; --mild: #7a5200; --gone: none; --stands: #d9d9d9; --partly: #8fb3d9; --feeds: #2f6fb0;
  --half: #e5cf7a; --warn: #d98a1f; --limit: #b3202a; }
@media (prefers-color-scheme: dark) { :root { --ink: #e6e6e6; --paper: #161616; --faint: #a0a0a0; --line: #444;
  --good: #7fce95; --bad: #ff8f8f; --mild: #ecc26a; --stands: #3a3a3a; --partly: #4a6d94; --feeds: #6fa8dc;
  --half: #8a7a3a; --warn: #d98a1f; --limit: #e5484d; } }
@media print { :root { --ink: #000; --paper: #fff; --faint: #444; --line: #999; --good: #000; --bad: #000; --mild: #000;
  --stands: #ddd; --partly: #9bb; --feeds: #357; --half: #ddc; --warn: #c93; --limit: #a22; }
  svg, tr, li { break-inside: avoid; } h2, h3 { break-after: avoid; } * { print-color-adjust: exact; } }
body { margin: 2rem auto; padding: 0 1rem; max-width: 60rem; color: var(--ink); background: var(--paper);
  font: 1rem/1.5 system-ui, sans-serif; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.2rem; margin-top: 2rem; } h3 { font-size: 1.05rem; }
.scroll { overflow-x: auto; } table { border-collapse: collapse; }
th, td { padding: .25rem .75rem .25rem 0; text-align: left; vertical-align: top; border-bottom: 1px solid var(--line); }
td { white-space: nowrap; } td.wide { white-space: normal; min-width: 12rem; } .right { text-align: right; }
.good { color: var(--good); } .bad { color: var(--bad); font-weight: 600; }
.mild { color: var(--mild); } .faint { color: var(--faint); }
pre { padding: .5rem 1rem; border-left: 3px solid var(--line); } svg { width: 100%; height: auto; }
svg text { fill: var(--ink); font: 12px system-ui, sans-serif; } svg .hours { stroke: var(--line); }
svg .wall { fill: none; stroke: var(--ink); stroke-width: 1.5; }
.GONE { fill: none; } .STANDS { fill: var(--stands); } .FEEDS_PARTLY { fill: var(--partly); }
.FEEDS { fill: var(--feeds); } .PAST_HALF { fill: var(--half); } .PAST_WARN { fill: var(--warn); }
.PAST_LIMIT { fill: var(--limit); }
"""


def page_text(blocks: Iterable[Block]) -> str:
    """The whole page."""
    known = list(blocks)
    title = next((block.text for block in known if isinstance(block, Heading)), "strandwatch")
    return page(FIRST_LINE, title, _STYLE, _parts(known))


def _parts(blocks: Iterable[Block]) -> Iterator[str]:
    for block in blocks:
        match block:
            case Heading(text=text, level=level):
                yield heading(text, level)
            case Words(text=text, tone=tone):
                yield paragraph(text, tone)
            case Items(texts=texts):
                yield items(texts)
            case Typed(lines=lines):
                yield f"<pre>{escape(chr(10).join(lines))}</pre>\n"
            case Table(tones=tones, wide=wide):
                yield table(block, tones, wide)
            case Timeline(title=title, strip=strip):
                yield f'{heading(title, 3)}<div class="scroll">{svg_text(strip, title)}</div>\n'
