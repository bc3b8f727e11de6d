"""Measures what beds cost a ward service: invented beds over real links, pages asked for meanwhile.

    scale.py PROGRAM DECK.toml [--beds 200] [--rate 10] [--seconds 60] [--broker HOST:PORT] [--memory ward.db|postgresql://...]

PROGRAM is a release build. Prints one table: samples a second, share of one core, memory, growth of the record, samples lost,
and how long pages took (median, 99 %, longest), all and each kind. The beds' own program runs on the same machine; its share is told apart.
"""
import argparse
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import time
import urllib.request

sys.path.insert(0, str(pathlib.Path(__file__).parent / "exchange"))
from served import Ward, first_words  # noqa: E402

TICKS = os.sysconf("SC_CLK_TCK")


def cpu_s(pid):
    fields = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(") ", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def memory_mb(pid):
    return int(re.search(r"VmRSS:\s+(\d+)", pathlib.Path(f"/proc/{pid}/status").read_text())[1]) / 1024


def size_mb(folder):
    return sum(p.stat().st_size for p in pathlib.Path(folder).glob("ward.db*")) / 1e6


class Loaded(Ward):
    """A ward whose beds another program gives samples for."""

    def __init__(self, program, folder, memory):
        self.folder = pathlib.Path(folder)
        text = (self.folder / "ward.toml").read_text().replace("127.0.0.1:8080", "127.0.0.1:0")
        (self.folder / "ward.toml").write_text(text.replace('"ward.db"', f'"{memory}"'))
        self.process = subprocess.Popen([program, "serve", "ward.toml"], cwd=folder, stdout=subprocess.PIPE,
                                        stderr=open(self.folder / "log", "w"), text=True)
        self.url, secret = first_words(self.process, self.folder / "log")
        self.token = self.fresh("first", secret)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("deck")
    parser.add_argument("--beds", type=int, default=200)
    parser.add_argument("--rate", type=float, default=10.0)
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--broker")
    parser.add_argument("--memory", default="ward.db")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        scenario = pathlib.Path(folder, "scenario.toml")
        scenario.write_text(f'name = "invented"\nhours = 24.0\nrate_hz = {given.rate}\nstart = "2031-03-04T18:00:00Z"\n')
        link = ["--broker", given.broker] if given.broker else ["--port", "0"]
        twin = subprocess.Popen(
            [given.program, "twin", "ward", given.deck, "--scenario", scenario, "--output", folder, "--beds", str(given.beds), *link],
            stdout=subprocess.PIPE, stderr=open(pathlib.Path(folder, "twin.log"), "w"), text=True)
        try:
            print(twin.stdout.readline().strip().replace(folder, "DIR"), flush=True)
            with Loaded(given.program, folder, given.memory) as ward:
                ward.wait("samples of every bed", lambda: all(b["state"] for b in ward.json("GET", "/api/beds")))
                measure(given, ward, twin, folder)
        finally:
            twin.kill()
            twin.wait()


def measure(given, ward, twin, folder):
    lost = lambda: sum(bed["samples_lost"] for bed in ward.json("GET", "/api/beds"))
    pid = ward.process.pid
    begin = time.monotonic()
    before = (cpu_s(pid), cpu_s(twin.pid), size_mb(folder), lost())
    kinds = {"/": [], "/beds/…": [], "/api/beds": []}
    number = 0
    while time.monotonic() - begin < given.seconds:
        kind = list(kinds)[number % 3]
        path = kind.replace("…", f"L{number % given.beds + 1}")
        number += 1
        asked = time.monotonic()
        status, body = page(ward, path)
        kinds[kind].append((time.monotonic() - asked) * 1e3)
        assert status == 200 and len(body) > 100, (path, status)
        time.sleep(0.05)
    span = time.monotonic() - begin
    after = (cpu_s(pid), cpu_s(twin.pid), size_mb(folder), lost())
    took = spread(sum(kinds.values(), []))
    rows = [
        ("beds, samples a second", f"{given.beds}, {given.beds * given.rate:.0f}"),
        ("the ward's share of one core", f"{100 * (after[0] - before[0]) / span:.0f} %"),
        ("share of one core a bed", f"{100 * (after[0] - before[0]) / span / given.beds:.3f} %"),
        ("the beds' own program", f"{100 * (after[1] - before[1]) / span:.0f} % of one core"),
        ("memory of the ward", f"{memory_mb(pid):.0f} MB"),
        ("growth of the record's files", f"{(after[2] - before[2]) / span * 86400 / given.beds:.1f} MB a bed and day"),
        ("samples lost meanwhile", f"{after[3] - before[3]}"),
        ("pages: median, 99 %, longest", took),
        *((f"  {kind}", spread(of_kind)) for kind, of_kind in kinds.items()),
    ]
    for name, value in rows:
        print(f"  {name:<34} {value}")
    print("  the beds' program:", pathlib.Path(folder, "twin.log").read_text().strip().splitlines()[-1:])


def spread(took):
    took = sorted(took)
    return f"{took[len(took) // 2]:.1f}, {took[int(len(took) * 0.99)]:.1f}, {took[-1]:.1f} ms of {len(took)}"


def page(ward, path):
    request = urllib.request.Request(ward.url + path, headers={"authorization": "Bearer " + ward.token})
    with urllib.request.urlopen(request, timeout=60) as answer:
        return answer.status, answer.read()


if __name__ == "__main__":
    main()
