"""The one small family of errors that a user can cause.

Why it is: the command line turns each of these into one line on standard error and exit status 2, so
every one carries what went wrong, where, and what to do about it. Anything else that escapes is a bug.
"""

from __future__ import annotations


def shortened(text: str, most: int) -> str:
    """As much of a text as an error shows of it."""
    return text if len(text) <= most else text[: most - 3] + "..."


class PdcheckError(Exception):
    """Something the user gave cannot be used.

    :param what: what is wrong, a clause without a final stop.
    :param remedy: what to do about it, a clause without a final stop.
    :param path: the file, where there is one.
    :param line: its line number, counted from 1, where there is one.
    """

    def __init__(self, what: str, remedy: str = "", *, path: str | None = None, line: int | None = None) -> None:
        self.what = what
        self.remedy = remedy
        self.path = path
        self.line = line
        super().__init__(self.one_line())

    def one_line(self) -> str:
        """The whole error as one printable line: file, line, what, remedy."""
        where = ""
        if self.path is not None:
            where = self.path if self.line is None else f"{self.path}, line {self.line}"
            where += ": "
        text = where + self.what + (f"; {self.remedy}" if self.remedy else "")
        return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


class CaptureError(PdcheckError):
    """A capture file cannot be read as one."""


class ScenarioError(PdcheckError):
    """A scenario file of the synth room cannot be used."""


class InputError(PdcheckError):
    """Something typed on the command line cannot be used."""
