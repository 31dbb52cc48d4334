"""Opens a record with programs that know nothing of it: jsonschema, pyarrow, pandas, html.parser.

    python readers.py OUTCOME_SCHEMA.json RECORD_FOLDER

exits with a traceback at the first thing that is not as documented.
"""

import json
import sys
from html.parser import HTMLParser
from pathlib import Path

import jsonschema
import pandas
import pyarrow.parquet as pq

# Elements without an end tag: https://html.spec.whatwg.org/multipage/syntax.html#void-elements
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
# Attributes that make a browser fetch something.
FETCHES = {"src", "srcset", "href", "xlink:href", "data", "action", "poster", "background"}
# What every trace of a kind of part holds beside its time.
COLUMNS = {
    "grip": {"rising_volts", "falling_volts", "supply_volts", "reference_deg"},
    "body": {"rising_volts", "falling_volts", "supply_volts", "motor_volts", "motor_amps"},
}
# Every column ends with its unit.
UNITS = {"volts", "amps", "deg", "us", "celsius"}


class Page(HTMLParser):
    """Well-formed nesting, nothing fetched from elsewhere, no script."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.tags, self.text, self.styles = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        assert tag not in {"script", "iframe", "object", "embed", "link", "base"}, f"<{tag}> in the report"
        for name, value in attrs:
            assert not name.startswith("on"), f"{name} on <{tag}>"
            if name in FETCHES:
                assert value.startswith(("#", "data:")), f"<{tag} {name}={value!r}> points outside"
            if name == "style":
                self.styles.append(value)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-3:]} at {self.getpos()}"
        self.open.pop()

    def handle_data(self, data):
        (self.styles if self.open and self.open[-1] == "style" else self.text).append(data)


def read_report(path, outcome):
    page = Page()
    page.feed(path.read_text(encoding="utf-8"))
    page.close()
    assert not page.open, f"never closed: {page.open}"
    assert page.tags.count("svg") >= 1 or not outcome["histograms"], "a report has its plots"
    for style in page.styles:
        assert "@import" not in style and "http" not in style, "a style fetches something"
        assert "url(" not in style.replace("url(#", "").replace("url(data:", ""), "a style fetches something"
    text = " ".join(page.text)
    assert outcome["part"]["label"] in text, "the part's own words stand there as written"
    assert ("SIMULATED" in text) == outcome["simulated"]


def read_trace(path, procedure, kind):
    table = pq.read_table(path)
    note = json.loads(table.schema.metadata[b"trackpair.trace"])
    assert note["provenance"]["simulated"] is True
    assert note["provenance"]["procedure"] == procedure["procedure"]
    assert table.num_rows == procedure["scans"], (table.num_rows, procedure)
    names = table.column_names
    assert names[0] == "time_us" and COLUMNS[kind] <= set(names)
    for name in names:
        assert name.rsplit("_", 1)[1] in UNITS, f"{path.name}: the column {name} does not name its unit"
    frame = pandas.read_parquet(path)
    assert list(frame.columns) == names and len(frame) == table.num_rows
    assert frame["time_us"].is_monotonic_increasing and frame["time_us"].is_unique
    # Every file has every column; those of channels that were not recorded are null from top to bottom.
    recorded = {name for name in names if frame[name].notna().any()}
    assert COLUMNS[kind] <= recorded and not frame[sorted(recorded)].isna().any().any()
    # In volts: a part on a 5 V supply, which the self-check switches on and the leads check steps to 4 V.
    assert 4.9 < frame["supply_volts"].median() < 5.1 and frame["supply_volts"].max() < 5.2


def main():
    schema, folder = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")), Path(sys.argv[2])
    outcome = json.loads((folder / "outcome.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(outcome)
    read_report(folder / "report.html", outcome)
    # ARCHIVE/records/RECORD; traces are named from ARCHIVE.
    archive = folder.parent.parent
    for procedure in outcome["procedures"]:
        read_trace(archive / procedure["trace_file"], procedure, outcome["part"]["kind"])
    print(f"schema, report and {len(outcome['procedures'])} traces hold")


if __name__ == "__main__":
    main()
