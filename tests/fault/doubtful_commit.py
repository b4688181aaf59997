"""A commit whose answer was lost while the database waited for its standby: the engine finds it in the primary, and must
not acknowledge it before the standby has it, too, since the primary may be lost next.

usage: doubtful_commit.py
"""
import contextlib
import pathlib
import sys
import tempfile
import threading
import time

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "sandbox"), str(TOP / "tests" / "journal"), str(TOP / "tests" / "fault")]
import postgres_cluster  # noqa: E402
import shared_journal  # noqa: E402
import stage  # noqa: E402

# Longer than the engine takes to ask after a lost commit, by far.
PATIENCE = 3


def writers(database):
    """Backends that wait for the standby."""
    return database.primary.sql("SELECT pid FROM pg_stat_activity WHERE wait_event = 'SyncRep'").stdout.split()


def main():
    if postgres_cluster.programs() is None:
        print(f"SKIPPED: {postgres_cluster.MISSING}")
        return 0
    with contextlib.ExitStack() as undo:
        folder = pathlib.Path(undo.enter_context(tempfile.TemporaryDirectory(prefix="chartferry-doubt-")))
        database = shared_journal.Database(undo, folder, True)
        server = undo.enter_context(stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"])).start()
        engine = undo.enter_context(stage.Engine(folder, "engine-0", database.address())).start(server.base)
        stage.wait_for("the engine is ready", engine.ready)
        database.standby.kill()
        answers = []
        sender = threading.Thread(target=lambda: answers.append(engine.send(stage.sent("alder-moving")).status))
        sender.start()
        (waiting,) = stage.wait_for("the commit waits for the standby", lambda: writers(database))
        database.primary.sql(f"SELECT pg_terminate_backend({waiting})")
        time.sleep(PATIENCE)
        early = list(answers)
        there = database.primary.sql("SELECT count(*) FROM record WHERE kind = 3").stdout.strip()
        database.standby.start()
        sender.join(60)
        on_standby = database.standby.sql("SELECT count(*) FROM record WHERE kind = 3").stdout.strip()
        engine.wait_until_empty(60)
    print(f"on the primary {there}, answered meanwhile {early}; then {answers}, on the standby {on_standby}")
    return 0 if (there, early, answers, on_standby) == ("1", [], [202], "1") else 1


if __name__ == "__main__":
    sys.exit(main())
