"""Corrects, gives up, releases and moves sessions at random, while record servers fail, change their size and their maps,
and come and go; at the end each session is taken back, moved or said once more. Nothing may be live that was taken back
or moved, and what was said last is live as a whole.

usage: taken_back.py [--runs N] [--seed S]
       postgres_cluster.py python3 taken_back.py --runs 1 --database [--seed S]
The seed of a run decides what is done; how it falls together with what the engine does is left to the machine. The
status is 0 only when on each server every resource is entered in error, but for those of sessions that were moved to
the one patient who had none before and what was said last of the sessions that stay, when all of these are there once,
and when the journal verifies and replay makes every bundle again byte for byte.
"""
import argparse
import contextlib
import copy
import os
import pathlib
import random
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

JSON = {"Content-Type": "application/json"}
TEMPLATES = ("alder-moving", "birch-moving", "hazel-stairs.r1", "alder-breathing-am", "alder-daily-living")
MOVED_TO = "P-0109"  # nobody's in the templates
PATIENTS = "https://hill.example/ids/patient"
FAULTS = ("drop-after-commit", "drop-before-commit", "html", "html-after-commit", "status")
BODY_MAX = (None, None, 20_000, 6_000)  # of the second server; a session has some 50,000 bytes
LONG = "As was seen before. " * 400  # a resource with that alone is too large for the smallest
STEPS = 30
END_WAIT = 90  # seconds until everything has ended
KINDS = ("Observation", "Procedure")


class Run:
    """An engine with two record servers of which the second has a size, an overlay at times, and is away at times."""

    def __init__(self, seed, folder, stack, database=None):
        self.chance = random.Random(seed)
        people = [stage.WARD / "people.bundle.json"]
        self.servers = {}
        for name, size in (("main", None), ("second", self.chance.choice(BODY_MAX))):
            (folder / name).mkdir()
            self.servers[name] = stack.enter_context(stage.RecordServer(folder / name, load=people, body_max=size))
            self.servers[name].start()
        self.folder = folder
        self.engine = stack.enter_context(stage.Engine(folder, database=database))
        self.overlay = False
        self.away = False
        self.documents = {}  # by session id, the last that was taken in
        self.whole = {}  # by session id, the first one
        self.moved = set()  # ids of the new sessions
        self.taking = {}  # by session id, revisions that took all back while it goes on with its first entry alone
        self.kept = set()  # ids of those that stay
        self.made = 0
        self.start()

    def start(self):
        config = self.folder / "engine.toml"
        text = f'[[target]]\nname = "main"\nurl = "{self.servers["main"].base}"\n'
        if not self.away:
            text += f'[[target]]\nname = "second"\nurl = "{self.servers["second"].base}"\n'
            text += 'overlay = "us-core"\n' if self.overlay else ""
        config.write_text(text, encoding="utf-8")
        self.engine.start(None, "--config", config)
        stage.wait_for("the engine is ready", self.engine.ready)

    def send(self, document):
        answer = self.engine.send(document)
        if answer.status != 202:
            raise stage.Failure(f"{document['identifier']['value']}/{document['revision']}: {answer.status} {answer.body!r}")
        session = self.engine.session_id(answer)
        self.documents[session] = document
        self.whole.setdefault(session, document)

    def begin(self):
        document = copy.deepcopy(stage.sent(self.chance.choice(TEMPLATES)))
        self.made += 1
        document["identifier"]["value"] = f"session-{self.made}"
        document["revision"] = 1
        if self.chance.random() < 0.3:
            document["entry"][0]["comment"] = LONG
        self.send(document)

    def correct(self):
        if not self.documents:
            return
        document = copy.deepcopy(self.documents[self.chance.choice(sorted(self.documents))])
        document["revision"] += 1
        document["change"] = {"reason": "Misread"}
        for entry in document["entry"]:
            vitals = entry.get("vitals", {})
            for name in ("pulse", "saturation"):
                if name in vitals and self.chance.random() < 0.4:
                    vitals[name]["value"] = max(85, min(99, vitals[name]["value"] + self.chance.choice((-1, 1))))
            if "respiration" in vitals and self.chance.random() < 0.3:
                del vitals["respiration"]
        if self.chance.random() < 0.15:
            document["status"] = "entered-in-error"
        self.send(document)
        if document["status"] == "entered-in-error":
            session = next(s for s, known in self.documents.items() if known is document)
            self.taking.setdefault(session, []).append(document["revision"])
            self.documents[session] = dict(document, status=self.whole[session]["status"], entry=document["entry"][:1])

    def fail(self):
        server = self.servers[self.chance.choice(("main", "second"))]
        if self.chance.random() < 0.35:
            # Taken, but for all that the engine hears; and refused when it is sent again.
            which = {} if self.chance.random() < 0.3 else {"transactions": True}
            first = dict(which, action=self.chance.choice(("status-after-commit", "drop-after-commit", "html-after-commit")),
                         status=500, times=self.chance.choice((1, 2)), method="POST")
            again = dict(which, action="status", status=422, times=self.chance.choice((1, 3)), method="POST")
            server.faults(first, again)
            return
        rule = {"action": self.chance.choice(FAULTS), "times": self.chance.choice((1, 2)), "method": "POST"}
        if rule["action"] == "status":
            rule["status"] = self.chance.choice((400, 422, 503))
        server.faults(rule)

    def restart(self):
        self.engine.kill() if self.chance.random() < 0.5 else self.engine.stop()
        self.overlay = self.overlay != (self.chance.random() < 0.6)
        self.away = self.chance.random() < 0.2
        self.start()

    def legs(self):
        """(session, revision, target, state) of all."""
        return [(session, revision["revision"], leg["target"], leg["state"])
                for session in sorted(self.documents.keys() | self.moved)
                for revision in self.engine.session(session)["revisions"] for leg in revision["targets"]]

    def steer(self, *actions):
        held = [leg for leg in self.legs() if leg[3] == "held"]
        if held:
            session, revision, target, _ = self.chance.choice(held)
            wish = {"why": "as drawn", "actor": "Robin Sample", "target": target, "revision": revision}
            self.engine.request("POST", f"/sessions/{session}/{self.chance.choice(actions)}", wish, JSON)

    def end(self):
        """Takes each session back, moves it, or says it once more; then decides what is held until nothing is open."""
        for server in self.servers.values():
            server.faults()
        if self.servers["second"].body_max:  # what is too large alone could not even be taken back
            port = self.servers["second"].port
            self.servers["second"].stop()
            self.servers["second"].body_max = None
            self.servers["second"].start(port)
        if self.away:
            self.away = False
            self.engine.stop()
            self.start()
        for session, document in sorted(self.documents.items()):
            drawn = self.chance.random()
            if drawn < 0.35:
                self.kept.add(session)
                self.send(dict(copy.deepcopy(document), revision=document["revision"] + 1, change={"reason": "As it was"}))
            elif drawn < 0.6 and document["revision"] not in self.taking.get(session, ()):
                wish = {"to": {"system": PATIENTS, "value": MOVED_TO}, "actor": "Robin Sample", "why": "Wrong bed"}
                answer = self.engine.request("POST", f"/sessions/{session}/move", wish, JSON)
                if answer.status != 202:
                    raise stage.Failure(f"move: {answer.status} {answer.body!r}")
                self.moved.add(answer.json()["entered"]["session"])
            else:
                self.send(dict(copy.deepcopy(document), revision=document["revision"] + 1, status="entered-in-error",
                               change={"reason": "All of it"}))
        end = time.monotonic() + END_WAIT
        while open_legs := [leg for leg in self.legs() if leg[3] not in ("landed", "withdrawn", "superseded")]:
            if time.monotonic() > end:
                return [f"still open: {open_legs}"]
            self.decide()
            time.sleep(0.2)
        return []

    def decide(self):
        """What is in the way is given up; the last revision of a session is never."""
        legs = self.legs()
        last = {}
        for session, revision, _, _ in legs:
            last[session] = max(revision, last.get(session, 0))
        for session, revision, target, state in legs:
            if state == "held":
                final = revision == last[session]
                wish = {"why": "at the end", "actor": "Robin Sample", "target": target, "revision": revision}
                self.engine.request("POST", f"/sessions/{session}/{'release' if final else 'withdraw'}", wish, JSON)

    def stays(self, server):
        """Identifiers of what has to be live at a server of the sessions that stay, and of all that may be."""
        legs = list(self.legs())
        own = {(session, revision): state for session, revision, target, state in legs if target == server}
        # What never came here was given up when it was anywhere.
        given_up = {(session, revision) for session, revision, _, state in legs
                    if own.get((session, revision), state) == "withdrawn"}
        kept = [self.documents[session] for session in sorted(self.kept)]
        # A taking back that was given up took nothing back.
        more = [dict(self.whole[session], revision=1) for session in sorted(self.kept)
                if any((session, revision) in given_up for revision in self.taking.get(session, ()))]
        said = [{key: value for key, value in dict(document, revision=1).items() if key != "change"} for document in kept]
        overlay = ("--overlay", "us-core")
        last = stage.pure(said, *(overlay if server == "second" and self.overlay else ()))
        may = last + stage.pure(said + more) + stage.pure(said + more, *overlay)
        return [{value for answer in answers for kind, _, value in stage.identifiers_of(answer["bundle"]) if kind in KINDS}
                for answers in (last, may)]

    def problems(self):
        found = []
        for name, server in self.servers.items():
            everything = [one for kind in KINDS for one in server.all(kind)]
            right = next(p for p in server.all("Patient") if any(i["value"] == MOVED_TO for i in p["identifier"]))
            live = [one for one in everything if one["status"] != "entered-in-error"]
            stays, may_stay = self.stays(name)
            here = {one["identifier"][0]["value"] for one in live if one["subject"]["reference"] != f"Patient/{right['id']}"}
            if wrong := sorted(here - may_stay):
                found.append(f"{name}: {len(wrong)} are live that were taken back or moved, of them {wrong[:3]}")
            if missing := sorted(stays - here):
                found.append(f"{name}: {len(missing)} of {len(stays)} said last are not live, of them {missing[:3]}")
            identifiers = [one["identifier"][0]["value"] for one in everything]
            if len(identifiers) != len(set(identifiers)):
                found.append(f"{name}: something is there twice")
            roots = [one for one in live if one["resourceType"] == "Procedure" and "partOf" not in one]
            if len(roots) != len(self.moved) + len(self.kept):
                found.append(f"{name}: {len(self.moved)} sessions were moved, {len(self.kept)} stay, {len(roots)} are there")
        for good, said in (self.engine.verify_journal(), self.engine.verify_replay()):
            if not good:
                found.append(said)
        return found

    def go(self):
        deeds = ((0.20, self.begin), (0.50, self.correct), (0.68, self.fail), (0.80, lambda: self.steer("withdraw")),
                 (0.88, lambda: self.steer("release", "remap")), (0.95, self.restart), (1.01, lambda: None))
        self.begin()
        for _ in range(STEPS):
            drawn = self.chance.random()
            next(deed for until, deed in deeds if drawn < until)()
            time.sleep(self.chance.choice((0, 0.02, 0.1, 0.3)))
        return self.end() or self.problems()


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--database", action="store_true", help="in the empty one that postgres_cluster.py names; one run")
    wish = parser.parse_args()
    database = os.environ["CHARTFERRY_TEST_POSTGRES"] if wish.database else None
    bad = 0
    for seed in range(wish.seed, wish.seed + wish.runs):
        with contextlib.ExitStack() as stack:
            folder = pathlib.Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="chartferry-taken-back-")))
            run = Run(seed, folder, stack, database)
            problems = run.go()
            print(f"seed {seed:4} {len(run.documents):3} sessions, {len(run.moved):2} moved, {len(run.kept):2} stay, "
                  f"{'; '.join(problems) or 'nothing is live that was taken back'}", flush=True)
            bad += bool(problems)
    print(f"{wish.runs} runs, {bad} with a problem")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
