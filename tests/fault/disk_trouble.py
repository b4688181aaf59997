"""A disk that takes no more: the engine is not ready, and is again by itself when it does, though nothing is sent meanwhile.

usage: disk_trouble.py
"""
import pathlib
import resource
import sys
import tempfile
import time

TOP = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP / "sandbox"))
import stage  # noqa: E402

# Ends no program when a file may not grow: its write fails, as on a full disk.
LAUNCHER = [sys.executable, "-c", "import os, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
            "os.execv(sys.argv[1], sys.argv[1:])"]


class Engine(stage.Engine):
    def launch(self, command):
        super().launch([*LAUNCHER, *command])

    def files_may_grow(self, may):
        most = resource.RLIM_INFINITY if may else 0
        resource.prlimit(self.process.pid, resource.RLIMIT_FSIZE, (most, resource.RLIM_INFINITY))

    def readiness(self):
        answer = self.request("GET", "/health/ready")
        return answer.status, answer.body.decode()

    def gauge(self):
        text = self.request("GET", "/metrics").body.decode()
        return next(line[-1] for line in text.splitlines() if line.startswith("chartferry_journal_failing "))


def expect(what, good):
    if not good:
        raise stage.Failure(what)


def main():
    with tempfile.TemporaryDirectory(prefix="chartferry-disk-") as folder:
        folder = pathlib.Path(folder)
        with stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"]) as server, Engine(folder) as engine:
            server.start()
            engine.start(server.base)
            stage.wait_for("the engine is ready", engine.ready)
            for round_ in (1, 2):
                document = stage.sent("alder-moving")
                document["identifier"]["value"] = f"disk-{round_}"
                engine.files_may_grow(False)
                refused = engine.send(document)
                expect(f"nothing is acknowledged: {refused.status}", refused.status == 503)
                status, said = engine.readiness()
                expect(f"not ready, and why: {status} {said}", status == 503 and "the journal cannot be written" in said)
                # Tries of its own change nothing of that while the disk is as it was.
                time.sleep(5)
                status, said = engine.readiness()
                expect(f"still not ready: {status} {said}", status == 503 and engine.gauge() == "1")
                engine.files_may_grow(True)
                stage.wait_for("ready by itself", engine.ready, seconds=15)
                expect("the gauge is down", engine.gauge() == "0")
                answer = engine.send(document)
                expect(f"taken in: {answer.status}", answer.status == 202)
                engine.wait_until_landed()
            log = engine.log.read_text()
            expect(f"it is over, twice: {log}", log.count("event=journal-well") == 2)
            engine.stop()
            for whole, said in (engine.verify_journal(), engine.verify_replay()):
                expect(said, whole)
    return 0


if __name__ == "__main__":
    sys.exit(main())
