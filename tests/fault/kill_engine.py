"""Kills the engine with signal 9 at random moments under load and looks whether every 202 landed exactly once.

usage: kill_engine.py [--kills N] [--seed S]
The record server drops some connections after its commit and before it all the while. The seed decides when the kills
come; it is printed first. The status is 0 only when nothing is lost, nothing is double and replay verifies.
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

TEMPLATES = ("01-alder-breathing-am", "10-alder-moving", "15-birch-daily-living", "19-elm-daily-living",
             "20-maple-moving", "22-rowan-moving")
SENDERS = 3


class Load:
    """Threads that send sessions of their own, one after the other, until told to end. Each session is sent again,
    unchanged, until it was answered 202: that is what a sender owes; the rest is the engine's duty."""

    def __init__(self, templates):
        self.templates = templates
        self.accepted = {}  # session value -> document
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
            thread.join()

    def _run(self, number):
        made = 0
        while not self.ended.is_set():
            made += 1
            document = copy.deepcopy(self.templates[(number + made) % len(self.templates)])
            value = f"kill-{number}-{made}"
            document["identifier"]["value"] = value
            self._send_until_accepted(value, document)

    def _send_until_accepted(self, value, document):
        while True:
            try:
                answer = self.engine.send(document)
            except (OSError, http.client.HTTPException):
                time.sleep(0.01)  # the engine is dead, or died while it was answering
                continue
            if answer.status == 202:
                with self.lock:
                    self.accepted[value] = document
                return
            if answer.status not in (429, 503):
                with self.lock:
                    self.strange.append(f"{value}: {answer.status} {answer.body[:300]!r}")
                return
            time.sleep(0.05)


def kill_again_and_again(engine, base, kills, chance):
    for _ in range(kills):
        time.sleep(chance.uniform(0.02, 0.5))
        engine.kill()
        engine.start(base)


def check(load, server):
    problems = list(load.strange)
    documents = list(load.accepted.values())
    wanted = set()
    for document, answer in zip(documents, stage.pure(documents)):
        if "bundle" not in answer:
            problems.append(f"{document['identifier']['value']}: no bundle: {json.dumps(answer)[:300]}")
        wanted |= stage.identifiers_of(answer.get("bundle", {}))
    found = collections.Counter()
    for kind in sorted({kind for kind, _, _ in wanted}):
        for resource in server.all(kind):
            for identifier in resource.get("identifier", []):
                found[kind, identifier.get("system"), identifier.get("value")] += 1
    lost = wanted - set(found)
    double = [key for key, number in found.items() if number > 1]
    strange = set(found) - wanted
    problems += [f"{len(some)} {what}, for example {sorted(some, key=str)[0]}"
                 for what, some in (("lost", lost), ("double", double), ("from nowhere", strange)) if some]
    return problems, len(wanted)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print(f"seed {options.seed}, {options.kills} kills", flush=True)
    chance = random.Random(options.seed)
    templates = [json.loads((stage.WARD / "sends" / f"{name}.json").read_text()) for name in TEMPLATES]
    load = Load(templates)
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
                kill_again_and_again(engine, server.base, options.kills, chance)
            finally:
                load.end()
            fired = server.fired()
            server.faults()
            engine.wait_until_empty(120)
            problems, resources = check(load, server)
            verified, said = engine.verify_replay()
            if not verified:
                problems.append(f"replay --verify: {said}")
    print(f"{len(load.accepted)} sessions accepted, {resources} resources wanted, {fired} faults of the record server, "
          f"{len(problems)} problems")
    for problem in problems:
        print(problem)
    return 1 if problems or not load.accepted else 0


if __name__ == "__main__":
    sys.exit(main())
