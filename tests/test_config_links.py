"""Faults of a profile's link, and what it says is reported."""

import pytest

from tests.config_examples import LINK, SOUND, changed, only_fault, parse


@pytest.fixture(autouse=True)
def _no_materials_of_the_tester(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))


@pytest.mark.parametrize(
    ("old", "new", "key", "told"),
    [
        ('kind = "serial"', 'kind = "seriel"', "link.kind", '"serial"'),
        ('kind = "serial"\n', "", "link.kind", "missing"),
        ('port = "/dev/ttyACM0"\n', "", "link.port", "missing"),
        ('port = "/dev/ttyACM0"', "port = 7", "link.port", "text"),
        ('port = "/dev/ttyACM0"', 'port = "/dev/ttyACM0"\nbuad = 9600', "link.buad", "did you mean baud?"),
        ('nozzle = "T1"\n', "", "zones[4].sensor", "never reports"),
        ("1 = 2\n", "1 = 3\n", "link.input_of_tool.1", "allowed: 1, 2"),
        ("1 = 2\n", "[link.mixes.1.weights]\n2 = 1.0\n3 = 1.0\n", "link.mixes.1.weights.3", "input 3"),
        ("0 = 1", "zero = 1", "link.input_of_tool.zero", "integer"),
    ],
)
def test_link_fault_is_told(old: str, new: str, key: str, told: str) -> None:
    """Faults of the link's table name its keys as they stand in the file."""
    fault = only_fault(changed(old, new, SOUND + LINK))
    assert fault.key == key
    assert told in str(fault)


def test_tool_map_without_inputs_is_sound() -> None:
    """Where [[inputs]] is left out, the tool map may name any input."""
    text = SOUND.replace("[[inputs]]\ninput = 1\n", "").replace("[[inputs]]\ninput = 2\n", "")
    assert "[[inputs]]" not in text
    assert parse(changed("1 = 2\n", "1 = 2\n2 = 3\n", text + LINK)).link is not None


def test_websocket_channels_are_what_is_reported() -> None:
    """Over a websocket, too, a sensor that no channel is mapped to is told before the build."""
    link = """
[link]
kind = "websocket"
url = "ws://192.0.2.7/x"
messages = [{ means = "full" }]
[link.channels]
"temp_c:manifold" = { pointer = "/m" }
"""
    fault = only_fault(SOUND + link)
    assert fault.key == "zones[4].sensor"
    assert parse(SOUND + link + '"temp_c:nozzle" = { pointer = "/n" }\n').sensors_reported == {"manifold", "nozzle"}
    nested = only_fault(SOUND + link + '"temp_c:nozzle" = { pointr = "/n", pointer = "/n" }\n')
    assert nested.key == "link.channels.temp_c:nozzle.pointr"
    assert "did you mean pointer?" in str(nested)


@pytest.mark.parametrize(
    ("row", "key", "told", "allowed"),
    [
        ('"fed_mm:3" = { pointer = "/f" }', "link.channels.fed_mm:3", "input 3", "allowed: 1, 2"),
        ('"sensed_mm:12" = { pointer = "/f" }', "link.channels.sensed_mm:12", "input 12", "allowed: 1, 2"),
        ('"stall:4" = { pointer = "/f" }', "link.channels.stall:4", "input 4", "allowed: 1, 2"),
        ('"set_c:nozle" = { pointer = "/s" }', "link.channels.set_c:nozle", "did you mean nozzle?", "manifold, nozzle"),
        ('"duty:bed" = { pointer = "/d" }', "link.channels.duty:bed", "no sensor", "allowed: manifold, nozzle"),
    ],
)
def test_channels_name_what_the_profile_has(row: str, key: str, told: str, allowed: str) -> None:
    """A channel of an input or a sensor that is not there would be recorded, and never watched."""
    link = """
[link]
kind = "websocket"
url = "ws://192.0.2.7/x"
messages = [{ means = "full" }]
[link.channels]
"temp_c:manifold" = { pointer = "/m" }
"temp_c:nozzle" = { pointer = "/n" }
"set_c:nozzle" = { pointer = "/s" }
"fed_mm:2" = { pointer = "/f" }
"""
    assert parse(SOUND + link).link is not None
    fault = only_fault(SOUND + link + row + "\n")
    assert fault.key == key
    assert told in str(fault)
    assert allowed in str(fault)
    alone = link + '"temp_c:bed" = { pointer = "/b" }\n"duty:bed" = { pointer = "/d" }\n'
    assert parse(SOUND + alone).link is not None  # whatever reports its own temperature is known


@pytest.mark.parametrize(
    ("pattern", "key", "told"),
    [
        ('input = 3\nchannels = { stall = { constant = 1 } }\nregex = "stall"', "input", "input 3, which is not in"),
        ('sensor = "nozle"\nchannels = { duty = { constant = 1 } }\nregex = "on"', "sensor", "did you mean nozzle?"),
    ],
)
def test_patterns_name_what_the_profile_has(pattern: str, key: str, told: str) -> None:
    """The same of a line that the owner reads with a pattern."""
    fault = only_fault(f'{SOUND}{LINK}\n[[link.patterns]]\nname = "own"\n{pattern}\n')
    assert fault.key == f"link.patterns[1].{key}"
    assert told in str(fault)


def test_bad_pattern_is_told() -> None:
    """A regular expression that cannot be compiled is a fault at its own key, with the reason."""
    pattern = (
        '[[link.patterns]]\nname = "motion"\nregex = "E(?P<input>\\\\d"\nchannels = { stall = { constant = 1 } }\n'
    )
    fault = only_fault(SOUND + LINK + pattern)
    assert fault.key == "link.patterns[1].regex"
    assert "regular expression" in str(fault)
