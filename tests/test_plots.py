"""The pictures of the heat model: there, small, marked as results of a model, and drawn the same each time."""

import re
from pathlib import Path

import pytest

import monitor.core
from tests.make_plots import FOLDER, PLOTS, write

DOCUMENT = (Path(monitor.core.__file__).parent / "heat_model.md").read_text(encoding="utf-8")


def _text(name: str, folder: Path = FOLDER) -> str:
    return (folder / f"{name}.svg").read_text(encoding="utf-8")


def test_the_document_shows_them_all() -> None:
    """Every picture that the command draws is shown in heat_model.md and lies beside it, and no other."""
    assert re.findall(r"\]\(plots/(\w+)\.svg\)", DOCUMENT) == list(PLOTS)
    assert {path.name for path in FOLDER.iterdir()} == {f"{name}.svg" for name in PLOTS}


@pytest.mark.parametrize("name", PLOTS)
def test_each_says_that_it_is_a_model(name: str) -> None:
    """Nobody can take a picture for a measurement, nor does it weigh much."""
    assert "RESULT OF THE MODEL" in _text(name)
    assert "not measured" in _text(name)
    assert (FOLDER / f"{name}.svg").stat().st_size < 150_000


def test_the_pictures_are_those_of_the_model_as_it_is(tmp_path: Path) -> None:
    """The soft fronts written into the first picture are today's; if not, draw the pictures anew."""
    (name, *_) = PLOTS
    write(tmp_path, [name])
    told, now = (re.findall(r"soft up to [\d.]+ mm", _text(name, folder)) for folder in (FOLDER, tmp_path))

    assert told == now
    assert len(now) == 3


def test_the_same_picture_is_drawn_twice(tmp_path: Path) -> None:
    """No date and no chance in the files: drawing them again changes nothing."""
    (name, *_) = PLOTS
    write(tmp_path / "one", [name])
    write(tmp_path / "other", [name])

    assert _text(name, tmp_path / "one") == _text(name, tmp_path / "other")
