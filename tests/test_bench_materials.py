"""The result in the owner's file of materials: the figure is there, and nothing else has changed."""

import os
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.bench.report import Figure
from monitor.bench_seat import materials as bench_materials
from monitor.bench_seat.materials import NotWrittenError, by_hand, edited, standing, write_figure
from monitor.materials.example import EXAMPLE
from monitor.materials.known import load_materials, package_materials

FIGURE = Figure(171.0, 160.0, "bench 2026-11-27, garage, input 1, 2 mm/s (4.8 mm³/s), 8 attempts")
WRITTEN = """\
# my own values
[sources]
me = "measured at home"

[PETG]   # the grey one
warn_min = 45   # minutes
min_feed_c = 230  # a guess

# PLA of the second spool
[PLA]
warn_min = { value = 25, status = "own", source = "me" }
"""


def test_comments_order_and_other_values_stay() -> None:
    """Of the lines, only the one with the figure differs; a value that was there is replaced."""
    new = edited(WRITTEN, "PETG", FIGURE)
    changed = set(new.splitlines()) ^ set(WRITTEN.splitlines())
    assert all(line.startswith("min_feed_c") for line in changed)
    assert tomllib.loads(new)["PETG"]["min_feed_c"]["value"] == 171.0
    assert "# the grey one" in new
    assert "# PLA of the second spool" in new


def test_a_new_material_gets_a_table_at_the_end() -> None:
    """All that stood before stands as it was."""
    new = edited(WRITTEN, "ASA", FIGURE)
    assert new.startswith(WRITTEN)
    assert tomllib.loads(new)["ASA"]["min_feed_c"]["status"] == "bench"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "PETG.warn_min = 45\n",
        "PETG = { warn_min = 45 }\n",
        "[PETG]\nwarn_min = 45",
        '["PETG"]\nwarn_min = 45\n[PETG.min_feed_c]\nvalue = 200\nstatus = "own"\n[PLA]\nwarn_min = 3\n',
        "[PETG.warn_min]\nvalue = 45\nstatus = 'own'\n\n[PLA]\nwarn_min = 3\n",
        "[PETG]\r\nwarn_min = 45\r\n",
    ],
)
def test_other_ways_to_write_a_table_are_edited_or_refused_never_spoilt(text: str) -> None:
    """What comes out means what stood there, with the figure; or nothing is changed."""
    wanted = tomllib.loads(text)
    wanted.setdefault("PETG", {})["min_feed_c"] = bench_materials.table_of(FIGURE)
    try:
        new = edited(text, "PETG", FIGURE)
    except NotWrittenError:
        return
    assert tomllib.loads(new) == wanted


def test_plain_forms_are_really_edited() -> None:
    """The forms that owners write are not among the refused ones."""
    for text in (EXAMPLE, WRITTEN, "[PETG]\r\nwarn_min = 45\r\n", "PETG.warn_min = 45\n", ""):
        new = edited(text, "PETG", FIGURE)
        assert tomllib.loads(new)["PETG"]["min_feed_c"]["value"] == 171.0
    assert "\n" not in edited("[PETG]\r\nwarn_min = 45\r\n", "PETG", FIGURE).replace("\r\n", "")


@given(st.text(min_size=1, max_size=60))
def test_no_name_breaks_out_of_its_table(name: str) -> None:
    """Quotes, brackets, dots and line ends in a material's name: one more table of just that name, or a refusal."""
    try:
        new = edited(WRITTEN, name, FIGURE)
    except NotWrittenError:
        return
    assert set(tomllib.loads(new)) == {*tomllib.loads(WRITTEN), name}


@pytest.mark.parametrize("name", ['PLA"]\n[PETG', "a.b", "[x]", "ä ö", "'", 'say "hi"', "#no comment", "= 3"])
def test_hostile_names_are_written_as_what_they_are(name: str) -> None:
    """Each is a key of its own, and the others' values stay."""
    new = tomllib.loads(edited(WRITTEN, name, FIGURE))
    assert new[name]["min_feed_c"]["value"] == 171.0
    assert new["PETG"] == tomllib.loads(WRITTEN)["PETG"]


def test_what_is_written_counts_as_tested(tmp_path: Path) -> None:
    """Read back as any file of the owner's: the figure is used, and is no rule of thumb any more."""
    path = tmp_path / "materials.toml"
    assert package_materials().material("PLA").min_feed_is_rule
    write_figure(path, "PLA", FIGURE)
    material = load_materials([path]).material("PLA")
    assert material.min_feed_c == 171.0
    assert not material.min_feed_is_rule
    value = load_materials([path]).record("PLA").model_dump()["min_feed_c"]
    assert (value["status"], value["low"], value["source"]) == ("bench", 160.0, FIGURE.source)


def test_a_new_file_is_private_and_an_old_one_keeps_its_permissions(tmp_path: Path) -> None:
    """0600 for a new one, in a private directory; nothing else is left lying about."""
    new, old = tmp_path / "own" / "materials.toml", tmp_path / "materials.toml"
    old.write_text(WRITTEN, encoding="utf-8")
    old.chmod(0o640)
    for path in (new, old):
        write_figure(path, "PLA", FIGURE)
    assert new.stat().st_mode & 0o777 == 0o600
    assert new.parent.stat().st_mode & 0o777 == 0o700
    assert old.stat().st_mode & 0o777 == 0o640
    assert sorted(path.name for path in tmp_path.iterdir()) == ["materials.toml", "own"]


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    """The file that it points to is replaced."""
    target, link = tmp_path / "kept.toml", tmp_path / "materials.toml"
    target.write_text(WRITTEN, encoding="utf-8")
    link.symlink_to(target)
    write_figure(link, "PLA", FIGURE)
    assert link.is_symlink()
    assert standing(target, "PLA")["value"] == 171.0


def test_a_read_only_file_is_left_alone(tmp_path: Path) -> None:
    """Although its directory would let it be replaced."""
    path = tmp_path / "materials.toml"
    path.write_text(WRITTEN, encoding="utf-8")
    path.chmod(0o444)
    with pytest.raises(NotWrittenError, match="read-only"):
        write_figure(path, "PLA", FIGURE)
    assert path.read_text(encoding="utf-8") == WRITTEN
    assert [it.name for it in tmp_path.iterdir()] == ["materials.toml"]


def test_a_failure_on_the_way_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that fails before the new file is whole."""
    path = tmp_path / "materials.toml"
    path.write_text(WRITTEN, encoding="utf-8")

    def fails(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(NotWrittenError, match="No space left"):
        write_figure(path, "PLA", FIGURE)
    assert path.read_text(encoding="utf-8") == WRITTEN
    assert [it.name for it in tmp_path.iterdir()] == ["materials.toml"]


def test_a_change_by_another_hand_is_not_overwritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The owner's editor saved meanwhile: its text stays."""
    path = tmp_path / "materials.toml"
    path.write_text(WRITTEN, encoding="utf-8")
    monkeypatch.setattr(os, "fsync", lambda _: path.write_text("# newer\n", encoding="utf-8"))
    with pytest.raises(NotWrittenError, match="changed meanwhile"):
        write_figure(path, "PLA", FIGURE)
    assert path.read_text(encoding="utf-8") == "# newer\n"


def test_a_figure_that_the_materials_would_refuse_is_not_written(tmp_path: Path) -> None:
    """A feeding temperature at the ceiling would make the whole file unreadable to the watch."""
    path = tmp_path / "materials.toml"
    ceiling_c = package_materials().material("PLA").ceiling_c
    with pytest.raises(NotWrittenError, match="ceiling"):
        write_figure(path, "PLA", Figure(ceiling_c, None, "bench"))
    assert not path.exists()


def test_lines_for_writing_by_hand_say_the_same() -> None:
    """They are TOML with the same figure."""
    assert tomllib.loads(by_hand('odd "name"', FIGURE))['odd "name"']["min_feed_c"]["value"] == 171.0
