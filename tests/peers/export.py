"""Reads an exported record back, for tests/peers/export.rs: JSON in, JSON out.

csv, json and xml are Python's own; Parquet is read by pyarrow. Numbers go back by their
bits, in hexadecimal.
"""
import csv
import json
import os
import struct
import sys
import xml.etree.ElementTree as ElementTree

import pyarrow.parquet

folder = json.load(sys.stdin)["folder"]
INTEGERS = ["stage", "start", "step"]
TEXTS = ["role", "measurand", "flag", "regulation"]
NUMBERS = ["asked_s", "answered_s", "voltage_V", "voltage_u_V", "voltage_floor_V", "current_A", "current_u_A", "current_floor_A"]


def path(name):
    return os.path.join(folder, name)


def bits(value):
    return None if value is None else struct.pack(">d", float(value)).hex()


def reading(row):
    """`row` with None for what is missing."""
    integers = [None if row[c] is None else int(row[c]) for c in INTEGERS]
    return integers + [row[c] for c in TEXTS] + [bits(row[c]) for c in NUMBERS]


def csv_rows(name):
    # Without newline="" Python would turn a CRLF inside a cell into LF.
    with open(path(name), encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file, strict=True))
    assert all(len(row) == len(rows[0]) for row in rows), name
    return [{k: (v if v != "" else None) for k, v in zip(rows[0], row)} for row in rows[1:]]


def unguarded(text):
    text = text or ""
    return text[1:] if text.startswith("'") else text


def second(moment):
    assert moment.endswith("+00:00"), moment
    return moment[:19]


def measure(row):
    trial = int(row["trial"])
    return [trial, row["what"], row["flag"], bits(row["value"]), bits(row["u"]), row["outcome"]]


answer = {}

rows = csv_rows("readings.csv")
events = csv_rows("events.csv") if os.path.exists(path("events.csv")) else []
with open(path("readings.csv"), "rb") as file:
    raw = file.read()
computed = []
for name in sorted(os.listdir(folder)):
    if name.endswith(".csv"):
        for row in csv_rows(name):
            for column, cell in row.items():
                text = cell is not None and cell[0] in "=+-@\t\r\n"
                if text:
                    try:
                        float(cell)
                    except ValueError:
                        computed.append([name, column, cell])
answer["csv"] = {
    "readings": [reading(row) for row in rows],
    "moments": [second(row["answered_utc"]) for row in rows],
    "texts": [unguarded(e["text"]) for e in events if e["kind"] == "answer"],
    "measures": [measure(row) for row in csv_rows("measures.csv")],
    "computed": computed,
    "every line ends with CRLF": raw.count(b"\r\n") == raw.count(b"\n") == len(rows) + 1,
}


def lines(name):
    with open(path(name), encoding="utf-8", newline="\n") as file:
        def number(text):
            raise AssertionError("not JSON: " + text)
        return [json.loads(line, parse_constant=number) for line in file]


rows = lines("readings.jsonl")
answer["jsonl"] = {
    "readings": [reading(row) for row in rows],
    "moments": [second(row["answered_utc"]) for row in rows],
    "texts": [e["text"] for e in lines("events.jsonl") if e["kind"] == "answer"],
    "measures": [measure(row) for row in lines("measures.jsonl")],
}

table = pyarrow.parquet.read_table(path("readings.parquet"))
rows = table.to_pylist()
whole = pyarrow.parquet.read_metadata(path("readings.parquet"))
schema = {f.name: [str(f.type), (f.metadata or {}).get(b"unit", b"").decode() or None] for f in table.schema}
answer["parquet"] = {
    "readings": [reading(row) for row in rows],
    "moments": [row["answered_utc"].isoformat()[:19] for row in rows],
    "texts": [e["text"] for e in pyarrow.parquet.read_table(path("events.parquet")).to_pylist() if e["kind"] == "answer"],
    "measures": [measure(row) for row in pyarrow.parquet.read_table(path("measures.parquet")).to_pylist()],
    "schema": schema,
    "metadata": {k.decode(): v.decode() for k, v in whole.metadata.items() if k != b"ARROW:schema"},
}
# Each table has the same columns and as many rows in all three.
for name in sorted(os.listdir(folder)):
    if name.endswith(".parquet"):
        stem = name[: -len(".parquet")]
        wide = pyarrow.parquet.read_table(path(name))
        with open(path(stem + ".csv"), encoding="utf-8", newline="") as file:
            assert next(csv.reader(file)) == wide.schema.names, stem
        assert len(csv_rows(stem + ".csv")) == len(lines(stem + ".jsonl")) == wide.num_rows, stem

# JUnit as build servers read it: what may stand where, and that the counts are the cases'.
faults = []
root = ElementTree.parse(path("junit.xml")).getroot()


def expect(condition, words):
    if not condition:
        faults.append(words)


def counted(node, cases):
    for word, tag in [("tests", None), ("failures", "failure"), ("errors", "error"), ("skipped", "skipped")]:
        found = len(cases) if tag is None else sum(case.find(tag) is not None for case in cases)
        expect(int(node.get(word)) == found, f"{node.tag} says {word} {node.get(word)}, there are {found}")


expect(root.tag == "testsuites", root.tag)
counted(root, root.findall("testsuite/testcase"))
for suite in root:
    expect(suite.tag == "testsuite", suite.tag)
    expect(set(suite.keys()) == {"name", "tests", "failures", "errors", "skipped", "time", "timestamp"}, str(suite.keys()))
    expect(len(suite.get("timestamp")) == 19 and float(suite.get("time")) >= 0, str(suite.attrib))
    counted(suite, suite.findall("testcase"))
    tags = [child.tag for child in suite]
    expect(tags == sorted(tags, key=["properties", "testcase"].index), str(tags))
    for case in suite.findall("testcase"):
        expect(set(case.keys()) == {"name", "classname", "time"} and case.get("name"), str(case.attrib))
        told = [child.tag for child in case]
        expect(told[-1:] == ["system-out"] and len(told) <= 2, str(told))
        expect(all(tag in ("failure", "error", "skipped") for tag in told[:-1]), str(told))
unit = root.find("testsuite/properties/property[@name='unit']")
answer["junit"] = {
    "faults": faults, "suites": [suite.get("name") for suite in root], "tests": int(root.get("tests")), "failures": int(root.get("failures")), "unit": unit.get("value"),
}
json.dump(answer, sys.stdout)
