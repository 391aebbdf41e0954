"""From page to page: what turning, going back and following a find do to what is chosen. Pure."""

from dataclasses import replace
from typing import Any

from monitor.tui.find import Found
from monitor.tui.pages import Page
from monitor.tui.view import View


def turned(view: View, page: Page) -> View:
    """The page, or back to the overview where it is shown already."""
    return _begun(replace(view, page=Page.WATCH if view.page is page else page))


def helped(view: View) -> View:
    """The help of this page, or back from it."""
    if view.page is Page.HELP:
        return back(view)
    return _begun(replace(view, page=Page.HELP, helped=view.page))


def back(view: View) -> View:
    """From help to the page it was opened from, from any other to the overview."""
    return _begun(replace(view, page=view.helped if view.page is Page.HELP else Page.WATCH))


def one_strand(view: View, number: int) -> View:
    """The page of one strand, if there is one; its own number again leads back."""
    shown = view.strand
    if view.page is Page.STRAND and shown is not None and shown.input == number:
        return back(view)
    return _begun(replace(view, page=Page.STRAND, input=number)) if number in _inputs(view) else view


def next_strand(view: View, step: int) -> View:
    """The next input's strand, or for -1 the one before; round and round."""
    inputs, shown = _inputs(view), view.strand
    if shown is None:
        return view
    return replace(view, input=inputs[(inputs.index(shown.input) + step) % len(inputs)])


def gone_to(view: View, found: Found) -> View:
    """What was found: its page, and what of it is meant."""
    parts: dict[str, Any] = {"page": found.page}
    if found.page is Page.HELP:
        parts["helped"] = Page.WATCH if view.page is Page.HELP else view.page
    if found.input is not None:
        parts["input"] = found.input
    if found.alert_id is not None:
        parts["selected"] = found.alert_id
    if found.channel is not None:
        parts["trend"] = view.trend.of(found.channel)
    return _begun(replace(view, **parts))


def _begun(view: View) -> View:
    """A page begins at its top; where only the most urgent alert is shown, it is the one that keys mean."""
    shows_one = view.page in {Page.TRENDS, Page.HELP}
    return replace(view, scroll=0, selected=None if shows_one else view.selected)


def _inputs(view: View) -> list[int]:
    return [] if view.latest is None else [strand.input for strand in view.latest.strands]
