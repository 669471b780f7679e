"""Finds rules/, models/ and data_demo/ in a checkout and in an installed wheel."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import ViewworthyError

_PACKAGE = Path(__file__).resolve().parent


def data_folder(name: str) -> Path:
    """The folder `name` ("rules", "models", "data_demo") shipped with the program.

    Raises ViewworthyError when it is not there, which means a damaged installation.
    """
    for candidate in (_PACKAGE / "_data" / name, _PACKAGE.parent / name):
        if candidate.is_dir():
            return candidate
    raise ViewworthyError(f"the folder {name}/ of the program is missing", remedy="Install viewworthy again.")
