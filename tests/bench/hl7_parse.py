"""How long it takes to take a message of HL7 v2 apart and look at each field.

    /usr/bin/python3 tests/bench/hl7_parse.py build/tests/tool_hl7

Ours beside Debian's python3-hl7, the same file, in one run.  The ratio counts.
"""

import subprocess
import sys
import time

import hl7

SAMPLE = "tests/corpus/hl7/session-results.hl7"
OURS, THEIRS = 20000, 300


def main(tool):
    text = open(SAMPLE, "rb").read().decode()
    began = time.perf_counter()
    for _ in range(THEIRS):
        for segment in hl7.parse(text):
            for field in range(1, len(segment)):
                str(segment(field))
    theirs = (time.perf_counter() - began) / THEIRS
    said = subprocess.run([tool, "--repeat", str(OURS), SAMPLE], check=True,
                          capture_output=True, text=True).stdout
    ours = float(said) / OURS
    print(f"{len(text)} bytes: {ours * 1e6:.1f} us, python3-hl7 "
          f"{theirs * 1e6:.0f} us, {theirs / ours:.0f} times")


main(sys.argv[1])
