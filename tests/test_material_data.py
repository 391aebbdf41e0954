"""The package's figures: plausible, honest about where they come from, and giving the doses they are meant to give."""

import math
import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from monitor.core.dose import cautious_law
from monitor.core.parameters import Material, Strand
from monitor.materials.known import MaterialTable, load_materials
from monitor.materials.model import Entry, PolymerTable, Status, Value, values

GAS_CONSTANT = 8.314462618  # J/(mol K), exact in the SI of 2019 (CODATA)
ZERO_C_K = 273.15

POLYMERS = (
    "PLA", "PLA-HT", "PETG", "ABS", "ASA", "PC", "PC-ABS", "PA6", "PA6-CF", "PA12", "PP", "TPU", "PVA", "PVB", "HIPS",
    "PMMA",
)  # fmt: skip
DEMO = ("demo-amber", "demo-slate", "demo-moss", "demo-chalk", "demo-coal", "demo-ember")
DEMO_MANIFOLD_C = 195.0

PLAUSIBLE = {
    # key: lowest, highest, why. All from memory of polymer handbooks: textbook knowledge, no single source.
    "glass_c": (-60, 170, "soft polyurethane phase to the stiffest acrylic copolymers; polycarbonate at 150"),
    "melt_c": (120, 265, "from the lowest polylactides to fully hydrolysed poly(vinyl alcohol)"),
    "process_c": (155, 325, "extrusion of commodity and engineering plastics, high-temperature ones excluded"),
    "ceiling_c": (200, 325, "the same"),
    "reference_c": (195, 305, "inside the processing ranges"),
    "ea_below_kj_mol": (40, 235, "oxidation that begins at 10 kcal/mol to scission; a C-C bond in vacuum takes 350"),
    "ea_best_kj_mol": (40, 235, "the same"),
    "ea_above_kj_mol": (40, 235, "the same"),
    "warn_min": (2, 250, "moulders' residence times are minutes, at most hours"),
    "limit_min": (5, 1000, "the same, up to a factor of 4 above"),
    "wet_factor": (1, 10, "water cuts chains faster, never slower"),
    "density_kg_m3": (890, 1450, "polypropylene floats, filled polylactide does not"),
    "heat_capacity_j_kg_k": (1000, 2150, "solid plastics hold 1 to 2 kJ/(kg K)"),
    "conductivity_w_m_k": (0.1, 2.0, "plastics 0.1 to 0.35; carbon fibre along its length lifts it"),
    "min_feed_c": (150, 250, "between melting and processing"),
}

PUBLISHED_DIFFUSIVITY_MM2_S = {
    # Ranges over solid and melt that the data's own sources print, or that follow from conductivity, density and heat
    # in one row of them; Crawford's columns for PP and PS are left out, they contradict their own rows.
    "PLA": (0.055, 0.058), "PETG": (0.09, 0.19), "ABS": (0.068, 0.185), "PC": (0.1, 0.147), "PA6": (0.095, 0.14),
    "PA12": (0.09, 0.18), "PP": (0.103, 0.143), "TPU": (0.08, 0.09), "PVA": (0.1, 0.12), "HIPS": (0.062, 0.11),
    "PMMA": (0.056, 0.113),
}  # fmt: skip

WARN_MINUTES = {
    # Minutes to warn_min at reference -40, -20, 0, +10, +20 K, computed from the Arrhenius equation with the lower
    # energy below the reference and the higher one above (R = 8.314463), rounded to what is printed here.
    "PLA": (60.3, 23.6, 10.0, 5.5, 3.1),
    "PLA-HT": (42.2, 16.5, 7.0, 3.8, 2.1),
    "PETG": (343, 138, 60.0, 32.9, 18.5),
    "ABS": (46.0, 29.8, 20.0, 13.7, 9.6),
    "ASA": (69.0, 44.7, 30.0, 20.6, 14.3),
    "PC": (60.2, 34.0, 20.0, 14.6, 10.8),
    "PC-ABS": (21.6, 14.5, 10.0, 7.0, 4.9),
    "PA6": (187, 72.3, 30.0, 13.7, 6.5),
    "PA6-CF": (187, 72.3, 30.0, 13.7, 6.5),
    "PA12": (435, 155, 60.0, 25.8, 11.5),
    "PP": (209, 88.3, 40.0, 24.0, 14.6),
    "TPU": (37.8, 13.2, 5.0, 2.5, 1.3),
    "PVA": (115, 32.1, 10.0, 5.2, 2.7),
    "PVB": (118, 40.3, 15.0, 8.3, 4.7),
    "HIPS": (170, 68.9, 30.0, 11.0, 4.2),
    "PMMA": (62.7, 34.6, 20.0, 10.5, 5.6),
}
STEPS_K = (-40, -20, 0, 10, 20)


@pytest.fixture(autouse=True)
def no_own_materials(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The materials of whoever runs the tests stay out of them."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


@pytest.fixture
def table() -> MaterialTable:
    return load_materials()


def rate(material: Material, temp_c: float) -> float:
    """Arrhenius equation, cautious side [min at the reference per min]; written apart from the engine's."""
    ea_kj_mol = material.ea_below_kj_mol if temp_c < material.reference_c else material.ea_above_kj_mol
    lag_per_k = 1 / (material.reference_c + ZERO_C_K) - 1 / (temp_c + ZERO_C_K)
    return math.exp(ea_kj_mol * 1e3 / GAS_CONSTANT * lag_per_k)


def all_values() -> list[tuple[str, str, Value[float]]]:
    table = load_materials()
    names = (*table.names, *table.liner_names)
    return [(name, key, value) for name in names for key, value in values(table.record(name)).items()]


def ends(value: Value[float]) -> list[float]:
    return [number for number in (value.value, value.low, value.high, value.used) if number is not None]


class TestData:
    """The figures themselves."""

    def test_all_materials_are_there(self, table: MaterialTable) -> None:
        """Sixteen polymers and the six of the demo can be watched, and PTFE can be a liner."""
        assert table.names == (*POLYMERS, *DEMO)
        assert [table.material(name).name for name in table.names] == list(table.names)
        assert table.liner_names == ("PTFE",)

    @pytest.mark.parametrize("key", PLAUSIBLE)
    def test_values_are_plausible(self, key: str, table: MaterialTable) -> None:
        """Values, ranges' ends and what the engine takes lie where such polymers lie (from memory, see the table)."""
        low, high, why = PLAUSIBLE[key]
        for name in POLYMERS:
            value = getattr(table.record(name), key)
            for number in [] if value is None else ends(value):
                assert low <= number <= high, f"{name}.{key}: {number} ({why})"

    def test_plausibility_covers_every_key(self) -> None:
        """No value of a polymer escapes the check above."""
        assert {key for name, key, _ in all_values() if name in POLYMERS} == set(PLAUSIBLE)

    def test_range_holds_value(self) -> None:
        """The best value lies in its range."""
        for name, key, value in all_values():
            assert value.low is None or value.low <= value.value, (name, key)
            assert value.high is None or value.value <= value.high, (name, key)

    def test_caution_takes_the_safe_end(self, table: MaterialTable) -> None:
        """Where the engine takes another number than the best, it is on the safe side of it.

        Early softening, late melting, slow heating; heat capacity goes with the conductivity of the same source.
        """
        for name in POLYMERS:
            record, known = table.record(name), values(table.record(name))
            assert isinstance(record, PolymerTable)
            assert known["conductivity_w_m_k"].number <= known["conductivity_w_m_k"].value
            if record.structure == "semi-crystalline":
                assert known["melt_c"].number >= known["melt_c"].value
            if name not in ("PP", "TPU"):  # held stiff by their crystals: see the data file's head
                assert known["glass_c"].number <= known["glass_c"].value

    def test_order_of_limits(self, table: MaterialTable) -> None:
        """Warning before limit, softening before the ceiling, feeding possible below it, energies two-sided."""
        for name in table.names:
            material = table.material(name)
            assert material.warn_min < material.limit_min <= material.limit_high_min
            assert material.glass_c < material.min_feed_c < material.ceiling_c
            assert material.ea_below_kj_mol <= material.ea_best_kj_mol <= material.ea_above_kj_mol

    def test_reference_lies_in_the_processing_range(self, table: MaterialTable) -> None:
        """A dose is told at a temperature at which the polymer is really processed, give or take 12 K for ASA's."""
        for name in POLYMERS:
            record = table.record(name)
            assert isinstance(record, PolymerTable)
            assert record.process_c is not None
            assert record.process_c.low is not None
            assert record.process_c.low - 12 <= table.material(name).reference_c <= table.material(name).ceiling_c

    def test_liner_limits_keep_clear_of_fumes(self, table: MaterialTable) -> None:
        """PTFE: alarm not above the 260 °C of continuous service; heating stops 30 K below hazardous fumes at 330 °C.

        330 °C: Guide to the Safe Handling of Fluoropolymer Resins (625 °F).
        """
        limits = table.liner("PTFE")
        assert limits.warn_c < limits.alarm_c <= 260
        assert limits.alarm_c < limits.stop_c <= 330 - 30

    @pytest.mark.parametrize("name", PUBLISHED_DIFFUSIVITY_MM2_S)
    def test_diffusivity_is_the_published_one(self, name: str, table: MaterialTable) -> None:
        """k/(ρ c) of the numbers the engine takes lies in the published range, or 5 % below for the cautious k."""
        low, high = PUBLISHED_DIFFUSIVITY_MM2_S[name]
        assert 0.95 * low <= table.material(name).diffusivity_mm2_s <= high

    def test_other_diffusivities_are_those_of_plastics(self, table: MaterialTable) -> None:
        """Where no diffusivity is published, it is still a plastic's: 0.05 to 0.2 mm²/s (from memory)."""
        for name in set(table.names) - set(PUBLISHED_DIFFUSIVITY_MM2_S):
            assert 0.05 <= table.material(name).diffusivity_mm2_s <= 0.2

    def test_water_counts_for_those_it_cuts(self, table: MaterialTable) -> None:
        """Polyesters, carbonates, polyamide 6, urethanes and PVA age thrice as fast when not dried (judgement)."""
        wet = {name for name in POLYMERS if table.material(name).wet_factor == 3}
        assert wet == {"PLA", "PLA-HT", "PETG", "PC", "PC-ABS", "PA6", "PA6-CF", "TPU", "PVA"}
        assert {table.material(name).wet_factor for name in set(POLYMERS) - wet} == {1}


class TestHonesty:
    """What is said about the figures."""

    def test_what_was_read_names_its_source(self) -> None:
        """A value read or derived says where; one from nowhere says at least how it came about."""
        for name, key, value in all_values():
            if {"V", "D"} & set(value.status.split("/")):
                assert value.source, (name, key)
            if value.status in ("J", "N"):
                assert value.note or value.source, (name, key)

    def test_what_is_mixed_says_which_part(self) -> None:
        """A joined status is explained by a note."""
        for name, key, value in all_values():
            assert "/" not in value.status or value.note, (name, key)

    def test_statuses_stand_in_the_file(self) -> None:
        """In the package's own file every value is a table with a status: nothing is vouched for by default."""
        raw = raw_tables("materials.toml")
        kept = {(name, key) for name, key, _ in all_values()}
        written = {(name, key) for name in raw for key, value in raw[name].items() if isinstance(value, dict)}
        assert written == {(name, key) for name, key in kept if name not in DEMO}
        for name, key in written:
            assert raw[name][key]["status"] in get_args(Status), (name, key)

    def test_every_citation_is_used_and_known(self) -> None:
        """No citation is left over, none is a key that was not found."""
        raw = tomllib.loads(text("materials.toml"))
        cited = {
            part
            for name in raw.keys() - {"sources"}
            for value in raw[name].values()
            if isinstance(value, dict)
            for part in value.get("source", "").split("; ")
            if part
        }
        assert cited == set(raw["sources"])

    def test_every_polymer_says_what_goes_wrong(self, table: MaterialTable) -> None:
        """A number is no use without what it stands for."""
        for name in POLYMERS:
            record = table.record(name)
            assert len(record.goes_wrong) > 20, name
            assert record.title, name

    def test_no_addresses(self) -> None:
        """Sources are cited, not linked: no web address stands in the data."""
        for file in ("materials.toml", "demo_materials.toml"):
            assert not re.search(r"https?:|www\.|\.com\b|\.org\b", text(file))

    def test_rule_of_thumb(self, table: MaterialTable) -> None:
        """Without a bench test: melting temperature, or high end of the glass transition + 90 K; and marked so.

        Common practice, no source.
        """
        for name in set(POLYMERS) - {"TPU", "PMMA"}:
            material, record = table.material(name), table.record(name)
            assert material.min_feed_is_rule
            amorphous = record.glass_c is not None and material.melt_c is None
            high_c = record.glass_c.high if amorphous and record.glass_c is not None else None
            assert material.min_feed_c == (high_c + 90 if high_c is not None else material.melt_c)

    @pytest.mark.parametrize("name", ["TPU", "PMMA"])
    def test_judged_feed_temperature_is_marked_a_rule(self, name: str, table: MaterialTable) -> None:
        """A `min_feed_c` of the package is no bench result either."""
        assert table.material(name).min_feed_is_rule


class TestDoses:
    """What the figures make of time and temperature."""

    @pytest.mark.parametrize("name", WARN_MINUTES)
    def test_warn_times(self, name: str, table: MaterialTable) -> None:
        """Time to warn at five temperatures is that of the Arrhenius equation with both energies (computed)."""
        material = table.material(name)
        for step_k, expected_min in zip(STEPS_K, WARN_MINUTES[name], strict=True):
            found_min = material.warn_min / rate(material, material.reference_c + step_k)
            assert found_min == pytest.approx(expected_min, abs=0.51 if expected_min >= 100 else 0.051), step_k

    @pytest.mark.parametrize("name", [*POLYMERS, *DEMO])
    def test_engine_agrees(self, name: str, table: MaterialTable) -> None:
        """The engine's law makes the same of these figures as the equation written out here."""
        material = table.material(name)
        law = cautious_law([Strand(1, material, dried=True)])
        for temp_c in (150.0, material.reference_c, material.ceiling_c):
            found = math.exp(law.log_rate(np.array([[temp_c]])).item())
            assert found == pytest.approx(rate(material, temp_c), rel=1e-6)

    def test_best_energy_never_gives_more_dose(self, table: MaterialTable) -> None:
        """The two-sided law is the cautious one: at every temperature at least the dose of the best single energy."""
        for name in table.names:
            material = table.material(name)
            for temp_c in range(120, int(material.ceiling_c) + 1, 5):
                lag_per_k = 1 / (material.reference_c + ZERO_C_K) - 1 / (temp_c + ZERO_C_K)
                best = math.exp(material.ea_best_kj_mol * 1e3 / GAS_CONSTANT * lag_per_k)
                assert rate(material, temp_c) >= best * (1 - 1e-12)


class TestDemo:
    """The six invented materials."""

    @pytest.mark.parametrize("name", DEMO)
    def test_hours_at_the_demo_manifold(self, name: str, table: MaterialTable) -> None:
        """Standing at 195 °C a demo strand warns after 4 to 7 h and meets its limit at 1.5 to 1.8 times that."""
        material = table.material(name)
        warn_h = material.warn_min / rate(material, DEMO_MANIFOLD_C) / 60
        assert 4 <= warn_h <= 7
        assert 1.5 <= material.limit_min / material.warn_min <= 1.8
        assert f"{name} {warn_h:.1f} h" in text("demo_materials.toml")

    def test_chalk_is_the_most_delicate(self, table: MaterialTable) -> None:
        """The strand that the demo leaves idle is the first to suffer."""
        hours = {name: m.warn_min / rate(m, DEMO_MANIFOLD_C) for name in DEMO if (m := table.material(name))}
        assert min(hours, key=hours.__getitem__) == "demo-chalk"

    @pytest.mark.parametrize("name", DEMO)
    def test_invented_limits_suit_the_demo_machine(self, name: str, table: MaterialTable) -> None:
        """Its manifold can feed them at 195 °C, its nozzle at 225 °C spoils none, its cold end leaves them stiff."""
        material = table.material(name)
        assert 165 <= material.min_feed_c <= 188
        assert 228 <= material.ceiling_c <= 240
        assert 55 <= material.glass_c <= 85

    @pytest.mark.parametrize("name", DEMO)
    def test_marked_invented(self, name: str, table: MaterialTable) -> None:
        """Nobody can take a demo material for a real one."""
        record: Entry = table.record(name)
        assert {value.status for value in values(record).values()} == {"invented"}
        assert "invented" in record.title


def text(file: str) -> str:
    return files("monitor.materials").joinpath(file).read_text(encoding="utf-8")


def raw_tables(file: str) -> dict[str, dict[str, dict[str, object]]]:
    tables = tomllib.loads(text(file))
    return {name: table for name, table in tables.items() if name != "sources"}
