"""Errors a connector may raise. Remote input never raises: what cannot be read becomes `Malformed`.

    ConnectorError
        SettingsError      the link's settings cannot work (our side's mistake: exit status 2)
        LinkFailedError    the link failed for good; trying again cannot help (exit status 3)
        RecordingError     a file is not a recording of ours, or of a version not known here (exit status 2)

Messages say what happened, where, and what to do.
"""


class ConnectorError(Exception):
    """Anything a connector could not do."""


class SettingsError(ConnectorError):
    """The link's settings cannot work."""


class LinkFailedError(ConnectorError):
    """The link failed for good: retrying cannot help."""


class RecordingError(ConnectorError):
    """The file cannot be read as a recording, or not be written to as one."""
