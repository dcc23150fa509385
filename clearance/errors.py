"""The errors a user can cause.

In: a fault and where it was found. Out: one clear message. The command line
turns every `ClearanceError` into exit status 2; nothing else does.
"""


class ClearanceError(Exception):
    """A fault that the user can mend; its text says what, where and what to do."""


class ClearanceWarning(UserWarning):
    """What the user should know of this run, but not of a part."""


class CaseError(ClearanceError):
    """A case or plate file is wrong: file, line, key, what was found, what is expected."""


class PartError(ClearanceError):
    """A mesh cannot be used: unreadable, open, empty, of implausible unit."""


class PortError(CaseError):
    """A port of the case does not lie in a mouth of the mesh."""


class GridError(ClearanceError):
    """The grid asked for does not fit: too fine for the memory, or no metal in it."""


class LostError(Exception):
    """A process ended before it answered; its text says how. No verdict, and no bad input."""
