"""The one error that a build file can cause: it is no build file, or a damaged one. Owns its wording of the place."""


class BuildFileError(Exception):
    """The file cannot be used; says what is wrong, and where.

    Parameters
    ----------
    problem : str
        What is wrong.
    line : int or None
        Line, counted from 1; None when the file as a whole is meant.
    byte : int or None
        Offset in the file, from 0.
    """

    def __init__(self, problem: str, line: int | None = None, byte: int | None = None) -> None:
        self.problem, self.line, self.byte = problem, line, byte
        place = "" if line is None else f"line {line}" if byte is None else f"line {line}, byte {byte}"
        super().__init__(f"{place}: {problem}" if place else problem)
