#!/usr/bin/env python3
"""Bodies sealed at rest by a real engine: what lies on the disk, what the commands say with and without the master key."""
import hashlib
import json
import os
import pathlib
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
import unittest
import unittest.mock

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
        for words in ((), ("--part", "document")):
            status, said = self.command("show", position, *words)
            self.assertEqual(status, 2, said)
            self.assertIn("give the master key", said)
        self.assertIn('"identifier"', self.command("--journal-key", self.key, "show", position, "--part", "document")[1])
        # What writes a body needs it too, or it would lie in the clear.
        status, said = self.command("move", self.session, "--to", "https://hill.example/ids/patient|P-0102", "--why", "mixed up")
        self.assertEqual(status, 2)
        self.assertIn("give the master key", said)

    def test_what_is_held_is_explained_and_released_with_the_key(self):
        self.enterContext(unittest.mock.patch.object(self, "engine", self.enterContext(stage.Engine(self.folder, name="held"))))
        self.engine.start(self.server.base, "--journal-key", self.key)
        document = stage.sent("hazel-stairs.r1")
        session = self.engine.session_id(self.engine.send(document))
        stage.wait_for("landed", lambda: self.engine.settled(session, ("landed",)))
        for one in self.server.all("Observation"):  # somebody else writes to all of it
            answer = self.server.request("PUT", f"/fhir/Observation/{one['id']}", dict(one, note=[{"text": "seen again"}]),
                                         {"Content-Type": "application/fhir+json"})
            self.assertEqual(answer.status, 200, answer.body)
        self.engine.send(stage.sent("hazel-stairs.r2"))
        stage.wait_for("held", lambda: self.engine.settled(session, ("held",)))
        self.engine.stop()

        status, said = self.command("list", "--state", "held")
        self.assertEqual((status, said.count("what is in its way cannot be said: the part is sealed")), (0, 1), said)
        (told,) = map(json.loads, self.command("list", "--state", "held", "--json")[1].splitlines())
        self.assertIn("give the master key", told["unsaid"])
        status, said = self.command("--journal-key", self.key, "list", "--state", "held")
        self.assertEqual((status, "cannot be said" in said), (0, False), said)
        self.assertIn("was changed on the record server by somebody else", said)
        status, said = self.command("release", session, "--why", "compared")
        self.assertEqual((status, "give the master key" in said, "mend what stopped it" in said), (2, True, False), said)
        status, said = self.command("--journal-key", self.key, "release", session, "--why", "compared")
        self.assertEqual((status, " released " in said), (0, True), said)

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
        # Any key makes something of a counter mode's bytes; only one is the part's.
        key = opened / "records" / (self.document() + ".document.key")
        before = key.read_text(), clear.read_bytes()
        sealed_bytes = (opened / "records" / (self.document() + ".document.sealed")).read_bytes()
        key.write_text("0" * 64 + "\n")
        clear.write_bytes(subprocess.run(["openssl", "enc", "-d", "-aes-256-ctr", "-nosalt", "-K", "0" * 64, "-iv",
                                          sealed_bytes[16:28].hex() + "00000002"], input=sealed_bytes[28:-16],
                                         capture_output=True, check=True).stdout)
        status, said = self.check_export(opened)
        self.assertEqual(status, 1, said)
        self.assertIn("is not what the sealed part holds", said)
        key.write_text(before[0])
        clear.write_bytes(before[1])
        # What was opened is not what is proved: whoever exports cannot put other words beside the sealed ones.
        clear.write_bytes(clear.read_bytes()[:-1] + b"!")
        status, said = self.check_export(opened)
        self.assertEqual(status, 1)
        self.assertIn("is not what the sealed part holds", said)


class Destroying(unittest.TestCase):
    """One patient destroyed, another on hold, keys exchanged: what the commands say, and what others can verify."""

    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(cls.enterClassContext(tempfile.TemporaryDirectory(prefix="chartferry-shred-")))
        server = cls.enterClassContext(stage.RecordServer(cls.folder, load=[stage.WARD / "people.bundle.json"]))
        server.start()
        cls.server = server
        cls.engine = cls.enterClassContext(stage.Engine(cls.folder))

    def master(self, name):
        file = self.folder / name
        file.write_text(os.urandom(32).hex() + "\n")
        file.chmod(0o600)
        return file

    def command(self, *words, program="journal", status=0, keys=(), stdin=None):
        given = [word for key in keys for word in ("--journal-key", key)]
        done = subprocess.run([str(stage.ENGINE), program, "--journal", str(self.engine.journal), *map(str, given),
                               *map(str, words)], capture_output=True, text=True, check=False, errors="replace", input=stdin)
        self.assertEqual(done.returncode, status, done.stdout + done.stderr)
        return done.stdout + done.stderr

    def take_in(self, name):
        document = stage.sent(name)
        session = self.engine.session_id(self.engine.send(document))
        stage.wait_for("landed", lambda: self.engine.settled(session, ("landed",)))
        who = document["patient"]["identifier"]
        return session, f"{who['system']}|{who['value']}"

    def verified(self, folder):
        done = subprocess.run([sys.executable, "-B", str(SCRIPT), str(folder)], capture_output=True, text=True, check=False)
        self.assertEqual((done.returncode, done.stderr), (0, ""), done.stdout)
        return done.stdout

    def accepted(self, session):
        return self.command("list", "--session", session, "--kind", "accepted").split()[0]

    def test_the_whole_life_of_keys_and_bodies(self):
        first, second = self.master("first"), self.master("second")
        self.engine.start(self.server.base, "--journal-key", first, "--retention", "1 day")
        session, patient = self.take_in("alder-moving")
        other, other_patient = self.take_in("maple-moving")
        self.assertNotEqual(patient, other_patient)
        self.engine.stop()

        hold = self.command("hold", "--patient-file", "-", "--why", "letter of the court", stdin=patient + "\n").split()[-1].rstrip("`")
        self.assertIn("letter of the court", self.command("holds"))
        self.assertIn("a legal hold stands", self.command("shred", "--patient", patient, "--why", "wish", status=1))
        self.command("shred", "--patient", patient, status=2)  # without a reason
        self.assertIn("no hold stands", self.command("end-hold", 1, "--why", "x", status=1))
        self.command("end-hold", hold, "--why", "withdrawn by the court")
        self.assertEqual(self.command("holds"), "")
        for _ in range(2):
            self.assertIn("0 records of 0 sessions", self.command("expire", "--retention", "1 day", "--why", "now"))  # nothing is so old
        self.command("hold", "--patient", patient, "--patient-file", "-", "--why", "x", stdin=other_patient + "\n", status=2)
        self.command("expire", "--retention", "1 week", "--why", "now", status=2)

        # Engines that know both keys work on while the master key is exchanged.
        self.engine.start(self.server.base, "--journal-key", first, "--journal-key", second)
        self.command("rotate-key", "--new", self.folder / "none", "--why", "yearly", keys=[first], status=2)
        self.assertIn("data keys are wrapped", self.command("rotate-key", "--new", second, "--why", "yearly", keys=[first]))
        self.assertIn("0 data keys", self.command("rotate-key", "--new", second, "--why", "again", keys=[first]))
        rekeyed = self.command("list", "--kind", "rekeyed")
        self.assertIn("nothing was exchanged", self.command("rotate-key", "--new", second, "--why", "mixed up", keys=[second], status=2))
        self.assertEqual(self.command("list", "--kind", "rekeyed"), rekeyed)
        self.assertEqual(self.engine.request("GET", f"/sessions/{session}/document").status, 200)
        self.assertIn("destroyed", self.command("shred", "--patient", patient, "--why", "wish of the patient"))
        gone = self.engine.request("GET", f"/sessions/{session}/document")
        self.assertEqual(gone.status, 404)
        self.assertIn(b"it was destroyed on", gone.body)
        self.assertEqual(self.engine.request("GET", f"/sessions/{other}/document").status, 200)
        self.assertIn("no bodies", self.command("shred", "--patient", patient, "--why", "twice", status=1))
        self.engine.stop()

        said = self.command("verify", keys=[second])
        self.assertRegex(said, r"[1-9]\d* parts were destroyed as records of the journal say, 0 are sealed")
        self.command("verify", keys=[first], status=2)
        self.assertIn("says why", self.command("show", self.accepted(session), keys=[second]))
        self.assertIn('"identifier"', self.command("show", self.accepted(other), keys=[second]))
        self.command("prove", self.accepted(session))
        self.assertIn("documents were destroyed on purpose", self.command("--verify", program="replay", keys=[second]))
        self.assertIn("documents were destroyed on purpose", self.command(program="replay", keys=[second]))
        self.command("report", "corrections", "--why", "audit", keys=[second])

        folder = self.folder / "export"
        self.command("export", folder, keys=[second])
        self.assertIn("parts are destroyed, as records say", self.verified(folder))
        (note,) = folder.glob(f"records/{self.accepted(session)}.document.destroyed")
        note.write_text("1\n")  # a record that says nothing of the kind
        done = subprocess.run([sys.executable, "-B", str(SCRIPT), str(folder)], capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertIn("document.destroyed: no record says so", done.stdout)

    def test_the_engine_removes_by_itself_what_is_older_than_the_site_keeps_it(self):
        old = self.enterContext(stage.Engine(self.folder, name="old"))
        old.start(self.server.base)
        document = stage.sent("alder-moving")
        document["identifier"]["value"] = "old-1"
        session = old.session_id(old.send(document))
        stage.wait_for("landed", lambda: old.settled(session, ("landed",)))
        document["identifier"]["value"] = "held-1"
        document["patient"]["identifier"]["value"] = "P-0999"  # nobody knows this patient
        held = old.session_id(old.send(document))
        stage.wait_for("held", lambda: old.settled(held, ("held",)))
        old.stop()
        # Eleven years pass: what the engine asks is the column of the time.
        with sqlite3.connect(old.journal) as database:
            database.execute("UPDATE record SET time = (substr(time, 1, 4) - 11) || substr(time, 5)")
        refused = subprocess.run([str(stage.ENGINE), "serve", "--journal", str(old.journal), "--target", self.server.base,
                                  "--retention", "10 weeks"], capture_output=True, text=True, check=False, timeout=60)
        self.assertEqual(refused.returncode, 2)
        self.assertIn('"10 years", "18 months" or "90 days"', refused.stderr)
        old.start(self.server.base, "--retention", "12 years")
        time.sleep(4)  # two looks
        self.assertEqual(old.request("GET", f"/sessions/{session}/document").status, 200)
        old.stop()
        # The clock is two years ahead of when it was believed: nothing is removed by it, restarted or not.
        believed = pathlib.Path(f"{old.journal}.clock")
        self.assertRegex(believed.read_text(), r"^20\d\d-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z through \d+\n$")
        past = f"{int(believed.read_text()[:4]) - 2}{believed.read_text()[4:]}"
        believed.write_text(past)
        for times in (1, 2):
            old.start(self.server.base, "--retention", "10 years")
            stage.wait_for("it says so", lambda: old.log.read_text().count("event=retention-waits") >= times)
            time.sleep(4)
            self.assertEqual(old.request("GET", f"/sessions/{session}/document").status, 200)
            self.assertEqual(believed.read_text(), past)
            old.stop()
        # Until a person removes bodies by it, of which there are none that old.
        before, self.engine = self.engine, old
        try:
            # With the files of another engine of the journal, or of none: it is the record that tells them.
            self.command("--files", self.folder / "another", "expire", "--retention", "50 years", "--why", "the clock is right")
        finally:
            self.engine = before
        self.assertEqual((believed.read_text(), list(self.folder.glob("another*"))), (past, []))
        old.start(self.server.base, "--retention", "10 years")
        gone = stage.wait_for("removed", lambda: (answer := old.request("GET", f"/sessions/{session}/document")).status == 404
                              and answer, 60)
        self.assertIn(b"it was destroyed on", gone.body)
        self.assertEqual(old.request("GET", f"/sessions/{held}/document").status, 200)
        stage.wait_for("it is told, which comes after", lambda: "event=bodies-removed" in old.log.read_text())
        old.stop()
        before, self.engine = self.engine, old
        try:
            self.assertEqual(self.command("list", "--kind", "expired").count("\n"), 2)
            self.assertIn("parts were destroyed as records of the journal say", self.command("verify", status=1))  # the times
        finally:
            self.engine = before

    def test_one_patient_of_a_journal_that_was_never_sealed(self):
        plain = self.enterContext(stage.Engine(self.folder, name="plain"))
        plain.start(self.server.base)
        document = stage.sent("alder-moving")
        document["identifier"]["value"] = "plain-1"
        session = plain.session_id(plain.send(document))
        stage.wait_for("landed", lambda: plain.settled(session, ("landed",)))
        plain.stop()
        who = document["patient"]["identifier"]
        before, self.engine = self.engine, plain
        try:
            self.assertIn("that were not sealed", self.command(
                "shred", "--patient", f"{who['system']}|{who['value']}", "--why", "wish of the patient"))
            self.assertIn("parts were destroyed", self.command("verify"))
            folder = self.folder / "plain-export"
            self.command("export", folder)
            self.assertIn("parts are destroyed, as records say", self.verified(folder))
            (note,) = folder.glob(f"records/{self.accepted(session)}.document.destroyed")
            note.unlink()  # a part that is missing, and nothing says why
            done = subprocess.run([sys.executable, "-B", str(SCRIPT), str(folder)], capture_output=True, text=True, check=False)
            self.assertEqual(done.returncode, 1)
            self.assertIn("is missing", done.stdout)
        finally:
            self.engine = before


class LongLists(unittest.TestCase):
    """Two patients in turns, one destroyed: a list of what was destroyed as long as those of a real journal."""

    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(cls.enterClassContext(tempfile.TemporaryDirectory(prefix="chartferry-lists-")))
        server = cls.enterClassContext(stage.RecordServer(cls.folder, load=[stage.WARD / "people.bundle.json"]))
        server.start()
        engine = cls.enterClassContext(stage.Engine(cls.folder))
        engine.start(server.base)
        for number in range(60):
            for name in ("alder-moving", "maple-moving"):
                document = stage.sent(name)
                document["identifier"]["value"] = f"turn-{number}"
                engine.send(document)
            engine.wait_until_empty(60)  # else the records of two of them stand side by side
        engine.stop()
        cls.journal = str(engine.journal)
        who = stage.sent("alder-moving")["patient"]["identifier"]
        for words in (["shred", "--patient", f"{who['system']}|{who['value']}", "--why", "wish of the patient"],
                      ["export", str(cls.folder / "export")]):
            subprocess.run([str(stage.ENGINE), "journal", "--journal", cls.journal, *words], check=True, capture_output=True)

    def check_export(self, folder, **given):
        done = subprocess.run([sys.executable, "-B", str(SCRIPT), str(folder)], capture_output=True, text=True, check=False,
                              **given)
        self.assertEqual(done.stderr, "")
        return done.returncode, done.stdout

    def as_of_before(self, name):
        """The export as a version that packed the list would have written it, and its file."""
        folder = self.folder / name
        shutil.copytree(self.folder / "export", folder)
        (plain,) = (folder / "records").glob("[0-9]*[0-9].destroyed")
        packed = plain.with_name(plain.name + ".zst")
        packed.write_bytes(subprocess.run(["zstd", "-1cq", str(plain)], check=True, capture_output=True).stdout)
        plain.unlink()
        self.assertLess(packed.stat().st_size, 2000)
        record = plain.with_suffix(".record")
        lines = [line for line in record.read_text().splitlines() if not line.startswith("part ")]
        body = packed.read_bytes()
        lines.insert(-1, f"part destroyed {hashlib.sha256(body).hexdigest()} {len(body)} 1")
        record.write_text("\n".join(lines) + "\n")
        leaves = (folder / "leaves").read_text().split()
        leaves[int(record.stem) - 1] = hashlib.sha256(b"\0" + record.read_bytes()).hexdigest()
        (folder / "leaves").write_text("\n".join(leaves) + "\n")
        self.sign(folder, leaves)
        return folder, packed

    def sign(self, folder, leaves):
        def root(nodes):
            if len(nodes) == 1:
                return nodes[0]
            half = 1 << (len(nodes) - 1).bit_length() - 1
            return hashlib.sha256(b"\1" + root(nodes[:half]) + root(nodes[half:])).digest()

        head = (folder / "tree-heads").read_text().splitlines()[-1]
        named = dict(part.split("=") for part in head.split(" "))
        named.update(size=len(leaves), root=root([bytes.fromhex(leaf) for leaf in leaves]).hex())
        secret, text, signature = folder.parent / "secret.der", folder.parent / "text", folder.parent / "signature"
        # RFC 8410, section 7: an Ed25519 private key of these 32 bytes.
        secret.write_bytes(bytes.fromhex("302e020100300506032b657004220420" + pathlib.Path(self.journal + ".head-key").read_text()))
        text.write_text("chartferry tree head 1\n" + "".join(f"{name} {named[name]}\n" for name in ("size", "root", "time", "key")))
        subprocess.run(["openssl", "pkeyutl", "-sign", "-inkey", str(secret), "-keyform", "DER", "-rawin", "-in", str(text),
                        "-out", str(signature)], check=True)
        named["signature"] = signature.read_bytes().hex()
        (folder / "tree-heads").write_text(" ".join(f"{name}={value}" for name, value in named.items()) + "\n")

    def test_an_export_is_proved(self):
        (listed,) = (self.folder / "export" / "records").glob("[0-9]*[0-9].destroyed")
        self.assertGreater(len(listed.read_text().splitlines()), 59)
        status, said = self.check_export(self.folder / "export")
        self.assertEqual(status, 0, said)
        self.assertRegex(said, r"\d{3} parts are destroyed, as records say")

    def test_one_with_a_packed_list_is_proved_too(self):
        folder, packed = self.as_of_before("packed")
        status, said = self.check_export(folder)
        self.assertEqual(status, 0, said)
        self.assertRegex(said, r"\d{3} parts are destroyed, as records say")
        # It excuses what it lists and nothing else.
        kept = min((file for file in (folder / "records").glob("*.document.zst")), key=lambda file: int(file.name.split(".")[0]))
        kept.unlink()
        kept.with_name(kept.name.replace(".zst", ".destroyed")).write_text(packed.name.split(".")[0] + "\n")
        status, said = self.check_export(folder)
        self.assertEqual(status, 1, said)
        self.assertIn(f"fault: {kept.name}: is missing", said)

    def test_without_anything_to_unpack_it_the_export_is_not_proved(self):
        folder, packed = self.as_of_before("no-command")
        commands = self.folder / "commands"
        commands.mkdir()
        (commands / "openssl").symlink_to(shutil.which("openssl"))
        status, said = self.check_export(folder, env={"PATH": str(commands)})
        self.assertEqual(status, 2, said)
        self.assertEqual(said.count(packed.name), 1, said)
        self.assertIn(f"not proved: {packed.name}: is packed: install the zstd command", said)
        self.assertRegex(said, r"\d{3} parts are missing, and whether a record says so is not seen")
        self.assertIn("NOT PROVED", said)


if __name__ == "__main__":
    unittest.main(verbosity=2)
