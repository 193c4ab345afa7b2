"""Sends messages by python3-hl7's own MLLP client and prints what that
library reads in each answer, one JSON line each.

    mllp_client.py PORT < messages.json     a list of texts, one byte a sign
"""

import json
import sys

import hl7
from hl7.client import MLLPClient


def field(segment, n):
    return str(segment[n]) if n < len(segment) else ""


def read(raw):
    """What stands in an answer, by the library's parser."""
    if not (raw.startswith(b"\x0b") and raw.endswith(b"\x1c\r")):
        return {"frame": False}
    message = hl7.parse(raw[1:-2].decode("latin-1"))
    msa = message.segment("MSA")
    errors = [s for s in message if str(s[0]) == "ERR"]
    return {
        "frame": True,
        "type": field(message.segment("MSH"), 9),
        "version": field(message.segment("MSH"), 12),
        "code": field(msa, 1),
        "id": field(msa, 2),
        "errors": [
            {"place": field(e, 2), "code": field(e, 3).split("^")[0],
             "severity": field(e, 4)}
            for e in errors
        ],
    }


def main():
    port = int(sys.argv[1])
    with MLLPClient("127.0.0.1", port) as client:
        client.socket.settimeout(15)
        for text in json.load(sys.stdin):
            raw = client.send_message(text.encode("latin-1"))
            print(json.dumps(read(raw)))


main()
