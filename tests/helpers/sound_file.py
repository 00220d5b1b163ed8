"""A sound set-up file for tests to spoil line by line."""

SOUND = """\
title = "t"
[sweep]
start = "174 MHz"
stop = "240 MHz"
points = 133
[near]
connector = "N-50 jack"
directivity = "40 dB"
[[chain]]
id = "pad"
part = "min-loss-pad"
[[chain]]
id = "lead"
part = "rg59"
length = "0.6 m"
near = "BNC-75 plug"
far = "F-75 plug"
[far]
connector = "F-75 jack"
limit = "VSWR 2.0"
[calibration]
plane = "pad"
"""


def changed(number, line):
    """The sound file with one line replaced by others."""
    lines = SOUND.splitlines()
    lines[number - 1 : number] = line.split("\n") if line is not None else []
    return "\n".join(lines) + "\n"
