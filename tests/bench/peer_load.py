"""The script that fills a database from NDJSON: json.loads, a few checks, executemany
a thousand lines at a time, each batch on disk (synchronous=FULL) before the next.

    /usr/bin/python3 tests/bench/peer_load.py DATABASE FILE...

Prints how many readings were stored.  No units, identities, corrections, rules, and
nothing of a line that is refused but that it is.
"""

import json
import sqlite3
import sys
from datetime import datetime

PART = 1000
UNITS = {"mL/min", "mm[Hg]"}


def reading(line):
    """A row, or None for a patient or an access; ValueError, KeyError."""
    o = json.loads(line)
    if o["resourceType"] != "Observation":
        return None
    if o["status"] not in ("final", "amended", "corrected"):
        raise ValueError("status")
    value = o["valueQuantity"]
    if value["code"] not in UNITS:
        raise ValueError("unit")
    at = datetime.fromisoformat(o["effectiveDateTime"].replace("Z", "+00:00"))
    return (o["subject"]["reference"], at.timestamp(), o["code"]["coding"][0]["code"],
            float(value["value"]), o["identifier"][0]["value"], line)


def main(database, files):
    db = sqlite3.connect(database, isolation_level=None)
    db.executescript("""PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
        CREATE TABLE IF NOT EXISTS reading(access TEXT, at REAL, code TEXT, value REAL,
            id TEXT, body TEXT, PRIMARY KEY(access, at, code, id)) WITHOUT ROWID;
        CREATE UNIQUE INDEX IF NOT EXISTS reading_id ON reading(id);""")
    stored, refused, rows = 0, 0, []

    def flush():
        nonlocal stored
        db.execute("BEGIN IMMEDIATE")
        stored += db.executemany("INSERT OR IGNORE INTO reading VALUES(?,?,?,?,?,?)",
                                 rows).rowcount
        db.execute("COMMIT")
        rows.clear()

    for path in files:
        with open(path, encoding="utf-8") as lines:
            for line in lines:
                try:
                    row = reading(line)
                except (ValueError, KeyError):
                    refused += 1
                    continue
                if row is not None:
                    rows.append(row)
                if len(rows) == PART:
                    flush()
    flush()
    print(f"{stored} stored, {refused} refused")


main(sys.argv[1], sys.argv[2:])
