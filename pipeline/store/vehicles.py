"""Which adverts are of one vehicle: what was proposed, and what the buyer decided against."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from pipeline.store.journal import Journal
from pipeline.store.tables import Tables


class Vehicles(Tables):
    """Tables `links`, `refs` and `apart`."""

    def keep_links(self, links: Sequence[tuple[str, str, str, float]]) -> None:
        """Replaces the proposed links (advert, advert, reason, score)."""
        with self.transaction():
            self._db.execute("DELETE FROM links")
            self._append("links", links)

    def links(self) -> list[tuple[str, str, str, float]]:
        return [
            tuple(row) for row in self._db.execute("SELECT a, b, reason, score FROM links ORDER BY a, b").fetchall()
        ]

    def keep_apart(
        self, pairs: Iterable[tuple[str, str]], today: date, apart: bool = True, *, told: bool = True
    ) -> None:
        """The buyer's word that two adverts are not of one vehicle, or (`apart=False`) that they may be after all.

        `told`: it goes into the journal, from which a rebuilt database has it.
        """
        ordered = sorted({(min(pair), max(pair)) for pair in pairs})
        what = "apart" if apart else "together"
        if told:
            Journal(self.folder).append([{"what": what, "day": today, "a": a, "b": b} for a, b in ordered])
        with self.transaction():
            for a, b in ordered:
                self._db.execute("DELETE FROM apart WHERE a = ? AND b = ?", [a, b])
            if apart:
                self._append("apart", [(a, b, today) for a, b in ordered])

    def apart(self) -> frozenset[tuple[str, str]]:
        """Pairs of adverts, the lesser id first, that the buyer keeps apart."""
        return frozenset((a, b) for a, b in self._db.execute("SELECT a, b FROM apart").fetchall())

    def keep_refs(self, refs: Mapping[str, str]) -> None:
        """Which vehicle each advert is of: advert id -> ref."""
        with self.transaction():
            self._db.execute("DELETE FROM refs")
            self._append("refs", list(refs.items()))

    def refs(self) -> dict[str, str]:
        return dict(self._db.execute("SELECT advert_id, ref FROM refs").fetchall())
