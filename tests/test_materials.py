"""The table of materials: whose word counts, what is told when something is wrong, and the command that prints it."""

import json
import re
import sys
from pathlib import Path
from subprocess import run as run_process
from typing import Any

import pytest
from pydantic import ValidationError

from monitor.cli import main
from monitor.core.parameters import LinerLimits
from monitor.materials.files import user_file
from monitor.materials.known import (
    IncompleteMaterialError,
    MaterialError,
    MaterialsError,
    MaterialTable,
    UnknownMaterialError,
    load_materials,
)
from monitor.materials.model import Value, values

WHOLE: dict[str, Any] = {
    "structure": "amorphous",
    "glass_c": {"value": 80, "low": 70, "high": 85, "used": 70},
    "ceiling_c": 250,
    "reference_c": 220,
    "ea_below_kj_mol": 80,
    "ea_best_kj_mol": 100,
    "ea_above_kj_mol": 120,
    "warn_min": 20,
    "limit_min": {"value": 40, "high": 90},
    "wet_factor": 2,
    "density_kg_m3": 1200,
    "heat_capacity_j_kg_k": 1500,
    "conductivity_w_m_k": 0.2,
}
"""An invented polymer of which everything is known."""


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of the owner's own settings that holds nothing yet."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    user_file().parent.mkdir(parents=True)
    return user_file().parent


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def faults_of(*paths: Path) -> str:
    with pytest.raises(MaterialsError) as caught:
        load_materials(paths)
    return str(caught.value)


def value(table: MaterialTable, name: str, key: str) -> Value[float]:
    return values(table.record(name))[key]


class TestMaterial:
    """What the engine is told."""

    def test_engine_takes_the_cautious_numbers(self) -> None:
        """`used` where it stands, else `value`; the hopeful limit is the range's high end."""
        material = MaterialTable.from_tables({"x": WHOLE}).material("x")
        assert (material.glass_c, material.limit_min, material.limit_high_min) == (70, 40, 90)
        assert (material.ea_below_kj_mol, material.ea_best_kj_mol, material.ea_above_kj_mol) == (80, 100, 120)
        assert material.melt_c is None
        assert material.diffusivity_mm2_s == pytest.approx(0.2 / (1200 * 1500) * 1e6)

    def test_limit_without_a_range_is_exact(self) -> None:
        """A plain limit has no hopeful end above it."""
        assert MaterialTable.from_tables({"x": WHOLE | {"limit_min": 44}}).material("x").limit_high_min == 44

    def test_amorphous_rule_of_thumb(self) -> None:
        """High end of the glass transition + 90 K (common practice, no source), marked as a rule."""
        material = MaterialTable.from_tables({"x": WHOLE}).material("x")
        assert (material.min_feed_c, material.min_feed_is_rule) == (85 + 90, True)

    def test_crystalline_rule_of_thumb(self) -> None:
        """The melting temperature that the engine takes (common practice, no source), marked as a rule."""
        crystalline = WHOLE | {"structure": "semi-crystalline", "melt_c": {"value": 170, "used": 178}}
        material = MaterialTable.from_tables({"x": crystalline}).material("x")
        assert (material.melt_c, material.min_feed_c, material.min_feed_is_rule) == (178, 178, True)

    @pytest.mark.parametrize(("status", "is_rule"), [("bench", False), ("own", False), ("V", False), ("J", True)])
    def test_tested_feed_temperature(self, status: str, is_rule: bool) -> None:  # noqa: FBT001 -- a table of cases
        """A temperature that somebody found or vouches for is no rule of thumb; a judged one is."""
        tested = WHOLE | {"min_feed_c": {"value": 190, "status": status}}
        material = MaterialTable.from_tables({"x": tested}).material("x")
        assert (material.min_feed_c, material.min_feed_is_rule) == (190, is_rule)

    def test_unknown_names_near_ones(self) -> None:
        """A slip of the pen is met with what may have been meant, and with where to put a new one."""
        with pytest.raises(UnknownMaterialError, match=r"'pla'.*PLA.*strandwatch materials.*materials\.toml"):
            load_materials().material("pla")

    def test_liner_is_no_strand(self) -> None:
        """A strand of PTFE and a liner of PLA are refused."""
        table = load_materials()
        with pytest.raises(UnknownMaterialError, match="no material 'PTFE'"):
            table.material("PTFE")
        with pytest.raises(UnknownMaterialError, match="no liner 'PLA'"):
            table.liner("PLA")

    def test_incomplete_lists_all_that_is_missing(self) -> None:
        """Every missing key is named at once, with the place to write it."""
        some = {key: WHOLE[key] for key in ("structure", "glass_c", "warn_min")}
        table = MaterialTable.from_tables({"x": some})
        with pytest.raises(IncompleteMaterialError) as caught:
            table.material("x")
        assert all(key in str(caught.value) for key in WHOLE.keys() - some.keys())
        assert not any(f" {key}," in str(caught.value) for key in some)
        assert "[x]" in str(caught.value)
        assert "[materials.x]" in str(caught.value)

    @pytest.mark.parametrize("key", WHOLE)
    def test_each_key_is_needed(self, key: str) -> None:
        """The engine is never told a number that nobody gave."""
        table = MaterialTable.from_tables({"x": {other: WHOLE[other] for other in WHOLE if other != key}})
        with pytest.raises(IncompleteMaterialError, match=key):
            table.material("x")

    def test_crystalline_needs_its_melting_temperature(self) -> None:
        """Without it nothing says when the strand is too cold to feed."""
        table = MaterialTable.from_tables({"x": WHOLE | {"structure": "semi-crystalline"}})
        with pytest.raises(IncompleteMaterialError, match="lacks melt_c;"):
            table.material("x")

    def test_liner_limits(self) -> None:
        """A liner of one's own has its three limits, or is refused with those it lacks."""
        limits = {"kind": "liner", "warn_c": 200, "alarm_c": 220}
        table = MaterialTable.from_tables({"whole": limits | {"stop_c": 240}, "part": limits})
        assert table.liner("whole") == LinerLimits(200, 220, 240)
        assert table.liner_names == ("whole", "part")
        with pytest.raises(IncompleteMaterialError, match="liner 'part' lacks stop_c;"):
            table.liner("part")

    def test_table_is_frozen(self) -> None:
        """What one reader does to the table, no other sees."""
        table = load_materials()
        with pytest.raises(TypeError):
            table.entries["PLA"] = table.entries["PETG"]  # type: ignore[index]  # the refusal is what is tested
        with pytest.raises(ValidationError):
            table.entries["PLA"].title = "x"


class TestOverrides:
    """Whose word counts."""

    def test_a_plain_number_is_the_owners(self, tmp_path: Path) -> None:
        """It replaces that one value, range and caution included, and names the file; all else stays."""
        path = write(tmp_path / "mine.toml", "[PLA]\nglass_c = 62\n")
        before, after = load_materials(), load_materials([path])
        assert value(after, "PLA", "glass_c") == Value[float](value=62, status="own", source=str(path))
        assert after.material("PLA").glass_c == 62
        assert value(after, "PLA", "melt_c") == value(before, "PLA", "melt_c")
        assert after.record("PETG") == before.record("PETG")

    def test_a_table_keeps_its_own_words(self, tmp_path: Path) -> None:
        """Status and source given in the file stand; citations of the file's own are written out."""
        path = write(
            tmp_path / "mine.toml",
            '[sources]\nbook = "a book"\n[PLA]\n'
            'warn_min = { value = 25, low = 20, high = 30, status = "bench", source = "step test" }\n'
            'limit_min = { value = 50, status = "V", source = "book; my notes" }\n',
        )
        table = load_materials([path])
        assert value(table, "PLA", "warn_min").status == "bench"
        assert value(table, "PLA", "warn_min").source == "step test"
        assert value(table, "PLA", "limit_min").source == "a book; my notes"
        assert "sources" not in table.entries

    def test_later_files_win(self, own_folder: Path, tmp_path: Path) -> None:
        """The package's, then the owner's own file, then those given, in their order."""
        write(own_folder / "materials.toml", "[PLA]\nwarn_min = 11\nlimit_min = 31\nceiling_c = 226\n")
        first = write(tmp_path / "first.toml", "[PLA]\nwarn_min = 12\nlimit_min = 32\n")
        second = write(tmp_path / "second.toml", "[PLA]\nwarn_min = 13\n")
        material = load_materials([first, second]).material("PLA")
        assert (material.warn_min, material.limit_min, material.ceiling_c) == (13, 32, 226)
        assert load_materials().material("PLA").warn_min == 11

    def test_package_is_not_changed(self, tmp_path: Path) -> None:
        """An override lasts only as long as its file is named."""
        before = load_materials().material("PLA")
        load_materials([write(tmp_path / "mine.toml", "[PLA]\nwarn_min = 3\n")])
        assert load_materials().material("PLA") == before

    def test_new_material(self, tmp_path: Path) -> None:
        """A material of one's own stands at the end of the names."""
        path = write(tmp_path / "mine.toml", "[my-blend]\nglass_c = 62\n")
        assert load_materials([path]).names[-1] == "my-blend"

    def test_profile_overrides(self) -> None:
        """What a profile says goes over the files, and says it came from the profile."""
        table = load_materials().with_overrides({"PETG": {"warn_min": 40}})
        assert table.material("PETG").warn_min == 40
        assert value(table, "PETG", "warn_min").source == "the profile"

    def test_moved_glass_moves_the_rule(self) -> None:
        """The rule of thumb follows the values it is made of."""
        table = load_materials().with_overrides({"PETG": {"glass_c": 85}})
        assert table.material("PETG").min_feed_c == 85 + 90


class TestRecordings:
    """Tables that a recording keeps."""

    def test_all_tables_come_back(self) -> None:
        """Through JSON and back every material and liner is what it was, and so is every note."""
        table = load_materials()
        kept = json.loads(json.dumps(table.tables([*table.names, *table.liner_names]), allow_nan=False))
        again = MaterialTable.from_tables(kept)
        assert dict(again.entries) == dict(table.entries)
        assert [again.material(name) for name in again.names] == [table.material(name) for name in table.names]
        assert again.liner("PTFE") == table.liner("PTFE")

    def test_only_what_is_asked_for(self) -> None:
        """A recording holds the materials in use, not the whole table."""
        assert list(load_materials().tables(["PLA", "PTFE"])) == ["PLA", "PTFE"]

    def test_unknown_name(self) -> None:
        """A name that is not there is our own mistake and raises."""
        with pytest.raises(UnknownMaterialError):
            load_materials().tables(["no such"])

    def test_faulty_tables(self) -> None:
        """A recording that was tampered with is refused with what is wrong in it."""
        with pytest.raises(MaterialsError, match=r"the recording: PLA\.glass_c"):
            MaterialTable.from_tables({"PLA": {"glass_c": "warm"}})


FAULTY = """
sources = 3
[PLA]
warn_min = -5
ceilling_c = 230
glass_c = "sixty"
ceiling_c = { value = 9000, status = "V" }
limit_min = { value = 20, low = 30 }
[PTFE]
stop_c = 100
[PETG]
melt_c = 200
reference_c = { valu = 3 }
[ABS]
warn_min = 100
[PP]
density_kg_m3 = nan
conductivity_w_m_k = true
structure = "soft"
melt_c = { value = 160, status = "sure" }
[HIPS]
kind = "liner"
["a\\u001bb"]
title = "x"
[TPU]
title = "\\u001b[31m"
[PVA]
ea_above_kj_mol = 50
"""

TOLD = (
    "sources = 3: wrong type; allowed: a table of citations",
    "PLA.warn_min = -5: out of range; allowed: a number above 0 up to 100000",
    "PLA.ceilling_c = 230: unknown key (did you mean ceiling_c?); allowed: ",
    'PLA.glass_c = "sixty": wrong type; allowed: a number, or a table with value, ',
    "PLA.ceiling_c.value = 9000: out of range; allowed: a number from 20 up to 500",
    "PLA.limit_min: low, value and high are not in ascending order",
    "PTFE.stop_c = 100: heating would stop without an alarm; allowed: alarm_c below stop_c: they are 250 and 100",
    "PETG.melt_c = 200: an amorphous polymer has no melting temperature; allowed: ",
    "PETG.reference_c.value: missing; allowed: a number from 20 up to 500",
    "PETG.reference_c.valu = 3: unknown key (did you mean value?); allowed: ",
    "ABS.warn_min = 100: the limit would pass without a warning; allowed: warn_min below limit_min: ",
    "PP.density_kg_m3 = nan: not a finite number; allowed: a number from 500 up to 5000",
    "PP.conductivity_w_m_k = true: wrong type; allowed: a number, or a table with value, ",
    'PP.structure = "soft": not a value known here; allowed: "amorphous", "semi-crystalline"',
    'PP.melt_c.status = "sure": not a value known here; allowed: "V", "D", ',
    'HIPS.kind = "liner": this name is taken by a polymer; allowed: another name',
    "a␛b: a name that cannot be shown; allowed: ",
    'TPU.title = "␛[31m": only characters that can be shown; allowed: ',
    "PVA.ea_above_kj_mol = 50: the cautious law needs the highest energy above the reference; allowed: ",
)


class TestFaults:
    """What the owner is told."""

    def test_all_at_once(self, tmp_path: Path) -> None:
        """Every fault of a file stands in one answer: file, key, value, what is wrong, what is allowed."""
        path = write(tmp_path / "mine.toml", FAULTY)
        lines = faults_of(path).splitlines()
        assert all(line.startswith(f"{path}: ") for line in lines)
        told = [line.removeprefix(f"{path}: ") for line in lines]
        for expected in TOLD:
            assert any(line.startswith(expected) for line in told), expected
        assert len(told) == len(TOLD)

    def test_written_as_in_a_profile(self, tmp_path: Path) -> None:
        """One table too deep: the answer says how to write it here, and not which keys there are."""
        path = write(tmp_path / "mine.toml", '[materials.PETG]\nwarn_min = 45\n[materials."my blend"]\nwarn_min = 4\n')
        assert faults_of(path).splitlines() == [
            f"{path}: materials.{name}: this is how a profile has it; in a file of its own write [{written}]"
            for name, written in (("PETG", "PETG"), ("my blend", '"my blend"'))
        ]

    def test_faults_of_several_files(self, own_folder: Path, tmp_path: Path) -> None:
        """A faulty or missing file does not hide what is wrong in another."""
        write(own_folder / "materials.toml", "[PLA]\nwarn_min = 0\n")
        broken = write(tmp_path / "broken.toml", "[PLA\n")
        told = faults_of(broken, tmp_path / "missing.toml", write(tmp_path / "third.toml", "PLA = 3\n"))
        assert "settings/strandwatch/materials.toml: PLA.warn_min = 0: out of range" in told
        assert "broken.toml: not TOML: " in told
        assert "missing.toml: there is no such file" in told
        assert "third.toml: PLA = 3: wrong type; allowed: a table of the material's keys" in told

    def test_own_file_out_of_reach(self, own_folder: Path) -> None:
        """An own file that is there but cannot be read is told, not passed over (here: a link that leads to itself)."""
        (own_folder / "materials.toml").symlink_to("materials.toml")
        assert "materials.toml: cannot be read: " in faults_of()

    def test_values_are_shown_safely(self, tmp_path: Path) -> None:
        """Nothing in a file, or in its name, reaches the terminal as a command."""
        path = write(tmp_path / "a\x1b]0;x\x07.toml", '["\\u001b[2J"]\nglass_c = "\\u001b[2J"\n"\\u001b[3J" = 1\n')
        assert "\x1b" not in faults_of(path)

    @pytest.mark.parametrize("number", ["-1e999", "inf", "1_000_000", "true", '"12"', "[]", "{}"])
    def test_odd_numbers(self, number: str, tmp_path: Path) -> None:
        """No number that is none, or that no polymer has, gets in."""
        assert "PLA.glass_c" in faults_of(write(tmp_path / "mine.toml", f"[PLA]\nglass_c = {number}\n"))

    def test_not_text(self, tmp_path: Path) -> None:
        """A binary file is told with the line where it stops being text."""
        path = tmp_path / "mine.toml"
        path.write_bytes(b"[PLA]\n\xff\xfe")
        assert "line 2 is not UTF-8" in faults_of(path)

    def test_endless_file(self) -> None:
        """A file that never ends is refused, not read for ever."""
        assert "is it another file?" in faults_of(Path("/dev/zero"))

    def test_byte_order_mark(self, tmp_path: Path) -> None:
        """A mark that some editors put first does no harm."""
        path = tmp_path / "mine.toml"
        path.write_bytes(b"\xef\xbb\xbf[PLA]\nwarn_min = 12\n")
        assert load_materials([path]).material("PLA").warn_min == 12

    def test_profile_faults_name_the_profile(self) -> None:
        """Faults of overrides say where they were read."""
        with pytest.raises(MaterialsError, match=r"^the profile: PLA\.warn_min = -1: out of range"):
            load_materials().with_overrides({"PLA": {"warn_min": -1}})

    def test_all_faults_are_of_one_kind(self) -> None:
        """Whatever is wrong with materials can be caught at one place."""
        for kind in (UnknownMaterialError, IncompleteMaterialError, MaterialsError):
            assert issubclass(kind, MaterialError)


class TestCommand:
    """`strandwatch materials`, as the owner runs it."""

    def test_table(self, capsys: pytest.CaptureFixture[str]) -> None:
        """One line per material, none wider than 80 columns but the path at the end."""
        assert main(["materials"]) == 0
        lines = capsys.readouterr().out.splitlines()
        assert [line for line in lines if len(line) > 80] in ([], [f"  {user_file()}"])
        table = load_materials()
        for name in table.names:
            assert sum(line.startswith(f"{name} ") for line in lines) == 1, name
        row = next(line.split() for line in lines if line.startswith("PLA "))
        assert row == ["PLA", "45", "180", "230", "210", "10", "30", "180*", "J"]
        assert any("liner PTFE: warn above 240 °C, alarm above 250 °C, stop heating above 300 °C" in li for li in lines)

    @pytest.mark.parametrize("words", [["materials"], ["materials", "--help"]])
    def test_example(self, words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
        """Help and table show an example of an own file; it works as it stands. The table gives its place."""
        try:
            main(words)
        except SystemExit as end:
            assert end.code == 0  # noqa: PT017 -- argparse ends so after help
        out = capsys.readouterr().out
        example = re.search(r"^  \[PETG\]\n  warn_min = 45\n", out, re.MULTILINE)
        assert example is not None
        assert out.endswith(f"The file's place:\n  {user_file()}\n") == (words == ["materials"])
        write(user_file(), example[0])
        assert load_materials().material("PETG").warn_min == 45

    def test_weakest_status(self, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
        """A line is as good as its weakest value; a bench result takes the star off the feed temperature."""
        path = write(
            tmp_path / "mine.toml", '[ASA]\nmin_feed_c = { value = 205, status = "bench" }\n[half]\nglass_c=9\n'
        )
        assert main(["materials", "--materials", str(path)]) == 0
        lines = capsys.readouterr().out.splitlines()
        assert next(line.split() for line in lines if line.startswith("ASA "))[-2:] == ["205", "N"]
        assert next(line for line in lines if line.startswith("half ")).endswith("lacks values")

    def test_one_material(self, capsys: pytest.CaptureFixture[str]) -> None:
        """Every value stands there with unit, range, status and source, within 80 columns."""
        assert main(["materials", "PLA", "PTFE"]) == 0
        out = capsys.readouterr().out
        assert max(map(len, out.splitlines())) <= 80
        table = load_materials()
        for name in ("PLA", "PTFE"):
            for key in values(table.record(name)):
                assert f"\n{key}: " in out
        assert "    45 °C, used for caution in place of 60, range 45 to 65   [V]\n" in out
        assert "rule of thumb: the melting temperature" in out
        assert "Ind.\n    Eng. Chem. Res. 35(3), 732-735 (1996)" in out

    def test_json(self, capsys: pytest.CaptureFixture[str]) -> None:
        """For machines: one object with everything, the numbers used and what is missing."""
        assert main(["materials", "--json"]) == 0
        out = json.loads(capsys.readouterr().out)
        table = load_materials()
        assert list(out["materials"]) == [*table.names, *table.liner_names]
        assert out["materials"]["PLA"]["used"]["glass_c"] == 45
        assert out["materials"]["PLA"]["used"]["min_feed_c"] == table.material("PLA").min_feed_c
        assert out["materials"]["PLA"]["glass_c"]["high"] == 65
        assert out["materials"]["PLA"]["missing"] == []
        assert out["statuses"]["J"].startswith("judgement")

    def test_json_of_one(self, capsys: pytest.CaptureFixture[str]) -> None:
        """Names choose, for machines too."""
        assert main(["materials", "--json", "PVA"]) == 0
        assert list(json.loads(capsys.readouterr().out)["materials"]) == ["PVA"]

    @pytest.mark.parametrize("words", [["materials", "unobtainium"], ["materials", "--materials", "/no/such/file"]])
    def test_wrong_use(self, words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
        """An unknown name or a missing file ends with status 2 and says what to do; nothing is printed."""
        assert main(words) == 2
        streams = capsys.readouterr()
        assert streams.out == ""
        assert words[-1] in streams.err

    def test_parser_is_cheap(self) -> None:
        """Building the command line loads neither the checker of tables nor the engine's mathematics."""
        code = "import sys, monitor.commands.materials; print({'pydantic', 'numpy', 'platformdirs'} & set(sys.modules))"
        done = run_process([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)  # noqa: S603 -- our own code
        assert done.stdout == "set()\n"


def test_order_of_keys_does_not_matter() -> None:
    """A table read backwards is the same material."""
    backwards = dict(reversed(WHOLE.items()))
    assert MaterialTable.from_tables({"x": backwards}).material("x") == MaterialTable.from_tables(
        {"x": WHOLE}
    ).material("x")


def test_every_number_has_a_unit_in_its_key() -> None:
    """Each value's key ends in a unit, or is a factor (the project's own rule)."""
    units = ("_c", "_kj_mol", "_min", "_kg_m3", "_j_kg_k", "_w_m_k", "_factor")
    table = load_materials()
    keys = {key for name in (*table.names, *table.liner_names) for key in values(table.record(name))}
    assert len(keys) == 18
    assert all(key.endswith(units) for key in keys)
