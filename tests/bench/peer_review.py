"""The rules on access flow over everybody, as a script on its own database would do
it: very high or high for long, low, fallen.  The limits are those of
config/policy.ini (HF-1, HF-2, LF-2, LF-3), the flows those of the file.

    /usr/bin/python3 tests/bench/peer_review.py DATABASE FLOWS.csv
        fills the database: access, seconds, mL/min
    /usr/bin/python3 tests/bench/peer_review.py DATABASE
        reviews everybody; prints milliseconds, and how many are high and low

Writes a row for each that is flagged, in one transaction with synchronous=FULL.
Nothing but flow is looked at: no replicates, methods, interventions, doubts, what
was said before, words, Tasks, plans.
"""

import csv
import itertools
import sqlite3
import sys
import time

DAY_S = 86400


def run(flows, is_beyond, readings, of_last, window_d):
    """So many of the last few are beyond, the newest among them, within the window."""
    last = flows[-of_last:]
    newest = flows[-1][0]
    beyond = [at for at, value in last
              if is_beyond(value) and newest - at <= window_d * DAY_S]
    return len(beyond) >= readings and is_beyond(flows[-1][1])


def falls(flows):
    """Of each flow: below 1000 mL/min, and a quarter below those before it."""
    out, fallen = [], []
    for i, (at, value) in enumerate(flows):
        base = [v for (t, v), f in zip(flows[:i], fallen)
                if not f and at - t <= 183 * DAY_S][-5:]
        is_fall = len(base) >= 2 and value < 1000 and value < 0.75 * sum(base) / len(base)
        fallen.append(is_fall)
        out.append((at, is_fall))
    return out


def review(flows):
    if run(flows, lambda v: v >= 2000, 2, 2, 120):
        return "HF-1"
    if run(flows, lambda v: v >= 1500, 3, 4, 120):
        return "HF-2"
    if run(flows, lambda v: v < 500, 2, 2, 75):
        return "LF-2"
    if run(falls(flows), bool, 2, 2, 75):
        return "LF-3"
    return None


def fill(db, path):
    db.executescript("""CREATE TABLE flow(access TEXT, at INT, value REAL,
        PRIMARY KEY(access, at)) WITHOUT ROWID;
        CREATE TABLE flag(access TEXT, rule TEXT, at REAL);""")
    with open(path, encoding="utf-8") as rows:
        db.execute("BEGIN")
        db.executemany("INSERT INTO flow VALUES(?, ?, ?)", csv.reader(rows))
        db.execute("COMMIT")


def everybody(db):
    flagged = []
    rows = db.execute("SELECT access, at, value FROM flow ORDER BY access, at")
    for access, flows in itertools.groupby(rows, lambda row: row[0]):
        rule = review([(at, value) for _, at, value in flows])
        if rule is not None:
            flagged.append((access, rule, time.time()))
    db.execute("BEGIN IMMEDIATE")
    db.execute("DELETE FROM flag")
    db.executemany("INSERT INTO flag VALUES(?, ?, ?)", flagged)
    db.execute("COMMIT")
    return [rule for _, rule, _ in flagged]


def main(database, *files):
    db = sqlite3.connect(database, isolation_level=None)
    db.executescript("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;")
    if files:
        fill(db, files[0])
        return
    began = time.perf_counter()
    rules = everybody(db)
    ms = 1000 * (time.perf_counter() - began)
    high = sum(rule.startswith("HF") for rule in rules)
    print(f"{ms:.1f} {high} {len(rules) - high}")


main(*sys.argv[1:])
