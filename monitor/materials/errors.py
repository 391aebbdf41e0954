"""What can be wrong with materials, told so that the owner can mend it.

MaterialError              ends a command with exit status 2
    UnknownMaterialError     nothing of that name
    IncompleteMaterialError  not enough is known of it
    MaterialsError           a file or table with faults; `faults` holds them all
"""

from collections.abc import Sequence

from monitor.exit_codes import WrongUseError
from monitor.profile.faults import Fault


class MaterialError(WrongUseError):
    """Something is wrong with materials."""


class UnknownMaterialError(MaterialError):
    """There is no material, or no liner, of that name."""


class IncompleteMaterialError(MaterialError):
    """Not enough is known of the material for the engine to watch it."""


class MaterialsError(MaterialError):
    """Files or tables of materials that cannot be used; `faults` holds everything that is wrong."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__(self.faults)

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)
