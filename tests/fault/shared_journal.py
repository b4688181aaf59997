"""Several engines on one PostgreSQL under load, while engines, the database and its standby are lost at random.

usage: shared_journal.py [--engines N] [--events N] [--seed S] [--fail-over]
An event is one of: kill -9 of an engine, which is started again at once or, now and then, only at the end, so that
the others must finish its work; kill -9 of the whole database, which is started again; the database's connections
ended under way; and, with --fail-over, kill -9 of the primary and promotion of its synchronous standby, which then
gets a new standby. The record server drops connections before and after its commit all the while. The seed decides
what comes when; it is printed first. The status is 0 only when every 202 landed exactly once and in its patient's
order, the journal verifies and replay makes every bundle again byte for byte.
"""
import argparse
import collections
import contextlib
import pathlib
import random
import sys
import tempfile
import time

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "sandbox"), str(TOP / "tests" / "journal"), str(TOP / "tests" / "fault")]
import kill_engine  # noqa: E402
import postgres_cluster  # noqa: E402
import stage  # noqa: E402

# What one engine leaves on its way waits for limits::kEngineLease before another takes it.
END_WAIT = 240


class AnyEngine:
    """Sends to one of the engines that run, as a sender behind a balancer does."""

    def __init__(self, engines, chance):
        self.engines = engines
        self.chance = chance

    def send(self, document):
        return self.chance.choice([one for one in self.engines if one.port is not None] or self.engines).send(document)


class Database:
    """A cluster and, for fail-overs, its synchronous standby. Two links lead to their sockets, so that the engines
    can be told where both are once and for all."""

    def __init__(self, undo, folder, with_standby):
        self.undo = undo
        self.links = [folder / "database-a", folder / "database-b"]
        self.primary = self._move_in(self.links[0])
        self.standby = None
        if with_standby:
            self._add_standby(self.links[1])

    def _move_in(self, link, of=None):
        cluster = self.undo.enter_context(postgres_cluster.Cluster(of=of))
        cluster.link = link
        link.unlink(missing_ok=True)
        link.symlink_to(cluster.folder)
        return cluster

    def _add_standby(self, link):
        self.standby = self._move_in(link, of=self.primary)
        self._wait_until("state = 'streaming'")
        self.primary.sql("ALTER SYSTEM SET synchronous_standby_names = '*'")
        self.primary.sql("SELECT pg_reload_conf()")
        self._wait_until("sync_state = 'sync'")

    def _wait_until(self, said):
        stage.wait_for(f"the standby's {said}", lambda: self.primary.sql(
            f"SELECT 1 FROM pg_stat_replication WHERE {said}").stdout.strip() == "1")

    def address(self):
        places = ",".join(str(link) for link in self.links[:1 if self.standby is None else 2])
        return f"postgresql:///postgres?host={places}&user=chartferry"

    def crash(self):
        self.primary.kill()
        self.primary.start()

    def end_connections(self):
        self.primary.sql("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE backend_type = 'client backend' "
                         "AND pid <> pg_backend_pid()")

    def fail_over(self):
        """What waits for the standby meanwhile goes on when there is a new one."""
        self.primary.kill()
        link = self.primary.link
        self.standby.sql("SELECT pg_promote()")
        self.primary = self.standby
        self._add_standby(link)


def draw_events(count, chance, with_fail_over):
    kinds = ["engine"] * 4 + ["database"] + ["connections"] * 2 + ["fail-over"] * (2 if with_fail_over else 0)
    return [chance.choice(kinds) for _ in range(count)]


def trouble(events, chance, engines, database, base):
    """Lets the events come; how many of each."""
    came = collections.Counter()
    for kind in events:
        time.sleep(chance.uniform(0.05, 0.8))
        if kind == "engine":
            running = [one for one in engines if one.port is not None]
            engine = chance.choice(running)
            engine.kill()
            # Two go on, so that there is always one to send to when another dies.
            if len(running) > 2 and chance.random() < 0.25:
                kind = "engine for good"
            else:
                engine.start(base)
        elif kind == "database":
            database.crash()
        elif kind == "connections":
            database.end_connections()
        else:
            database.fail_over()
        came[kind] += 1
    return came


def run(count, events, chance, with_standby, pause=0, tell=print):
    """(problems, figures) of so many engines on one database through the events."""
    load = kill_engine.Load([stage.sent(name) for name in kill_engine.TEMPLATES], pause)
    with contextlib.ExitStack() as undo:
        folder = pathlib.Path(undo.enter_context(tempfile.TemporaryDirectory(prefix="chartferry-shared-")))
        database = Database(undo, folder, with_standby)
        server = undo.enter_context(stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"])).start()
        server.faults({"action": "drop-after-commit", "method": "POST", "every": 13},
                      {"action": "drop-before-commit", "method": "POST", "every": 17},
                      {"action": "status", "status": 503, "retryAfter": 0, "method": "POST", "every": 19})
        engines = [undo.enter_context(stage.Engine(folder, f"engine-{number}", database.address()))
                   for number in range(count)]
        for engine in engines:
            engine.start(server.base)
        load.engine = AnyEngine(engines, random.Random(chance.random()))
        load.start()
        try:
            came = trouble(events, chance, engines, database, server.base)
        finally:
            load.end()
        fired = server.fired()
        server.faults()
        last = next(one for one in engines if one.port is not None)
        last.wait_until_empty(END_WAIT)
        problems, figures = kill_engine.check(load, server)
        problems += kill_engine.verified(last, tell)
        for engine in engines:
            engine.stop()
    if not load.accepted:
        problems.append("no session was accepted")
    kinds = ", ".join(f"{number} {kind}" for kind, number in sorted(came.items()))
    tell(f"{kinds}; {load.cut_off} sends cut off, {fired} faults of the record server")
    tell(f"{len(load.accepted)} sessions accepted: {load.statuses[202]} answered 202, "
         f"{load.statuses[200]} answered 200 when sent again")
    return problems, figures


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--engines", type=int, default=3)
    parser.add_argument("--events", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--fail-over", action="store_true")
    options = parser.parse_args()
    if postgres_cluster.programs() is None:
        print(f"SKIPPED: {postgres_cluster.MISSING}")
        return 0
    print(f"seed {options.seed}, {options.engines} engines, {options.events} events", flush=True)
    chance = random.Random(options.seed)
    began = time.monotonic()
    problems, figures = run(options.engines, draw_events(options.events, chance, options.fail_over), chance,
                            options.fail_over)
    print(f"{figures}, {len(problems)} problems, {time.monotonic() - began:.1f} s")
    print(*problems, sep="\n")
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
