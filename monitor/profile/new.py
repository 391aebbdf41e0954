"""A new machine's profile: the questions, and the writing of the file.

Owns what is asked, in which order, and the care taken not to write over anything. The text itself is
`template`'s; whether it is right is `config`'s to say.
"""

from argparse import Namespace
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final, TypeVar

from connectors.clean_text import clean_text
from monitor.config import ProfileError, parse_profile
from monitor.exit_codes import WrongUseError
from monitor.materials.known import MaterialError, MaterialTable, load_materials
from monitor.profile.faults import hint
from monitor.profile.model import DEFAULT_FILAMENT_MM
from monitor.profile.template import Choices, profile_text

MOST_INPUTS: Final = 64
DEFAULT_MATERIAL: Final = "PLA"
DEFAULT_BAUD: Final = 115_200

Ask = Callable[[str], str]
Answer = TypeVar("Answer")


def choose(arguments: Namespace, ask: Ask | None) -> Choices:
    """Gather what the profile needs: from the flags, else from `ask`, else defaults where there is nobody to ask.

    Raises
    ------
    WrongUseError
        When a flag cannot be used, or the questions are broken off.
    """
    try:
        materials = load_materials(arguments.materials)
        return _choose(arguments, ask, materials)
    except (MaterialError, ValueError) as error:
        raise WrongUseError(f"{error}. Nothing was written.") from error
    except EOFError as error:
        raise WrongUseError("the questions were broken off; nothing was written") from error


def assumptions(choices: Choices) -> str:
    """Tell in words what nobody has said and the profile had to assume; empty when all was said."""
    parts = []
    if choices.assumed:
        assumed = sorted(choices.assumed)
        numbers = ", ".join(map(str, assumed))
        parts.append(f"material of input {numbers} not given, so {choices.materials[assumed[0]]} as an example")
    if choices.serial is None and choices.websocket is None:
        parts.append("no link")
    return "; ".join(parts)


def write(choices: Choices, path: Path, *, overwrite: bool, user_materials: Sequence[Path] = ()) -> None:
    """Write the profile, once it is known to have no faults.

    Raises
    ------
    WrongUseError
        When the choices make no sound profile, when `path` is there and not to be written over, or cannot be written.
    """
    text = profile_text(choices)
    try:
        parse_profile(text, str(path), user_materials=user_materials)
    except ProfileError as error:
        raise WrongUseError(f"{error}\nNothing was written.") from error
    shown = clean_text(str(path))
    try:
        with path.open("w" if overwrite else "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise WrongUseError(f"{shown} is there already; give another --output, or --force to write over it") from error
    except OSError as error:
        raise WrongUseError(f"{shown} cannot be written: {error.strerror or error}; give another --output") from error


def _choose(arguments: Namespace, ask: Ask | None, materials: MaterialTable) -> Choices:
    name = _settle(arguments.name, ask, "What do you call the machine?", "my machine", _name)
    inputs = _settle(arguments.inputs, ask, "How many inputs does it have?", 6, _input_count)
    serial, websocket = _link(arguments, ask)
    baud = DEFAULT_BAUD
    if serial is not None:
        baud = _settle(arguments.baud, ask, "Speed of the serial port, in baud?", DEFAULT_BAUD, int)
    elif arguments.baud is not None:
        raise ValueError("--baud goes with --serial only")
    diameter_mm: float | None = arguments.filament_diameter_mm
    given = dict(_assignment(flag, inputs, materials) for flag in arguments.material)
    return Choices(
        name=name,
        filament_diameter_mm=DEFAULT_FILAMENT_MM if diameter_mm is None else diameter_mm,
        materials=_materials(given, inputs, ask, materials),
        assumed=frozenset(range(1, inputs + 1)) - set(given) if ask is None else frozenset(),
        serial=serial,
        websocket=websocket,
        baud=baud,
    )


def _settle(
    flag: Answer | None, ask: Ask | None, question: str, default: Answer, read: Callable[[str], Answer]
) -> Answer:
    """Give what the flag says, else the first answer that can be read, else the default."""
    if flag is not None:
        return read(str(flag))
    while ask is not None:
        answer = ask(f"{question} [{default}] ").strip()
        if not answer:
            return default
        try:
            return read(answer)
        except ValueError as error:
            question = f"{error}. {question.rsplit('. ', 1)[-1]}"
    return default


def _name(text: str) -> str:
    if not text.strip() or clean_text(text) != text:
        raise ValueError("The name needs characters that can be shown")
    return text.strip()


def _input_count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= MOST_INPUTS:
        raise ValueError(f"The number of inputs is {clean_text(text)}; allowed: 1 to {MOST_INPUTS}")
    return int(text)


def _link(arguments: Namespace, ask: Ask | None) -> tuple[str | None, str | None]:
    if arguments.serial is not None or arguments.websocket is not None or ask is None:
        return arguments.serial, arguments.websocket
    question = "Where does it speak? A serial port (/dev/...), a websocket (ws://...), or nothing for now:"
    address = ask(f"{question} ").strip()
    if not address:
        return None, None
    return (None, address) if address.startswith(("ws://", "wss://")) else (address, None)


def _materials(given: Mapping[int, str], inputs: int, ask: Ask | None, materials: MaterialTable) -> Mapping[int, str]:
    chosen: dict[int, str] = {}
    for number in range(1, inputs + 1):
        question = f"Which material is in input {number}?"
        chosen[number] = _settle(
            given.get(number), ask, question, DEFAULT_MATERIAL, lambda text: _material(text, materials)
        )
    return chosen


def _assignment(flag: str, inputs: int, materials: MaterialTable) -> tuple[int, str]:
    number, _, name = flag.partition("=")
    if not number.isdecimal() or not 1 <= int(number) <= inputs:
        raise ValueError(
            f"--material {clean_text(flag)} names no input; allowed: INPUT=NAME with an input from 1 to {inputs}"
        )
    return int(number), _material(name, materials)


def _material(text: str, materials: MaterialTable) -> str:
    """Give the material's name as the table writes it; the demo's invented ones are known, but not offered."""
    if text in materials.names:
        return text
    alike = [name for name in materials.names if name.casefold() == text.casefold()]
    if len(alike) == 1:
        return alike[0]
    names = [name for name in materials.names if not name.startswith("demo-")]
    raise ValueError(f"There is no material {clean_text(text)!r}{hint(text, names)}; known: {', '.join(names)}")
