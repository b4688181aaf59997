"""Many short runs of the real programs, each with a fault of its own, and after each the same question: did every
session that was answered 202 land exactly once, in its patient's order, and does the journal prove it?

usage: campaign.py [--runs N] [--seed S] [--only KIND] [--every-step] [--no-database]
A run draws its kind, and the moment of its fault, from the seed and its number alone, so that `--seed S --first N
--runs 1` is run N again. The steps of faulty_world.cc make the moments exact: a kill or a power cut comes just before
a sync, a rename, a connection or a message. --every-step goes through all steps of one session's way instead, once with
a kill and once with a power cut at each. The status is 0 only when every run was without a problem and as many faults
came as were meant to.
"""
import argparse
import collections
import contextlib
import http.client
import mmap
import pathlib
import random
import signal
import struct
import sys
import tempfile
import threading
import time

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "sandbox"), str(TOP / "tests" / "journal"), str(TOP / "tests" / "fault")]
import kill_engine  # noqa: E402
import postgres_cluster  # noqa: E402
import shared_journal  # noqa: E402
import stage  # noqa: E402

LIBRARY = stage.BUILD / "tests" / "fault" / "faulty_world.so"
END_WAIT = 300
# Between a sender's sessions: a few dozen a run say as much as hundreds.
PAUSE = 0.03


class Steps:
    """The file in which the library counts: steps so far, faults that came."""

    def __init__(self, folder):
        self.path = folder / "steps"
        self.path.write_bytes(bytes(16))
        with open(self.path, "r+b") as file:
            self.map = mmap.mmap(file.fileno(), 16)

    def start_again(self):
        self.map[:8] = bytes(8)

    @property
    def steps(self):
        return struct.unpack("=QQ", self.map)[0]

    @property
    def fired(self):
        return struct.unpack("=QQ", self.map)[1]


class Run:
    """One record server and one engine in a folder of their own, under load."""

    def __init__(self, undo, chance):
        self.chance = chance
        self.folder = pathlib.Path(undo.enter_context(tempfile.TemporaryDirectory(prefix="chartferry-fault-")))
        self.server = undo.enter_context(
            stage.RecordServer(self.folder, load=[stage.WARD / "people.bundle.json"])).start()
        self.engine = undo.enter_context(stage.Engine(self.folder))
        self.sealed = chance.random() < 0.5
        if self.sealed:
            self.engine.seal_bodies()
        self.steps = Steps(self.folder)
        self.load = kill_engine.Load([stage.sent(name) for name in kill_engine.TEMPLATES], PAUSE)
        self.load.engine = self.engine
        self.starts = 0

    def start_engine(self, fault=""):
        self.steps.start_again()
        self.starts += 1
        self.engine.environment = {
            "LD_PRELOAD": str(LIBRARY), "FAULTY_WORLD": fault, "FAULTY_STEPS": str(self.steps.path),
            "FAULTY_FILES": str(self.engine.journal)}
        try:
            self.engine.start(self.server.base)
            return True
        except stage.Failure as failure:
            # A disk that fails while the journal is opened: the engine says so and does not start.
            refused = self.engine.process.returncode == 2 and self.steps.fired and any(
                words in str(failure) for words in ("disk I/O error", "disk is full", "cannot write the key file"))
            if self.engine.process.returncode != -signal.SIGKILL and not refused:
                raise
            self.engine.process = None
            return False  # the fault came before it listened

    def until_it_dies(self, seconds, ask=False):
        """True when the engine was killed within the time. Answering a question is a step, too."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if ask:
                with contextlib.suppress(OSError, http.client.HTTPException, stage.Failure):
                    self.engine.waiting()
            if self.engine.process.poll() is not None:
                if self.engine.process.returncode != -signal.SIGKILL:
                    raise stage.Failure(f"the engine ended with {self.engine.process.returncode}:\n"
                                        + self.engine.log.read_text(errors="replace")[-2000:])
                self.engine.process = self.engine.port = None
                return True
            time.sleep(0.01)
        return False

    def common_faults(self):
        """Some requests fail in any run, each with a rhythm of its own."""
        every = self.chance.randint
        return [{"action": "drop-after-commit", "method": "POST", "every": every(7, 23)},
                {"action": "drop-before-commit", "method": "POST", "every": every(7, 23)}]

    def finish(self):
        """Problems of the run, once everything that was accepted has ended."""
        self.load.end()
        self.server.faults()
        self.engine.wait_until_landed(END_WAIT, pause=0.05)
        problems, figures = kill_engine.check(self.load, self.server)
        figures += ", sealed" if self.sealed else ""
        said = []
        problems += kill_engine.verified(self.engine, said.append)
        if not self.load.accepted:
            problems.append("no session was accepted")
        return problems, figures


def draw_step(chance):
    """Small numbers, at which the program starts, come as often as large ones."""
    return int(2 ** chance.uniform(0, 9))


def dies_at_steps(name):
    def run(one):
        chance = one.chance
        one.server.faults(*one.common_faults())
        one.load.start()
        for _ in range(chance.randint(1, 3)):
            fault = f"{name}={draw_step(chance)},{chance.randrange(1 << 30)}"
            if one.start_engine(fault):
                if not one.until_it_dies(3):
                    one.engine.kill()
        one.start_engine()
        time.sleep(0.5)
    return run


def lives_through(make_fault):
    def run(one):
        one.server.faults(*one.common_faults())
        if not one.start_engine(make_fault(one.chance)):
            one.start_engine()
        one.load.start()
        time.sleep(2)
        # What a full disk or a failed sync leaves behind must also survive a start.
        one.engine.kill()
        one.start_engine()
        time.sleep(0.3)
    return run


def disk_full(chance):
    return f"full={chance.randint(20, 200)},{chance.randint(1, 60)}"


def unsynced(chance):
    return f"unsynced={chance.randint(20, 200)},{chance.randint(20, 100)}"


def clock_step(chance):
    return f"clock={chance.randint(20, 200)},{chance.choice([-18000, -600, -3, 3, 600, 18000])}"


def server_dies(one):
    """kill -9 of the record server, three times; it comes back on its port with what it had."""
    port = one.server.port
    one.start_engine()
    one.load.start()
    for _ in range(3):
        time.sleep(one.chance.uniform(0.1, 0.6))
        one.server.kill()
        time.sleep(one.chance.uniform(0, 0.3))
        one.server.start(port)
        one.server.faults(*one.common_faults())
    one.steps.map[8:] = struct.pack("=Q", 3)


def storm(one):
    """Answers 429 and 503 for a while, with and without a time to come back."""
    chance = one.chance
    one.start_engine()
    one.load.start()
    for status in (429, 503):
        rule = {"action": "status", "status": status, "method": "POST", "every": 1, "times": chance.randint(3, 12)}
        if chance.random() < 0.5:
            rule["retryAfter"] = chance.randint(0, 1)
        one.server.faults(rule, *one.common_faults())
        time.sleep(chance.uniform(0.3, 1))
        one.steps.map[8:] = struct.pack("=Q", one.steps.fired + one.server.fired())


def slow_sockets(one):
    """Answers that come in small pieces or late, and a server that takes connections and says nothing for a while."""
    chance = one.chance
    one.start_engine()
    one.server.faults({"action": "slow-body", "delayMs": 3, "every": chance.randint(3, 7)},
                      {"action": "latency", "delayMs": chance.randint(50, 400), "every": chance.randint(3, 7)},
                      *one.common_faults())
    one.load.start()
    for _ in range(2):
        time.sleep(chance.uniform(0.1, 0.5))
        one.server.process.send_signal(signal.SIGSTOP)
        time.sleep(chance.uniform(0.2, 1.0))
        one.server.process.send_signal(signal.SIGCONT)
    time.sleep(0.5)
    one.steps.map[8:] = struct.pack("=Q", 2 + one.server.fired())


def silent_peer(one):
    """As slow_sockets, but longer than the engine waits for an answer."""
    one.start_engine()
    one.load.start()
    time.sleep(one.chance.uniform(0.1, 0.5))
    one.server.process.send_signal(signal.SIGSTOP)
    time.sleep(1)
    one.load.ended.set()
    time.sleep(64)
    one.server.process.send_signal(signal.SIGCONT)
    one.steps.map[8:] = struct.pack("=Q", 1)


KINDS = {
    "kill": dies_at_steps("kill"),
    "power-cut": dies_at_steps("cut"),
    "disk-full": lives_through(disk_full),
    "unsynced": lives_through(unsynced),
    "clock": lives_through(clock_step),
    "server-kill": server_dies,
    "storm": storm,
    "slow-sockets": slow_sockets,
}
LONG_KINDS = {"silent-peer": silent_peer}


def alone(kind, chance):
    """(problems, figures, faults that came) of a run with a journal of its own."""
    with contextlib.ExitStack() as undo:
        one = Run(undo, chance)
        try:
            (KINDS | LONG_KINDS)[kind](one)
            problems, figures = one.finish()
        finally:
            one.load.end()
        return problems, figures, one.steps.fired


def shared(kind, chance):
    """Likewise of engines on one database."""
    events = {"database": ["database", "connections"], "fail-over": ["fail-over"]}[kind]
    chosen = [chance.choice(events) for _ in range(1 if kind == "fail-over" else 3)] + ["engine"]
    said = []
    problems, figures = shared_journal.run(3, chosen, chance, kind == "fail-over", PAUSE, said.append)
    return problems, figures, len(chosen)


def draw_kind(options, chance):
    if options.only:
        return options.only
    kinds = [kind for kind in KINDS for _ in range(3)]
    if options.database:
        kinds += ["database"] * 3 + ["fail-over"] * 3
    return chance.choice(kinds)


def one_session(fault, chance):
    """One session's way with a fault on it; (problems, steps of it)."""
    with contextlib.ExitStack() as undo:
        one = Run(undo, chance)
        document = one.load.templates[0]
        value = document["identifier"]["value"]
        lives = one.start_engine(fault)
        sender = threading.Thread(target=one.load.send_until_accepted, args=(value, document))
        sender.start()
        try:
            if fault and (not lives or one.until_it_dies(20, ask=True)):
                one.start_engine()
            sender.join()
            one.engine.wait_until_landed(60)
        finally:
            one.load.ended.set()
            sender.join()
        steps = one.steps.steps
        problems, _ = kill_engine.check(one.load, one.server)
        problems += kill_engine.verified(one.engine, lambda _: None)
        if fault and one.steps.fired == 0:
            problems.append("the fault did not come")
        return problems, steps


def every_step(seed):
    problems, steps = one_session("", random.Random(seed))
    print(f"one session takes the engine {steps} steps from its start", flush=True)
    runs = 0
    for name in ("kill", "cut"):
        for step in range(1, steps + 1):
            try:
                found, _ = one_session(f"{name}={step},{seed}", random.Random(seed))
            except Exception as failure:  # the other steps go on
                found = [f"{type(failure).__name__}: {failure}"]
            problems += [f"{name} at step {step}: {problem}" for problem in found]
            runs += 1
    print(f"{runs} runs, one for each step and way to die, {len(problems)} problems")
    return problems


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=30)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=[*KINDS, *LONG_KINDS, "database", "fail-over"])
    parser.add_argument("--every-step", action="store_true")
    parser.add_argument("--no-database", dest="database", action="store_false")
    options = parser.parse_args()
    print(f"seed {options.seed}", flush=True)
    began = time.monotonic()
    if options.every_step:
        problems = every_step(options.seed)
        print(*problems, sep="\n")
        return 1 if problems else 0
    if options.database and postgres_cluster.programs() is None:
        print(f"without a database: {postgres_cluster.MISSING}")
        options.database = False
    runs, without, bad = collections.Counter(), 0, []
    for number in range(options.first, options.first + options.runs):
        chance = random.Random(f"{options.seed}/{number}")
        kind = draw_kind(options, chance)
        start = time.monotonic()
        try:
            problems, figures, fired = (shared if kind in ("database", "fail-over") else alone)(kind, chance)
        except Exception as failure:  # whatever it was, the other runs go on
            problems, figures, fired = [f"seed {options.seed}/{number}: {type(failure).__name__}: {failure}"], "", 1
        runs[kind] += 1
        without += fired == 0
        bad += [f"run {number} ({kind}): {problem}" for problem in problems]
        print(f"{number:4} {kind:12} {fired:3} faults, {figures}, {time.monotonic() - start:.1f} s"
              + "".join(f"\n     {problem}" for problem in problems), flush=True)
    print(", ".join(f"{count} {kind}" for kind, count in sorted(runs.items()))
          + f"; {without} without a fault, {len(bad)} problems, {time.monotonic() - began:.0f} s")
    print(*bad, sep="\n")
    return 1 if bad or without * 4 > options.runs else 0


if __name__ == "__main__":
    sys.exit(main())
