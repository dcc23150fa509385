"""The compiled kernels: whether they are at hand, or the first run has to wait for them.

In: nothing. Out: whether the compiler's cache holds what this version needs.
"""

from clearance import columns


def compiled() -> bool:
    """Whether the kernels have been compiled on this machine, for this version.

    Asks for the one that every check needs; true also where that cannot be told.
    """
    try:
        return bool(columns._crossings._cache._cache_file._load_index())
    except (AttributeError, OSError):  # another version of the compiler, or a folder of no use
        return True
