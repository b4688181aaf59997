"""An address that leads to a hot standby for a moment, because the primary is started again: the engine writes and reads
at the primary as soon as that is back.

usage: standby_reached.py
"""
import contextlib
import pathlib
import subprocess
import sys
import tempfile
import time

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "sandbox"), str(TOP / "tests" / "journal"), str(TOP / "tests" / "fault")]
import postgres_cluster  # noqa: E402
import stage  # noqa: E402

PATIENCE = 3


def connections(cluster):
    return int(cluster.sql("SELECT count(*) FROM pg_stat_activity WHERE application_name = 'chartferry'").stdout)


def main():
    if postgres_cluster.programs() is None:
        print(f"SKIPPED: {postgres_cluster.MISSING}")
        return 0
    with contextlib.ExitStack() as undo:
        folder = pathlib.Path(undo.enter_context(tempfile.TemporaryDirectory(prefix="chartferry-standby-")))
        primary = undo.enter_context(postgres_cluster.Cluster())
        standby = undo.enter_context(postgres_cluster.Cluster(of=primary))
        # Does not say that it means the primary.
        address = f"postgresql:///postgres?host={primary.folder},{standby.folder}&user=chartferry"
        server = undo.enter_context(stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"])).start()
        engine = undo.enter_context(stage.Engine(folder, "engine-0", address)).start(server.base)
        stage.wait_for("the engine is ready", engine.ready)
        document = stage.sent("alder-moving")
        primary.stop()
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            away = engine.send(document).status
        primary.start()
        until = time.monotonic() + 10 * PATIENCE
        answer = 503
        while answer == 503 and time.monotonic() < until:
            time.sleep(0.2)
            answer = engine.send(document).status
        if answer == 202:
            engine.wait_until_empty(60)
        there, elsewhere = connections(primary), connections(standby)
        read = address.replace("user=", "target_session_attrs=standby&user=")
        stage.wait_for("a command that only reads may read at the standby", lambda: "landed" in subprocess.run(
            [stage.BUILD / "chartferry", "journal", "--journal", read, *map(str, engine.files), "list", "--kind", "landed"],
            text=True, check=True, stdout=subprocess.PIPE).stdout, pause=0.5)
    print(f"while the primary was away {away}, then {answer}; connections: {there}, and at the standby {elsewhere}")
    return 0 if (away, answer, elsewhere) == (503, 202, 0) and there > 1 else 1


if __name__ == "__main__":
    sys.exit(main())
