"""The key of an installation whose environment gives none: made once, kept in the data folder."""

from __future__ import annotations

import os
import secrets
import tempfile
from pathlib import Path


def key_kept_in(folder: Path) -> str:
    """The key in a folder; made where there is none.

    Of processes that start together one makes it and all get the same; one that is killed meanwhile leaves
    no half of it.

    Parameters
    ----------
    folder
        The data folder.
    """
    path = folder / "secret_key"
    if path.is_file() and path.stat().st_size == 0:  # left by an earlier version that was killed
        path.unlink(missing_ok=True)
    if not path.is_file():
        handle, name = tempfile.mkstemp(dir=folder)  # to be read by its owner alone
        with os.fdopen(handle, "w") as stream:
            stream.write(secrets.token_urlsafe(64))
            stream.flush()
            os.fsync(stream.fileno())
        try:
            os.link(name, path)
        except FileExistsError:
            pass  # another process was first
        finally:
            Path(name).unlink()
    return path.read_text()
