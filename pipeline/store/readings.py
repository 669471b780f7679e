"""What was read in each snapshot: facts and claims."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping

from pipeline.store.tables import Tables
from pipeline.types import Claim, Fact, Reading


class Readings(Tables):
    """Tables `readings`, `facts` and `claims`."""

    def unread(self, version: str) -> set[int]:
        """Snapshots that no reading of this version of rules and models covers.

        Relative dates are worked out from the day of saving: where an earlier copy turned up since, that day moved.
        """
        rows = self._db.execute(
            "SELECT s.snapshot_id FROM snapshots s LEFT JOIN readings r ON r.snapshot_id = s.snapshot_id "
            "AND r.version = ? AND r.saved_on = s.saved_on WHERE r.snapshot_id IS NULL",
            [version],
        ).fetchall()
        return {row[0] for row in rows}

    def keep_readings(self, readings: Mapping[int, Reading], version: str) -> None:
        """Replaces the readings of these snapshots."""
        if not readings:
            return
        fact_rows, claim_rows = [], []
        for snapshot_id, reading in readings.items():
            chosen = [(True, f) for f in reading.facts] + [(False, f) for f in reading.rivals]
            for place, (is_chosen, f) in enumerate(chosen):
                value = json.dumps(f.value, ensure_ascii=False)
                fact_rows.append(
                    (
                        snapshot_id,
                        place,
                        is_chosen,
                        f.key,
                        value,
                        f.quote,
                        f.start,
                        f.end,
                        f.rule,
                        f.confidence,
                        f.origin,
                    )
                )
            for place, c in enumerate(reading.claims):
                claim_rows.append(
                    (snapshot_id, place, c.subject, c.status, c.grade, c.quote, c.start, c.end, c.rule, c.at_mileage,
                     c.at_year, c.confidence, c.detail)
                )  # fmt: skip
        ids = list(readings)
        with self.transaction():
            for table in ("facts", "claims", "readings"):
                self._db.execute(f"DELETE FROM {table} WHERE snapshot_id IN (SELECT unnest(?))", [ids])
            self._append("facts", fact_rows)
            self._append("claims", claim_rows)
            self._db.execute(
                "INSERT INTO readings (snapshot_id, version, saved_on) SELECT snapshot_id, ?, saved_on FROM snapshots "
                "WHERE snapshot_id IN (SELECT unnest(?))",
                [version, ids],
            )

    def readings(self, snapshots: Collection[int] | None = None) -> dict[int, Reading]:
        """Stored readings, of all snapshots or of some: snapshot id -> reading."""
        some = "" if snapshots is None else "WHERE snapshot_id IN (SELECT unnest($some))"
        given = {} if snapshots is None else {"some": list(snapshots)}
        facts: dict[int, list[tuple[bool, Fact]]] = {}
        for row in self._db.execute(
            'SELECT snapshot_id, chosen, key, value, quote, "start", "end", rule, confidence, origin FROM facts '
            f"{some} ORDER BY snapshot_id, place",
            given,
        ).fetchall():
            fact = Fact(row[2], json.loads(row[3]), *row[4:10])
            facts.setdefault(row[0], []).append((row[1], fact))
        claims: dict[int, list[Claim]] = {}
        for row in self._db.execute(
            'SELECT snapshot_id, subject, status, grade, quote, "start", "end", rule, at_mileage, at_year, confidence, '
            f"detail FROM claims {some} ORDER BY snapshot_id, place",
            given,
        ).fetchall():
            claims.setdefault(row[0], []).append(Claim(*row[1:]))
        ids = [row[0] for row in self._db.execute(f"SELECT snapshot_id FROM readings {some}", given).fetchall()]
        return {
            i: Reading(
                facts=tuple(f for chosen, f in facts.get(i, ()) if chosen),
                claims=tuple(claims.get(i, ())),
                rivals=tuple(f for chosen, f in facts.get(i, ()) if not chosen),
            )
            for i in ids
        }
