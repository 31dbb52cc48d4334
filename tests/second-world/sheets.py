"""Part sheets, read from what `trackpair sheet show NAME` prints. Kept in memory for the run; nothing is written."""

import functools
import os
import subprocess
import tomllib


def program(given=None):
    """The program under test: what was given on the command line, else TRACKPAIR_PROGRAM."""
    path = given or os.environ.get("TRACKPAIR_PROGRAM")
    if not path:
        raise SystemExit("which program? give --program PATH or set TRACKPAIR_PROGRAM")
    return os.path.abspath(path)


@functools.cache
def sheet(path, name):
    text = subprocess.run([path, "sheet", "show", name], capture_output=True, text=True, check=True).stdout
    return tomllib.loads(text)


def nominal(of):
    lines = of["nominal"]
    return tuple((lines[k]["closed_ratio"], lines[k]["open_ratio"]) for k in ("rising", "second"))


def limits(of, figure, channel=None):
    """The limits that cover a figure on a channel; the most particular ones only."""
    fitting = [entry for entry in of["limit"] if entry["figure"] == figure]
    own = [entry for entry in fitting if entry.get("channel") == channel and channel is not None]
    return own or [entry for entry in fitting if "channel" not in entry]
