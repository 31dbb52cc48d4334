"""The fixed sample for the test script: the same parts and bad rigs every time. Exit status 1 when a goal is broken.

    python tests/second-world/sample.py --program PATH

It is too small to measure rates; study.py does that. Here every sound part on a careful bench must not be outside, nothing
beyond its limit may be within, and no bad rig may condemn a part or clear one that was not tested.
"""

import argparse
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor

import adversary
import on_rig
import scoring
import sheets
import study

SEED = 20261129
GRIPS, BODIES, DRIVEN = 60, 6, 6


def tasks(path, keep):
    # The longest first, so that both cores end together.
    for i in range(BODIES):
        kind = ("sound", "sound", "worn_tooth=0.35", "sound", "weak_main_spring", "sound")[i]
        yield on_rig.one_body, (path, SEED, i, keep, False, kind)
    for name, named in adversary.sessions():
        yield on_rig.one_adversary, (path, SEED, name, named)
    for i in range(DRIVEN):
        yield on_rig.one_driven_grip, (path, SEED, i, keep, False, ("sound", None)[i % 2])
    for i in range(GRIPS):
        yield study.one_grip, (path, SEED, i, keep, False, None, None)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", help="the program under test (else TRACKPAIR_PROGRAM)")
    parser.add_argument("--keep", metavar="DIR", help="keep recording, truth and outcome of failures here")
    parser.add_argument("--cores", type=int, default=os.cpu_count())
    given = parser.parse_args()
    path = sheets.program(given.program)
    begun, scores, sessions = time.monotonic(), [], []
    with ProcessPoolExecutor(given.cores) as pool:
        for waiting in [pool.submit(work, task) for work, task in tasks(path, given.keep)]:
            result = waiting.result()
            (sessions if isinstance(result, tuple) else scores).append(result)
    print("## Goals\n\n" + scoring.goal_table(scores) + "\n\n## Bad rigs and links, over a sound grip\n")
    print("| session | verdict | exit code | seconds | |\n|---|---|---|---|---|")
    for name, result, complaint in sessions:
        print(f"| {name} | {result['verdict']} | {result['code']} | {result['seconds']:.1f} | {complaint or 'kept'} |")
    print("\n## Against a goal\n")
    for name, s in scoring.failures(scores):
        print(f"- {s['what']} {s['index']} ({s['kind']}, {s['band']}, {s['class']}): {name}: {'; '.join(s['reasons'][:2]) or s['words']}")
    print(f"\nseed {SEED}, {len(scores)} parts, {len(sessions)} sessions, {time.monotonic() - begun:.0f} s")
    wrong = [g for g in scoring.goals(scores) if scoring.broken(len(g[1]), g[2], g[3])]
    return int(bool(wrong) or any(complaint for _, _, complaint in sessions))


if __name__ == "__main__":
    sys.exit(main())
