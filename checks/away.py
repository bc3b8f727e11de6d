"""Takes memory or broker away from a ward for a stated time and counts what is on record afterwards.

    away.py PROGRAM DECK.toml --what postgresql|file|broker [--seconds 3600] [--beds 4] [--rate 10]

postgresql: a PostgreSQL server of its own is stopped, and started again after the time. file: another program holds the SQLite
file's lock as long. broker: beds publish to a broker of its own (mosquitto, which keeps its sessions on disk); that is stopped and
started again. Beds of the first two are on TCP wires, which wait for nobody.

Afterwards every bed must have a row of weights for every second, in order, from before the outage to after it, a block of raw counts
for each, no sample lost, and the audit trail whole. Prints one table; exit status 1 where something is missing.
"""
import argparse
import datetime
import os
import pathlib
import shutil
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
import urllib.error

sys.path.insert(0, str(pathlib.Path(__file__).parent))
sys.path.insert(0, str(pathlib.Path(__file__).parent / "exchange"))
from scale import Loaded, cpu_s, memory_mb  # noqa: E402

# A row is made every second of the bed's own time; the link's delay moves it by some milliseconds.
GAP_MOST_S = 2.0


class PostgreSql:
    """A server in a folder of its own, reached by a socket there."""

    def __init__(self, folder):
        self.programs = sorted(pathlib.Path("/usr/lib/postgresql").glob("*/bin"))[-1]
        self.folder = pathlib.Path(folder, "postgresql")
        self.folder.mkdir()
        pathlib.Path(folder).chmod(0o755)
        # The server refuses to run as root; Debian's package makes an account for it.
        self.by = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
        if self.by:
            shutil.chown(self.folder, "postgres")
        self.run("initdb", "-U", "bedplate", "-A", "trust", "--no-sync")
        self.back()
        self.memory = f"postgres://bedplate@{str(self.folder).replace('/', '%2F')}:5432/postgres"

    def run(self, program, *options):
        subprocess.run([*self.by, self.programs / program, "-D", self.folder / "data", *options], cwd=self.folder, check=True,
                       stdout=subprocess.DEVNULL)

    def gone(self):
        self.run("pg_ctl", "-m", "fast", "-w", "stop")

    def back(self):
        self.run("pg_ctl", "-w", "-l", self.folder / "log", "-o", f"-c listen_addresses= -c unix_socket_directories={self.folder}", "start")

    def blocks(self, bed, begin, end):
        question = f"select count(*) from counts where bed = '{bed}' and at_us >= {begin} and at_us < {end}"
        told = subprocess.run([*self.by, self.programs / "psql", "-h", self.folder, "-U", "bedplate", "-d", "postgres", "-Atc", question],
                              cwd=self.folder, check=True, capture_output=True, text=True)
        return int(told.stdout)

    def end(self):
        self.run("pg_ctl", "-m", "immediate", "stop")


class File:
    """The ward's own file, whose lock another program takes."""

    memory = "ward.db"

    def __init__(self, folder):
        self.path = pathlib.Path(folder, "ward.db")

    def gone(self):
        self.other = sqlite3.connect(self.path, isolation_level=None, timeout=30)
        self.other.execute("begin immediate")

    def back(self):
        self.other.execute("rollback")
        self.other.close()

    def blocks(self, bed, begin, end):
        with sqlite3.connect(self.path) as database:
            return database.execute("select count(*) from counts where bed = ? and at_us >= ? and at_us < ?", (bed, begin, end)).fetchone()[0]

    def end(self):
        pass


class Broker(File):
    """A broker in a folder of its own. The ward's file stays where it is."""

    def __init__(self, folder):
        super().__init__(folder)
        self.conf = pathlib.Path(folder, "broker.conf")
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        store = pathlib.Path(folder, "broker")
        store.mkdir()
        # Sessions outlive the broker, and nothing that a deck gave is dropped because others wait.
        self.conf.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location {store}/\n"
                             f"max_queued_messages 0\nuser {os.environ.get('USER', 'root')}\n")
        self.back()

    def gone(self):
        self.process.terminate()
        self.process.wait()

    def back(self):
        program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        self.process = subprocess.Popen([program, "-c", self.conf], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def end(self):
        self.gone()


WHAT = {"postgresql": PostgreSql, "file": File, "broker": Broker}


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("deck")
    parser.add_argument("--what", choices=WHAT, required=True)
    parser.add_argument("--seconds", type=int, default=3600)
    parser.add_argument("--beds", type=int, default=4)
    parser.add_argument("--rate", type=float, default=10.0)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        place = WHAT[given.what](folder)
        scenario = pathlib.Path(folder, "scenario.toml")
        scenario.write_text(f'name = "invented"\nhours = 24.0\nrate_hz = {given.rate}\nstart = "2031-03-04T18:00:00Z"\n')
        link = ["--broker", f"127.0.0.1:{place.port}"] if given.what == "broker" else ["--port", "0"]
        twin = subprocess.Popen(
            [given.program, "twin", "ward", given.deck, "--scenario", scenario, "--output", folder, "--beds", str(given.beds), *link],
            stdout=subprocess.PIPE, stderr=open(pathlib.Path(folder, "twin.log"), "w"), text=True)
        try:
            twin.stdout.readline()
            with Loaded(given.program, folder, place.memory) as ward:
                ward.wait("samples of every bed", lambda: all(b["state"] for b in ward.json("GET", "/api/beds")))
                good = measure(given, ward, place, folder)
        finally:
            twin.kill()
            twin.wait()
            place.end()
    sys.exit(0 if good else 1)


def measure(given, ward, place, folder):
    time.sleep(30)
    pid = ward.process.pid
    begin, began, cpu = now(), time.monotonic(), cpu_s(pid)
    place.gone()
    told, waits, aside_mb, heard = 0, 0, 0.0, {}
    while time.monotonic() - began < given.seconds:
        time.sleep(min(10, given.seconds))
        aside_mb = max(aside_mb, sum(p.stat().st_size for p in pathlib.Path(folder).glob("*.aside.*")) / 1e6)
        try:
            beds = ward.json("GET", "/api/beds")
        except (SystemExit, urllib.error.URLError):
            continue
        told += 1
        waits += all(bed["trouble"] for bed in beds)
        heard = {bed["bed"]: bed["at"] for bed in beds}
    late_s = max((now() - stamp(at) for at in heard.values()), default=None)
    peak_mb = memory_mb(pid)
    place.back()
    back = time.monotonic()
    while True:
        try:
            newest = [max(map(stamp, (row["at"] for row in rows(ward, n, now() - 60, now()))), default=0) for n in beds_of(given)]
            if min(newest) > now() - 5 and not any(bed["trouble"] for bed in ward.json("GET", "/api/beds")):
                break
        except (SystemExit, urllib.error.URLError):
            pass
        if time.monotonic() - back > 60 + given.seconds:
            print("not caught up", (pathlib.Path(folder) / "log").read_text()[-2000:])
            return False
        time.sleep(0.5)
    caught_s = time.monotonic() - back
    time.sleep(5)
    end = now() - 5
    widest, fewest, blocks = 0.0, 1e9, 1e9
    for n in beds_of(given):
        at = [stamp(row["at"]) for row in rows(ward, n, begin - 20, end)]
        widest = max([widest, *(b - a for a, b in zip(at, at[1:]))])
        fewest = min(fewest, len(at) / (end - begin + 20))
        assert at == sorted(set(at)), f"bed L{n}: times out of order"
        blocks = min(blocks, place.blocks(f"L{n}", int((begin - 20) * 1e6), int(end * 1e6)) / len(at))
    lost = sum(bed["samples_lost"] for bed in ward.json("GET", "/api/beds"))
    audit = subprocess.run([given.program, "ward", "verify-audit", "ward.toml"], cwd=folder, capture_output=True, text=True)
    left = list(pathlib.Path(folder).glob("*.aside.*"))
    good = widest < GAP_MOST_S and blocks > 0.99 and lost == 0 and audit.returncode == 0 and not left
    table = [
        ("away", f"{given.what}, {given.seconds} s"),
        ("beds, samples a second each", f"{given.beds}, {given.rate:g}"),
        ("live weights asked for meanwhile", f"{told} times answered, {waits} of them with a notice on every bed"),
        ("  the oldest of the last answer", "none" if late_s is None else f"{late_s:.1f} s old"),
        ("set aside at most", f"{aside_mb:.2f} MB"),
        ("memory of the ward", f"{peak_mb:.0f} MB"),
        ("its processor time", f"{cpu_s(pid) - cpu:.1f} s"),
        ("caught up after", f"{caught_s:.1f} s"),
        ("rows of weights a second, fewest", f"{fewest:.4f}"),
        ("widest gap between two rows", f"{widest:.3f} s"),
        ("blocks of counts a row, fewest", f"{blocks:.4f}"),
        ("samples lost", f"{lost}"),
        ("audit trail", "whole" if audit.returncode == 0 else audit.stdout + audit.stderr),
        ("files left", f"{len(left)}"),
        ("nothing lost", "yes" if good else "NO"),
    ]
    for name, value in table:
        print(f"  {name:<34} {value}")
    return good


def beds_of(given):
    return range(1, given.beds + 1)


def rows(ward, bed, begin, end):
    iso = lambda at: datetime.datetime.fromtimestamp(at, datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
    return ward.json("GET", f"/api/beds/L{bed}/readings?from={iso(begin)}&to={iso(end)}")["seconds"]


def now():
    return time.time()


def stamp(text):
    return datetime.datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp()


if __name__ == "__main__":
    main()
