"""The profile's `[motion]` as settings for the reader of build files, and in words.

Owns which input a tool feeds when the table does not say: what the link says of its own tools, else one after the
other. Knows nothing of files or faults.
"""

from collections.abc import Iterator

from connectors.serial_settings import SerialSettings
from monitor.build_file import MotionSettings
from monitor.build_file.settings import NO_LIMIT, AxisLimits, Mix
from monitor.profile.model import AxisTable, MotionTable, ProfileFile

Place = tuple[str | int, ...]


def motion_settings(model: ProfileFile) -> MotionSettings:
    """Make the settings of a profile without faults."""
    table = model.motion
    same = table.model_dump(exclude={"axis_acceleration_mm_s2", "axis_speed_mm_s", "input_of_tool", "mixes"})
    return MotionSettings(
        **same,
        is_acceleration_known="acceleration_mm_s2" in table.model_fields_set,
        axis_accelerations_mm_s2=_limits(table.axis_acceleration_mm_s2),
        axis_speeds_mm_s=_limits(table.axis_speed_mm_s),
        tools=_tools(model),
        inputs=max(row.input for row in model.inputs or model.strands),
    )


def tools_named(table: MotionTable) -> list[tuple[Place, int]]:
    """Every input that the table speaks of, with its place in the profile."""
    named: list[tuple[Place, int]] = [
        (("motion", "input_of_tool", str(tool)), number) for tool, number in table.input_of_tool.items()
    ]
    for tool, mix in table.mixes.items():
        named += [(("motion", "mixes", str(tool), "weights", str(number)), number) for number in mix.weights]
    return named


def build_file_lines(settings: MotionSettings) -> Iterator[str]:
    """Tell which input each tool of a build file feeds, where the profile says so."""
    tools = ", ".join(f"T{tool} feeds {_mix_text(mix)}" for tool, mix in sorted(settings.tools.items()))
    further = f"T{settings.first_tool} feeds input 1, and so on"
    yield f"build files: {tools}; others: {further}" if tools else f"build files: {further}"


def _mix_text(mix: Mix) -> str:
    if len(mix) == 1 and mix[0][1] == 1.0:
        return f"input {mix[0][0]}"
    return " + ".join(f"{share:.0%} input {number}" for number, share in mix)


def _tools(model: ProfileFile) -> dict[int, Mix]:
    """What each tool feeds: the table's own word goes before the link's."""
    shares = dict(model.link.shares) if isinstance(model.link, SerialSettings) else {}
    shares |= {tool: {number: 1.0} for tool, number in model.motion.input_of_tool.items()}
    shares |= {tool: mix.shares() for tool, mix in model.motion.mixes.items()}
    return {
        tool: tuple((number, share) for number, share in sorted(inputs.items()) if share > 0.0)
        for tool, inputs in shares.items()
    }


def _limits(table: AxisTable) -> AxisLimits:
    return AxisLimits(*(NO_LIMIT if value is None else value for value in (table.x, table.y, table.z, table.e)))
