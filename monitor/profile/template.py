"""The text of a new profile, with a comment for everything the owner has to measure or decide.

Owns that text. Knows nothing of files, questions, or whether the choices make sense.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Choices:
    """What the owner has said, or the defaults where nothing was said."""

    name: str
    materials: Mapping[int, str]
    """Material of each input, by number."""
    assumed: frozenset[int] = frozenset()
    """Inputs whose material nobody has said."""
    filament_diameter_mm: float = 1.75
    serial: str | None = None
    websocket: str | None = None
    baud: int = 115_200


_HEAD: Final = """\
# Machine profile for strandwatch. The lengths, bores and materials below are EXAMPLES: measure your machine and change
# them. Units stand in the names of the keys. `strandwatch profile check` tells what is wrong and what was understood.
# strandwatch only watches; it does not replace the machine's own thermal protection.

"""

_ZONES: Final = """
# The hot path in flow order, from the cold end to the nozzle. Every zone has a length, a bore, and one wall law:
#   sensor = "..."   at the temperature of that sensor, under the name that [link] gives it
#   bridge = true    between its two neighbours: a heat break, or any stretch without a sensor
#   ambient = true   at room temperature
#   estimated = true reckoned: only for a cold end, and only with a table [cold_end], see below
# Also: liner = "PTFE" with liner_mm, its wall thickness (bore_mm is then the liner's own bore); wetted = true where the
# strand is molten and touches the wall; ends_at_merge_point = true on the one zone after which all strands share one
# channel.

[[zones]]
name = "cold end"
length_mm = 20.0
bore_mm = 2.0
ambient = true  # a cold end warms over the hours: say sensor = "..." where it has one, estimated = true where not
liner = "PTFE"  # of a machine without a liner, remove these two lines here and in the heat break
liner_mm = 1.0

[[zones]]
name = "heat break"
length_mm = 12.0
bore_mm = 2.0
bridge = true
liner = "PTFE"
liner_mm = 1.0

[[zones]]
name = "manifold"
length_mm = 15.0
bore_mm = 2.0
sensor = "manifold"
wetted = true
ends_at_merge_point = true

[[zones]]
name = "nozzle"
length_mm = 10.0
bore_mm = 2.0
sensor = "nozzle"
wetted = true

# A cold end without a sensor, reckoned as one lump of metal for all inputs together. Its zone then says
# estimated = true in place of ambient = true (and may name a sensor = "..." as well, whose readings count while they
# come). It does NOT see cooling that fails: a sensor is better. Nobody can know these figures but you; those below are
# EXAMPLES. `strandwatch profile check` tells where such a cold end settles: compare that with a thermometer.
# [cold_end]
# heat_capacity_j_k = 270.0  # mass of the metal that warms together [kg] times 900 J/(kg K) for aluminium (handbook)
# from_manifold_w_k = 0.15  # heat breaks: k A / L of each input, added up; k of stainless steel is about 15 W/(m K)
#                           # (handbook), A the metal's cross-section [m2], L its free length [m]
# to_coolant_w_k = 1.5  # from one reading of a thermometer once all has settled with the heat on:
#                       # from_manifold_w_k x (manifold - cold end) / (cold end - coolant)
# coolant_c = 25.0  # coolant, or air, where it enters; left out, it is ambient_c

# Heaters and their power, where known. Where neither encoder nor stall flags are reported, the power of the manifold's
# heater is all that shows a strand that stopped, late.
# [[heaters]]
# name = "manifold heater"
# sensor = "manifold"
# power_w = 50.0
# tool = 9  # the number by which a build file sets this heater; only needed for planning a build

# One table for each input. Where known, also:
#   encoder_mm_per_count = 0.1   feed for one count of its encoder [mm]
#   mm_per_full_step = 0.035     feed for one full step of its motor [mm]; or, in its place, the next three
#   drive_diameter_mm = 7.3      of the wheel where it bites the strand [mm]
#   gear_ratio = 3.0             turns of the motor for one of that wheel; left out, the wheel is on the motor
#   full_steps_per_turn = 200    of the motor; left out, 200 (1.8 degrees)
#   motor_current_a = 0.6        what the driver is set to [A], and motor_current_is = "peak" or "rms" of its sine
#   rated_current_a = 1.0        what the motor is made for [A]
#   holding_torque_n_cm = 13.0   the maker's, at the rated current [N cm]
# `strandwatch profile check` tells what follows: feed lost by a slipped cycle, and the force the drive can push with.
"""

_STRANDS: Final = """
# What is loaded. Materials: see `strandwatch materials`. Also: label, lot, and this strand's own min_feed_c, warn_min,
# limit_min, ceiling_c. Of a material not known well enough, stand_in = "..." names the one that lends what it lacks.
# Say dried = true only of a strand known to be dry: wet ones age several times faster.
"""

_ALERTS: Final = """
# Limits of the watch itself. These are the defaults (common practice, no source).
[alerts]
idle_backstop_h = 8.0  # a strand standing hot this long is told whatever the model says
softening_warn_min = 10.0  # softening where the strand must be stiff: minutes at 20 K above its glass transition
softening_limit_min = 30.0
stale_after_s = 5.0  # a value older than this counts as stale
unavailable_after_s = 55.0  # after this silence the machine counts as lost
cold_end_margin_k = 8.0  # nearer than this to the lowest glass transition the cold end counts as not cooled
# notify_file = "/home/me/.config/strandwatch/notify.toml"  # channels to your telephone: strandwatch alerts test --help
"""


_MOTION: Final = """
# How the machine moves and reads build files; only needed for planning a build from its file. Everything may be left
# out; `strandwatch profile check` prints what is then used. Limits in the file go before these.
# [motion]
# acceleration_mm_s2 = 1500.0  # along a move; what matters most for the planned time
# corner_deviation_mm = 0.013  # or corner_speed_mm_s = 8.0, a sudden change of speed of one axis
# toolchange_s = 20.0  # with whatever the controller does around it
# tool_heating_k_s = 2.0
# retract_mm = 2.0  # G10 and G11, with extra_prime_mm and retract_speed_mm_s
# first_tool = 0  # tool of input 1, where [motion.input_of_tool] and [link] do not say otherwise
# changes_on_m6 = false  # true: T selects, M6 changes; also g90_sets_e, dwell_p_in_seconds, speeds_per_minute (M203),
#                        # e_per_tool, mixes_at_once (M163)
# [motion.axis_speed_mm_s]  # likewise axis_acceleration_mm_s2
# z = 12.0
# [motion.input_of_tool]  # tool in the file = input
# 0 = 1
# [motion.mixes.8]  # a tool that feeds several inputs
# weights = { 1 = 0.25, 2 = 0.75 }

# How the hot path follows its set points; only needed for planning a build (strandwatch plan). These are the defaults,
# judgement: time your own block with a watch.
# [planning]
# heats_k_s = 0.4  # how fast the manifold heats up
# cools_k_s = 0.05  # and cools down by itself
# cold_end_c = 37.0  # a cold end with a sensor while all is well; left out, ambient_c and 12 K
"""


def profile_text(choices: Choices) -> str:
    """Write the profile's text."""
    return "".join(_parts(choices))


def quoted(text: str) -> str:
    """Write a TOML basic string: JSON's escapes are TOML's, but for the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _parts(choices: Choices) -> Iterator[str]:
    yield _HEAD
    yield f"name = {quoted(choices.name)}\n"
    yield f"filament_diameter_mm = {choices.filament_diameter_mm}\n"
    yield "ambient_c = 25.0  # temperature of the room, or inside the enclosure\n"
    yield _ZONES.replace("bore_mm = 2.0", f"bore_mm = {round(choices.filament_diameter_mm * 8 / 7, 2)}")
    for number in choices.materials:
        yield f"\n[[inputs]]\ninput = {number}\n"
    yield _STRANDS
    for number, material in choices.materials.items():
        remark = "  # EXAMPLE: change this" if number in choices.assumed else ""
        yield f"\n[[strands]]\ninput = {number}\nmaterial = {quoted(material)}{remark}\ndried = false\n"
    yield _link(choices)
    yield _MOTION
    yield _ALERTS


def _link(choices: Choices) -> str:
    if choices.serial is not None:
        return _serial(choices.serial, choices.baud, len(choices.materials))
    if choices.websocket is not None:
        feed = "".join(
            f'"fed_mm:{number}" = {{ pointer = "/feed/{number}/total_mm" }}\n' for number in choices.materials
        )
        return _WEBSOCKET.replace("URL", quoted(choices.websocket)) + feed
    return _NO_LINK


_NO_LINK: Final = """
# How to reach the machine. `strandwatch watch` needs this: fill it in, or write a new profile with --serial or
# --websocket.
# [link]
# kind = "serial"
# port = "/dev/serial/by-id/..."
# [link.sensors]
# manifold = "T0"
# nozzle = "T1"
"""


def _serial(port: str, baud: int, inputs: int) -> str:
    tools = "".join(f"{tool} = {tool + 1}\n" for tool in range(inputs))
    return f"""
# How to reach the machine. Opening a serial port can restart some controllers: try it first with no build running, and
# say open_is_safe = true once it is known to be harmless.
[link]
kind = "serial"
port = {quoted(port)}  # prefer the stable names under /dev/serial/by-id/
baud = {baud}
mode = "listen"  # nothing can be written; or "ask": sends M105 and M27, where the controller reports nothing by itself
open_is_safe = false
position_query_is_safe = false  # in "ask" mode: true allows M114, which some controllers answer only when they stand
feed = "single_axis"  # one value E for the active tool; "per_drive" when its position line prints E0, E1, ... instead
tool_source = "reported"  # the controller says which tool is active; "fixed": it is always tool_at_start
# tool_at_start = 0  # tool active when the watch starts and after a restart; say it only if you watch before each build

# Sensor of the zones above = word of the controller's temperature reports.
[link.sensors]
manifold = "T0"
nozzle = "T1"

# Tool number of the controller = input.
[link.input_of_tool]
{tools}"""


_WEBSOCKET: Final = """
# How to reach the machine. A secret never stands here: token_file or token_env says where it is kept.
[link]
kind = "websocket"
url = URL
# token_file = "/home/me/.config/strandwatch/token"  # readable by its owner only
# ca_file = "/home/me/.config/strandwatch/authority.pem"  # with wss:// and a certificate of your own
# on_connect = ['{"ask": "status"}']  # texts that ask for data, where the machine wants to be asked

# What the messages mean; the first rule that fits decides. Here every message is a whole status. A machine that tells
# changes only needs a further rule with means = "partial".
[[link.messages]]
means = "full"

# EXAMPLES: where each value stands in the status, as a JSON Pointer (RFC 6901). Change them to what the machine says.
[link.channels]
"execution" = { pointer = "/state", words = { idle = "READY", running = "ACTIVE", paused = "INTERRUPTED" } }
"progress" = { pointer = "/done_percent", unit = "percent" }
"temp_c:manifold" = { pointer = "/heat/manifold/now" }
"set_c:manifold" = { pointer = "/heat/manifold/wanted" }
"temp_c:nozzle" = { pointer = "/heat/nozzle/now" }
"set_c:nozzle" = { pointer = "/heat/nozzle/wanted" }
"""
