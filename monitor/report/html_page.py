"""Blocks as one page for a browser: nothing is fetched, nothing runs, every text is escaped.

Owns the page's markup and its looks, on dark and light screens and on paper.
"""

from collections.abc import Iterable, Iterator
from html import escape
from typing import Final

from monitor.page_parts import heading, items, page, paragraph, table
from monitor.report.blocks import Block, Heading, Items, Plot, Table, Words

FIRST_LINE: Final = "<!DOCTYPE html><!-- strandwatch report -->\n"
_LIGHT: Final = """color-scheme: light; --paper: #fff; --ink: #1d1f21; --faint: #5a6066; --line: #d3d7db;
  --gap: #eceef0; --lead: #eef4fa; --edge: #2f6fb0; --s1: #0b62a4; --s2: #c2410c; --s3: #11735a; --s4: #a3246f;
  --s5: #4d5358; --s6: #8a6100; --s7: #6b3fa0; --s8: #0f7c8f; --stand: #c9d3dc; --warn: #d98a1f; --limit: #b3202a;"""
_DARK: Final = """color-scheme: dark; --paper: #15181b; --ink: #e4e7ea; --faint: #9aa3ab; --line: #3a4046;
  --gap: #23282c; --lead: #1b2733; --edge: #6fa8dc; --s1: #6db3f2; --s2: #ff9e6b; --s3: #59c9a5; --s4: #f08cc5;
  --s5: #c3c9cf; --s6: #e0b84c; --s7: #b99cf0; --s8: #5fc6d8; --stand: #47525c; --warn: #e39a33; --limit: #f0616b;"""
_STYLE: Final = f"""
:root {{ {_LIGHT} }}
@media screen and (prefers-color-scheme: dark) {{ :root {{ {_DARK} }} }}
body {{ margin: 2rem auto; padding: 0 1rem; max-width: 62rem; color: var(--ink); background: var(--paper);
  font: 1rem/1.5 system-ui, sans-serif; overflow-wrap: anywhere; }}
h1 {{ font-size: 1.5rem; }} h2 {{ font-size: 1.2rem; margin: 2.2rem 0 .6rem; }}
h3 {{ font-size: 1rem; margin: 1.4rem 0 .4rem; }}
.lead {{ padding: .7rem 1rem; background: var(--lead); border-left: 4px solid var(--edge); font-weight: 600; }}
.scroll {{ overflow-x: auto; }} table {{ border-collapse: collapse; font-size: .9rem; width: 100%; }}
th, td {{ padding: .3rem .8rem .3rem 0; text-align: left; vertical-align: top; border-bottom: 1px solid var(--line);
  min-width: 3.5rem; overflow-wrap: break-word; }}
th {{ color: var(--faint); font-weight: 600; }} .right {{ text-align: right; }}
figure {{ margin: 1rem 0; }} figcaption {{ color: var(--faint); font-size: .9rem; }}
figure svg {{ width: 100%; height: auto; display: block; }}
@media print {{ body {{ margin: 0; max-width: none; font-size: 10pt; }} tr, li, figure {{ break-inside: avoid; }}
  h2, h3 {{ break-after: avoid; }} .scroll {{ overflow: visible; }} * {{ print-color-adjust: exact; }} }}
"""


def page_text(blocks: Iterable[Block], title: str) -> str:
    """The whole page."""
    return page(FIRST_LINE, title, _STYLE, _parts(blocks))


def _parts(blocks: Iterable[Block]) -> Iterator[str]:
    for block in blocks:
        match block:
            case Heading(text, level):
                yield heading(text, level)
            case Words(text, is_lead):
                yield paragraph(text, "lead" if is_lead else "")
            case Items(texts):
                yield items(texts)
            case Table():
                yield table(block)
            case Plot():
                yield _figure(block)


def _figure(plot: Plot) -> str:
    caption = f"<figcaption>{escape(plot.says)}</figcaption>"
    opening = f'<figure role="img" aria-label="{escape(plot.says)}">'
    return f"{heading(plot.title, 3)}{opening}{plot.svg}{caption}</figure>\n"
