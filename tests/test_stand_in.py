"""A material that lacks values is refused, or another one stands in for it by the owner's word and by name."""

import asyncio
import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.recording import Recording
from connectors.recording_header import decode_header, encode_header
from connectors.simulated_link import SimulatedLink
from connectors.simulated_scenarios import SCENARIOS
from monitor.cli import main
from monitor.config import Profile, ProfileError, parse_profile, profile_from_tables
from monitor.core.engine import Engine
from monitor.headless import status_text
from monitor.materials.known import IncompleteMaterialError, MaterialTable, UnknownMaterialError
from monitor.materials.model import PolymerTable
from monitor.materials.stand_in import NEEDED, fill
from monitor.plain_data import assessment_data
from monitor.profile.report import loan_lines, summary_lines
from monitor.recording.start import start_recording
from monitor.session import Session
from monitor.tui.present import frame
from monitor.tui.view import View
from monitor.tui.words import full_name_of, name_of
from tests import screen_samples as samples
from tests.config_examples import SOUND
from tests.recording_examples import HEADER, validator

# Invented, and far from each other in every value, so that no borrowed number can pass for an own one.
LENDER = {
    "structure": "amorphous",
    "glass_c": {"value": 80.0, "low": 70.0, "high": 85.0, "used": 70.0, "status": "V"},
    "ceiling_c": 270.0,
    "reference_c": 240.0,
    "ea_below_kj_mol": 88.0,
    "ea_best_kj_mol": 130.0,
    "ea_above_kj_mol": 134.0,
    "warn_min": 60.0,
    "limit_min": {"value": 180.0, "high": 200.0, "status": "J"},
    "wet_factor": 3.0,
    "density_kg_m3": 1270.0,
    "heat_capacity_j_kg_k": 1200.0,
    "conductivity_w_m_k": 0.21,
}
OWN = {
    "structure": "amorphous",
    "glass_c": 90.0,
    "ceiling_c": 260.0,
    "reference_c": 230.0,
    "ea_below_kj_mol": 60.0,
    "ea_best_kj_mol": 90.0,
    "ea_above_kj_mol": 100.0,
    "warn_min": 20.0,
    "limit_min": 50.0,
    "wet_factor": 2.0,
    "density_kg_m3": 1000.0,
    "heat_capacity_j_kg_k": 1500.0,
    "conductivity_w_m_k": 0.3,
}
DOSE = ("reference_c", "warn_min", "limit_min")
ADDED = '[materials.odd]\nstructure = "amorphous"\nglass_c = 90\nceiling_c = 260\nconductivity_w_m_k = 0.3\n'
BORROWED = tuple(key for key in NEEDED if key not in ("structure", "glass_c", "ceiling_c", "conductivity_w_m_k"))


def tables(own: dict[str, object], lender: dict[str, object] | None = None) -> MaterialTable:
    return MaterialTable.from_tables({"own": own, "lender": LENDER if lender is None else lender})


def profile_text(stand_in: str = 'stand_in = "PETG"', rest: str = "") -> str:
    """The sound profile with input 1 made of a material of which little is known."""
    strand = f'material = "odd"\n{stand_in}\n{rest}\nlabel = "left"'
    return SOUND.replace('material = "PETG"\nlabel = "left"', strand) + ADDED


def parse(text: str) -> Profile:
    return parse_profile(text, "test.toml")


def only_fault(text: str) -> str:
    with pytest.raises(ProfileError) as caught:
        parse(text)
    (fault,) = caught.value.faults
    return str(fault)


class TestBorrowing:
    """What comes from the stand-in, and what never does."""

    @given(st.sets(st.sampled_from(sorted(OWN)), min_size=1))
    def test_only_what_is_missing_is_borrowed(self, gaps: set[str]) -> None:
        """Whatever the material says itself stays, whichever values it lacks."""
        own = PolymerTable.model_validate(_whole({key: OWN[key] for key in OWN if key not in gaps}))
        filled = fill(own, PolymerTable.model_validate(_whole(LENDER)))
        assert set(NEEDED) & set(filled.borrowed) == gaps
        for key in OWN.keys() - gaps:
            assert getattr(filled.entry, key) == getattr(own, key)

    def test_a_borrowed_value_counts_as_a_stand_in_and_keeps_its_range(self) -> None:
        """The cautious number and the range are the other material's, the status says that there is no source."""
        table = tables({key: OWN[key] for key in OWN if key not in (*DOSE, "glass_c")})
        glass = table.filled("own", "lender").entry.glass_c
        assert glass is not None
        assert (glass.number, glass.high, glass.status) == (70.0, 85.0, "N")
        material = table.material("own", "lender")
        assert (material.glass_c, material.limit_high_min) == (70.0, 200.0)
        assert material.min_feed_c == 85.0 + 90.0  # the rule of thumb on the borrowed high end
        assert material.min_feed_is_rule

    def test_without_the_owners_word_nothing_is_borrowed(self) -> None:
        """The refusal names what is missing, and this way out."""
        with pytest.raises(IncompleteMaterialError, match=r"'own' lacks wet_factor;.*stand_in = \"NAME\""):
            tables({key: OWN[key] for key in OWN if key != "wet_factor"}).material("own")

    def test_a_whole_material_borrows_nothing(self) -> None:
        """A stand-in changes no number where none is missing."""
        table = tables(OWN)
        assert table.material("own", "lender") == table.material("own")
        assert table.filled("own", "lender").borrowed == ()

    def test_own_doses_need_an_own_reference(self) -> None:
        """Minutes at an unknown temperature cannot be read as minutes at another material's."""
        own = {key: OWN[key] for key in OWN if key != "reference_c"}
        with pytest.raises(IncompleteMaterialError, match="must come with a reference_c of its own"):
            tables(own).material("own", "lender")

    def test_doses_are_not_carried_to_another_reference(self) -> None:
        """60 min at 240 °C are not 60 min at 230 °C, so they are not borrowed as such."""
        own = {key: OWN[key] for key in OWN if key not in ("warn_min", "limit_min")}
        with pytest.raises(IncompleteMaterialError, match="they count at 240 °C, its reference_c is 230"):
            tables(own).material("own", "lender")
        assert tables(own, LENDER | {"reference_c": 230.0}).material("own", "lender").warn_min == 60.0

    def test_the_two_must_go_together(self) -> None:
        """Values that contradict each other are refused with the reason."""
        own = {key: OWN[key] for key in OWN if key != "ea_above_kj_mol"}
        with pytest.raises(IncompleteMaterialError, match="ea_above_kj_mol contradicts the rest: the cautious law"):
            tables(own | {"ea_best_kj_mol": 150.0}).material("own", "lender")

    def test_a_melting_temperature_is_borrowed_where_it_is_needed(self) -> None:
        """For a semi-crystalline polymer only; one that has none to lend leaves the gap."""
        crystalline = LENDER | {"structure": "semi-crystalline", "melt_c": 175.0}
        table = tables(OWN | {"structure": "semi-crystalline"}, crystalline)
        assert table.material("own", "lender").melt_c == 175.0
        assert set(table.filled("own", "lender").borrowed) == {"melt_c", "min_feed_c"}
        assert tables(OWN, crystalline).material("own", "lender").melt_c is None
        with pytest.raises(IncompleteMaterialError, match="still lacks melt_c: 'lender'"):
            tables(OWN | {"structure": "semi-crystalline"}).material("own", "lender")

    def test_a_bench_tested_feed_temperature_of_another_counts_as_a_rule(self) -> None:
        """The other material's bench result is a guess for this one."""
        own = {key: OWN[key] for key in OWN if key not in ("structure", "glass_c")}
        tested = LENDER | {"min_feed_c": {"value": 181.0, "status": "bench"}}
        material = tables(own, tested).material("own", "lender")
        assert (material.min_feed_c, material.min_feed_is_rule) == (181.0, True)

    def test_an_unknown_stand_in_is_refused(self) -> None:
        """Nothing of that name, or a liner: neither can stand in."""
        with pytest.raises(UnknownMaterialError, match=r"no material 'lendr' \(did you mean lender\?\)"):
            tables({}).material("own", "lendr")


class TestProfile:
    """`stand_in` in a strand's table of the profile."""

    def test_all_that_is_borrowed_is_named(self) -> None:
        """In the check of the profile, with the numbers; nothing else is."""
        profile = parse(profile_text())
        (loan,) = profile.loans
        petg = parse(SOUND).parameters.strands[0].material
        assert (loan.input, loan.material, loan.stand_in) == (1, "odd", "PETG")
        assert tuple(loan.values) == BORROWED
        assert loan.values["warn_min"] == petg.warn_min
        told = "\n".join(summary_lines(profile))
        assert "input 1: odd lacks values, PETG stands in: " in told
        assert all(f"{key} = {loan.values[key]}" in told for key in BORROWED)
        strand = profile.parameters.strands[0]
        assert (strand.stand_in, strand.stand_in_for) == ("PETG", BORROWED)
        assert strand.material.name == "odd"
        assert (strand.material.glass_c, strand.material.ceiling_c) == (90.0, 260.0)

    def test_the_refusal_shows_the_way_out(self) -> None:
        """Without a stand-in the fault stands at the material, and tells of `stand_in`."""
        fault = only_fault(profile_text(stand_in=""))
        assert "strands[2].material" in fault
        assert 'stand_in = "NAME"' in fault

    @pytest.mark.parametrize(
        ("stand_in", "problem"),
        [("PETgg", "there is no material"), ("PTFE", "no material 'PTFE'"), ("odd", "still lacks reference_c")],
    )
    def test_a_stand_in_that_cannot(self, stand_in: str, problem: str) -> None:
        """The fault stands at the stand-in."""
        fault = only_fault(profile_text(f'stand_in = "{stand_in}"'))
        assert "strands[2].stand_in" in fault
        assert problem in fault

    def test_no_stand_in_for_a_slip_of_the_pen(self) -> None:
        """A material of an unknown name is no material that lacks everything."""
        fault = only_fault(SOUND.replace('material = "PETG"', 'material = "PTEG"\nstand_in = "PETG"'))
        assert "strands[2].material" in fault
        assert "there is no material 'PTEG'" in fault

    def test_what_the_strand_says_itself_is_not_borrowed(self) -> None:
        """A strand's own limits are named as nobody's loan."""
        strand = parse(profile_text(rest="warn_min = 7\nlimit_min = 9")).parameters.strands[0]
        assert (strand.material.warn_min, strand.material.limit_min) == (7, 9)
        assert not {"warn_min", "limit_min"} & set(strand.stand_in_for)

    def test_a_needless_stand_in_is_told(self) -> None:
        """The owner learns that it lends nothing; the strand is not marked."""
        profile = parse(SOUND.replace('material = "PETG"', 'material = "PETG"\nstand_in = "PLA"'))
        assert profile.parameters.strands == parse(SOUND).parameters.strands
        assert any("PETG lacks nothing" in line for line in summary_lines(profile))


class TestShown:
    """Where the loan is named while the strand is watched, and afterwards."""

    def test_a_recording_names_it_and_can_be_judged_again(self) -> None:
        """The header holds the stand-in's table, and each value borrowed; the same parameters come out."""
        profile = parse(profile_text())
        assert {"odd", "PETG"} <= set(profile.material_tables)
        assert profile_from_tables(profile.table, profile.material_tables, "night.jsonl") == profile

    def test_the_header_keeps_it(self) -> None:
        """Written and read again; a recording without a loan has no such key."""
        loan = {
            "input": 1,
            "material": "odd",
            "stand_in": "PETG",
            "values": {"warn_min": 60.0, "structure": "amorphous"},
        }
        line = encode_header(replace(HEADER, stand_ins=(loan,)))
        validator("header").validate(json.loads(line))
        assert decode_header(line, "x").stand_ins == (loan,)
        assert b"stand_ins" not in encode_header(HEADER)

    def test_plain_data_name_it(self) -> None:
        """For programs and recordings."""
        strand = replace(samples.strand(2), stand_in="PETG", stand_in_for=("warn_min",))
        latest = replace(samples.healthy(), strands=(samples.strand(1), strand))
        without, with_one = assessment_data(latest)["strands"]
        assert (with_one["stand_in"], with_one["stand_in_for"]) == ("PETG", ["warn_min"])
        assert (without["stand_in"], without["stand_in_for"]) == ("", [])

    def test_plain_lines_name_it(self) -> None:
        """Before the watch each value; in a status line the material that is partly another."""
        (line,) = loan_lines(parse(profile_text()))
        assert all(key in line for key in BORROWED)
        strand = replace(samples.strand(2), stand_in="PETG", stand_in_for=("warn_min",))
        latest = replace(samples.healthy(), strands=(strand,))
        assert f"({strand.material}, part PETG)" in status_text(latest)

    @pytest.mark.parametrize("size", [(80, 24), (120, 40), (60, 12)])
    def test_the_screen_names_it(self, size: tuple[int, int]) -> None:
        """The row is marked, and a line below the rows names every value, where there is room for all the rows."""
        calm = samples.healthy()
        strand = replace(calm.strands[1], stand_in="PETG", stand_in_for=("warn_min", "limit_min"))
        latest = replace(calm, alerts=(), strands=(calm.strands[0], strand, *calm.strands[2:]))
        text = ["".join(span.text for span in line) for line in frame(View(latest, ""), *size)]
        rows = [line for line in text if f"~{strand.label}"[:7] in line]
        assert len(rows) >= 1
        if size != (60, 12):
            whole = " ".join(" ".join(text).split())
            assert f"PETG stands in for {strand.material} in warn_min, limit_min" in whole

    def test_the_mark_stands_before_the_name(self) -> None:
        """Where it cannot be cut off."""
        strand = replace(samples.strand(2), stand_in="PETG", stand_in_for=("warn_min",))
        assert name_of(strand) == f"~{strand.label}"
        assert full_name_of(strand) == f"~{strand.label} ({strand.material})"
        assert name_of(samples.strand(2)) == samples.strand(2).label


def _whole(table: dict[str, object]) -> dict[str, object]:
    """A table with plain numbers written out, as a file's are once it is read."""
    return {
        key: {"value": value, "status": "own"} if isinstance(value, int | float) else value
        for key, value in table.items()
    }


def test_a_replay_names_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From the profile by way of a recording's header to the first lines of a replay."""
    profile = parse(profile_text())
    link = SimulatedLink(SCENARIOS["left-idle"], period_s=4.0, duration_s=60.0)
    session = Session(link, Engine(profile.parameters), name="simulated machine")
    path = start_recording(session, profile, tmp_path / "night.jsonl")
    asyncio.run(session.run())
    (loan,) = Recording(path).header.stand_ins
    assert loan == {**profile.loans[0]._asdict(), "values": dict(profile.loans[0].values)}
    assert main(["replay", str(path), "--headless"]) == 0
    assert next(loan_lines(profile)) in capsys.readouterr().out
