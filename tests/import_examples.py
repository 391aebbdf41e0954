"""Foreign files of the simulated demo machine, as tests of importing and exporting share them."""

import argparse
import tomllib
from collections.abc import Callable, Iterable, Sequence
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import INPUTS, SCENARIOS
from connectors.telemetry import Sample
from monitor.commands import import_
from tests.simulated_wire import MOTION_PATTERN, SENSORS, JsonVoice, SerialVoice

PROFILE_TEXT = files("monitor.profile").joinpath("demo_profile.toml").read_text(encoding="utf-8")

SERIAL_LINK = f"""
[link]
kind = "serial"
port = "/dev/invented"
feed = "per_drive"
sensors = {{ {", ".join(f'{name} = "T{number}"' for name, number in SENSORS.items())} }}
input_of_tool = {{ {", ".join(f"{number - 1} = {number}" for number in INPUTS)} }}

[[link.patterns]]
name = "motion"
regex = '{MOTION_PATTERN}'
channels = {{ sensed_mm = {{ group = "mm" }} }}
"""

_HEAT = "\n".join(
    f'"{kind}:{sensor}" = {{ pointer = "/heat/{sensor}/{key}" }}'
    for sensor in SENSORS
    for kind, key in (("temp_c", "now"),)
)
_FEED = "\n".join(f'"fed_mm:{number}" = {{ pointer = "/feed/{number - 1}/run" }}' for number in INPUTS)
WEBSOCKET_LINK = f"""
[link]
kind = "websocket"
url = "ws://192.0.2.7:7700/live"
silent_means = "unchanged"

[[link.messages]]
means = "full"
when = "/id"
equals = 1
at = "/result/state"

[[link.messages]]
means = "partial"
when = "/method"
equals = "watch.delta"
at = "/params/change"

[link.channels]
{_HEAT}
{_FEED}
"""


def told(hours: float, period_s: float = 4.0, name: str = "left-idle") -> list[Sample]:
    """Samples of a simulated night."""
    night = simulate(SCENARIOS[name], period_s=period_s, duration_s=3600.0 * hours)
    return [event for event in night if isinstance(event, Sample)]


def profile_file(folder: Path, link: str = "") -> Path:
    """The demo machine's profile, with a link."""
    path = folder / "machine.toml"
    path.write_text(PROFILE_TEXT + link, encoding="utf-8")
    assert tomllib.loads(path.read_text(encoding="utf-8"))
    return path


def serial_log(samples: Sequence[Sample], stamp: Callable[[float], str]) -> bytes:
    """What a serial controller says, with a stamp before each line."""
    voice, lines = SerialVoice("per drive"), list[str]()
    for now, following in pairwise(samples):
        lines += [f"{stamp(now.time_s)}{line}" for line in voice.lines(now, following)]
    return "\r\n".join([*lines, ""]).encode()


def messages(samples: Sequence[Sample], stamp: Callable[[float], str]) -> bytes:
    """What a server says over a websocket, one message a line."""
    voice = JsonVoice()
    lines = [
        f"{stamp(sample.time_s)}{voice.partial(sample) if at else voice.full(sample)}"
        for at, sample in enumerate(samples)
    ]
    return "\n".join([*lines, ""]).encode()


def imported(words: Iterable[object]) -> int:
    """Run `import` alone, without the rest of the command line."""
    parser = argparse.ArgumentParser()
    import_.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["import", *map(str, words)])
    status: int = arguments.run(arguments)
    return status
