"""Draw the pictures of `monitor/core/heat_model.md` anew: `python -m tests.make_plots`. All are results of the model.

The machine is the demo's, which is invented; the materials are the package's. Running it again gives the same files.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure

import monitor.core
from monitor.config import demo_profile
from monitor.core.assess_strand import soft_front_mm
from monitor.core.assessment import Array
from monitor.core.dose import DoseLaw, cautious_law, hopeful_law
from monitor.core.field_building import build_field
from monitor.core.forecast import standing_left_s
from monitor.core.hot_path import stiff_from_mm, zone_places
from monitor.core.parameters import Parameters, Strand
from monitor.materials.known import load_materials

FOLDER: Final = Path(monitor.core.__file__).parent / "plots"
SETTLED_S: Final = 3600.0
COLD_END_C: Final = 40.0
MANIFOLD_C: Final = 195.0
NOZZLE_C: Final = 225.0
FRONT_MATERIALS: Final = ("PLA", "PA6", "PETG", "ABS", "PC")
INK: Final = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#000000", "#e69f00")
"""Colours that most people can tell apart (Okabe and Ito); lines differ in their dashes too."""
DASHES: Final = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))
LOOK: Final[Any] = {
    "svg.hashsalt": "heat model",
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Arial", "Helvetica"],
    "font.size": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
}
"""Settings of the drawing library; text stays text, and marks keep their names from run to run."""
_HOUR_S: Final = 3600.0


def machine(material: str) -> Parameters:
    """The invented demo machine with one strand that is not known to be dry."""
    strand = Strand(1, load_materials().material(material))
    return replace(demo_profile().parameters, strands=(strand,))


def walls(cold_end_c: float, manifold_c: float = MANIFOLD_C) -> Array:
    """Wall vector of the demo machine [°C]."""
    return np.array([demo_profile().parameters.ambient_c, cold_end_c, manifold_c, NOZZLE_C])


def settled(parameters: Parameters, walls_c: Array, speed_mm_s: float = 0.0) -> tuple[Array, Array]:
    """Places [mm] and temperatures [°C] along a strand that has long stood, or fed at one speed."""
    field = build_field(parameters)
    state = field.initial(walls_c)
    if speed_mm_s == 0.0:
        state = field.advance(state, SETTLED_S, walls_c, [0.0])
    for _ in range(round(3 * parameters.path_length_mm / speed_mm_s / 0.25) if speed_mm_s > 0.0 else 0):
        state = field.advance(state, 0.25, walls_c, [speed_mm_s * 0.25])
    return field.centres_mm(state, 0), field.path_rows(state)[0][0]


def along_a_strand() -> Figure:
    """Temperature along a PLA strand that stands, and that feeds at 1 and 3 mm/s."""
    parameters, figure = machine("PLA"), Figure(figsize=(7.2, 4.3), layout="constrained")
    axes = figure.subplots()
    _zones(axes, parameters)
    glass_c = parameters.strands[0].material.glass_c
    axes.axhline(glass_c, color="#888888", linewidth=0.8)
    axes.text(0.3, glass_c + 2, f"softens from {glass_c:g} °C", color="#555555")
    for speed_mm_s, colour, dashes in zip((0.0, 1.0, 3.0), INK, DASHES, strict=False):
        x_mm, temp_c = settled(parameters, walls(COLD_END_C), speed_mm_s)
        told = "stands" if speed_mm_s == 0.0 else f"feeds at {speed_mm_s:g} mm/s"
        front_mm = soft_front_mm(x_mm, temp_c, glass_c)
        axes.plot(x_mm, temp_c, color=colour, linestyle=dashes, label=f"{told}: soft up to {front_mm:.1f} mm")
        axes.plot(front_mm, glass_c, "o", color=colour, markersize=4)
    axes.set(xlabel="mm upstream of the merge point", ylabel="temperature of the strand, °C", ylim=(20, 215))
    axes.set_xlim(0, parameters.path_length_mm)
    axes.legend(frameon=False, loc="center right")
    _title(axes, f"PLA strand; manifold at {MANIFOLD_C:g} °C, cold end at {COLD_END_C:g} °C")
    return figure


def soft_fronts() -> Figure:
    """How far a standing strand is soft, against the temperature of the cold end."""
    figure = Figure(figsize=(7.2, 4.3), layout="constrained")
    axes = figure.subplots()
    cold_ends_c = np.arange(25.0, 161.0, 1.0)
    for material, colour, dashes in zip(FRONT_MATERIALS, INK, DASHES, strict=False):
        parameters = machine(material)
        glass_c = parameters.strands[0].material.glass_c
        field = build_field(parameters)
        fronts_mm = []
        for cold_end_c in cold_ends_c:
            walls_c = walls(cold_end_c, 230.0)
            state = field.advance(field.initial(walls_c), SETTLED_S, walls_c, [0.0])
            fronts_mm.append(soft_front_mm(field.centres_mm(state, 0), field.path_rows(state)[0][0], glass_c))
        axes.plot(cold_ends_c, fronts_mm, color=colour, linestyle=dashes, label=f"{material}, from {glass_c:g} °C")
    must_mm = stiff_from_mm(parameters)
    axes.axhline(must_mm, color="#888888", linewidth=0.8)
    axes.text(95, must_mm + 0.4, "must be stiff above this line", color="#555555")
    axes.set(xlabel="temperature of the cold end, °C", ylabel="soft up to, mm upstream of the merge point")
    axes.set(ylim=(15, parameters.path_length_mm + 1), xlim=(25, 160))
    axes.legend(frameon=False, loc="lower right", title="standing strand of")
    _title(axes, "Soft front; manifold at 230 °C")
    return figure


def times_left() -> Figure:
    """How long fresh material may stand, against the temperature of the manifold, for each material."""
    table = load_materials()
    names = [name for name in table.names if not name.startswith("demo-")]
    figure = Figure(figsize=(9.0, 8.4), layout="constrained")
    panels = figure.subplots(4, 4, sharex=True, sharey=True)
    for axes, name in zip(panels.flat, names, strict=True):
        _time_left(axes, Strand(1, table.material(name)))
    for axes in panels[:, 0]:
        axes.set_ylabel("hours")
    for axes in panels[-1]:
        axes.set_xlabel("manifold, °C")
    figure.suptitle(
        "Time that a fresh strand may stand until its limit, low to high end of the range (dashed: until its warning)\n"
        "grey: too cold to feed, by the rule of thumb, or above the ceiling\n"
        "RESULT OF THE MODEL, not measured; the limits are judgement",
        fontsize=9,
    )
    return figure


def _time_left(axes: Axes, strand: Strand) -> None:
    material = strand.material
    temp_c = np.arange(140.0, 331.0, 10.0)  # the kinks, at the references, lie on these
    low = _hours(cautious_law([strand]), temp_c, material.limit_min)
    high = np.maximum(low, _hours(hopeful_law([strand]), temp_c, material.limit_high_min))
    axes.fill_between(temp_c, low, high, color="#9ecae8", linewidth=0)
    axes.plot(temp_c, low, color=INK[0], linewidth=1.2)
    axes.plot(temp_c, _hours(cautious_law([strand]), temp_c, material.warn_min), "--", color=INK[1], linewidth=1.0)
    axes.axvspan(temp_c[0], material.min_feed_c, color="#e4e4e4", linewidth=0, zorder=0)
    axes.axvspan(material.ceiling_c, temp_c[-1], color="#e4e4e4", linewidth=0, zorder=0)
    axes.set_yscale("log")
    axes.set(ylim=(0.02, 100), xlim=(140, 330), yticks=[0.1, 1, 10, 100], yticklabels=["0.1", "1", "10", "100"])
    axes.minorticks_off()
    axes.grid(axis="y", color="#cccccc", linewidth=0.4)
    axes.set_title(material.name, fontsize=9)


def _hours(law: DoseLaw, temp_c: Array, limit_min: float) -> Array:
    rates = np.exp(law.log_rate(temp_c[None, :])[0])
    return np.array([standing_left_s(np.zeros(1), rates[at : at + 1], limit_min) for at in range(len(rates))]) / _HOUR_S


def _zones(axes: Axes, parameters: Parameters) -> None:
    for number, place in enumerate(zone_places(parameters)[: parameters.last_before_merge + 1]):
        axes.axvspan(place.hot_end_mm, place.cold_end_mm, color=("#f4f4f4", "#ffffff")[number % 2], linewidth=0)
        axes.text((place.hot_end_mm + place.cold_end_mm) / 2, 207, place.name, ha="center", color="#555555")
    must_mm = stiff_from_mm(parameters)
    axes.axvline(must_mm, color="#888888", linewidth=0.8)
    axes.text(must_mm + 0.4, 190, "must be stiff from here on", color="#555555")


def _title(axes: Axes, text: str) -> None:
    axes.set_title(f"{text}\nRESULT OF THE MODEL for the invented demo machine, not measured", fontsize=9, loc="left")


PLOTS: Final[dict[str, Callable[[], Figure]]] = {
    "temperature_along_a_strand": along_a_strand,
    "soft_front": soft_fronts,
    "time_left": times_left,
}


def write(folder: Path, names: Sequence[str] = tuple(PLOTS), ending: str = "svg") -> None:
    """Draw into `folder`, without date, and with the same marks each time."""
    folder.mkdir(exist_ok=True)
    for name in names:
        with rc_context(LOOK):
            metadata = {"Date": None, "Creator": None} if ending == "svg" else None
            PLOTS[name]().savefig(folder / f"{name}.{ending}", metadata=metadata, dpi=110)


if __name__ == "__main__":
    write(FOLDER)
