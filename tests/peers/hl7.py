#!/usr/bin/python3
"""hl7 - messages of HL7 v2 against Debian's python3-hl7

    /usr/bin/python3 hl7.py PATH_TO_tool_hl7 FOLDER_OF_SAMPLES [SEED]

1. Every sample, cell by cell: segments, fields, repetitions, components and
   subcomponents are those that python3-hl7 finds, and so is the text of each
   after its own unescape().  Where this library does otherwise than the
   standard it is told so by its own app_map, or the cell is counted under the
   name of the difference (EXPLAINED); a difference that no name explains fails,
   and so does a name that nothing needs any more.
   Bytes that are not of the character set: as Python's codecs decode each
   segment with errors="replace", those in a row counted once; the places that
   are told are those of the components that have some.  Beside the samples with
   such bytes, messages drawn at random (the seed is printed).
2. Every answer that tool_hl7 writes to every sample is parsed by python3-hl7:
   MSA-1, MSA-2 and ERR are there, and MSH is that of its own create_ack().

Ends with the line "N passed, M failed" and with status 1 if anything failed.

Source: HL7 v2.5.1 chapter 2, as implemented by python3-hl7 0.4.5.
"""

import json
import logging
import os
import random
import re
import subprocess
import sys
import tempfile

# Not the module of this name: this file is one too.
HERE = os.path.dirname(os.path.abspath(__file__))
sys.path = [p for p in sys.path if os.path.abspath(p or '.') != HERE]
import hl7  # noqa: E402

# It tells of each escape that it does not know; EXPLAINED does here.
logging.disable(logging.CRITICAL)

CODECS = {'': 'ascii', '8859/1': 'iso-8859-1', '8859/3': 'iso-8859-3',
          '8859/7': 'iso-8859-7', 'UNICODE UTF-8': 'utf-8',
          'ISO IR87': 'iso2022_jp'}
LOST = '\ufffd'
ROUNDS = 150

# What python3-hl7 leaves to its caller: highlighting (nothing, in plain text)
# and the sign of a new line.
APP_MAP = {'H': '', 'N': '', '.br': '\n', '.sp': '\n'}

EXPLAINED = {
    'hex': 'each byte of \\Xhh\\ is taken for a character of ISO 8859-1, not '
           'for a byte of the message\'s character set',
    'dropped': '\\C..\\, \\M..\\, \\Z..\\ and unknown escapes are removed; '
               'here they stay as they are',
    'open': 'an escape that does not end is removed with all that follows; '
            'here it stays as it is',
}
ANSWERS = ['AA', 'AE', 'AR', 'CA', 'CE', 'CR']


class Tally:
    def __init__(self):
        self.passed = 0
        self.failed = 0
        self.cells = 0
        self.damaged = 0
        self.needed = dict.fromkeys(EXPLAINED, 0)

    def check(self, good, text):
        if good:
            self.passed += 1
        else:
            self.failed += 1
            print('FAILED ' + text)


def run(tool, *arguments):
    return subprocess.run([tool, *arguments], capture_output=True, check=False)


def charset_of(data):
    fields = re.split(b'[\r\n]', data)[0].split(data[3:4])
    name = fields[17].decode('ascii') if len(fields) > 17 else ''
    return CODECS[name.split(chr(data[5]))[0]]


def parts(container):
    """The children of one level; a text alone is its own only child."""
    if isinstance(container, str):
        return [container] if container else []
    children = list(container)
    return [] if len(children) == 1 and children[0] == '' else children


# ---- bytes that are not of the character set --------------------------------

def decode(data, codec):
    """Segment by segment: none begins in what the one before it shifted to."""
    lines = [line.decode(codec, 'replace') for line in data.split(b'\r')]
    return re.sub(LOST + '+', LOST, '\r'.join(lines))


def is_shifted(line):
    """Does it end in another set than ASCII?  RFC 1468 lets no line do so."""
    shifts = re.findall(rb'\x1b[$(].', line)
    return bool(shifts) and shifts[-1] != b'\x1b(B'


def damaged(message, data):
    """The components with such bytes, as places of ours; the segments whose
    shift never ended."""
    seen = {}
    found = []
    for segment, line in zip(message, data.split(b'\r')):
        name = str(segment[0])
        seen[name] = seen.get(name, 0) + 1
        for f in range(1, len(segment)):
            repetitions = str(segment[f]).split('~')
            for r, repetition in enumerate(repetitions, 1):
                for c, text in enumerate(repetition.split('^'), 1):
                    if LOST in text:
                        of = f'[{r}]' if r > 1 else ''
                        found.append(f'{name}[{seen[name]}]-{f}{of}.{c}')
        if is_shifted(line):
            found.append(f'{name}[{seen[name]}]')
    return found


def drawn(draw, charset):
    """A message whose second and later segments have any bytes in them."""
    good = {'UNICODE UTF-8': ['\u00e4'.encode(), '\u20ac'.encode(),
                              '\U0001fa7a'.encode()]}
    bad = [bytes([b]) for b in range(0x80, 0x100)]
    bad += [b'\xe2\x82', b'\xf0\x9f\xa9', b'\xed\xa0\x80', b'\xc0\xbc',
            b'\xf4\x90\x80\x80', b'\xf5\x80']
    plain = [b'a', b'7', b'|', b'|', b'^', b'~', b'&', b' ']
    head = b'MSH|^~\\&|A|B|||20261126||ORU^R01|1|P|2.5.1||||||'
    lines = [head + charset.encode()]
    for name in [b'PID', b'OBR', b'OBX', b'NTE', b'OBX']:
        kinds = [plain, plain, good.get(charset, plain), bad]
        lines.append(name + b'|' + b''.join(
            draw.choice(draw.choice(kinds))
            for _ in range(draw.randrange(1, 60))))
    # python3-hl7 strips the blanks at the end of a message.
    return b'\r'.join(lines) + b'|.\r'


def check_drawn(tally, tool, seed):
    draw = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, 'drawn')
        for i in range(ROUNDS):
            charset = draw.choice(['', '8859/3', '8859/7', 'UNICODE UTF-8'])
            with open(path, 'wb') as file:
                file.write(drawn(draw, charset))
            check_sample(tally, tool, path, f'drawn {i} in {charset or "ASCII"}')


# ---- text -------------------------------------------------------------------

def correct(message, raw, codec, needed):
    """raw as it should be after unescape(), with the names of what differs."""
    esc = re.escape(str(message.esc))
    kept = []

    def keep(text, name):
        needed.add(name)
        kept.append(text)
        return chr(0xE000 + len(kept) - 1)

    def one(match):
        text = match.group(0)
        inner = text[1:-1]
        if re.fullmatch(r'X([0-9A-Fa-f]{2})+', inner):
            return text
        if inner in 'FSTREHN' or re.fullmatch(r'\.(br|sp\d*)', inner):
            return text
        return keep(text, 'dropped')

    def pieces(match):
        digits = re.sub(esc + 'X?', '', match.group(0))
        return keep(bytes.fromhex(digits).decode(codec), 'hex')

    text = re.sub(f'(?:{esc}X(?:[0-9A-Fa-f]{{2}})+{esc})+', pieces, raw)
    text = re.sub(f'{esc}[^{esc}]*{esc}', one, text)
    if len(re.findall(esc, text)) % 2 == 1:
        at = text.rindex(str(message.esc))
        text = text[:at] + keep(text[at:], 'open')
    # From the last on: one that was kept may hold those before it.
    text = message.unescape(text, APP_MAP)
    for i in reversed(range(len(kept))):
        text = text.replace(chr(0xE000 + i), kept[i])
    return text


def check_text(tally, message, raw, ours, codec, where):
    needed = set()
    tally.cells += 1
    theirs = message.unescape(raw, APP_MAP)
    if theirs != ours:
        theirs = correct(message, raw, codec, needed)
        for name in needed:
            tally.needed[name] += 1
    tally.check(theirs == ours, f'{where}: {ours!r}, not {theirs!r}')


# ---- structure --------------------------------------------------------------

def check_level(tally, message, theirs, ours, codec, where):
    """Repetitions, components or subcomponents, and what is in them."""
    if isinstance(ours, str):
        return check_text(tally, message, str(theirs), ours, codec, where)
    children = parts(theirs)
    tally.check(len(children) == len(ours),
                f'{where}: {len(ours)} parts, not {len(children)}')
    for i, (their, our) in enumerate(zip(children, ours)):
        check_level(tally, message, their, our, codec, f'{where}.{i + 1}')
    return None


def check_segment(tally, message, theirs, ours, codec, where):
    tally.check(str(theirs[0]) == ours['name'], f'{where}: {ours["name"]}')
    tally.check(len(theirs) - 1 == len(ours['fields']),
                f'{where}: {len(ours["fields"])} fields, not {len(theirs) - 1}')
    for i, field in enumerate(ours['fields'], 1):
        name = f'{where}-{i}'
        if ours['name'] == 'MSH' and i <= 2:
            tally.check(field == [[[str(theirs[i])]]], name)
        else:
            check_level(tally, message, theirs[i], field, codec, name)


def check_sample(tally, tool, path, name=None):
    answers = ANSWERS if name is None else []
    name = name or os.path.basename(path)
    with open(path, 'rb') as file:
        data = file.read()
    codec = charset_of(data)
    done = run(tool, path)
    tally.check(done.returncode == 0, f'{name}: {done.stderr.decode()}')
    if done.returncode != 0:
        return
    read = json.loads(done.stdout)
    ours = read['segments']
    theirs = hl7.parse(decode(data, codec))
    places = damaged(theirs, data)
    tally.damaged += len(places)
    tally.check(read['damage'] == places,
                f'{name}: bytes of no set at {read["damage"]}, not {places}')
    tally.check(len(ours) == len(theirs), f'{name}: {len(ours)} segments')
    for i, segment in enumerate(ours):
        check_segment(tally, theirs, theirs[i], segment, codec,
                      f'{name}:{segment["name"]}[{i}]')
    for word in answers:
        check_answer(tally, tool, path, word, theirs, codec)


# ---- answers ----------------------------------------------------------------

def check_answer(tally, tool, path, word, asked, codec):
    where = f'{os.path.basename(path)} answered {word}'
    done = run(tool, '--ack', word, path)
    answer = hl7.parse(done.stdout.decode(codec))
    theirs = asked.create_ack(word, message_id='HG-1')
    old = str(asked.segment('MSH')(12)) == '2.3'

    for field in (1, 2, 3, 4, 5, 6, 9, 10, 11, 12):
        got, want = str(answer['MSH'][0](field)), str(theirs['MSH'][0](field))
        if field == 9 and old:
            # The name of a structure came with 2.3.1; create_ack always has it.
            want = str(asked.separators[3]).join(['ACK', 'R01'])
        tally.check(got == want, f'{where}: MSH-{field} {got!r}, not {want!r}')
    for field in (1, 2):
        got, want = str(answer['MSA'][0](field)), str(theirs['MSA'][0](field))
        tally.check(got == want, f'{where}: MSA-{field} {got!r}, not {want!r}')
    check_errors(tally, answer, word, where)


def check_errors(tally, answer, word, where):
    """What tool_hl7 invents: two errors and a warning, unless all is well."""
    errors = [s for s in answer if str(s[0]) == 'ERR']
    if word in ('AA', 'CA'):
        tally.check(not errors, f'{where}: there is an ERR')
        return
    version = [int(n) for n in str(answer['MSH'][0](12)).split('.')[:2]]
    if version < [2, 5]:
        places = [str(r(4)(1)) for r in errors[0](1)]
        tally.check(len(errors) == 1 and places == ['204', '102'],
                    f'{where}: ERR-1 {places}')
        tally.check(str(answer['MSA'][0](3)) != '', f'{where}: no MSA-3')
        return
    codes = [str(e(3)(1)(1)) for e in errors]
    tally.check(codes == ['204', '102', '103'], f'{where}: ERR-3 {codes}')
    tally.check([str(e(4)) for e in errors] == ['E', 'E', 'W'],
                f'{where}: ERR-4')
    place = [str(c) for c in errors[1](2)(1)]
    tally.check(place == ['OBX', '3', '5', '1', '1'], f'{where}: ERR-2 {place}')
    text = answer.unescape(str(errors[1](8)), APP_MAP)
    tally.check(text == 'Not a number: digits, sign & point | nothing else ^',
                f'{where}: ERR-8 {text!r}')


def main():
    if len(sys.argv) not in (3, 4):
        raise SystemExit(__doc__)
    tool, folder = sys.argv[1:3]
    seed = int(sys.argv[3]) if len(sys.argv) == 4 else 20261126
    tally = Tally()
    samples = sorted(f for f in os.listdir(folder) if f.endswith('.hl7'))
    for name in samples:
        check_sample(tally, tool, os.path.join(folder, name))
    check_drawn(tally, tool, seed)
    print(f'{ROUNDS} messages drawn, seed {seed}; {tally.damaged} places with '
          'bytes of no set')
    tally.check(tally.damaged >= 300, f'only {tally.damaged} such places')
    for name, count in tally.needed.items():
        print(f'{count:4} cells differ as explained: {EXPLAINED[name]}')
        tally.check(count > 0, f'nothing needs the explanation "{name}"')
    # A folder that was not found whole would pass otherwise.
    tally.check(len(samples) >= 8, f'only {len(samples)} samples')
    tally.check(tally.cells >= 500, f'only {tally.cells} cells')
    print(f'{len(samples)} samples, {tally.cells} cells with text')
    print(f'{tally.passed} passed, {tally.failed} failed')
    sys.exit(1 if tally.failed else 0)


if __name__ == '__main__':
    main()
