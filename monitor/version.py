"""Which strandwatch this is. Import it when asked for: reading package metadata is slow."""

from importlib import metadata


def version() -> str:
    """Version of the installed package; 'unknown' when it runs from a bare checkout."""
    try:
        return metadata.version("strandwatch")
    except metadata.PackageNotFoundError:
        return "unknown"
