"""Kills the engine with signal 9 at random moments under load and looks whether every 202 landed exactly once.

usage: kill_engine.py [--kills N] [--seed S]
The record server drops some connections after its commit and before it all the while. The seed decides when the kills
come; it is printed first. The status is 0 only when nothing is lost, nothing is double, nothing
overtook another of its patient, the journal verifies and replay makes every bundle again byte for byte.
"""
import argparse
import collections
import copy
import http.client
import json
import pathlib
import random
import sys
import tempfile
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

TEMPLATES = ("alder-breathing-am", "alder-moving", "birch-daily-living", "elm-daily-living", "maple-moving",
             "rowan-moving")
SENDERS = 3
GIVE_UP_AFTER = 60  # seconds after a load's end in which the engine may come to take what was being sent


class Load:
    """Threads that send sessions of their own, one after the other, until told to end. Each session is sent again,
    unchanged, until it was answered 202, or 200 when the engine died between the commit and the first answer: that is
    what a sender owes; the rest is the engine's duty."""

    def __init__(self, templates, pause=0):
        self.templates = templates
        self.pause = pause  # between a thread's sessions
        self.accepted = {}  # session value -> document
        self.statuses = collections.Counter()
        self.cut_off = 0  # sends that the engine did not live to answer
        self.strange = []
        self.engine = None
        self.lock = threading.Lock()
        self.ended = threading.Event()
        self.threads = [threading.Thread(target=self._run, args=(number,)) for number in range(SENDERS)]

    def start(self):
        for thread in self.threads:
            thread.start()

    def end(self):
        self.ended.set()
        for thread in self.threads:
            if thread.ident is not None:
                thread.join()

    def _run(self, number):
        made = 0
        while not self.ended.is_set():
            made += 1
            document = copy.deepcopy(self.templates[(number + made) % len(self.templates)])
            value = f"kill-{number}-{made}"
            document["identifier"]["value"] = value
            self.send_until_accepted(value, document)
            if self.pause:
                self.ended.wait(self.pause)

    def send_until_accepted(self, value, document):
        until, said = None, ""
        while until is None or time.monotonic() < until:
            if until is None and self.ended.is_set():
                until = time.monotonic() + GIVE_UP_AFTER
            try:
                answer = self.engine.send(document)
            except ConnectionRefusedError as refused:
                said = refused
                time.sleep(0.01)  # the engine is dead, or does not listen yet
                continue
            except (OSError, http.client.HTTPException) as broken:
                said = broken
                with self.lock:
                    self.cut_off += 1
                continue
            if answer.status in (200, 202):
                with self.lock:
                    self.statuses[answer.status] += 1
                    self.accepted[value] = document
                return
            if answer.status not in (429, 503):
                with self.lock:
                    self.strange.append(f"{value}: {answer.status} {answer.body[:300]!r}")
                return
            said = answer.status
            time.sleep(0.05)
        with self.lock:
            self.strange.append(f"{value}: not taken in {GIVE_UP_AFTER} s from the end: {said}")


def kill_again_and_again(engine, base, kills, chance):
    """How many of the kills came while something that was accepted had not ended."""
    busy = 0
    for _ in range(kills):
        time.sleep(chance.uniform(0.02, 0.5))
        busy += sum(engine.waiting().get(state, 0) for state in ("accepted", "checked", "dispatched")) > 0
        engine.kill()
        engine.start(base)
    return busy


def expected(documents):
    """(identifiers, type -> number of resources, problems) of what the pure function makes of the documents."""
    identifiers, numbers, problems = set(), collections.Counter(), []
    for document, answer in zip(documents, stage.pure(documents)):
        if "bundle" not in answer:
            problems.append(f"{document['identifier']['value']}: no bundle: {json.dumps(answer)[:300]}")
            continue
        identifiers |= stage.identifiers_of(answer["bundle"])
        numbers.update(entry["resource"]["resourceType"] for entry in answer["bundle"]["entry"])
    return identifiers, numbers, problems


def check(load, server):
    """(problems, figures): is every accepted session in the chart exactly once, and nothing else?"""
    wanted, numbers, problems = expected(list(load.accepted.values()))
    problems += load.strange
    found, there = collections.Counter(), {}
    for kind in sorted(numbers):
        resources = server.all(kind)
        there[kind] = len(resources)
        for resource in resources:
            for identifier in resource.get("identifier", []):
                found[kind, identifier.get("system"), identifier.get("value")] += 1
    lost = wanted - set(found)
    double = [key for key, number in found.items() if number > 1]
    strange = set(found) - wanted
    problems += [f"{len(some)} {what}, for example {sorted(some, key=str)[0]}"
                 for what, some in (("lost", lost), ("double", double), ("from nowhere", strange)) if some]
    # The Provenance has no identifier, so it is only counted.
    problems += [f"{there[kind]} {kind} resources where {number} are meant" for kind, number in numbers.items()
                 if there[kind] != number]
    return problems, (f"{sum(numbers.values())} resources wanted, {sum(there.values())} in the chart, "
                      f"{len(lost)} lost, {len(double)} double")


def verified(engine, tell=print):
    """Problems of the journal that the engine wrote; tells what was looked at."""
    problems = []
    for name, (right, said) in (("journal verify", engine.verify_journal()), ("replay --verify", engine.verify_replay())):
        tell(f"{name}: {said.strip()}")
        if not right:
            problems.append(f"{name} says that something is wrong: {said.strip()[-300:]}")
    overtakings = engine.overtakings()
    return problems + ([f"{overtakings} overtook another of their patient"] if overtakings else [])


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print(f"seed {options.seed}, {options.kills} kills", flush=True)
    chance = random.Random(options.seed)
    templates = [stage.sent(name) for name in TEMPLATES]
    load = Load(templates)
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="chartferry-kill-") as folder:
        folder = pathlib.Path(folder)
        with stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"]) as server, \
                stage.Engine(folder) as engine:
            server.start()
            server.faults({"action": "drop-after-commit", "method": "POST", "every": 13},
                          {"action": "drop-before-commit", "method": "POST", "every": 17},
                          {"action": "status", "status": 503, "retryAfter": 0, "method": "POST", "every": 19})
            engine.start(server.base)
            load.engine = engine
            load.start()
            try:
                busy = kill_again_and_again(engine, server.base, options.kills, chance)
            finally:
                load.end()
            fired = server.fired()
            server.faults()
            engine.wait_until_empty(120)
            problems, figures = check(load, server)
            problems += verified(engine)
    print(f"{options.kills} kills, {busy} of them with unfinished work, {load.cut_off} sends cut off, "
          f"{fired} faults of the record server")
    print(f"{len(load.accepted)} sessions accepted: {load.statuses[202]} answered 202, "
          f"{load.statuses[200]} answered 200 when sent again")
    print(f"{figures}, {len(problems)} problems, {time.monotonic() - began:.1f} s")
    for problem in problems:
        print(problem)
    return 1 if problems or not load.accepted else 0


if __name__ == "__main__":
    sys.exit(main())
