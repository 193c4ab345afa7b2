#!/usr/bin/env python3
"""A terminal for a program that wants one: a pseudo-terminal of the system.

    queue_terminal.py ROWS COLUMNS COMMAND...

What the program draws goes to standard output.  Each line of standard input is
done: "key X" types a character, "signal NAME" sends a signal, "size ROWS
COLUMNS" changes the window.  When the program has ended, one line says how:
"ended STATUS restored yes|no": whether the modes of the terminal are those of
before.
"""
import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios


def set_size(fd, rows, columns):
    fcntl.ioctl(fd, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))


def obey(line, master, pid):
    words = line.split()
    if words[0] == "key":
        os.write(master, words[1].encode())
    elif words[0] == "signal":
        os.kill(pid, getattr(signal, words[1]))
    elif words[0] == "size":
        set_size(master, int(words[1]), int(words[2]))
        os.kill(pid, signal.SIGWINCH)


def main():
    rows, columns = int(sys.argv[1]), int(sys.argv[2])
    master, slave = pty.openpty()
    set_size(master, rows, columns)
    before = termios.tcgetattr(slave)
    pid = os.fork()
    if pid == 0:
        os.setsid()
        fcntl.ioctl(slave, termios.TIOCSCTTY, 0)
        for fd in (0, 1, 2):
            os.dup2(slave, fd)
        os.execv(sys.argv[3], sys.argv[3:])
    waiting, status = b"", None
    inputs = [master, 0]
    while status is None:
        ready, _, _ = select.select(inputs, [], [], 0.1)
        if master in ready:
            sys.stdout.buffer.write(os.read(master, 65536))
            sys.stdout.flush()
        if 0 in ready:
            got = os.read(0, 4096)
            if not got:
                inputs.remove(0)
            waiting += got
            while b"\n" in waiting:
                line, waiting = waiting.split(b"\n", 1)
                obey(line.decode(), master, pid)
        ended, how = os.waitpid(pid, os.WNOHANG)
        if ended == pid:
            status = os.waitstatus_to_exitcode(how)
    while select.select([master], [], [], 0.1)[0]:
        sys.stdout.buffer.write(os.read(master, 65536))
    same = termios.tcgetattr(slave) == before
    sys.stdout.write("\nended %d restored %s\n" % (status, "yes" if same else "no"))


main()
