"""An example of a materials file of the owner's own, for help and for the table. Cheap to import."""

from typing import Final

EXAMPLE: Final = """\
  [PETG]
  warn_min = 45"""
