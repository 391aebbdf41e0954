"""The unit file that runs a watch as a service, with the owner's own paths in it."""

from pathlib import Path
from typing import Final

_FILE: Final = Path(__file__).parent / "strandwatch.service"
_EXEC_START: Final = (
    "ExecStart=/opt/strandwatch/bin/strandwatch watch --headless --wait --profile /etc/strandwatch/machine.toml"
)


def unit_text(program: Path, profile: Path) -> str:
    """Give the unit file for this program and profile."""
    command = f"ExecStart={_word(program)} watch --headless --wait --profile {_word(profile)}"
    return _FILE.read_text(encoding="utf-8").replace(_EXEC_START, command)


def _word(path: Path) -> str:
    r"""One word of a command as systemd.service(5) reads it: quoted, with its own signs doubled.

    >>> _word(Path("/opt/a b/50 %")), _word(Path("/opt/plain"))
    ('"/opt/a b/50 %%"', '/opt/plain')
    """
    text = str(path.absolute()).replace("\\", "\\\\").replace("%", "%%").replace("$", "$$").replace('"', '\\"')
    return text if text.isascii() and not any(sign in text for sign in " '\";") else f'"{text}"'
