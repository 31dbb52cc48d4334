"""Runs the program under test: a fresh home and archive for every run, so that nothing reaches the user's own."""

import json
import os
import shutil
import subprocess
import tempfile
import time

VERDICTS = {0: "within", 10: "outside", 11: "undecided"}


def run(program, arguments, seconds=300.0):
    """Runs it; returns a dictionary: code, verdict (or "failed"), outcome (or None), words (end of stderr), seconds."""
    home = tempfile.mkdtemp(prefix="second-world-")
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("TRACKPAIR_", "XDG_"))}
    environment |= {"HOME": home, "TRACKPAIR_ARCHIVE": os.path.join(home, "archive"), "RAYON_NUM_THREADS": "1"}
    begun = time.monotonic()
    try:
        done = subprocess.run([program, *arguments], capture_output=True, env=environment, timeout=seconds, cwd=home)
        code, out, words = done.returncode, done.stdout, done.stderr.decode(errors="replace")
    except subprocess.TimeoutExpired as late:
        code, out, words = None, b"", f"no end after {seconds} s: " + (late.stderr or b"").decode(errors="replace")
    finally:
        shutil.rmtree(home, ignore_errors=True)
    try:
        outcome = json.loads(out)
    except ValueError:
        outcome = None
    verdict = outcome["verdict"] if outcome else "failed"
    return {"code": code, "verdict": verdict, "outcome": outcome, "words": words[-2000:], "seconds": time.monotonic() - begun,
            "panic": "panicked" in words}


def judge(program, csv, sheet, columns, names, rate):
    """Judges a log. Where the program refuses time stamps coarser than the scans, its advice is followed: --rate instead."""
    arguments = ["judge", csv, "--sheet", sheet, "--json"]
    if "supply" not in columns:
        arguments += ["--supply", "5.0"]
    result = run(program, [*arguments, "--map", names, "--time-unit", "s"])
    if result["code"] == 2 and "--rate" in result["words"]:
        without = ",".join(n for n in names.split(",") if not n.startswith("time="))
        result = run(program, [*arguments, "--map", without, "--rate", f"{rate:.6f}"])
    return result


def figure_key(figure):
    """The name that the truth file has for a figure of an outcome."""
    channel = figure.get("channel")
    if channel is None:
        return figure["figure"]
    return f"{figure['figure']}.{'rising' if channel in ('rising', 'first') else 'second'}"
