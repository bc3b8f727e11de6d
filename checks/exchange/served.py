"""A served invented ward with a past, for checks from outside: the built program, its accounts and a small client."""
import json
import pathlib
import re
import subprocess
import time
import urllib.error
import urllib.request

OWN = "alder linden oak"
# The patient of the bed that the twin lives in.
PATIENT = "A1-invented"
WARD = """[ward]
name = "Alder ward (invented)"
memory = "ward.db"
listen = "127.0.0.1:0"
time_zone = "Europe/Oslo"
[[bed]]
label = "A1"
deck = "deck.toml"
calibration = "calibration.json"
signs_as = "alder-1"
link = "twin"
scenario = "scenario.toml"
seed = 3
"""


def first_words(process, log):
    """The address at which a ward that starts says it listens, and the first administrator's password."""
    secret = None
    for line in process.stdout:
        if line.strip().startswith("password  "):
            secret = line.split("password  ")[1].strip()
        if found := re.search(r"http://[^/]+", line):
            return found[0], secret
    raise SystemExit("the ward did not start: " + log.read_text())


class Ward:
    """Serves an invented ward that has lived through some hours."""

    def __init__(self, program, deck, folder, past_hours):
        self.folder = pathlib.Path(folder)
        (self.folder / "deck.toml").write_text(pathlib.Path(deck).read_text())
        (self.folder / "scenario.toml").write_text('name = "invented days"\nhours = 72.0\nrate_hz = 10.0\nstart = "2031-03-04T18:00:00Z"\n')
        (self.folder / "ward.toml").write_text(WARD)
        run = lambda *arguments: subprocess.run([program, *arguments], cwd=folder, check=True, capture_output=True)
        run("twin", "deck.toml", "--scenario", "scenario.toml", "--output", "bench", "--seed", "3")
        run("calibrate", "deck.toml", "bench/run.csv", "--output", "calibration.json")
        self.process = subprocess.Popen(
            [program, "serve", "ward.toml", "--past-hours", str(past_hours)],
            cwd=folder, stdout=subprocess.PIPE, stderr=open(self.folder / "log", "w"), text=True)
        self.url, secret = first_words(self.process, self.folder / "log")
        self.token = None
        self.administrator = self.fresh("first", secret)
        self.token = self.administrator
        self.json("POST", "/api/accounts", {"account": "nurse", "role": "nurse", "password": "given by another"})
        self.nurse = self.fresh("nurse", "given by another")
        self.token = self.nurse

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()

    def fresh(self, account, password):
        """Signs in for the first time and gives the account a password of its own."""
        self.token = None
        self.token = self.json("POST", "/api/session", {"account": account, "password": password})["token"]
        self.json("POST", "/api/password", {"old": password, "new": OWN})
        self.token = None
        return self.json("POST", "/api/session", {"account": account, "password": OWN})["token"]

    def ask(self, method, path, body=None):
        request = urllib.request.Request(self.url + path, method=method)
        if self.token:
            request.add_header("authorization", "Bearer " + self.token)
        data = None if body is None else json.dumps(body).encode()
        if data is not None:
            request.add_header("content-type", "application/json")
        with urllib.request.urlopen(request, data, timeout=60) as answer:
            return answer.headers.get_content_type(), answer.read()

    def json(self, method, path, body=None):
        try:
            return json.loads(self.ask(method, path, body)[1])
        except urllib.error.HTTPError as error:
            raise SystemExit(f"{method} {path}: {error.code} {error.read().decode()}")

    def wait(self, what, is_so, most_s=240):
        """Waits until `is_so()` gives something."""
        until = time.monotonic() + most_s
        while time.monotonic() < until:
            if found := is_so():
                return found
            time.sleep(1)
        raise SystemExit(f"no {what} in {most_s} s; the log: " + (self.folder / "log").read_text()[-2000:])
