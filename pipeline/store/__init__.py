"""The search folder's database (DuckDB): typed reads and writes; the only package with SQL.

Each topic is a module with a class on `tables.Tables`; a new one is added to the bases of `opened.Store`, its tables to
the end of `migrations.py`. `ranking.py` answers by itself what `show` asks, and so must not import the others: hence
what this package gives is imported when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.store.adverts import content_hash, price_points
    from pipeline.store.files import Taken
    from pipeline.store.opened import Store, open_store
    from pipeline.store.ranking import DATABASE

__all__ = ["DATABASE", "Store", "Taken", "content_hash", "open_store", "price_points"]

_STANDS_IN = {
    "DATABASE": "ranking",
    "Store": "opened",
    "Taken": "files",
    "content_hash": "adverts",
    "open_store": "opened",
    "price_points": "adverts",
}


def __getattr__(name: str) -> Any:
    if name not in _STANDS_IN:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_STANDS_IN[name]}"), name)
