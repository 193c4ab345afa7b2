"""grey.py IN.pgm OUT.png: a picture of 16 greys, small and the same each time.

IN is a binary PGM of 8 bits, as pdftoppm -gray writes it; OUT is a PNG of
colour type 0 and bit depth 4 (PNG, second edition, 11.2.2). Only the standard
library is used, so that no other program's version changes the bytes.
"""

import struct
import sys
import zlib


def read_pgm(path):
    """Width, height and the grey values, row by row."""
    with open(path, "rb") as file:
        data = file.read()
    kind, width, height, most = data.split(maxsplit=4)[:4]
    if kind != b"P5" or most != b"255":
        sys.exit(path + ": not a PGM of 8 bits")
    # The values may look like white space: they are taken from the end, since
    # their number is known.
    return int(width), int(height), data[-int(width) * int(height):]


def level(value):
    """The nearest of 16 greys; 255 is 15, and 0 is 0."""
    return (value + 8) // 17


def pack(width, height, values):
    """Two pixels a byte, and before each row its filter: none."""
    rows = bytearray()
    for y in range(height):
        row = values[y * width:(y + 1) * width] + b"\xff" * (width % 2)
        rows.append(0)
        for x in range(0, len(row), 2):
            rows.append(level(row[x]) << 4 | level(row[x + 1]))
    return bytes(rows)


def chunk(kind, body):
    """A chunk of a PNG: length, kind, body, sum."""
    return (struct.pack(">I", len(body)) + kind + body +
            struct.pack(">I", zlib.crc32(kind + body)))


def main():
    width, height, values = read_pgm(sys.argv[1])
    with open(sys.argv[2], "wb") as file:
        file.write(b"\x89PNG\r\n\x1a\n")
        file.write(chunk(b"IHDR", struct.pack(">IIBBBBB", width, height,
                                              4, 0, 0, 0, 0)))
        file.write(chunk(b"IDAT", zlib.compress(pack(width, height, values),
                                                9)))
        file.write(chunk(b"IEND", b""))


main()
