"""Small invented machines for tests of the core."""

from monitor.core.parameters import LinerLimits, Material, Parameters, Strand, WallLaw, Zone

GREY = Material(
    name="test-grey",
    glass_c=60.0,
    melt_c=170.0,
    ceiling_c=235.0,
    reference_c=210.0,
    ea_below_kj_mol=80.0,
    ea_above_kj_mol=120.0,
    ea_best_kj_mol=110.0,
    warn_min=200.0,
    limit_min=320.0,
    limit_high_min=640.0,
    wet_factor=3.0,
    density_kg_m3=1250.0,
    heat_capacity_j_kg_k=1700.0,
    conductivity_w_m_k=0.13,
    min_feed_c=180.0,
)
"""An invented polymer."""

AMBIENT_C = 25.0

ZONES = (
    Zone("cold end", 22.0, 2.0, WallLaw.SENSOR, "cold_end", "PTFE", 1.0),
    Zone("heat break", 14.0, 2.0, WallLaw.BRIDGE, None, "PTFE", 1.0),
    Zone("manifold", 16.0, 2.0, WallLaw.SENSOR, "manifold", wetted=True),
    Zone("second heat break", 10.0, 2.0, WallLaw.BRIDGE, wetted=True),
    Zone("nozzle", 8.0, 2.0, WallLaw.SENSOR, "nozzle", wetted=True),
)


def machine(strands: int = 1, material: Material = GREY) -> Parameters:
    """A machine with so many dry strands of one material."""
    return Parameters(
        machine="test bench",
        filament_diameter_mm=1.75,
        ambient_c=AMBIENT_C,
        zones=ZONES,
        last_before_merge=2,
        strands=tuple(Strand(number, material, dried=True) for number in range(1, strands + 1)),
        liners={"PTFE": LinerLimits(240.0, 250.0, 300.0)},
    )
