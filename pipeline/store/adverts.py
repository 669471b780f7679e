"""Adverts and their snapshots over time."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any, Literal

from pipeline.errors import StoreError
from pipeline.store.tables import Tables
from pipeline.types import Advert, PricePoint, Reading, Snapshot, StatedValue

Outcome = Literal["new", "changed", "same"]
_COLUMNS = (
    "advert_id", "content_sha256", "text_sha256", "text", "saved_on", "source", "raw_sha256", "reader", "title", "url",
    "seller", "place", "distance_miles", "stated", "first_seen", "last_seen",
)  # fmt: skip


def content_hash(advert: Advert) -> str:
    """SHA-256 of all that makes a snapshot what it is: text and stated values, not where or when it was saved."""
    parts = [advert.text, advert.title or "", advert.seller or "", advert.place or "", str(advert.distance_miles or "")]
    parts += sorted(f"{s.key}={s.value}" for s in advert.stated)
    return hashlib.sha256("\0".join(parts).encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(slots=True)
class _Row:
    """A snapshot while adverts are being kept: `number` None when it is not stored yet."""

    number: int | None
    content: str
    first_seen: date
    last_seen: date
    advert: Advert | None = None
    touched: bool = False

    def see(self, day: date) -> None:
        first, last = min(self.first_seen, day), max(self.last_seen, day)
        self.touched = self.touched or (first, last) != (self.first_seen, self.last_seen)
        self.first_seen, self.last_seen = first, last


class Adverts(Tables):
    """Tables `adverts` and `snapshots`."""

    def keep_advert(self, advert: Advert, today: date) -> Outcome:
        """One advert; see `keep_adverts`."""
        return self.keep_adverts([advert], today)[0]

    def keep_adverts(
        self, adverts: Sequence[Advert], today: date, numbers: Mapping[str, int] | None = None
    ) -> list[Outcome]:
        """Stores each as a snapshot: of a new advert, of one that changed, or the same as before.

        What stood before a change and stands again after it is a change too. `numbers`: which numbers new adverts
        get, where that is known. Gives an outcome an advert, in order; raises StoreError when rows went missing.
        """
        stored = self._stored({advert.advert_id for advert in adverts})
        known = set(stored)
        outcomes: list[Outcome] = []
        for advert in adverts:
            day, content = advert.saved_on or today, content_hash(advert)
            rows = stored.setdefault(advert.advert_id, [])
            newest = max(rows, key=lambda row: row.last_seen) if rows else None
            same = next((row for row in reversed(rows) if row.content == content), None)
            if same is not None and newest is not None:
                newest = same if same.last_seen == newest.last_seen else newest
                if newest is same or day <= newest.last_seen:
                    same.see(day)
                    outcomes.append("same")
                    continue
            outcomes.append("changed" if rows else "new")
            rows.append(_Row(None, content, day, day, advert))
        with self.transaction():
            before = self._one("SELECT count(*) FROM snapshots")
            self._keep_new(stored, known, numbers or {})
            self._keep_seen(stored, known)
            if self._one("SELECT count(*) FROM snapshots") - before != len(outcomes) - outcomes.count("same"):
                raise StoreError("rows went missing while adverts were stored", where=str(self.folder),
                                 remedy="Nothing was changed. Run 'viewworthy doctor'.")  # fmt: skip
        return outcomes

    def _stored(self, advert_ids: Collection[str]) -> dict[str, list[_Row]]:
        with self._rows("adverts", [(advert_id,) for advert_id in advert_ids], ["advert_id"]) as (given, _):
            rows = self._db.execute(
                "SELECT advert_id, snapshot_id, content_sha256, first_seen, last_seen FROM snapshots "
                f"SEMI JOIN {given} USING (advert_id) ORDER BY snapshot_id"
            ).fetchall()
        stored: dict[str, list[_Row]] = {}
        for row in rows:
            stored.setdefault(row[0], []).append(_Row(*row[1:]))
        return stored

    def _keep_new(self, stored: Mapping[str, list[_Row]], known: set[str], numbers: Mapping[str, int]) -> None:
        last = self._one(
            "SELECT greatest((SELECT coalesce(max(number), 0) FROM adverts), "
            "(SELECT coalesce(max(number), 0) FROM forgotten))"
        )
        last, fresh = max([last, *numbers.values()]), []
        for advert_id, rows in stored.items():
            if advert_id not in known:
                number = numbers.get(advert_id)
                if number is None:
                    number = last = last + 1
                days = [row.first_seen for row in rows] + [row.last_seen for row in rows]
                fresh.append((advert_id, number, min(days), max(days)))
        self._append("adverts", fresh)
        self._append(
            "snapshots",
            [_cells(row) for rows in stored.values() for row in rows if row.number is None],
            _COLUMNS,
        )

    def _keep_seen(self, stored: Mapping[str, list[_Row]], known: set[str]) -> None:
        seen = [(r.number, r.first_seen, r.last_seen) for rows in stored.values() for r in rows
                if r.number is not None and r.touched]  # fmt: skip
        days = [
            (advert_id, min(row.first_seen for row in stored[advert_id]), max(r.last_seen for r in stored[advert_id]))
            for advert_id in known
            if any(row.touched or row.number is None for row in stored[advert_id])
        ]
        if seen:
            with self._rows("snapshots", seen, ["snapshot_id", "first_seen", "last_seen"]) as (given, _):
                self._db.execute(
                    "UPDATE snapshots SET first_seen = g.first_seen, last_seen = g.last_seen, "
                    f"saved_on = least(saved_on, g.first_seen) FROM {given} g "
                    "WHERE snapshots.snapshot_id = g.snapshot_id"
                )
        if days:
            with self._rows("adverts", days, ["advert_id", "first_seen", "last_seen"]) as (given, _):
                self._db.execute(
                    "UPDATE adverts SET first_seen = least(adverts.first_seen, g.first_seen), "
                    f"last_seen = greatest(adverts.last_seen, g.last_seen) FROM {given} g "
                    "WHERE adverts.advert_id = g.advert_id"
                )

    def snapshots(self) -> list[Snapshot]:
        """Every snapshot, by advert number and then by day."""
        rows = self._db.execute(
            "SELECT s.snapshot_id, s.advert_id, s.text, s.source, s.raw_sha256, s.reader, s.title, s.saved_on, s.url, "
            "s.seller, s.place, s.distance_miles, s.stated, s.text_sha256, s.first_seen, s.last_seen "
            "FROM snapshots s JOIN adverts a USING (advert_id) ORDER BY a.number, s.saved_on, s.snapshot_id"
        ).fetchall()
        return [
            Snapshot(
                snapshot_id=row[0],
                advert=replace(Advert(*row[1:12]), stated=tuple(StatedValue(**s) for s in json.loads(row[12]))),
                saved_on=row[7],
                text_sha256=row[13],
                first_seen=row[14],
                last_seen=row[15],
            )
            for row in rows
        ]

    def advert_numbers(self) -> dict[str, int]:
        return dict(self._db.execute("SELECT advert_id, number FROM adverts ORDER BY number").fetchall())


def _cells(row: _Row) -> tuple[Any, ...]:
    advert = row.advert
    assert advert is not None
    return (
        advert.advert_id,
        row.content,
        hashlib.sha256(advert.text.encode("utf-8", "surrogatepass")).hexdigest(),
        advert.text,
        row.first_seen,
        advert.source,
        advert.raw_sha256,
        advert.reader,
        advert.title,
        advert.url,
        advert.seller,
        advert.place,
        advert.distance_miles,
        json.dumps([asdict(s) for s in advert.stated], ensure_ascii=False, default=str),
        row.first_seen,
        row.last_seen,
    )


def price_points(snapshots: Sequence[Snapshot], readings: Mapping[int, Reading]) -> tuple[PricePoint, ...]:
    """The price history of one advert or vehicle, oldest first; a price that did not change is listed once."""
    points: list[PricePoint] = []
    for snapshot in sorted(snapshots, key=lambda s: (s.saved_on, s.snapshot_id)):
        reading = readings.get(snapshot.snapshot_id)
        price = reading.fact("asking_price") if reading else None
        if not points or points[-1].price != price:
            currency = reading.fact("currency") if reading else None
            points.append(PricePoint(snapshot.saved_on, price, currency, snapshot.advert.advert_id))
    return tuple(points)
