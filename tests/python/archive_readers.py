"""Reads a whole archive with programs that know nothing of it: DuckDB, polars, pandas, sqlite3.

    python archive_readers.py ARCHIVE PAGE.md EXPORTED.parquet EXPORTED.csv

The traces are one table for each of them, and hold what every outcome says was recorded; the page's two questions, taken from it word
for word, give what the outcomes and the samples give; the exported figures are those of the outcomes. Exits with a traceback at the first
thing that is not so.
"""

import json
import math
import re
import sqlite3
import sys
from pathlib import Path

import duckdb
import numpy as np
import pandas
import polars
import pyarrow.parquet as pq

PARTS = ["kind", "month", "procedure", "record"]


def outcomes(archive):
    """The last outcome of each record, by its name."""
    found = {}
    for folder in sorted((archive / "records").iterdir()):
        files = sorted(folder.glob("outcome*.json"), key=lambda p: (len(p.name), p.name))
        found[folder.name] = json.loads(files[-1].read_text(encoding="utf-8"))
    return found


def scans(all_outcomes):
    """Scans by record and procedure, as the outcomes say."""
    counted = {}
    for record, outcome in all_outcomes.items():
        for procedure in outcome["procedures"]:
            key = (record, procedure["procedure"])
            counted[key] = counted.get(key, 0) + procedure["scans"]
    return counted


def check_one_table(archive, all_outcomes):
    expected = scans(all_outcomes)
    glob = str(archive / "traces" / "**" / "*.parquet")

    rows = duckdb.sql(
        f"SELECT record, procedure, count(*), count(rising_volts), count(motor_amps), any_value(kind) "
        f"FROM read_parquet('{glob}', hive_partitioning = true) GROUP BY ALL"
    ).fetchall()
    assert {(r[0], r[1]): r[2] for r in rows} == expected, "DuckDB counts other scans"
    for record, _, count, rising, amps, kind in rows:
        assert kind == all_outcomes[record]["part"]["kind"] and rising == count
        assert amps == (count if kind == "body" else 0), "a channel that was not recorded is null"

    frame = polars.scan_parquet(glob, hive_partitioning=True)
    counted = frame.group_by("record", "procedure").len().collect()
    assert {(r[0], r[1]): r[2] for r in counted.rows()} == expected, "polars counts other scans"
    schema = frame.collect_schema()
    assert schema["time_us"] == polars.Int64 and all(schema[n] == polars.Float32 for n in schema if n.endswith(("_volts", "_deg")))

    table = pandas.read_parquet(archive / "traces")
    counted = table.groupby(["record", "procedure"], observed=True).size()
    assert {k: v for k, v in counted.items()} == expected, "pandas counts other scans"
    assert set(PARTS) <= set(table.columns)
    return len(rows)


def block(readme, word):
    """The page's ```sql block that holds a word."""
    found = [b for b in re.findall(r"```sql\n(.*?)```", readme, re.S) if word in b]
    assert len(found) == 1, f"{len(found)} blocks hold {word!r}"
    return found[0]


def check_index_question(archive, readme, all_outcomes):
    expected = {}
    for record, outcome in all_outcomes.items():
        month = f"{record[:4]}-{record[4:6]}"
        for figure in outcome["figures"]:
            if figure["figure"] == "correlation_worst":
                key = (outcome["part"]["kind"], month)
                expected[key] = max(expected.get(key, (-math.inf, "")), (figure["value"], record))
    # As any other program would: read-only, and not through this program.
    connection = sqlite3.connect(f"file:{archive / 'archive.sqlite'}?mode=ro", uri=True)
    rows = connection.execute(block(readme, "FROM latest")).fetchall()
    got = {(kind, month): (value, record) for kind, month, value, record, _ in rows}
    assert got == expected, (got, expected)
    return len(got)


def check_trace_question(archive, readme):
    expected = {}
    for path in sorted((archive / "traces").rglob("*.parquet")):
        parts = dict(p.split("=", 1) for p in path.parts if "=" in p)
        if parts["procedure"] in ("sweep", "creep"):
            table = pq.read_table(path, partitioning=None)
            rising, falling, supply = (
                table[f"{c}_volts"].to_numpy().astype(np.float64) for c in ("rising", "falling", "supply")
            )
            worst = np.max(np.abs((rising + falling) / supply - 1)) * 100
            key = (parts["kind"], parts["month"])
            expected[key] = max(expected.get(key, 0.0), worst)
    question = block(readme, "read_parquet").replace("ARCHIVE", str(archive))
    got = {(kind, month): worst for kind, month, _, worst in duckdb.sql(question).fetchall()}
    assert got.keys() == expected.keys() and all(abs(got[k] - expected[k]) < 1e-3 for k in got), (got, expected)


def check_export(parquet, csv, all_outcomes):
    expected = {
        (record, f["figure"], f["channel"], f["value"], f["verdict"])
        for record, outcome in all_outcomes.items()
        for f in outcome["figures"]
    }
    rows = duckdb.sql(f"SELECT record, figure, channel, value, verdict FROM read_parquet('{parquet}')").fetchall()
    assert set(rows) == expected, "the exported figures are those of the outcomes"
    frame = polars.read_parquet(parquet)
    assert len(frame) == len(rows) and frame.schema["value"] == polars.Float64 and frame.schema["number"] == polars.Int64
    text = pandas.read_csv(csv, keep_default_na=False, na_values=[""])
    assert list(text.columns) == frame.columns and len(text) == len(frame)
    assert np.allclose(text["value"], frame["value"].to_numpy(), rtol=0, atol=0)


def main():
    archive, readme = Path(sys.argv[1]), Path(sys.argv[2]).read_text(encoding="utf-8")
    all_outcomes = outcomes(archive)
    tables = check_one_table(archive, all_outcomes)
    answers = check_index_question(archive, readme, all_outcomes)
    check_trace_question(archive, readme)
    check_export(sys.argv[3], sys.argv[4], all_outcomes)
    print(f"{len(all_outcomes)} records, {tables} procedures, {answers} answers hold")


if __name__ == "__main__":
    main()
