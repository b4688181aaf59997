#!/usr/bin/env python3
"""Bodies sealed at rest by a real engine: what lies on the disk, what the commands say with and without the master key."""
import os
import pathlib
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

SCRIPT = stage.TOP / "docs" / "formats" / "verify_export.py"


class SealedBodies(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(cls.enterClassContext(tempfile.TemporaryDirectory(prefix="chartferry-sealed-")))
        cls.key = cls.master("master")
        cls.server = cls.enterClassContext(stage.RecordServer(cls.folder, load=[stage.WARD / "people.bundle.json"]))
        cls.server.start()
        cls.engine = cls.enterClassContext(stage.Engine(cls.folder))
        cls.engine.start(cls.server.base, "--journal-key", cls.key)
        cls.session = cls.engine.session_id(cls.engine.send(stage.sent("alder-moving")))
        stage.wait_for("landed", lambda: cls.engine.settled(cls.session, ("landed",)))
        cls.engine.send("this is no session: kept-marker")
        cls.engine.stop()

    @classmethod
    def master(cls, name):
        file = cls.folder / name
        file.write_text(os.urandom(32).hex() + "\n")
        file.chmod(0o600)
        return file

    def command(self, *words, program="journal"):
        done = subprocess.run([str(stage.ENGINE), program, "--journal", str(self.engine.journal), *map(str, words)],
                              capture_output=True, text=True, check=False, errors="replace")
        return done.returncode, done.stdout + done.stderr

    def document(self):
        (line,) = [line for line in self.command("list", "--session", self.session, "--kind", "accepted")[1].splitlines()]
        return line.split()[0]

    def check_export(self, folder):
        done = subprocess.run([sys.executable, "-B", str(SCRIPT), str(folder)], capture_output=True, text=True, check=False)
        self.assertEqual(done.stderr, "")
        return done.returncode, done.stdout

    def test_the_disk_holds_no_word_of_a_body(self):
        files = list(self.folder.glob(self.engine.journal.name + "*"))
        self.assertGreater(len(files), 3)
        for file in files:
            if file.is_file():
                for word in (b"kept-marker", b"Observation", b"entry"):
                    self.assertNotIn(word, file.read_bytes(), file.name)

    def test_the_engine_does_not_start_without_its_key(self):
        size = self.command("list", "--limit", 10000)[1].count("\n")
        other = self.master("other")
        for words, said in (([], "sealed under the master key"), (["--journal-key", other], "what was given is"),
                            (["--journal-key", self.folder / "none"], "is not there")):
            done = subprocess.run([str(stage.ENGINE), "serve", "--listen", "127.0.0.1:0", "--journal",
                                   str(self.engine.journal), "--target", self.server.base, *map(str, words)],
                                  capture_output=True, text=True, check=False, timeout=60)
            self.assertEqual(done.returncode, 2, done.stderr)
            self.assertIn(said, done.stderr)
        self.assertEqual(self.command("list", "--limit", 10000)[1].count("\n"), size)

    def test_a_key_that_others_can_read_is_refused(self):
        loose = self.master("loose")
        loose.chmod(0o640)
        status, said = self.command("--journal-key", loose, "verify")
        self.assertEqual(status, 2)
        self.assertIn("chmod 600", said)

    def test_it_is_verified_with_the_key_and_without(self):
        status, said = self.command("--journal-key", self.key, "verify")
        self.assertEqual(status, 0, said)
        self.assertNotIn("sealed", said)
        status, said = self.command("verify")
        self.assertEqual(status, 0, said)
        self.assertRegex(said, r"[1-9]\d* are sealed and were not opened")
        status, said = self.command("--journal-key", self.key, "--verify", program="replay")
        self.assertEqual(status, 0, said)

    def test_a_body_is_shown_only_with_the_key(self):
        position = self.document()
        self.assertIn("give the master key", self.command("show", position, "--part", "document")[1])
        self.assertIn('"identifier"', self.command("--journal-key", self.key, "show", position, "--part", "document")[1])

    def test_an_export_is_verified_by_others_opened_and_sealed(self):
        opened, sealed = self.folder / "opened", self.folder / "sealed"
        self.assertEqual(self.command("--journal-key", self.key, "export", opened)[0], 0)
        self.assertEqual(self.command("export", sealed)[0], 0)
        status, said = self.check_export(opened)
        self.assertEqual((status, said.count("without their keys")), (0, 0), said)
        status, said = self.check_export(sealed)
        self.assertEqual(status, 0, said)
        self.assertIn("parts are sealed, without their keys", said)
        clear = opened / "records" / (self.document() + ".document.zst")
        # What was opened is not what is proved: whoever exports cannot put other words beside the sealed ones.
        clear.write_bytes(clear.read_bytes()[:-1] + b"!")
        status, said = self.check_export(opened)
        self.assertEqual(status, 1)
        self.assertIn("is not what the sealed part holds", said)


if __name__ == "__main__":
    unittest.main(verbosity=2)
