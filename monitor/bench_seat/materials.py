"""A bench result as a value of the owner's file of materials."""

from pathlib import Path
from typing import Any, Final

from monitor.bench.report import Figure
from monitor.materials import own as own_materials
from monitor.materials.own import NotWrittenError

__all__ = ["KEY", "NotWrittenError", "by_hand", "edited", "standing", "table_of", "write_figure"]

KEY: Final = "min_feed_c"


def table_of(figure: Figure) -> dict[str, Any]:
    """The figure as a value of a materials file."""
    low = {} if figure.low_c is None else {"low": figure.low_c}
    return {"value": figure.value_c, **low, "high": figure.value_c, "status": "bench", "source": figure.source}


def by_hand(material: str, figure: Figure) -> str:
    """The lines that say the same, for the owner to copy."""
    return own_materials.lines_to_paste(material, {KEY: table_of(figure)})


def standing(path: Path, material: str) -> Any:  # noqa: ANN401 -- whatever TOML may hold there
    """What the file says of the material's lowest feeding temperature; None where it says nothing."""
    return own_materials.standing(path, material, KEY)


def edited(text: str, material: str, figure: Figure) -> str:
    """The text of a materials file with the figure in it; NotWrittenError where that would change something else."""
    return own_materials.edited(text, material, {KEY: table_of(figure)})


def write_figure(path: Path, material: str, figure: Figure) -> None:
    """Put the figure into the owner's file; NotWrittenError when the file is not to be written, or would be faulty."""
    own_materials.write_values(path, material, {KEY: table_of(figure)})
