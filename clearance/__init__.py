"""Internal-channel clearance of powder-bed-fusion parts that carry stray layers."""

import os as _os
from pathlib import Path as _Path

__version__ = "0.1.0"


def _keep_compiled_kernels() -> None:
    """Where neither this folder nor the user's cache can be written, keep kernels in a third place.

    Else every run would compile them again. The folder is the user's alone: what is kept
    there is run.
    """
    if "NUMBA_CACHE_DIR" in _os.environ or _os.access(_Path(__file__).parent, _os.W_OK):
        return
    cache = _Path(_os.environ.get("XDG_CACHE_HOME") or _Path("~/.cache").expanduser())
    there = next((folder for folder in (cache, *cache.parents) if folder.exists()), None)
    if (there is not None and _os.access(there, _os.W_OK)) or not hasattr(_os, "getuid"):
        return
    import tempfile

    own = _Path(tempfile.gettempdir()) / f"clearance-{_os.getuid()}"
    own.mkdir(mode=0o700, exist_ok=True)
    if own.stat().st_uid == _os.getuid() and not own.stat().st_mode & 0o077:
        _os.environ["NUMBA_CACHE_DIR"] = str(own)


_keep_compiled_kernels()
