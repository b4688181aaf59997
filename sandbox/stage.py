"""Starts the record server and the engine as real processes on loopback and speaks HTTP to them.

Shared by the demonstration, the end-to-end and fault tests and the start-up measurement. Python's own library only.
"""
import http.client
import json
import os
import pathlib
import re
import signal
import subprocess
import time
import urllib.parse

TOP = pathlib.Path(__file__).resolve().parent.parent
BUILD = pathlib.Path(os.environ.get("CHARTFERRY_BUILD", TOP / "build"))
ENGINE = BUILD / "chartferry"
RECORD_SERVER = BUILD / "sandbox" / "record_server" / "record_server"
WARD = TOP / "sandbox" / "ward"


def sent(name):
    """A document of the invented day by its name: the numbers before the names follow the day's order."""
    (file,) = (WARD / "sends").glob(f"[0-9][0-9]-{name}.json")
    return json.loads(file.read_text(encoding="utf-8"))


class Failure(Exception):
    """What was expected did not come true; the text says what and where to look."""


class Answer:
    def __init__(self, status, headers, body):
        self.status = status
        self.headers = headers
        self.body = body

    def json(self):
        return json.loads(self.body)


def request(port, method, path, body=None, headers=None, timeout=30):
    """One request on a connection of its own. Raises OSError or http.client.HTTPException when it is cut off."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=timeout)
    try:
        if isinstance(body, (dict, list)):
            body = json.dumps(body)
        connection.request(method, path, body.encode() if isinstance(body, str) else body, headers or {})
        response = connection.getresponse()
        return Answer(response.status, dict((k.lower(), v) for k, v in response.getheaders()), response.read())
    finally:
        connection.close()


def wait_for(what, condition, seconds=30, pause=0.02):
    """The first true value of the condition. Raises Failure when it does not come in time."""
    until = time.monotonic() + seconds
    while True:
        value = condition()
        if value:
            return value
        if time.monotonic() > until:
            raise Failure(f"{what}: not so after {seconds} seconds")
        time.sleep(pause)


class Program:
    """A child process with a log file; whatever happens, leaving the `with` block ends it."""

    def __init__(self, name, folder):
        self.name = name
        self.folder = pathlib.Path(folder)
        self.log = self.folder / f"{name}.log"
        self.port_file = self.folder / f"{name}.port"
        self.process = None
        self.port = None
        self.environment = {}  # on top of ours

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stop()

    def launch(self, command):
        self.port_file.unlink(missing_ok=True)
        with open(self.log, "ab") as log:
            self.process = subprocess.Popen([str(part) for part in command], stdin=subprocess.DEVNULL, stdout=log,
                                            stderr=log, env={**os.environ, **self.environment})
        self.port = wait_for(f"{self.name} starts (see {self.log})", self._port_or_death, seconds=120, pause=0.002)

    def _port_or_death(self):
        if self.process.poll() is not None:
            raise Failure(f"{self.name} ended with status {self.process.returncode}:\n"
                          + self.log.read_text(errors="replace")[-4000:])
        try:
            text = self.port_file.read_text()
        except FileNotFoundError:
            return None
        return int(text) if text.endswith("\n") else None

    def kill(self):
        """kill -9, as a power cut does it to a program."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self.process = None
        self.port = None  # another program may get it now

    def stop(self, seconds=20):
        """Asks to end; the exit status. Kills when that takes too long, and says so by raising."""
        if self.process is None:
            return None
        process, self.process = self.process, None
        process.terminate()
        try:
            return process.wait(seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            raise Failure(f"{self.name} did not end within {seconds} seconds of being asked") from None

    def request(self, method, path, body=None, headers=None, timeout=30):
        if self.port is None:
            raise ConnectionRefusedError(f"{self.name} does not run")
        return request(self.port, method, path, body, headers, timeout)

    def resident_kib(self):
        for line in pathlib.Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1])
        raise Failure("no VmRSS")


class RecordServer(Program):
    def __init__(self, folder, load=(), keep=True, body_max=None):
        super().__init__("record_server", folder)
        self.load = list(load)
        self.keep = keep
        self.body_max = body_max

    def start(self, port=0):
        command = [RECORD_SERVER, "--port", port, "--port-file", self.port_file]
        if self.keep:
            command += ["--file", self.folder / "record_server.kept"]
        for path in self.load:
            command += ["--load", path]
        if self.body_max:
            command += ["--body-max", self.body_max]
        self.launch(command)
        return self

    @property
    def base(self):
        return f"http://127.0.0.1:{self.port}/fhir"

    def faults(self, *rules):
        answer = self.request("POST", "/$faults", {"faults": list(rules)})
        if answer.status != 200:
            raise Failure(f"the record server refuses the faults: {answer.body!r}")

    def fired(self):
        return sum(rule["fired"] for rule in self.request("GET", "/$faults").json()["faults"])

    def counters(self):
        return self.request("GET", "/$counters").json()

    def count(self, kind, **parameters):
        query = urllib.parse.urlencode(dict(parameters, _summary="count"))
        answer = self.request("GET", f"/fhir/{kind}?{query}")
        if answer.status != 200:
            raise Failure(f"search of {kind}: {answer.status} {answer.body!r}")
        return answer.json()["total"]

    def all(self, kind):
        """Every resource of a type, page by page, by the links of the server."""
        found = []
        path = f"/fhir/{kind}?_count=500"
        while path:
            page = self.request("GET", path).json()
            found += [entry["resource"] for entry in page.get("entry", [])]
            following = [link["url"] for link in page["link"] if link["relation"] == "next"]
            path = following[0].removeprefix(f"http://127.0.0.1:{self.port}") if following else None
        return found


class Engine(Program):
    """The engine with one target. Its journal lies in the folder, or is that of a database, which engines with names
    of their own share."""

    def __init__(self, folder, name="engine", database=None):
        super().__init__(name, folder)
        self.journal = database or self.folder / f"{name}.journal"
        self.files = ["--files", self.folder / f"{name}.journal"] if database else []
        self.shared = ["--name", name, "--key", self.folder / "shared.key"] if database else []
        self.sealing = []  # --journal-key FILE, where bodies are sealed

    def seal_bodies(self):
        """From the next start on, under a master key of its own. Returns its file."""
        path = self.folder / f"{self.name}.master"
        path.touch(mode=0o600)
        path.write_text(os.urandom(32).hex() + "\n", encoding="utf-8")
        self.sealing = ["--journal-key", path]
        return path

    def start(self, target, *more):
        self.launch([ENGINE, "serve", "--listen", "127.0.0.1:0", "--journal", self.journal, *self.files, *self.shared,
                     *self.sealing, *(["--target", target] if target else []), "--port-file", self.port_file, *more])
        return self

    def ready(self):
        try:
            return self.request("GET", "/health/ready").status == 200
        except OSError:
            return False

    def send(self, document):
        return self.request("POST", "/sessions", document, {"Content-Type": "application/json"})

    @staticmethod
    def session_id(answer):
        return answer.json()["session"]

    def session(self, identifier):
        answer = self.request("GET", f"/sessions/{identifier}")
        if answer.status != 200:
            raise Failure(f"GET /sessions/{identifier}: {answer.status} {answer.body!r}")
        return answer.json()

    def settled(self, identifier, states):
        """(state, reason or None) when the session's latest revision is in one of the states, else None."""
        view = self.session(identifier)
        return (view["state"], view.get("reason")) if view["state"] in states else None

    def landed_revision(self, identifier):
        """The highest revision that has landed everywhere; 0 for none."""
        return max((one["revision"] for one in self.session(identifier)["revisions"]
                    if one["targets"] and all(leg["state"] == "landed" for leg in one["targets"])), default=0)

    def release(self, identifier, why):
        return self.request("POST", f"/sessions/{identifier}/release", {"why": why, "actor": "Robin Sample"},
                            {"Content-Type": "application/json"})

    def waiting(self):
        """state -> number of revisions that have not ended, as the metrics say. Raises Failure when it does not say:
        no number is not none."""
        answer = self.request("GET", "/metrics")
        if answer.status != 200:
            raise Failure(f"GET /metrics: {answer.status} {answer.body[:300]!r}")
        text = answer.body.decode()
        found = {}
        for state, number in re.findall(r'^chartferry_waiting\{.*state="([a-z]+)"\} (\d+)$', text, re.M):
            found[state] = found.get(state, 0) + int(number)
        return found

    def wait_until_empty(self, seconds, pause=0.1):
        """Until nothing is accepted, checked or dispatched any more."""
        wait_for("all that was accepted has ended", lambda: self.nothing_is(("accepted", "checked", "dispatched")),
                 seconds, pause)

    def nothing_is(self, states):
        """For polling: False also while the engine cannot say."""
        try:
            waiting = self.waiting()
        except Failure:
            return False
        return not any(waiting.get(state, 0) for state in states)

    def wait_until_landed(self, seconds=30, pause=0.02):
        """Until nothing waits, held ones included."""
        wait_for("all that was accepted has landed",
                 lambda: self.nothing_is(("accepted", "checked", "dispatched", "held")), seconds, pause)

    def verify_journal(self):
        """Looks whether the journal is whole; (true when it is, what was said)."""
        done = subprocess.run([str(ENGINE), "journal", "--journal", str(self.journal),
                               *map(str, [*self.files, *self.sealing]), "verify"],
                              capture_output=True, text=True, check=False, cwd=TOP)
        return done.returncode == 0, (done.stdout + done.stderr)[-2000:]

    def records(self, kind=None):
        """Those of one kind or all, in their order; patients by the journal's pseudonyms."""
        done = subprocess.run([str(ENGINE), "journal", "--journal", str(self.journal), *map(str, self.files), "list",
                               *(["--kind", kind] if kind else []), "--limit", "1000000", "--json"],
                              capture_output=True, text=True, check=True, cwd=TOP)
        return [json.loads(line) for line in done.stdout.splitlines()]

    def overtakings(self):
        """How often something landed that was accepted before what had landed last of its patient."""
        accepted = {(one["session"], one["revision"]): one for one in self.records("accepted")}
        found, last = 0, {}
        for one in self.records("landed"):
            first = accepted[one["session"], one["revision"]]
            found += last.get(first["patient"], 0) > first["position"]
            last[first["patient"]] = first["position"]
        if not last:
            raise Failure("nothing has landed")
        return found

    def verify_replay(self):
        """Makes every bundle in the journal again; (true when all are the same byte for byte, what was said)."""
        done = subprocess.run([str(ENGINE), "replay", "--verify", "--json", "--journal", str(self.journal),
                               *map(str, [*self.files, *self.sealing])],
                              capture_output=True, text=True, check=False, cwd=TOP)
        said = (done.stdout + done.stderr)[-2000:]
        return done.returncode == 0 and json.loads(done.stdout)["translations"] > 0, said


def pure(documents, *options):
    """What the pure function makes of session documents: one answer of `session --batch` each."""
    lines = "".join(json.dumps({"id": str(i), "session": d}) + "\n" for i, d in enumerate(documents))
    done = subprocess.run([str(ENGINE), "session", "--batch", *options], input=lines, capture_output=True, text=True, cwd=TOP,
                          check=False)
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    if done.returncode != 0 or len(answers) != len(documents):
        raise Failure(f"session --batch ended with {done.returncode}: {done.stderr[-2000:]}")
    return answers


def identifiers_of(bundle):
    """(type, system, value) of every resource of a Bundle that has a business identifier."""
    found = set()
    for entry in bundle.get("entry", []):
        resource = entry["resource"]
        for identifier in resource.get("identifier", []):
            found.add((resource["resourceType"], identifier.get("system"), identifier.get("value")))
    return found
