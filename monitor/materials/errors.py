"""What can be wrong with materials, told so that the owner can mend it.

MaterialError              ends a command with exit status 2
    UnknownMaterialError     nothing of that name
    IncompleteMaterialError  not enough is known of it
    MaterialsError           a file or table with faults; `faults` holds them all
"""

from monitor.exit_codes import WrongUseError
from monitor.profile.faults import FaultsError


class MaterialError(WrongUseError):
    """Something is wrong with materials."""


class UnknownMaterialError(MaterialError):
    """There is no material, or no liner, of that name."""


class IncompleteMaterialError(MaterialError):
    """Not enough is known of the material for the engine to watch it."""


class MaterialsError(FaultsError, MaterialError):
    """Files or tables of materials that cannot be used."""
