"""What stands beside the picture of the hot path: the zones, their walls and their liners.

Each zone has as many lines as it has rows; what matters most comes first.
"""

from monitor.core.assessment import Assessment, LinerReading, Quality, WallReading, ZonePlace
from monitor.tui.ink import fit
from monitor.tui.path.scale import PathScale
from monitor.tui.path.words import wall_temperature
from monitor.tui.words import age


def side_texts(latest: Assessment, scale: PathScale, width: int, *, is_old: bool) -> list[str]:
    """One text of exactly `width` cells per row."""
    texts = [""] * scale.rows
    for zone in latest.zones:
        rows = [row for row in range(scale.rows) if _middle_in(zone, scale.edges_mm(row))]
        for row, text in zip(rows, _zone_lines(zone, latest, width - 1, is_old=is_old), strict=False):
            texts[row] = text
    return [fit(text, width) for text in texts]


def _middle_in(zone: ZonePlace, edges_mm: tuple[float, float]) -> bool:
    return zone.hot_end_mm < sum(edges_mm) / 2 <= zone.cold_end_mm


def _zone_lines(zone: ZonePlace, latest: Assessment, width: int, *, is_old: bool) -> list[str]:
    wall = next((wall for wall in latest.walls if wall.sensor == zone.sensor), None)
    liner = next((liner for liner in latest.liners if liner.zone == zone.name), None)
    doubt = is_old or (wall is not None and wall.quality is not Quality.GOOD)
    reading = "" if wall is None else _reading(wall, width - len(zone.name) - 1, doubt=doubt)
    name = fit(zone.name, width - len(reading) - 1 if reading else width)
    lines = [f"{name} {reading}" if reading else name]
    return lines + _set_point(wall, doubt=doubt) + _liner(liner)


def _reading(wall: WallReading, room: int, *, doubt: bool) -> str:
    """The temperature; an estimate's mark is shortened where the name of its zone would have to be cut for it."""
    mark, text = "?" if doubt else "", wall_temperature(wall)
    return (text if len(text) + len(mark) <= room else text.removesuffix(" est.")) + mark


def _set_point(wall: WallReading | None, *, doubt: bool) -> list[str]:
    if wall is None:
        return []
    if doubt:
        return [f" {age(wall.age_s)} old"]
    parts = [] if wall.set_c is None else [f"set {wall.set_c:.0f}" if wall.set_c > 0 else "heater off"]
    parts += [] if wall.duty is None else [f"duty {wall.duty * 100:.0f} %"]
    return [" " + ", ".join(parts)] if parts else []


def _liner(liner: LinerReading | None) -> list[str]:
    return [] if liner is None else [f" liner {liner.hottest_c:.0f} of {liner.warn_c:.0f} °C"]
