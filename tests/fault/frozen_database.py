"""A database that is stopped, not ended: its sockets stay open, and nothing comes. The engine's edge answers what needs
no journal all the while, it sends nothing and says so, goes on by itself afterwards, and can be ended meanwhile.

usage: frozen_database.py
"""
import contextlib
import os
import pathlib
import signal
import sys
import tempfile
import threading
import time

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "sandbox"), str(TOP / "tests" / "journal")]
import postgres_cluster  # noqa: E402
import stage  # noqa: E402

# An engine that is not heard stops sending after 15 seconds; one that cannot end is cut off after 60.
READY_WAIT = 60
END_WAIT = 100
# On a machine with much to do; what waits for the database takes half a minute.
AT_ONCE = 10


@contextlib.contextmanager
def frozen(cluster):
    """All processes of the cluster are stopped, and go on at the end in any case."""
    parent = cluster.process.pid
    children = pathlib.Path(f"/proc/{parent}/task/{parent}/children").read_text().split()
    everyone = [parent, *map(int, children)]
    try:
        for one in everyone:
            os.kill(one, signal.SIGSTOP)
        yield
    finally:
        for one in everyone:
            with contextlib.suppress(ProcessLookupError):
                os.kill(one, signal.SIGCONT)


def slowest_look(engine):
    """Seconds that /health/live took at most, while others ask for what is in the journal."""
    def ask(path):
        with contextlib.suppress(OSError):
            engine.request("GET", path, timeout=2)
    for path in ("/metrics", "/targets", "/traffic"):
        threading.Thread(target=ask, args=(path,), daemon=True).start()
    slowest = 0
    for _ in range(4):
        time.sleep(0.5)
        began = time.monotonic()
        assert engine.request("GET", "/health/live", timeout=60).status == 200
        slowest = max(slowest, time.monotonic() - began)
    return slowest


def main():
    if postgres_cluster.programs() is None:
        print(f"SKIPPED: {postgres_cluster.MISSING}")
        return 0
    with contextlib.ExitStack() as undo:
        folder = pathlib.Path(undo.enter_context(tempfile.TemporaryDirectory(prefix="chartferry-frozen-")))
        cluster = undo.enter_context(postgres_cluster.Cluster(durable=False))
        server = undo.enter_context(stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"])).start()
        engine = undo.enter_context(stage.Engine(folder, "engine-0", cluster.address())).start(server.base)
        stage.wait_for("the engine is ready", engine.ready)
        with frozen(cluster):
            slowest = slowest_look(engine)
            stage.wait_for("it says that it is not ready", lambda: not engine.ready(), READY_WAIT)
        stage.wait_for("it is ready again", engine.ready, READY_WAIT)
        assert engine.send(stage.sent("alder-moving")).status == 202
        engine.wait_until_empty(READY_WAIT)
        with frozen(cluster):
            time.sleep(1)
            began = time.monotonic()
            engine.process.send_signal(signal.SIGTERM)
            engine.process.wait(END_WAIT)
            ended = time.monotonic() - began
    print(f"/health/live took {slowest:.1f} s at most; the engine ended after {ended:.1f} s")
    return 0 if slowest < AT_ONCE and ended < END_WAIT else 1


if __name__ == "__main__":
    sys.exit(main())
