"""A PostgreSQL of a test's own: in a temporary folder, on a Unix socket in it, ended with the test.

usage: postgres_cluster.py COMMAND...
Runs the command with CHARTFERRY_TEST_POSTGRES naming the database; the status is the command's. PostgreSQL refuses to
run as root, so it runs as the user that its package made.
"""
import contextlib
import os
import pathlib
import pwd
import shutil
import signal
import subprocess
import sys
import tempfile
import time

MISSING = "PostgreSQL is not installed"


def programs():
    """The folder of initdb and postgres, of the newest version; None when it is not installed."""
    folders = sorted(pathlib.Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if folders:
        return folders[-1].parent
    found = shutil.which("initdb")
    return pathlib.Path(found).resolve().parent if found else None


def as_who():
    """What a command starts with, and (user, group) of the folder."""
    if os.getuid() != 0:
        return [], None
    user = pwd.getpwnam("postgres")
    return ["setpriv", f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups"], (user.pw_uid, user.pw_gid)


ENDED = ("", "Z", "X")


def state_of(process):
    """One letter, as proc(5) has them; "" when there is no such process."""
    try:
        return pathlib.Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return ""


def wait_while(condition, seconds):
    """At most so long; what comes next fails by itself where that was too short."""
    until = time.monotonic() + seconds
    while condition() and time.monotonic() < until:
        time.sleep(0.005)


class Cluster:
    """Use in a `with` block."""

    def __init__(self, durable=True, settings=(), of=None):
        """`of`: a running cluster of which this one is to be a streaming standby."""
        self.bin = programs()
        if self.bin is None:
            raise FileNotFoundError(MISSING)
        self.prefix, owner = as_who()
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="chartferry-pg-"))
        self.settings = list(settings) + ([] if durable else ["fsync=off"])
        self.process = None
        if owner:
            os.chown(self.folder, *owner)
        with contextlib.ExitStack() as undo:
            undo.callback(shutil.rmtree, self.folder, ignore_errors=True)
            command = [self.bin / "initdb", "-A", "trust", "-U", "chartferry", "-E", "UTF8", "--no-locale"]
            if of is not None:
                command = [self.bin / "pg_basebackup", "-R", "-c", "fast", "-d", of.address()]
            subprocess.run([*self.prefix, *command, "-D", self.folder / "data", "--no-sync"], check=True,
                           capture_output=True, cwd="/")
            undo.pop_all()

    def __enter__(self):
        return self.start()

    def __exit__(self, *_):
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)

    def start(self):
        command = [*self.prefix, self.bin / "postgres", "-D", self.folder / "data", "-k", self.folder, "-c",
                   "listen_addresses="]
        for setting in self.settings:
            command += ["-c", setting]
        until = time.monotonic() + 60
        while not self._run(command, until):
            time.sleep(0.2)
        return self

    def _run(self, command, until):
        """True when it is up, False when it should be tried again. Raises RuntimeError with the end of its log."""
        with open(self.folder / "postgres.log", "ab") as log:
            begin = log.tell()
            self.process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd="/")
        while self.sql("SELECT 1", check=False).returncode != 0:
            ended = self.process.poll() is not None
            if ended or time.monotonic() > until:
                said = (self.folder / "postgres.log").read_bytes()[begin:].decode(errors="replace")
                # A process of the last one is still about to end.
                if ended and "pre-existing shared memory block" in said and time.monotonic() < until:
                    return False
                raise RuntimeError(said[-4000:])
            time.sleep(0.05)
        return True

    def stop(self):
        if self.process is not None:
            process, self.process = self.process, None
            process.send_signal(signal.SIGINT)  # ends the connections
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def kill(self):
        """kill -9 of all its processes, as a power cut does it. They have ended on return."""
        self.process.send_signal(signal.SIGSTOP)  # so that it has no more of them
        wait_while(lambda: state_of(self.process.pid) not in "Tt", 5)
        children = pathlib.Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        self.process.kill()
        for child in children:
            with contextlib.suppress(ProcessLookupError):
                os.kill(int(child), signal.SIGKILL)
        self.process.wait()
        self.process = None
        wait_while(lambda: any(state_of(child) not in ENDED for child in children), 30)

    def address(self, database="postgres"):
        return f"postgresql:///{database}?host={self.folder}&user=chartferry"

    def sql(self, text, database="postgres", check=True):
        return subprocess.run(["psql", "-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-d", self.address(database), "-c",
                               text], check=check, capture_output=True, text=True)


def main():
    if programs() is None:
        print(f"SKIPPED: {MISSING}")
        return 0
    with Cluster(durable=False) as cluster:
        return subprocess.run(sys.argv[1:], check=False,
                              env=dict(os.environ, CHARTFERRY_TEST_POSTGRES=cluster.address())).returncode


if __name__ == "__main__":
    sys.exit(main())
