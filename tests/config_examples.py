"""A sound machine profile, and what tests of profiles do with it."""

import pytest

from monitor.config import (
    Fault,
    Profile,
    ProfileError,
    parse_profile,
)

SOUND = """\
name = "invented test machine"
filament_diameter_mm = 1.75
ambient_c = 22

[[zones]]
name = "cold end"
length_mm = 20
bore_mm = 2
ambient = true

[[zones]]
name = "heat break"
length_mm = 12
bore_mm = 2
bridge = true
liner = "PTFE"
liner_mm = 1.0

[[zones]]
name = "manifold"
length_mm = 15
bore_mm = 2
sensor = "manifold"
wetted = true
ends_at_merge_point = true

[[zones]]
name = "nozzle"
length_mm = 8
bore_mm = 2
sensor = "nozzle"
wetted = true

[[inputs]]
input = 1

[[inputs]]
input = 2

[[strands]]
input = 2
material = "PLA"
dried = true

[[strands]]
input = 1
material = "PETG"
label = "left"
"""

ESTIMATED = (
    SOUND.replace("ambient = true", "estimated = true")
    + """
[cold_end]
heat_capacity_j_k = 270
from_manifold_w_k = 0.15
to_coolant_w_k = 1.5
"""
)

LINK = """
[link]
kind = "serial"
port = "/dev/ttyACM0"
[link.sensors]
manifold = "T0"
nozzle = "T1"
[link.input_of_tool]
0 = 1
1 = 2
"""


def parse(text: str) -> Profile:
    return parse_profile(text, "test.toml")


def faults_of(text: str) -> tuple[Fault, ...]:
    with pytest.raises(ProfileError) as caught:
        parse(text)
    return caught.value.faults


def only_fault(text: str) -> Fault:
    faults = faults_of(text)
    assert len(faults) == 1, [str(fault) for fault in faults]
    return faults[0]


def changed(old: str, new: str, text: str = SOUND) -> str:
    assert old in text
    return text.replace(old, new, 1)
