"""Tries the published description against running servers with schemathesis: on both databases, as everybody who may come.

Usage: run.py PROGRAMS DEMO. PROGRAMS is the folder with whorl-server; DEMO is a folder that `whorl-demo --only-seed` filled.
From the environment: WHORL_TEST_POSTGRES_URL; WHORL_SCHEMATHESIS_ROUNDS, to run it all so many times, from a seed that is drawn and
printed; WHORL_SCHEMATHESIS_SEED, to repeat one; WHORL_SCHEMATHESIS_REPORTS, an empty folder for what was sent and said.

Each visit has a record and a server of its own, so what one visitor ends or breaks is there for the next. During a visit each
person stays signed in with a token from before it, good for ten minutes: to sign in meanwhile, they would wait behind the wrong
passwords that are tried for them. What ends the session that asks therefore has visits of its own.
"""

import collections
import concurrent.futures
import contextlib
import dataclasses
import importlib.metadata
import json
import os
import pathlib
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import tomllib
import urllib.error
import urllib.request

ROOT = pathlib.Path(__file__).parents[2]
HERE = pathlib.Path(__file__).parent
DESCRIPTION = ROOT / "openapi/openapi.json"
ROUNDS = int(os.environ.get("WHORL_SCHEMATHESIS_ROUNDS", "0"))
SEED = int(os.environ.get("WHORL_SCHEMATHESIS_SEED", "0")) or (random.randrange(1, 2**31) if ROUNDS else 1)

# The demo's people by role; the last has a yard of his own, where none of the others may look.
PEOPLE = {"owner": "wren", "farrier": "idris", "vet": "maren", "barn staff": "tove", "stranger": "ansel"}

# Ends the session that asks.
ENDINGS = ["end_current_session", "end_session"]

# Answers the same to everybody, from what is asked alone.
SAME_FOR_ALL = ["compute_figure"]


@dataclasses.dataclass
class Visit:
    """Who comes, and what they try."""

    role: str
    name: str
    # Drawn requests for each operation, and drawn ways through several.
    examples: int = 5
    # What schemathesis tries systematically of each request: by far the most, and much the same whoever sends it.
    systematic: bool = ROUNDS > 0
    only: tuple = ()
    without: tuple = (*ENDINGS, *SAME_FOR_ALL)
    # How much of what is meant as right must meet success: a visit that only ever hears 401 or 404 finds nothing.
    success: float = 0.0

    def options(self):
        phases = ["examples", "fuzzing", *["coverage"] * self.systematic, *([] if self.only else ["stateful"])]
        yield from ("--phases", ",".join(phases), "--max-examples", str(self.examples))
        for operation in self.only:
            yield from ("--include-operation-id", operation)
        for operation in self.without:
            yield from ("--exclude-operation-id", operation)


NOBODY = "nobody"
VISITS = [
    Visit("owner", "owner", 10, systematic=True, success=0.4),
    *(Visit(role, role, success=0.4) for role in ["farrier", "vet", "barn staff"]),
    Visit(NOBODY, NOBODY, systematic=True),
    *(Visit("owner", operation, 50, only=(operation,), without=()) for operation in [*ENDINGS, *SAME_FOR_ALL]),
]


class Server:
    """A server with its own copy of the demo's record."""

    def __init__(self, programs, folder, database):
        self.log = folder / "server.log"
        self.program = programs / "whorl-server"
        with socket.socket() as one:
            one.bind(("127.0.0.1", 0))
            address = f"127.0.0.1:{one.getsockname()[1]}"
        self.url = f"http://{address}"
        self.settings = {
            **os.environ,
            "DATABASE_URL": database,
            "WHORL_KEYS": str(folder / "whorl.keys"),
            "WHORL_NAME": "saltmarsh.example",
            "WHORL_LISTEN": address,
            "WHORL_LOG": "warn",
            # Thousands of requests by each of a few people.
            "WHORL_REQUESTS_AT_ONCE": "1000000",
            # Webhooks can be made, and lead nowhere.
            "WHORL_WEBHOOK_ORIGINS": "https://hooks.example,https://127.0.0.1:9",
            "WHORL_SHUTDOWN_SECONDS": "1",
        }

    def __enter__(self):
        with self.log.open("wb") as log:
            self.process = subprocess.Popen([self.program], env=self.settings, stdout=log, stderr=log)
        for _ in range(300):
            if self.process.poll() is not None:
                break
            try:
                urllib.request.urlopen(f"{self.url}/health/ready", timeout=10).close()
                return self
            except (OSError, urllib.error.URLError):
                time.sleep(0.1)
        self.process.kill()
        raise SystemExit(f"the server doesn't start: {self.log.read_text()}")

    def __exit__(self, *_):
        self.process.terminate()
        self.process.wait(60)

    def sign_in(self, person):
        """A token that is good for ten minutes."""
        body = json.dumps({"email": person["email"], "password": person["password"]}).encode()
        request = urllib.request.Request(f"{self.url}/v1/sessions", body, {"Content-Type": "application/json"})
        with urllib.request.urlopen(request, timeout=30) as answer:
            return json.load(answer)["access_token"]

    def verify(self):
        """What the server's own audit says of the record afterwards."""
        return subprocess.run([self.program, "verify"], env=self.settings, capture_output=True, text=True)


def people():
    with (ROOT / "tests/demo/saltmarsh.toml").open("rb") as file:
        known = {person["key"]: person for person in tomllib.load(file)["person"]}
    return {role: known[key] for role, key in PEOPLE.items()}


def schemathesis(folder, server, visit, seed):
    """A visit; answers what it counted, and what it says if it found something."""
    config = ""
    if visit.role != NOBODY:
        entries = []
        for role, person in people().items():
            bearer = {"name": "Authorization", "value": f"Bearer {server.sign_in(person)}"}
            entries.append({"name": role, "fixedHeaders": [bearer]})
        (folder / "people.json").write_text(json.dumps({"auth": entries}))
        config = f'[auth.wfc]\npath = "people.json"\nuser = "{visit.role}"\npeers = {json.dumps(list(PEOPLE))}\n'
    (folder / "schemathesis.toml").write_text(config)
    report = folder / "report.ndjson"
    command = [
        *(sys.executable, "-m", "schemathesis.cli", "--no-color", "--config-file", "schemathesis.toml", "run", DESCRIPTION),
        *("--url", server.url, "--checks", "all", "--seed", str(seed), "--generation-database", "none", "--continue-on-failure"),
        *("--report", "ndjson", "--report-ndjson-path", report, *visit.options()),
    ]
    environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "SCHEMATHESIS_HOOKS": "hooks", "PYTHONPATH": str(HERE)}
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True)
    said = done.stdout + done.stderr
    (folder / "said.txt").write_text(said)
    return Tally(report, visit.role), said if done.returncode else ""


class Tally:
    """What a visit sent and was answered."""

    def __init__(self, report, role):
        self.statuses = collections.Counter()
        self.meant_right = collections.Counter()
        self.as_others = 0
        with report.open(encoding="utf-8") as lines:
            for line in lines:
                what, event = next(iter(json.loads(line).items()))
                if what == "ScenarioFinished":
                    self.add(event["recorder"], None if role == NOBODY else role)

    def add(self, recorder, role):
        for case, exchange in recorder.get("interactions", {}).items():
            if not exchange["response"]:
                continue
            status = exchange["response"]["status_code"]
            self.statuses[f"{status // 100}xx"] += 1
            case = recorder["cases"][case]["value"]
            # Some are sent with a wrong token, or as somebody else, to see them refused.
            self.as_others += case.get("auth_identity") not in (role, None)
            right = case.get("meta") and case["meta"]["generation"]["mode"] == "positive"
            if right and case.get("auth_identity") == role:
                self.meant_right[status] += 1

    def success(self):
        """How much of what was meant as right met success."""
        good = sum(count for status, count in self.meant_right.items() if status < 400)
        return good / max(1, self.meant_right.total())

    def __str__(self):
        statuses = ", ".join(f"{count} {status}" for status, count in sorted(self.statuses.items()))
        right = f"{self.success():.0%} of those meant as right met success"
        return f"{self.statuses.total()} requests ({statuses}), {right}, {self.as_others} repeated as others"


def pay(visit, programs, demo, database, round_):
    """One visit to one database; answers how many faults it found."""
    began = time.monotonic()
    folder = pathlib.Path(REPORTS, f"{round_}-{visit.name.replace(' ', '-')}-{database.name}")
    shutil.copytree(demo, folder, ignore=shutil.ignore_patterns("people"))
    with database.copy(folder) as url, Server(programs, folder, url) as server:
        tally, found = schemathesis(folder, server, visit, SEED + round_)
        faults = [found] if found else []
        if server.process.poll() is not None:
            faults.append(f"the server ended: {server.log.read_text()}")
        if tally.success() < visit.success or not tally.statuses:
            faults.append(f"too little of what was meant as right met success: {dict(tally.meant_right)}")
        if visit.success and not tally.as_others:
            faults.append("nothing was repeated as somebody else")
        verdict = server.verify()
        if verdict.returncode:
            faults.append(f"the record doesn't verify afterwards: {verdict.stdout}{verdict.stderr}")
    print(f"{database.name}, {visit.name}: {tally}, {time.monotonic() - began:.0f} s", *faults, sep="\n", flush=True)
    return len(faults)


class SQLite:
    """The demo's record as a file, which is copied with the folder."""

    name = "SQLite"

    @contextlib.contextmanager
    def copy(self, folder):
        yield f"sqlite://{folder}/whorl.db"


class PostgreSQL:
    """The demo's record moved to a PostgreSQL database, and copies of that."""

    name = "PostgreSQL"

    def __init__(self, programs, demo):
        self.server = os.environ["WHORL_TEST_POSTGRES_URL"]
        self.template = f"schemathesis_{os.getpid()}"
        self.run("createdb", self.template)
        move = [programs / "whorl-server", "move", "--from", f"sqlite://{demo}/whorl.db", "--to", self.url(self.template)]
        subprocess.run(move, check=True, capture_output=True)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.run("dropdb", self.template)

    def run(self, program, *arguments):
        subprocess.run([program, f"--maintenance-db={self.server}", *arguments], check=True)

    def url(self, name):
        return f"{self.server.rsplit('/', 1)[0]}/{name}"

    @contextlib.contextmanager
    def copy(self, folder):
        name = f"{self.template}_copy"
        self.run("createdb", f"--template={self.template}", name)
        try:
            yield self.url(name)
        finally:
            self.run("dropdb", "--force", name)


def main():
    programs, demo = (pathlib.Path(argument).resolve() for argument in sys.argv[1:])
    print(f"schemathesis {importlib.metadata.version('schemathesis')}, seed {SEED}", flush=True)

    def all_of(database):
        return sum(pay(visit, programs, demo, database, n) for n in range(ROUNDS or 1) for visit in VISITS)

    # Each database has a core to itself.
    with PostgreSQL(programs, demo) as postgres, concurrent.futures.ThreadPoolExecutor() as both:
        faults = sum(both.map(all_of, [SQLite(), postgres]))
    if faults:
        raise SystemExit(f"{faults} faults; seed {SEED}")


if __name__ == "__main__":
    REPORTS = os.environ.get("WHORL_SCHEMATHESIS_REPORTS")
    with contextlib.nullcontext(REPORTS) if REPORTS else tempfile.TemporaryDirectory() as REPORTS:
        main()
