"""Runs drawing programs on a given FrameBuffer class, under CPython or MicroPython.

A program is a dict: `width`, `height`, `start` (the frame's first bytes, hex) and `steps`, each a list of
a method's name and its arguments. A frame among the arguments is written [width, height, bytes as hex].
Run as a program, `-m tests.portable.framebuf_cases MODULE`, it takes FrameBuffer from MODULE, reads one
program a line from standard input and prints the results of each as one line of JSON.
"""

import json
import sys


def _argument(FrameBuffer, value):
    if isinstance(value, list):
        width, height, content = value
        return FrameBuffer(bytearray(bytes.fromhex(content)), width, height, 0)
    return value


def results(FrameBuffer, program):
    """[what the call returned, the frame's bytes as hex] after each step of the program."""
    buffer = bytearray(bytes.fromhex(program["start"]))
    frame = FrameBuffer(buffer, program["width"], program["height"], 0)
    done = []
    for step in program["steps"]:
        arguments = [_argument(FrameBuffer, value) for value in step[1:]]
        returned = getattr(frame, step[0])(*arguments)
        done.append([returned, buffer.hex()])
    return done


if __name__ == "__main__":
    cls = __import__(sys.argv[1], None, None, ("FrameBuffer",)).FrameBuffer
    for line in sys.stdin:
        print(json.dumps(results(cls, json.loads(line))))
