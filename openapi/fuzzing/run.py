"""openapi/fuzz: schemathesis over a demo club, as nobody, a reader, a keeper and a curator.

    run.py PROGRAM FOLDER [short] [OPTIONS OF SCHEMATHESIS, such as --include-path /api/v1/tanks]

PROGRAM is `strandline`; FOLDER takes the club and the reports, and is emptied first. Prints for each role how many operations
passed and failed and which statuses each reached, then the share of all operations that some role got a 2xx from. Exits 1 if
anything failed or fewer than 90 % did."""

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
from collections import defaultdict
from pathlib import Path

import requests
from club import Club

HERE = Path(__file__).resolve().parent
DOCUMENT = HERE.parent / "openapi.json"
ROLES = ["none", "reader", "keeper", "curator"]
SHARE = 0.9
# Made-up requests of an operation in the full run, as each role; the other phases count their own.
CASES = 20


def free_port():
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return asked.getsockname()[1]


def demo(program, folder):
    """The invented club, and a server of it; address, setup code, process."""
    plain = {name: value for name, value in os.environ.items() if not name.startswith(("STRANDLINE_", "PG")) and name != "DATABASE_URL"}
    plain |= {name: os.environ[name] for name in ["PG_BIN"] if name in os.environ}
    with open(folder / "demo.log", "w") as log:
        made = subprocess.run([program, "demo", "--no-serve"], env={**plain, "STRANDLINE_DATA": str(folder / "data")}, stdout=log, stderr=log)
    if made.returncode:
        sys.exit(f"strandline: the demo was not made, {folder / 'demo.log'}: see its last lines")
    port = free_port()
    environment = {**plain, "STRANDLINE_DATA": str(folder / "data" / "demo"), "STRANDLINE_LISTEN": f"127.0.0.1:{port}"}
    log = open(folder / "serve.log", "w")  # noqa: SIM115 (as long as the server)
    server = subprocess.Popen([program, "serve"], env=environment, stdout=log, stderr=log)
    url = f"http://127.0.0.1:{port}"
    for _ in range(240):
        try:
            if requests.get(f"{url}/health/ready", timeout=5).ok:
                break
        except requests.ConnectionError:
            pass
        if server.poll() is not None:
            sys.exit(f"strandline: the server ended, {folder / 'serve.log'}: see its last lines")
        time.sleep(0.5)
    code = re.search(r"setup code (\S+),", (folder / "serve.log").read_text())
    token = subprocess.run([program, "token", "new", "--role", "curator"], env=environment, capture_output=True, text=True, check=True)
    return url, code.group(1), token.stdout.strip(), server


def ask_as(role, told, folder, phases, more):
    """One run of schemathesis; its report."""
    record = folder / f"{role}.calls"
    record.touch()
    told = {**told, "role": role, "record": str(record)}
    environment = {**os.environ, "STRANDLINE_FUZZ": json.dumps(told), "PYTHONPATH": str(HERE), "SCHEMATHESIS_HOOKS": "hooks"}
    st = Path(sys.executable).with_name("st")
    report = folder / f"{role}.json"
    command = [st, "--config-file", HERE / "schemathesis.toml", "run", DOCUMENT, "--url", told["url"], "--phases", phases,
               "--header", "X-Forwarded-Proto:https", "--seed", "1", "--no-color", "--report", "json", "--report-json-path", report,
               "--max-examples", str(CASES), *more]  # fmt: skip
    began = time.monotonic()
    with open(folder / f"{role}.txt", "w") as out:
        subprocess.run(command, env=environment, cwd=folder, stdout=out, stderr=out)
    if not report.exists() or not report.stat().st_size:
        sys.exit(f"strandline: schemathesis did not come to an end, {folder / f'{role}.txt'}: see its last lines")
    reached = defaultdict(set)
    for line in record.read_text().splitlines():
        label, status, _ = json.loads(line)
        reached[label].add(status)
    return json.loads(report.read_text()), reached, time.monotonic() - began


def told_of(role, report, reached, operations, seconds):
    """Prints a run; how many operations failed."""
    failed = {label for failure in report["failures"] for label in failure["operations"]}
    errors = sum(error["count"] for error in report["errors"])
    count = report["operations"]
    print(f"\n{role}: {count['selected']} operations, {report['test_cases']['generated']} requests, "
          f"{count['selected'] - len(failed) - count['errored']} passed, {len(failed)} failed, {errors} errors, {seconds:.0f} s")  # fmt: skip
    for failure in report["failures"]:
        print(f"  {failure['code']} {failure['title']}: {', '.join(failure['operations'])}")
    for error in report["errors"]:
        print(f"  {error['title']}: {error['count']}")
    for label in operations:
        statuses = sorted(reached[label])
        lacks = "" if any(200 <= status < 300 for status in statuses) else "  no 2xx"
        print(f"    {label:<52} {' '.join(map(str, statuses))}{lacks}")
    return len(failed) + errors


def main():
    program, folder, *more = sys.argv[1], Path(sys.argv[2]).resolve(), *sys.argv[3:]
    short = more[:1] == ["short"]
    more = more[short:]
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    began = time.monotonic()
    paths = json.loads(DOCUMENT.read_text())["paths"]
    operations = [f"{method.upper()} {path}" for path, item in paths.items() for method in item]
    url, setup, curator, server = demo(program, folder)
    try:
        club = Club(url, curator)
        club.publish()
        owner = club.populate()
        # Each further record of a member makes the next take longer: the curator's are another's.
        other = club.populate("dunlin")
        reader = club.made("tokens", {"role": "reader"})["token"]
        told = {"url": url, "curator": curator, "setup": setup, "short": short, "account": "the reader"}
        told |= {"member": "osprey", "owner": owner, "kept": club.kept()}
        # The first curator is made before there is any other account.
        ask_as("none", {**told, "token": None}, folder, "examples", ["--include-path", "/api/v1/setup"])
        club.account("the reader")
        told["kept"] = club.kept()
        tokens = {"none": None, "reader": reader, "keeper": owner, "curator": curator}
        print(f"the club is made, {time.monotonic() - began:.0f} s")
        phases = "examples,coverage" if short else "examples,coverage,fuzzing,stateful"
        wrong, all_reached = 0, defaultdict(set)
        for role in ROLES:
            if role == "curator":
                told |= {"member": "dunlin", "owner": other}
            report, reached, seconds = ask_as(role, {**told, "token": tokens[role]}, folder, phases, more)
            wrong += told_of(role, report, reached, operations, seconds)
            share = sum(any(200 <= status < 300 for status in reached[label]) for label in operations)
            print(f"  2xx as {role}: {share} of {len(operations)}")
            for label, statuses in reached.items():
                all_reached[label] |= statuses
    finally:
        server.terminate()
        server.wait(60)
    without = [label for label in operations if not any(200 <= status < 300 for status in all_reached[label])]
    share = 1 - len(without) / len(operations)
    print(f"\n{len(operations) - len(without)} of {len(operations)} operations reached a 2xx: {share:.1%}")
    for label in without:
        print(f"  without: {label} {sorted(all_reached[label])}")
    print(f"{wrong} failures, {time.monotonic() - began:.0f} s")
    if wrong:
        print(f"see {folder}/ROLE.txt")
    sys.exit(1 if wrong or share < SHARE else 0)


if __name__ == "__main__":
    main()
