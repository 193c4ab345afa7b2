"""What an integrator would write for HL7 v2 in an afternoon: socketserver, a thread
a connection, Debian's python3-hl7, sqlite3 with full synchronisation.  A message
is stored, known by its control id, with a row a result; then it is answered AA.

    /usr/bin/python3 tests/bench/peer_hl7.py DATABASE      prints its port

No units, identities, corrections, rules, no character sets but UTF-8.
"""

import socketserver
import sqlite3
import sys
import threading

import hl7

END = b"\x1c\r"

db = sqlite3.connect(sys.argv[1], check_same_thread=False, isolation_level=None)
db.executescript("""PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
    CREATE TABLE message(id TEXT PRIMARY KEY, body BLOB) WITHOUT ROWID;
    CREATE TABLE reading(patient TEXT, at TEXT, code TEXT, value REAL, message TEXT,
        PRIMARY KEY(patient, at, code, message)) WITHOUT ROWID;""")
one_at_a_time = threading.Lock()


def results(message, control, patient):
    for obx in message.segments("OBX"):
        yield (patient, str(obx(14)), str(obx(3)(0)(0)), float(str(obx(5))), control)


def store(raw):
    message = hl7.parse(raw.decode("utf-8"))
    control = str(message.segment("MSH")(10))
    patient = str(message.segment("PID")(3)(0)(0))
    rows = list(results(message, control, patient))
    with one_at_a_time:
        db.execute("BEGIN IMMEDIATE")
        fresh = db.execute("INSERT OR IGNORE INTO message VALUES(?, ?)",
                           (control, raw)).rowcount
        if fresh:
            db.executemany("INSERT INTO reading VALUES(?, ?, ?, ?, ?)", rows)
        db.execute("COMMIT")
    return str(message.create_ack("AA"))


class Handler(socketserver.StreamRequestHandler):
    disable_nagle_algorithm = True

    def handle(self):
        rest = b""
        while True:
            got = self.request.recv(65536)
            if not got:
                return
            rest += got
            while (end := rest.find(END)) >= 0:
                answer = store(rest[1:end])
                rest = rest[end + 2:]
                self.request.sendall(b"\x0b" + answer.encode() + END)


class Server(socketserver.ThreadingTCPServer):
    daemon_threads = True
    request_queue_size = 256


with Server(("127.0.0.1", 0), Handler) as server:
    print(f"ready {server.server_address[1]}", flush=True)
    server.serve_forever()
