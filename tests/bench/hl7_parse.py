"""How long it takes to take a message of HL7 v2 apart and look at each field.

    /usr/bin/python3 tests/bench/hl7_parse.py build/tests/tool_hl7 [--rows FILE]

Ours beside Debian's python3-hl7, the same file, in one run.  The ratio counts; with
--rows it is added to that file as JSON, for all.mjs.
"""

import json
import subprocess
import sys
import time

import hl7

SAMPLE = "tests/corpus/hl7/session-results.hl7"
OURS, THEIRS = 20000, 300


def main(tool, *rows):
    text = open(SAMPLE, "rb").read().decode()
    began = time.perf_counter()
    for _ in range(THEIRS):
        for segment in hl7.parse(text):
            for field in range(1, len(segment)):
                str(segment(field))
    theirs = (time.perf_counter() - began) / THEIRS * 1e6
    said = subprocess.run([tool, "--repeat", str(OURS), SAMPLE], check=True,
                          capture_output=True, text=True).stdout
    ours = float(said) / OURS * 1e6
    print(f"{len(text)} bytes: {ours:.1f} us, python3-hl7 {theirs:.0f} us, "
          f"{theirs / ours:.0f} times")
    if rows[:1] == ("--rows",):
        with open(rows[1], "a", encoding="utf-8") as out:
            print(json.dumps({"name": "a message of HL7 v2 taken apart", "unit": "us",
                              "ours": ours, "peer": "python3-hl7", "theirs": theirs,
                              "ratio": theirs / ours}), file=out)


main(*sys.argv[1:])
