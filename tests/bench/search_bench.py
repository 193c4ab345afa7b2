"""How long a search of Tasks takes when there are many.

    python3 tests/bench/search_bench.py build/headgate [20000]

A service makes one Task from two readings; the store is closed, the Task is
copied so many times with other values, and the service is asked again.  The
index of the store is cleared, so that its filling is timed as well.  Each
line: the median of nine answers in milliseconds, and what was found.
"""

import json
import os
import random
import re
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request

BASE = "https://headgate.example/fhir"
STATUSES = ["requested"] * 12 + ["accepted", "completed", "completed", "rejected"]
QUERIES = [
    "", "_count=1", "_total=none", "status=requested",
    "status=requested&_sort=-_lastUpdated",
    "status=requested&_sort=-_lastUpdated&_total=none",
    "status=rejected&_sort=-_lastUpdated&_total=none",
    "status=on-hold&_sort=-_lastUpdated",
    "status=requested,accepted&_sort=-_lastUpdated&_total=none",
    "status:not=completed&_sort=-_lastUpdated&_total=none",
    "_lastUpdated=ge2026-11-01&_sort=_lastUpdated&_total=none",
    "patient=Patient/p-7", "patient=Patient/p-7&status=requested",
    "identifier=key-4711", "status=requested&_sort=due",
    "_sort=-priority,due&_total=none", "status=requested&_summary=count",
    "status=requested&authored-on=ge2026-10-01&_total=none",
    "status=requested&_sort=-_lastUpdated&_include=Task:patient&_total=none",
]


def call(url, body=None):
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(url, data, {
        "Content-Type": "application/fhir+json"})
    with urllib.request.urlopen(request, timeout=120) as answer:
        return json.loads(answer.read() or "null")


class Service:
    def __init__(self, binary, folder):
        self.args = [binary, "serve", "--config", "config/demo.ini"]
        for key, value in {"store.path": folder + "/hg.db", "http.port": 0,
                           "mllp.enabled": "false", "mllp.port": 0,
                           "http.anonymous": "true"}.items():
            self.args += ["--set", f"{key}={value}"]

    def __enter__(self):
        self.process = subprocess.Popen(self.args, stdout=subprocess.PIPE,
                                        stderr=subprocess.DEVNULL, text=True)
        for line in self.process.stdout:
            ready = re.match(r"headgate ready (\S+)", line)
            if ready:
                self.url = ready.group(1)
                return self
        raise RuntimeError("the service did not start")

    def __exit__(self, *_):
        self.process.send_signal(signal.SIGTERM)
        self.process.wait(60)


def reading(value, day):
    return {"resourceType": "Observation", "status": "final",
            "code": {"coding": [{"system": BASE + "/CodeSystem/av-observation",
                                 "code": "access-flow"}]},
            "subject": {"reference": "Patient/p-1"},
            "effectiveDateTime": day + "T09:00:00Z",
            "focus": [{"identifier": {"system": "https://x.example", "value": "a"}}],
            "valueQuantity": {"value": value, "code": "mL/min",
                              "system": "http://unitsofmeasure.org"}}


def make_one(binary, folder):
    now = time.time()
    day = lambda back: time.strftime("%Y-%m-%d", time.gmtime(now - back * 86400))
    with Service(binary, folder) as service:
        for back in (30, 2):
            call(service.url + "/Observation", reading(2300, day(back)))
        for _ in range(200):
            tasks = call(service.url + "/Task")
            if tasks["total"] > 0:
                return
            time.sleep(0.05)
        raise RuntimeError("no Task")


def copy(folder, count):
    """The same content with other ids, times, statuses and patients."""
    db = sqlite3.connect(folder + "/hg.db")
    draw = random.Random(1)
    [(first, part, issued, body, length, patient, access)] = db.execute(
        "SELECT r.id, r.part, r.issued_s, v.body, v.len, t.patient, t.access "
        "FROM task t JOIN resource r ON r.id = t.resource JOIN version v "
        "ON v.resource = r.id AND v.ver = 1 LIMIT 1").fetchall()
    tokens = db.execute("SELECT name, value, system FROM search_token "
                        "WHERE resource = ? AND name NOT IN (1, 2, 5)",
                        (first,)).fetchall()
    spans = db.execute("SELECT name, from_ms, to_ms FROM search_span "
                       "WHERE resource = ?", (first,)).fetchall()
    now = int(time.time() * 1000)
    for i in range(count):
        number = 10 ** 9 + i
        at = now - draw.randrange(60 * 86400000)
        status = draw.choice(STATUSES)
        db.execute("INSERT INTO resource VALUES(?,?,4,?,NULL,1,?,0,?)",
                   (number, part, f"copy-{i}", at, issued))
        db.execute("INSERT INTO version VALUES(?,1,?,?,0,NULL,?,NULL,?)",
                   (number, part, at, length, body))
        db.execute("INSERT INTO task(resource, part, patient, access, status, "
                   "priority, code, key) VALUES(?,?,?,?,?,'routine','x',?)",
                   (number, part, patient, access, status, f"key-{i}"))
        rows = [(1, f"key-{i}", "k"), (2, f"Patient/p-{i % (count // 5 + 1)}", ""),
                (5, status, "http://hl7.org/fhir/task-status")] + tokens
        db.executemany("INSERT OR IGNORE INTO term(value, system) VALUES(?,?)",
                       [row[1:] for row in rows])
        db.executemany("INSERT INTO search_term SELECT ?, ?, id, ? FROM term "
                       "WHERE value = ? AND system = ?",
                       [(number, row[0], at, *row[1:]) for row in rows])
        shift = draw.randrange(-30, 30) * 86400000
        db.executemany("INSERT INTO search_span VALUES(?,?,?,?)",
                       [(number, n, a + shift, b + shift) for n, a, b in spans])
    # numbers below are the service's to give
    db.execute("UPDATE meta SET v = ? WHERE k = 'next_id'", (2 * 10 ** 9,))
    db.commit()
    db.close()


def measure(service):
    for query in QUERIES:
        times = []
        for _ in range(9):
            began = time.perf_counter()
            found = call(f"{service.url}/Task?{query}")
            times.append(1000 * (time.perf_counter() - began))
        print(f"{statistics.median(times):8.1f} ms  {len(found.get('entry', [])):4d}"
              f" of {found.get('total', '?'):>6}  {query or '(all)'}")
    url, pages, began = f"{service.url}/Task?_count=200&_total=none", 0, time.perf_counter()
    while url:
        page = call(url)
        pages += 1
        url = next((l["url"] for l in page["link"] if l["relation"] == "next"), None)
    print(f"{1000 * (time.perf_counter() - began) / pages:8.1f} ms  for each of {pages}"
          " pages of 200, to the end")


def main(binary, count):
    with tempfile.TemporaryDirectory() as folder:
        make_one(binary, folder)
        copy(folder, count)
        with Service(binary, folder) as service:
            measure(service)
        db = sqlite3.connect(folder + "/hg.db")
        db.execute("DELETE FROM search_term")
        db.execute("DELETE FROM search_span")
        db.execute("DELETE FROM meta WHERE k = 'sought'")
        db.commit()
        db.close()
        began = time.perf_counter()
        with Service(binary, folder) as service:
            call(service.url + "/Task?_count=1")
            print(f"{time.perf_counter() - began:8.1f} s   until the first answer of "
                  "a store without an index")


main(os.path.abspath(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 20000)
