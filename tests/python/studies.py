"""Makes docs/STUDIES.md anew: every study, each with its command, seed, commit, date and how long it took, and both worlds side by side.

    python tests/python/studies.py [--small] [--only NAME …] [--out FILE] [--limit MINUTES]

Standard library alone. The working tree must be committed, so that the commit says what was measured; `--small` runs a few parts each to try the
mechanism, says so on every table and may run on anything. `--only` makes these sections anew and leaves the others as they stand, each with its
own commit. What studies tell part by part stays in `target/studies`: both worlds stand side by side from what was last made there. Exit status 1
when a study failed or did not end in its time: the page then says so.
"""

import argparse
import contextlib
import datetime
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PARTS = ROOT / "target" / "studies"
SECOND_WORLD = ROOT / "tests" / "second-world" / "study.py"

# Name, heading, what it answers, arguments of `scripts/study`, the same in small. `{json}` is a file that it writes part by part. Sizes are chosen so
# that all of them take a little over an hour on two cores (`--small`: a few minutes); each table says how long it took.
STUDIES = [
    ("grip", "Grips: detection, false alarms, escapes", "Simulated grips on the whole bench; severities begin where a fault can just be seen.",
     "grip --parts 2000 --seed 4 --json {json}", "grip --parts 24 --seed 4 --json {json}"),
    ("body", "Throttle bodies: detection, false alarms, escapes", "Simulated bodies, a third of them healthy; errors of every figure against the truth.",
     "body --parts 400 --seed 21 --json {json}", "body --parts 12 --seed 21 --json {json}"),
    ("body-healthy", "Throttle bodies: healthy ones alone", "How often a healthy body is called outside.",
     "body --parts 200 --seed 51 --class healthy", "body --parts 12 --seed 51 --class healthy"),
    ("body-teeth", "Throttle bodies: one worn tooth of fixed depth", "Extra lash, three fifths of it on the flank that carries.",
     "body --teeth 20 --seed 41", "body --teeth 2 --seed 41"),
    ("suspects", "Whom it suspects", "The fault library on simulated parts; causes that look alike to the bench count as tied.",
     "suspects --parts 200 --seed 20261126", "suspects --parts 12 --seed 20261126"),
    ("changes", "Records against each other", "Simulated parts measured twice, each time on another rig.",
     "changes --parts 24 --seed 3", "changes --parts 2 --seed 3"),
    ("soak", "Soaks", "Ten minutes in 30 rounds: drifts told falsely, known ones seen.", "soak --seed 20261126", "soak --parts 1 --seed 20261126"),
    ("contact", "Lost contact", "Places of the pigtail that stand out, track told from wire, warmth.",
     "contact --parts 20 --seed 20261126", "contact --parts 1 --seed 20261126"),
    ("follow", "Plate behind grip", "Sound pairs called outside, and faults that show in how the plate follows.",
     "follow --parts 6 --seed 20261126", "follow --parts 1 --seed 20261126"),
    ("dropouts", "The search for dropouts", "False alarms a row, then lengths told.", "dropouts 500", "dropouts 4"),
    ("second-world", "A second world", "Recordings, parts and a rig of an independent generator, written apart from the simulator.",
     "second-world --grips 1000 --driven-grips 50 --bodies 30 --seed 1 --scores {json}",
     "second-world --grips 8 --driven-grips 2 --bodies 2 --seed 1 --scores {json}"),
    ("second-world-careful", "A second world: sound grips alone, careful loggers", "How often a sound grip is called outside or left undecided.",
     "second-world --grips 800 --seed 2 --kind sound --logger careful", "second-world --grips 4 --seed 2 --kind sound --logger careful"),
    ("second-world-any", "A second world: sound grips alone, any other logger", "How often a sound grip is called outside.",
     "second-world --grips 600 --seed 3 --kind sound --logger any", "second-world --grips 4 --seed 3 --kind sound --logger any"),
]

HEAD = """# Studies

Made by `scripts/study all`; never edited by hand. All of it is simulation and invented recordings: nothing here was measured on hardware.
Every table stands as its command printed it, below the command, the commit it was made at, the date and the time it took. Shares are with exact 95 %
bounds (Clopper and Pearson) unless a table says otherwise.
"""


BOTH = "Both worlds side by side"


def run(words, **more):
    return subprocess.run(words, cwd=ROOT, text=True, capture_output=True, check=False, **more)


def commit():
    """The commit, and whether the working tree is that."""
    at = run(["git", "rev-parse", "--short=12", "HEAD"]).stdout.strip()
    changed = run(["git", "status", "--porcelain", "--untracked-files=no"]).stdout.splitlines()
    # The page itself is what is being made.
    return at, not [line for line in changed if not line.endswith("docs/STUDIES.md")]


def study(arguments, limit_s):
    """What a study printed, the seconds it took, and why it failed, if it did."""
    begun = time.monotonic()
    # It ends with its children: a group of its own.
    process = subprocess.Popen(["scripts/study", *arguments], cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True)
    failure = None
    try:
        out, err = process.communicate(timeout=limit_s)
        # A second world ends with 1 where a goal is broken, which its own table says.
        if process.returncode not in ((0, 1) if arguments[0] == "second-world" else (0,)):
            failure = f"exit status {process.returncode}: {(err.strip().splitlines() or [''])[-1]}"
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, 15)
        out, err = process.communicate()
        failure = f"not ended within {limit_s / 60:.0f} minutes"
    return out, time.monotonic() - begun, failure


def section(name, heading, reading, arguments, small, at, limit_s, folder):
    """The section's text, why it failed, and how long it took; what it tells part by part stays in the folder."""
    if name.startswith("second-world") and not SECOND_WORLD.exists():
        return f"## {heading}\n\nNot part of this checkout (`tests/second-world`).\n", None, 0.0
    file = folder / f"{name}.json"
    file.unlink(missing_ok=True)
    told = arguments.replace(" --json {json}", "").replace(" --scores {json}", "")
    out, seconds, failure = study(arguments.format(json=file).split(), limit_s)
    date = datetime.date.today().isoformat()
    tried = " **A trial of the mechanism with a few parts: it shows nothing of the program.**" if small else ""
    lines = [f"## {heading}", "", f"{reading}{tried}", "", f"Command `scripts/study {told}` · commit `{at}` · {date} · {seconds:.0f} s", ""]
    if failure:
        lines += [f"**It failed: {failure}.**", ""]
    # What a study prints in Markdown stays that, so that its tables are tables.
    text = "\n".join("#" + line if line.startswith("## ") else line for line in out.rstrip().splitlines())
    lines += [text, ""] if text.startswith(("|", "#")) or "\n|" in text else ["```text", text, "```", ""]
    if file.exists():
        (folder / f"{name}.commit").write_text(at, encoding="utf-8")
    return "\n".join(lines), failure, seconds


def bounds(hits, trials):
    """Exact 95 % bounds of a share (Clopper and Pearson 1934), by bisection of the binomial tail."""
    if trials == 0:
        return 0.0, 1.0

    def at_most(k, p):
        if p in (0.0, 1.0):
            return float(p == 0.0 or k >= trials)
        logs = (math.lgamma(trials + 1) - math.lgamma(i + 1) - math.lgamma(trials - i + 1) + i * math.log(p) + (trials - i) * math.log1p(-p) for i in range(k + 1))
        return math.fsum(math.exp(v) for v in logs)

    def solve(test):
        low, high = 0.0, 1.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if test(middle) else (low, middle)
        return (low + high) / 2

    low = 0.0 if hits == 0 else solve(lambda p: 1 - at_most(hits - 1, p) < 0.025)
    high = 1.0 if hits == trials else solve(lambda p: at_most(hits, p) > 0.025)
    return low, high


def share(among, test):
    hits = sum(1 for one in among if test(one))
    low, high = bounds(hits, len(among))
    return f"{hits} of {len(among)} ({100 * low:.2g} to {100 * high:.2g} %)" if among else "none tried"


def own(trials, beyond):
    """Sound and bad parts of the simulator's world."""
    judged = [t for t in trials if t.get("verdict")]
    sound = [t for t in judged if t["class"].lower() == "healthy"]
    bad = [t for t in judged if t["class"].lower() != "healthy" and beyond(t)]
    return sound, bad


def side_by_side(folder):
    """Escapes and false alarms of both worlds from the parts that lie in a folder; none where one of them told nothing part by part."""
    rows = []
    files = {name: folder / f"{name}.json" for name in ("grip", "body", "second-world")}
    if not all(file.exists() for file in files.values()):
        return ""

    def row(what, world, sound, bad):
        outside, within, open_ = (lambda t, v=v: t["verdict"] == v for v in ("outside", "within", "undecided"))
        rows.append(f"| {what} | {world} | {share(sound, outside)} | {share(sound, open_)} | {share(bad, within)} |")

    def load(name):
        text = files[name].read_text(encoding="utf-8")
        return [json.loads(line) for line in text.splitlines() if line.strip()] if name == "second-world" else json.loads(text)

    second = load("second-world")
    grips, bodies = load("grip"), load("body")
    row("grip on the rig", "simulator", *own(grips["trials"], lambda t: t.get("truly_outside") is True))
    for what, name in (("grip on the rig", "driven grip"), ("grip, other loggers", "grip")):
        some = [s for s in second if s["what"] == name]
        if some:
            row(what, "second", [s for s in some if s["state"] == "sound"], [s for s in some if s["beyond"]])
    row("body on the rig", "simulator", *own(bodies, lambda _: True))
    some = [s for s in second if s["what"] == "body"]
    if some:
        row("body on the rig", "second", [s for s in some if s["state"] == "sound"], [s for s in some if s["state"] != "sound"])
    made = ", ".join(f"`{name}` at commit `{(folder / f'{name}.commit').read_text(encoding='utf-8')}`" for name in files)
    head = ["## " + BOTH, "", "False alarms are sound parts called outside, escapes bad ones called within. A bad grip is one of which a true figure lies beyond its "
            "limit, a bad body one with a planted fault of any severity.", ""]
    table = ["| part | world | sound: outside | sound: undecided | bad: within |", "|---|---|---|---|---|", *rows, ""]
    return "\n".join([*head, f"Command `scripts/study all` · from {made}", "", *table])


def standing(page):
    """The sections of a page by heading, the text before them left out."""
    known = [f"## {heading}" for _, heading, *_ in STUDIES] + ["## " + BOTH]
    out, last = {}, None
    for line in page.splitlines():
        if line in known:
            last = line[3:]
        if last:
            out.setdefault(last, []).append(line)
    return {heading: "\n".join(lines).rstrip() + "\n" for heading, lines in out.items()}


def write(out, page):
    """The page of the sections that there are."""
    missing = [f"`{name}`" for name, heading, *_ in STUDIES if heading not in page]
    lacks = [f"Not made for this version yet: {', '.join(missing)}.\n"] if missing else []
    parts = [page[heading] for heading in [BOTH, *(s[1] for s in STUDIES)] if page.get(heading)]
    out.write_text("\n".join([HEAD, *lacks, *parts]).rstrip() + "\n", encoding="utf-8")


def options():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--small", action="store_true", help="a few parts each: to try the mechanism")
    parser.add_argument("--only", nargs="+", choices=[s[0] for s in STUDIES], help="these alone; the others stay as they stand")
    parser.add_argument("--out", type=Path, default=ROOT / "docs" / "STUDIES.md")
    parser.add_argument("--limit", type=float, default=60.0, help="minutes that one study may take")
    return parser.parse_args()


def main():
    given = options()
    at, clean = commit()
    if not clean and not given.small:
        print("the working tree has changes that no commit holds; commit them, or try it with --small", file=sys.stderr)
        return 2
    wanted = [s for s in STUDIES if not given.only or s[0] in given.only]
    page = standing(given.out.read_text(encoding="utf-8")) if given.only and given.out.exists() else {}
    failed, total = [], 0.0
    with contextlib.ExitStack() as stack:
        # A trial leaves nothing behind.
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="studies-"))) if given.small else PARTS
        folder.mkdir(parents=True, exist_ok=True)
        for name, heading, reading, whole, small in wanted:
            print(f"{name} …", file=sys.stderr)
            page[heading], failure, seconds = section(name, heading, reading, small if given.small else whole, given.small, at, 60 * given.limit, folder)
            total += seconds
            if failure:
                failed.append(name)
                print(f"{name}: {failure}", file=sys.stderr)
            # What was made stands, whatever befalls the next.
            page[BOTH] = side_by_side(folder) or page.get(BOTH, "")
            write(given.out, page)
    print(f"{given.out}: {len(wanted)} studies, {total / 60:.1f} minutes", file=sys.stderr)
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main())
