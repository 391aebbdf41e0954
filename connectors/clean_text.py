"""The one door for text that came from a device, a file name or the network, before it is shown or stored.

Control characters become visible or vanish, direction overrides and zero-width characters vanish, stacked combining
marks are thinned, the length is bounded. It cleans text for terminals, markup, logs and recordings alike.
"""

import re

_FORBIDDEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202f\u2060-\u206f\ud800-\udfff"
    "\ufe00-\ufe0f\ufeff\ufff9-\ufffb\U000e0000-\U000e0fff]"
)
_MARK = "\u0300-\u036f\u0483-\u0489\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff\ufe20-\ufe2f"
_PILE_OF_MARKS = re.compile(f"([{_MARK}]{{2}})[{_MARK}]+")
_SPACES = "\t\n\r"
_FIRST_PRINTABLE, _DELETE, _LAST_C1 = 0x20, 0x7F, 0x9F
_CONTROL_PICTURES = 0x2400


def clean_text(raw: str | bytes | bytearray, limit: int = 200) -> str:
    r"""Text that no terminal, markup or log can take for a command.

    >>> clean_text(b"T:\x1b]0;hello\x07 \xff")
    'T:␛]0;hello␇ �'
    """
    text = raw if isinstance(raw, str) else raw.decode("utf-8", "replace")
    if len(text) > limit:
        text = text[: limit - 1] + "…"
    return _PILE_OF_MARKS.sub(r"\1", _FORBIDDEN.sub(_stand_in, text))


def _stand_in(found: re.Match[str]) -> str:
    code = ord(found[0])
    if found[0] in _SPACES:
        return " "
    if code < _FIRST_PRINTABLE:
        return chr(_CONTROL_PICTURES + code)
    if code == _DELETE:
        return "␡"
    is_surrogate = 0xD800 <= code <= 0xDFFF  # noqa: PLR2004 -- the block's own bounds
    return "\N{REPLACEMENT CHARACTER}" if code <= _LAST_C1 or is_surrogate else ""
