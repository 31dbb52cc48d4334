"""Draws parts and recordings with a seed, runs the program over each, and prints what it made of them.

    python tests/second-world/study.py --program PATH --grips 400 --seed 1 --keep DIR --list-failures

Runs on all cores. Tables are Markdown. Exit status 1 when a goal is broken (see scoring.py), else 0.
"""

import argparse
import json
import os
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor, as_completed

import recordings
import runner
import scoring
import sheets


def one_grip(task):
    program, seed, index, keep, keep_all, kind, careful = task
    columns, truth, sheet = recordings.draw(program, seed, index, kind, careful)
    with tempfile.TemporaryDirectory(prefix="second-world-") as folder:
        csv = recordings.write(columns, truth, folder, f"grip-{seed}-{index}")
        result = runner.judge(program, csv, sheet, columns, recordings.mapping(columns), truth["logger"]["rate"])
        score = scoring.score(truth, result)
        if keep and (keep_all or scoring.failures([score])):
            recordings.write(columns, truth, keep, f"grip-{seed}-{index}")
            with open(os.path.join(keep, f"grip-{seed}-{index}.outcome.json"), "w") as out:
                json.dump(result["outcome"], out, indent=1)
    return score


def options():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", help="the program under test (else TRACKPAIR_PROGRAM)")
    parser.add_argument("--grips", type=int, default=0, help="recordings of grips by other loggers")
    parser.add_argument("--driven-grips", type=int, default=0, help="grips on the rig")
    parser.add_argument("--bodies", type=int, default=0, help="throttle bodies on the rig")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="this one only, kept in full with --keep")
    parser.add_argument("--kind", help="this fault only (or: sound)")
    parser.add_argument("--logger", choices=["careful", "any"], help="this class of logger only")
    parser.add_argument("--keep", metavar="DIR", help="keep recording, truth and outcome of failures here")
    parser.add_argument("--keep-all", action="store_true", help="with --keep: of all")
    parser.add_argument("--list-failures", action="store_true")
    parser.add_argument("--scores", metavar="FILE", help="write one line of JSON a recording")
    parser.add_argument("--cores", type=int, default=os.cpu_count())
    return parser.parse_args()


def tasks(given, path):
    careful = None if given.logger is None else given.logger == "careful"
    keep_all = given.keep_all or given.only is not None

    def numbers(count):
        return range(count) if given.only is None else [given.only][:min(count, 1)]

    for i in numbers(given.grips):
        yield one_grip, (path, given.seed, i, given.keep, keep_all, given.kind, careful)
    if given.driven_grips or given.bodies:
        import on_rig

        for i in numbers(given.driven_grips):
            yield on_rig.one_driven_grip, (path, given.seed, i, given.keep, keep_all, given.kind)
        for i in numbers(given.bodies):
            yield on_rig.one_body, (path, given.seed, i, given.keep, keep_all, given.kind)


def report(scores, list_failures):
    print("## Goals\n\n" + scoring.goal_table(scores))
    for what in ("grip", "driven grip", "body"):
        if any(s["what"] == what for s in scores):
            print(f"\n## {what.capitalize()}: by fault and severity\n\n" + scoring.fault_table(scores, what))
            print(f"\n## {what.capitalize()}: stated 95 % intervals\n\n" + scoring.coverage_table(scores, what))
    if list_failures:
        print("\n## Against a goal\n")
        for name, s in scoring.failures(scores):
            print(f"- {s['what']} {s['index']} ({s['kind']}, {s['band']}, {s['class']}): {name}")
            for reason in s["reasons"] or [s["words"]]:
                print(f"  - {reason}")


def main():
    given = options()
    path = sheets.program(given.program)
    begun = time.monotonic()
    scores = []
    with ProcessPoolExecutor(given.cores) as pool, open(given.scores or os.devnull, "w") as out:
        for done in as_completed([pool.submit(work, task) for work, task in tasks(given, path)]):
            scores.append(done.result())
            out.write(json.dumps(scores[-1]) + "\n")
            out.flush()
            if sys.stderr.isatty():
                print(f"\r{len(scores)}", end="", file=sys.stderr)
    scores.sort(key=lambda s: (s["what"], s["index"]))
    report(scores, given.list_failures)
    print(f"\nseed {given.seed}, {len(scores)} runs, {time.monotonic() - begun:.0f} s")
    return int(any(scoring.broken(len(h), n, a) for _, h, n, a in scoring.goals(scores)))


if __name__ == "__main__":
    sys.exit(main())
