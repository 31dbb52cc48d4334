"""Holds every column of an archive's traces, and every export of it, against the outcomes: in DuckDB, polars and pandas alike.

    python archive_tables.py traces ARCHIVE                the traces of every record as one table: types, counts, nulls
    python archive_tables.py exports ARCHIVE FOLDER        records, figures, findings as `records export` wrote them
    python archive_tables.py question ARCHIVE FIGURES.parquet QUESTION.sql    worst correlation by kind and month, of an export

What is right is taken from the outcome.json files alone. Exits with a traceback at the first thing that is not as documented.
"""

import json
import re
import sys
from pathlib import Path

import duckdb
import pandas
import polars

TIME = "time_us"
CHANNELS = [
    "rising_volts", "falling_volts", "supply_volts", "reference_deg", "supply_amps",
    "drive_amps", "temperature_celsius", "ground_volts", "motor_volts", "motor_amps",
]
PARTITIONS = ["kind", "month", "procedure", "record"]
# What is never recorded of a kind of part, and what always is by its procedures that move it.
NEVER = {"grip": ["motor_volts", "motor_amps"], "body": ["reference_deg"]}
ALWAYS = {"grip": ["reference_deg"], "body": ["motor_volts", "motor_amps"]}


def outcomes(archive):
    """The last outcome of each record, by the record's name."""
    last = {}
    for folder in sorted((archive / "records").iterdir()):
        files = {}
        for path in folder.glob("outcome*.json"):
            number = re.fullmatch(r"outcome(?:-(\d+))?\.json", path.name)
            files[int(number[1] or 1)] = path
        last[folder.name] = json.loads(files[max(files)].read_text(encoding="utf-8"))
    return last


def scans(archive):
    """Scans by kind, month, procedure and record, as the outcomes say."""
    counts = {}
    for record, outcome in outcomes(archive).items():
        for procedure in outcome["procedures"]:
            key = (outcome["part"]["kind"], outcome["recorded"][:7], procedure["procedure"], record)
            counts[key] = counts.get(key, 0) + procedure["scans"]
    return counts


def by_duckdb(tree):
    samples = duckdb.read_parquet(f"{tree}/**/*.parquet", hive_partitioning=True)
    types = dict(zip(samples.columns, map(str, samples.types)))
    assert types == {TIME: "BIGINT", **dict.fromkeys(CHANNELS, "FLOAT"), **dict.fromkeys(PARTITIONS, "VARCHAR")}, types
    groups = ", ".join(PARTITIONS)
    values = ", ".join(f"count({c})" for c in CHANNELS)
    rows = duckdb.sql(f"SELECT {groups}, count(*), {values} FROM samples GROUP BY {groups}").fetchall()
    return {row[:4]: (row[4], dict(zip(CHANNELS, row[5:]))) for row in rows}


def by_polars(tree):
    table = polars.scan_parquet(f"{tree}/**/*.parquet", hive_partitioning=True)
    types = dict(table.collect_schema())
    assert types == {
        TIME: polars.Int64, **dict.fromkeys(CHANNELS, polars.Float32), **dict.fromkeys(PARTITIONS, polars.String)
    }, types
    values = [polars.col(c).count() for c in CHANNELS]
    rows = table.group_by(PARTITIONS).agg(polars.len(), *values).collect().rows()
    return {row[:4]: (row[4], dict(zip(CHANNELS, row[5:]))) for row in rows}


def by_pandas(tree):
    table = pandas.read_parquet(tree)
    types = table.dtypes.astype(str).to_dict()
    assert types == {
        TIME: "int64", **dict.fromkeys(CHANNELS, "float32"), **dict.fromkeys(PARTITIONS, "category")
    }, types
    groups = table.groupby(PARTITIONS, observed=True)
    sizes, values = groups.size(), groups[CHANNELS].count()
    return {key: (int(size), values.loc[key].to_dict()) for key, size in sizes.items()}


READERS = {"DuckDB": by_duckdb, "polars": by_polars, "pandas": by_pandas}


def read_traces(archive):
    expected = scans(archive)
    assert {key[0] for key in expected} == {"grip", "body"}, "both kinds are to be read at once"
    found = {name: read(archive / "traces") for name, read in READERS.items()}
    for name, table in found.items():
        counts = {key: rows for key, (rows, _) in table.items()}
        assert counts == expected, f"{name}: {counts} are not {expected}"
        for (kind, *_), (rows, values) in table.items():
            assert all(values[c] == 0 for c in NEVER[kind]), f"{name}: {kind} has {values}"
            assert all(values[c] == rows for c in ALWAYS[kind]), f"{name}: {kind} lacks {values}"
    print(f"{sum(expected.values())} rows of {len(expected)} traces, alike in {', '.join(READERS)}")


def same(found, right, what):
    assert len(found) == len(right), f"{what}: {len(found)} rows, not {len(right)}"
    for one, other in zip(found, right):
        assert one == other, f"{what}: {one} is not {other}"


def figure_rows(archive, of_figure):
    return [of_figure(r, f) for r, o in outcomes(archive).items() for f in o["figures"]]


def none_for_nan(rows):
    return [tuple(None if cell != cell else cell for cell in row) for row in rows]


def read_exports(archive, folder):
    columns = ["record", "figure", "channel", "value", "expanded_uncertainty", "at_deg", "limit_max", "verdict"]
    def row(record, figure):
        limit = figure["limit"] or {}
        middle = [figure[c] for c in columns[1:6]]
        return (record, *middle, limit.get("max"), figure["verdict"])
    right = sorted(figure_rows(archive, row), key=str)
    wanted = ", ".join(columns)
    for ending in ["parquet", "csv"]:
        path = str(folder / f"figures.{ending}")
        polars_table = getattr(polars, f"read_{ending}")(path)
        pandas_table = getattr(pandas, f"read_{ending}")(path)
        pandas_rows = pandas_table[columns].astype(object).itertuples(index=False, name=None)
        readings = {
            "DuckDB": duckdb.sql(f"SELECT {wanted} FROM '{path}'").fetchall(),
            "polars": polars_table.select(columns).rows(),
            "pandas": none_for_nan(pandas_rows),
        }
        for name, rows in readings.items():
            same(sorted(rows, key=str), right, f"figures.{ending} by {name}")
    labels = {r: o["part"]["label"] for r, o in outcomes(archive).items()}
    table = polars.read_parquet(folder / "records.parquet")
    assert dict(table.select("record", "label").rows()) == labels, "Parquet keeps every text as it is"
    assert dict((r["record"], r["label"]) for r in json.loads((folder / "records.json").read_text(encoding="utf-8"))) == labels
    spreadsheet = pandas.read_csv(folder / "records.csv", keep_default_na=False)
    cells = dict(zip(spreadsheet["record"], spreadsheet["label"]))
    assert any(label.startswith("=") for label in labels.values()), "a formula is to be among them"
    guarded = {r: "'" + label if label.startswith("=") else label for r, label in labels.items()}
    assert cells == guarded, f"{cells} are not {guarded}"
    findings = polars.read_parquet(folder / "findings.parquet").select("record", "finding", "text").rows()
    right = [(r, f["kind"], f["text"]) for r, o in outcomes(archive).items() for f in o["findings"]]
    same(sorted(findings), sorted(right), "findings.parquet by polars")
    print(f"{len(labels)} records and their exports, alike in {', '.join(READERS)}")


def answer(archive):
    """Kind, month, how many records, worst correlation; worked out without any database."""
    groups = {}
    for outcome in outcomes(archive).values():
        values = [f["value"] for f in outcome["figures"] if f["figure"] == "correlation_worst"]
        key = (outcome["part"]["kind"], outcome["recorded"][:7])
        groups.setdefault(key, []).extend(values)
    return [(*key, len(values), max(values)) for key, values in sorted(groups.items()) if values]


def ask(archive, figures, question):
    right = answer(archive)
    assert len({month for _, month, *_ in right}) > 1 and len({kind for kind, *_ in right}) > 1, right
    asked = question.read_text(encoding="utf-8")
    assert asked.count("'figures.parquet'") == 1, asked
    same(duckdb.sql(asked.replace("'figures.parquet'", f"'{figures}'")).fetchall(), right, "DuckDB")
    print(f"worst correlation by kind and month: {right}")


if __name__ == "__main__":
    job, *paths = sys.argv[1:]
    {"traces": read_traces, "exports": read_exports, "question": ask}[job](*map(Path, paths))
