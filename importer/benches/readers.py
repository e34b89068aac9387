#!/usr/bin/env python3
"""Who finds the table: general-purpose readers beside the stages of the importer, over the corpus of messy logs.

    python3 -m venv FOLDER && FOLDER/bin/pip install polars duckdb pandas clevercsv
    cargo build --examples -p importer
    FOLDER/bin/python importer/benches/readers.py [--each]

Every reader gets the path and nothing else, and is asked for text in every column, so that only the separator, the
quotes, the header and the rows are judged. A text log of one table side by side with its header counts as

  right           its data rows and no others came out, each stated cell in its own column under its own header
  said so         the reader raised an error (of ours: the rows in doubt are in a question)
  silently wrong  anything else

Which rows are data is what the person who wrote the log states beside it (`.expected`); what stands in a cell is taken
from `cargo run --example cells`, whose reading the corpus test checks against the same statements.
"""
import csv
import io
import pathlib
import re
import subprocess
import sys
import warnings

warnings.simplefilter("ignore")
IMPORTER = pathlib.Path(__file__).resolve().parent.parent
EXAMPLES = IMPORTER.parent / "target" / "debug" / "examples"
CORPUS = IMPORTER / "tests" / "logs" / "corpus"
ONE_TABLE = {"wide", "long", "register", "diary", "probe"}
DATA = {"reading", "specimen", "ending", "sizing", "sighting", "routine", "event", "incident", "ask", "refuse"}


def run(example, path):
    done = subprocess.run([EXAMPLES / example, path], capture_output=True, text=True)
    if done.returncode:
        raise ValueError(done.stderr.strip().splitlines()[0])
    return done.stdout, done.stderr


def places(reference):
    """Rows and columns of "B4" or "A1:C3", from 1."""
    ends = re.findall(r"([A-Z]+)(\d+)", reference.rsplit("!", 1)[-1])
    column = lambda letters: sum((ord(c) - 64) * 26**i for i, c in enumerate(reversed(letters)))
    (first, *_), (last, *_) = [(column(a), int(b)) for a, b in ends], [(column(a), int(b)) for a, b in ends[-1:]]
    return {(row, col) for row in range(first[1], last[1] + 1) for col in range(first[0], last[0] + 1)}


class Log:
    def __init__(self, path):
        self.path = path
        with open(f"{path}.expected", newline="", encoding="utf-8") as file:
            lines = list(csv.DictReader(file))
        self.layouts = {line["what"] for line in lines if line["kind"] == "layout"}
        named = set()
        for line in lines:
            if line["kind"] in DATA and line["cell"]:
                named |= places(line["cell"])
        out, _ = run("cells", path)
        text = {(int(c["row"]), int(c["column"])): c["written"] for c in csv.DictReader(io.StringIO(out, newline=""))}
        self.rows = {}
        # What may stand over a column: any text above its first data row.
        first = min((row for row, _ in named), default=1)
        self.above = {}
        for (row, column), written in text.items():
            if row < first:
                self.above.setdefault(column, {""}).add(written.strip())
        for row, column in sorted(named):
            if (row, column) in text:
                self.rows.setdefault(row, {})[column] = text[row, column].strip()

    def judge(self, table):
        """Whether a table (header, then rows) holds the data rows and no others."""
        table = [[(cell or "").strip() for cell in row] for row in table]
        body = [row for row in table[1:] if any(row)]
        wanted = list(self.rows.values())
        if len(body) != len(wanted):
            return False
        least = min(min(row) for row in wanted)
        for offset in range(least):
            heads = all(
                column - 1 - offset < len(table[0]) and table[0][column - 1 - offset] in self.above[column]
                for row in wanted
                for column in row
                if column in self.above
            )
            if heads and all(self.same(row, cells, offset) for row, cells in zip(body, wanted)):
                return True
        return False

    @staticmethod
    def same(row, cells, offset):
        return all(
            column - 1 - offset < len(row) and row[column - 1 - offset] == text for column, text in cells.items()
        )


def ours(path):
    out, said = run("grid", path)
    # Rows in doubt are in a question, not in the table.
    asked = any(line.startswith("Questioned") or line.startswith("Refused") for line in said.splitlines())
    return list(csv.reader(io.StringIO(out, newline=""))), asked


def csv_crate(path):
    return list(csv.reader(io.StringIO(run("plain_csv", path)[0], newline=""))), False


def with_polars(path):
    import polars

    table = polars.read_csv(path, infer_schema=False)
    return [table.columns, *[list(row) for row in table.rows()]], False


def with_duckdb(path):
    import duckdb

    table = duckdb.read_csv(str(path), all_varchar=True)
    return [table.columns, *[list(row) for row in table.fetchall()]], False


def with_pandas(path):
    import pandas

    table = pandas.read_csv(path, sep=None, engine="python", dtype=str, keep_default_na=False)
    return [list(table.columns), *table.values.tolist()], False


def with_clevercsv(path):
    import clevercsv

    return clevercsv.read_table(str(path)), False


READERS = {
    "importer": ours,
    "csv crate": csv_crate,
    "polars": with_polars,
    "DuckDB": with_duckdb,
    "pandas (sniffing)": with_pandas,
    "CleverCSV": with_clevercsv,
}


def main():
    logs = []
    for path in sorted(CORPUS.iterdir()):
        if path.suffix in {".csv", ".tsv", ".txt"} and pathlib.Path(f"{path}.expected").exists():
            log = Log(path)
            if len(log.layouts) == 1 and log.layouts <= ONE_TABLE and log.rows:
                logs.append(log)
    counts = {name: {"right": 0, "said so": 0, "silently wrong": 0} for name in READERS}
    for log in logs:
        verdicts = []
        for name, reader in READERS.items():
            try:
                table, asked = reader(log.path)
                verdict = "right" if log.judge(table) else "said so" if asked else "silently wrong"
            except Exception:  # whatever a reader raises, it said so
                verdict = "said so"
            counts[name][verdict] += 1
            verdicts.append(verdict)
        if "--each" in sys.argv:
            print(f"{log.path.name:60}", *[f"{verdict:15}" for verdict in verdicts])
    print(f"{len(logs)} text logs of one table")
    print(f"{'reader':20}{'right':>8}{'said so':>10}{'silently wrong':>16}")
    for name, count in counts.items():
        share = lambda verdict: f"{100 * count[verdict] / max(1, len(logs)):.0f} %"
        print(f"{name:20}{share('right'):>8}{share('said so'):>10}{share('silently wrong'):>16}")


main()
