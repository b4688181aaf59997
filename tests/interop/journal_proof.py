#!/usr/bin/env python3
"""Proofs of the journal: signed heads, prove, export, and the verifying script of the docs, over tampered copies too."""
import copy
import hashlib
import json
import pathlib
import pty
import random
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

SCRIPT = stage.TOP / "docs" / "formats" / "verify_export.py"


# Sets a terminal's title and clears it.
STEERING = b"\x1b]0;owned\x07\x1b[2J{\"x\""


class JournalProof(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(cls.enterClassContext(tempfile.TemporaryDirectory(prefix="chartferry-proof-")))
        cls.anchor = cls.folder / "anchor"
        server = cls.enterClassContext(stage.RecordServer(cls.folder, load=[stage.WARD / "people.bundle.json"]))
        engine = cls.enterClassContext(stage.Engine(cls.folder))
        server.start()
        for _ in range(2):  # two runs: heads of several sizes
            engine.start(server.base, "--anchor", cls.anchor)
            document = copy.deepcopy(stage.sent("alder-moving"))
            document["identifier"]["value"] = f"proof-{_}"
            session = engine.session_id(engine.send(document))
            if _ == 0:
                engine.request("POST", "/sessions", STEERING, {"Content-Type": "application/json"})  # refused, and kept
            stage.wait_for("landed", lambda: engine.settled(session, ("landed",)))  # pylint: disable=cell-var-from-loop
            engine.stop()
        cls.journal = pathlib.Path(engine.journal)

    def command(self, *words, journal=None):
        done = subprocess.run([str(stage.ENGINE), "journal", "--journal", str(journal or self.journal), *map(str, words)],
                              capture_output=True, text=True, check=False, errors="replace")
        return done.returncode, done.stdout + done.stderr

    def copied(self, name):
        """A copy of the journal's files, to be spoilt."""
        folder = self.folder / name
        folder.mkdir()
        for file in self.folder.glob(self.journal.name + "*"):
            if file.is_file() and not file.name.endswith(".lock"):
                shutil.copy(file, folder)
        return folder / self.journal.name

    def export(self, name, *words, journal=None):
        folder = self.folder / name
        status, said = self.command("export", folder, *words, journal=journal)
        self.assertEqual(status, 0, said)
        return folder

    def check_export(self, folder, *words):
        done = subprocess.run([sys.executable, "-B", str(SCRIPT), str(folder), *map(str, words)], capture_output=True,
                              text=True, check=False)
        self.assertEqual(done.stderr, "")
        return done.returncode, done.stdout

    def test_heads_are_signed_and_the_whole_is_sound(self):
        status, said = self.command("verify")
        self.assertEqual(status, 0, said)
        self.assertNotIn("remark", said)
        self.assertRegex(said, r"([4-9]) of \1 tree heads agree")
        self.assertEqual(self.anchor.read_bytes(), pathlib.Path(str(self.journal) + ".heads").read_bytes())
        self.assertEqual(pathlib.Path(str(self.journal) + ".head-key").stat().st_mode & 0o777, 0o600)

    def test_what_a_sender_wrote_steers_no_terminal(self):
        status, said = self.command("list", "--kind", "refused", "--json")
        self.assertEqual(status, 0, said)
        words = [str(stage.ENGINE), "journal", "--journal", str(self.journal), "show",
                 str(json.loads(said.splitlines()[0])["position"]), "--why", "what came there"]
        terminal, program = pty.openpty()
        with open(terminal, "rb", buffering=0) as reader:
            with open(program, "wb", buffering=0) as writer:
                self.assertEqual(subprocess.run(words, stdout=writer, check=False).returncode, 0)
                shown = reader.read(65536)
        self.assertIn(b"owned", shown)
        self.assertNotIn(b"\x1b", shown)
        # Another program gets it as it was sent.
        self.assertIn(STEERING, subprocess.run(words, stdout=subprocess.PIPE, check=False).stdout)

    def test_whoever_altered_it_writes_no_line_of_the_verdict(self):
        verdict = "sound: 20 records, 20 parts, 50000 bytes, 2 of 2 tree heads agree, root ab12"
        name = f"x\x1b[2J\x1b[H\n{verdict}\u202e\x9b\x1b[30m"
        journal = self.copied("steered")
        with sqlite3.connect(journal) as database:
            database.execute("UPDATE record SET head = replace(head, 'kind landed', 'kind held')")
            database.execute(f'CREATE VIEW "{name}" AS SELECT 1')
        terminal, program = pty.openpty()
        with open(terminal, "rb", buffering=0) as reader, open(program, "wb", buffering=0) as writer:
            words = [str(stage.ENGINE), "journal", "--journal", str(journal), "verify"]
            self.assertEqual(subprocess.run(words, stdout=writer, check=False).returncode, 1)
            shown = reader.read(65536).decode("utf-8")
        said = self.command("verify", journal=journal)[1]
        folder = self.export("steered-export")
        (folder / "records" / name).write_text("x")
        for text in (shown.replace("\r\n", "\n"), said, self.check_export(folder)[1]):
            lines = [line for line in text.split("\n") if line]
            self.assertTrue(any("fault: " in line and verdict in line for line in lines), text)
            self.assertFalse(any(line.startswith("sound") for line in lines), text)
            self.assertTrue(lines[-1].startswith("NOT SOUND: "), text)
            for steering in "\x1b\u202e\x9b\r":
                self.assertNotIn(steering, text)

    def test_a_hold_reads_as_it_was_written(self):
        journal = self.copied("held")
        status, said = self.command("hold", "--patient", "https://hill.example/ids/patient|P-0999", "--why",
                                    "order \u202eof the court", journal=journal)
        self.assertEqual(status, 0, said)
        status, said = self.command("holds", journal=journal)
        self.assertEqual(status, 0, said)
        self.assertIn("(order  of the court)", said)

    @staticmethod
    def forge(folder, head, parts):
        """What anybody can do with a folder and no key: a record behind the last one, with its parts."""
        leaves = (folder / "leaves").read_text().split()
        position = len(leaves) + 1
        lines = "".join(f"part {name} {hashlib.sha256(body).hexdigest()} {len(body)} 0\n" for name, body in parts.items())
        text = (f"chartferry-record 1\nposition {position}\ntime 2026-11-30T21:00:00.000Z\n{head}{lines}"
                f"previous {leaves[-1]}\n").encode()
        (folder / "records" / f"{position}.record").write_bytes(text)
        for name, body in parts.items():
            (folder / "records" / f"{position}.{name}").write_bytes(body)
        leaves.append(hashlib.sha256(b"\0" + text).hexdigest())
        (folder / "leaves").write_text("\n".join(leaves) + "\n")
        return position

    def test_what_no_signed_head_covers_is_not_proved_and_excuses_nothing(self):
        folder = self.export("forged")
        self.assertRegex(self.check_export(folder)[1], r"sound: \d+ records of (\d+), \1 of them under signed heads")
        position = self.forge(folder, "kind read\nreason record-shown\nactor Robin Sample (robin)\n", {"document": b"{}"})
        status, said = self.check_export(folder)
        self.assertEqual(status, 2, said)
        self.assertIn(f"{position}.record: is newer than the signed heads", said)
        self.assertIn("NOT PROVED", said)
        position = self.forge(folder, "kind shredded\nactor Robin Sample (robin)\n", {"destroyed": b"records 2 2\n"})
        (folder / "records" / "2.document.zst").unlink()
        (folder / "records" / "2.document.destroyed").write_text(f"{position}\n")
        status, said = self.check_export(folder)
        self.assertEqual(status, 1, said)
        self.assertIn("2.document.zst: is missing", said)

    def test_a_file_that_no_record_names_is_no_part_of_an_export(self):
        for name in ("2.document", "2.note", "02.record", "2.document.key"):
            folder = self.export(f"beside-{name}")
            (folder / "records" / name).write_bytes((folder / "records" / "2.record").read_bytes())
            status, said = self.check_export(folder)
            self.assertEqual(status, 1, said)
            self.assertIn(f"fault: {name}: ", said)

    def test_an_export_without_the_secret_ends_with_the_last_head(self):
        journal = self.copied("keyless")
        pathlib.Path(f"{journal}.head-key").unlink()
        signed = int(pathlib.Path(f"{journal}.heads").read_text().splitlines()[-1].split()[0][5:])
        folder = self.folder / "keyless-export"
        status, said = self.command("export", folder, journal=journal)
        self.assertEqual(status, 0, said)
        self.assertIn("no head could be signed for this export", said)
        self.assertEqual(len((folder / "leaves").read_text().split()), signed)
        self.assertEqual(self.check_export(folder)[0], 0)
        # And one that is not the one of before is not signed over, either.
        with sqlite3.connect(self.copied("rewritten")) as database:
            database.execute("UPDATE record SET leaf = zeroblob(32) WHERE position = 3")
        folder = self.folder / "rewritten-export"
        status, said = self.command("export", folder, journal=self.folder / "rewritten" / journal.name)
        self.assertIn("contradicts its signed heads", said)
        self.assertEqual(self.check_export(folder)[0], 1)

    def test_newest_records_cut_off_are_missed(self):
        journal = self.copied("cut")
        with sqlite3.connect(journal) as database:
            signed = int(self.anchor.read_text().splitlines()[-1].split()[0][5:])
            # From "stopped" on: no state stands on these.
            database.execute("DELETE FROM record WHERE position >= ?", (signed,))
        status, said = self.command("verify", journal=journal)
        self.assertEqual(status, 1, said)
        self.assertIn("the newest ones are missing", said)

    def test_a_line_that_nobody_with_the_key_wrote_takes_no_proof_away(self):
        journal = self.copied("forged-head")
        heads = pathlib.Path(f"{journal}.heads")
        words = heads.read_text().splitlines()[-1].split(" ")
        forged = ["size=100000", "root=" + "a" * 64, *words[2:4], "signature=" + "0" * 128]
        heads.write_text(heads.read_text() + " ".join(forged) + "\n")
        status, said = self.command("verify", journal=journal)
        self.assertEqual(status, 1, said)
        self.assertIn("the signature does not verify", said)
        status, said = self.command("prove", 2, journal=journal)
        self.assertEqual(status, 0, said)
        self.assertLess(json.loads(said)["treeHead"]["size"], 100000)
        self.assertEqual(self.check_export(self.export("under-forged", journal=journal))[0], 0)

    def test_a_head_of_another_key_is_named(self):
        journal = self.copied("key")
        other = self.copied("other-key")
        key = subprocess.run(["openssl", "genpkey", "-algorithm", "ed25519"], capture_output=True, check=True).stdout
        public = subprocess.run(["openssl", "pkey", "-pubout"], input=key, capture_output=True, check=True).stdout
        pathlib.Path(str(other) + ".head-key.pub").write_bytes(public)
        status, said = self.command("verify", "--head-key", str(other) + ".head-key.pub", journal=journal)
        self.assertEqual(status, 1, said)
        self.assertIn("signed with another key", said)
        self.assertRegex(said, r"0 of [4-9] tree heads agree")  # whoever signed them

    def test_a_line_that_is_no_head_is_named_and_the_heads_around_it_count(self):
        journal = self.copied("garbage")
        heads = pathlib.Path(f"{journal}.heads")
        lines = heads.read_text().splitlines()
        heads.write_text("\n".join([lines[0], "garbage", *lines[1:]]) + "\nsize=9")  # the last was cut off with the power
        status, said = self.command("verify", journal=journal)
        self.assertEqual(status, 1, said)
        self.assertIn(f"fault: {heads}:2: this line is no tree head; it proves nothing", said)
        self.assertIn("NOT SOUND: ", said)
        self.assertIn(f"{len(lines)} of {len(lines)} tree heads agree", said)
        self.assertNotIn("no signed tree heads", said)
        status, said = self.command("prove", 2, journal=journal)
        self.assertEqual((status, json.loads(said)["position"]), (0, 2), said)
        self.assertEqual(self.check_export(self.export("of-garbage", journal=journal))[0], 0)

    def test_the_public_key_is_that_of_the_secret_where_its_file_was_left_behind(self):
        journal = self.copied("left-behind")
        key = pathlib.Path(f"{journal}.head-key.pub")
        key.unlink()
        status, said = self.command("verify", journal=journal)
        self.assertEqual(status, 0, said)
        self.assertEqual(self.command("prove", 2, journal=journal)[0], 0)
        folder = self.export("of-left-behind", journal=journal)
        self.assertEqual((folder / "head-key.pub").read_bytes(), pathlib.Path(f"{self.journal}.head-key.pub").read_bytes())
        self.assertEqual(self.check_export(folder)[0], 0)
        # One that was named has to be there, and one that is there counts.
        self.assertEqual(self.command("verify", "--head-key", key, journal=journal)[0], 2)
        key.write_text("no key\n")
        status, said = self.command("verify", journal=journal)
        self.assertEqual(status, 1, said)

    def refused_start(self, journal, *words, target="http://127.0.0.1:9"):
        done = subprocess.run([str(stage.ENGINE), "serve", "--listen", "127.0.0.1:0", "--journal", str(journal), "--target",
                               target, *map(str, words)], capture_output=True, text=True, check=False, timeout=30)
        self.assertNotEqual(done.returncode, 0, done.stderr)
        return done.stderr

    def test_the_key_of_the_heads_is_exchanged_on_purpose_only(self):
        journal = self.copied("new-head-key")
        key, public, heads = (pathlib.Path(f"{journal}.{name}") for name in ("head-key", "head-key.pub", "heads"))
        before, records = public.read_bytes(), self.command("list", journal=journal)[1]
        key.rename(self.folder / "kept-head-key")
        self.assertIn("bring that key back", self.refused_start(journal))
        key.write_text("07" * 32 + "\n")
        key.chmod(0o600)
        self.assertIn(str(public), self.refused_start(journal))
        self.assertEqual(public.read_bytes(), before)
        public.rename(self.folder / "kept.pub")
        self.assertIn(str(heads), self.refused_start(journal))
        kept = heads.rename(self.folder / "kept.heads")
        anchor = shutil.copy(kept, self.folder / "kept.anchor")
        self.assertIn(str(anchor), self.refused_start(journal, "--anchor", anchor))
        self.assertEqual(self.command("list", journal=journal)[1], records)
        key.unlink()
        with stage.Engine(journal.parent) as engine:
            engine.start("http://127.0.0.1:9")
            engine.stop()
        status, said = self.command("verify", journal=journal)
        self.assertEqual(status, 0, said)
        # The old key proves what it signed, and nothing that came later.
        status, said = self.command("verify", "--heads", kept, "--head-key", self.folder / "kept.pub", journal=journal)
        self.assertEqual(status, 2, said)
        self.assertRegex(said, r"remark: record \d+: from here on the heads are signed with the key")
        self.assertRegex(said, r"NOT PROVED: .* ([4-9]) of \1 tree heads agree")

    def test_heads_that_were_taken_away_are_missed(self):
        journal = self.copied("thinned")
        heads = pathlib.Path(f"{journal}.heads")
        heads.write_text(heads.read_text().splitlines(True)[0])
        status, said = self.command("verify", journal=journal)
        self.assertEqual(status, 2, said)
        self.assertRegex(said, r"remark: record \d+ says that an engine ended, which signs a head then")
        self.assertRegex(said, r"the newest \d+ of \d+ records are under no signed head\nNOT PROVED: ")
        with stage.Engine(journal.parent) as engine:
            engine.start("http://127.0.0.1:9")
            engine.stop()
            self.assertIn("event=heads-missing", pathlib.Path(engine.log).read_text())
        # Signed over now, and on record.
        status, said = self.command("verify", journal=journal)
        self.assertEqual(status, 0, said)
        self.assertRegex(said, r"remark: record \d+: when this engine started signed heads covered \d+ of the \d+ records")

    def test_a_start_that_is_refused_is_no_crash(self):
        journal = self.copied("refused-start")
        counts = [self.command("list", "--kind", kind, journal=journal)[1].count("\n") for kind in ("started", "stopped")]
        self.refused_start(journal, target="no address")
        self.refused_start(journal, "--ward", self.folder / "none")
        after = [self.command("list", "--kind", kind, journal=journal)[1].count("\n") for kind in ("started", "stopped")]
        self.assertEqual(after[0] - counts[0], after[1] - counts[1])

    def test_on_a_full_disk_a_record_is_proved_all_the_same(self):
        def full():  # a write fails, and no signal ends the program
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))

        journal = self.copied("full-disk")
        records = self.command("list", "--limit", 1000, journal=journal)[1]
        words = [str(stage.ENGINE), "journal", "--journal", str(journal)]
        with sqlite3.connect(journal) as beside:  # as an engine: its log and its index are there
            beside.execute("SELECT count(*) FROM record").fetchone()
            done = subprocess.run([*words, "prove", "2"], capture_output=True, check=False, preexec_fn=full)
            self.assertEqual(done.returncode, 0, done.stderr)
            self.assertEqual(json.loads(done.stdout)["position"], 2)
            self.assertIn(b"nobody's looking is recorded", done.stderr)
            # What shows a patient's record is not shown where that cannot be written down.
            done = subprocess.run([*words, "show", "2"], capture_output=True, check=False, preexec_fn=full)
            self.assertEqual((done.returncode, done.stdout), (2, b""), done.stderr)
        beside.close()
        self.assertEqual(self.command("list", "--limit", 1000, journal=journal)[1], records)

    def test_a_file_that_is_named_and_not_there_is_an_error(self):
        empty = self.folder / "empty"
        empty.write_text("")
        for words in (("--heads", self.folder / "none"), ("--heads", self.anchor, "--heads", self.folder / "none"),
                      ("--head-key", self.folder / "none"), ("--head-key", self.anchor)):
            for command in (("verify",), ("prove", 2), ("prove", "--from", 1), ("export", self.folder / "no-export")):
                status, said = self.command(*command, *words)
                self.assertEqual(status, 2, said)
                self.assertIn(str(words[-1]), said)
                self.assertNotIn("SOUND", said)
        status, said = self.command("verify", "--heads", empty)
        self.assertEqual(status, 1, said)
        self.assertIn("holds no tree head", said)

    def test_a_record_is_proved_to_anybody(self):
        status, said = self.command("prove", 2)
        self.assertEqual(status, 0, said)
        proof = json.loads(said)
        # RFC 9162, section 2.1.3.2, with nothing of ours.
        self.assertEqual(hashlib.sha256(b"\x00" + proof["record"].encode()).hexdigest(), proof["leaf"])
        place, last, node = proof["position"] - 1, proof["treeHead"]["size"] - 1, bytes.fromhex(proof["leaf"])
        for step in map(bytes.fromhex, proof["path"]):
            self.assertGreater(last, 0)
            if place % 2 or place == last:
                node = hashlib.sha256(b"\x01" + step + node).digest()
                while place % 2 == 0 and place:
                    place, last = place >> 1, last >> 1
            else:
                node = hashlib.sha256(b"\x01" + node + step).digest()
            place, last = place >> 1, last >> 1
        self.assertEqual(last, 0)
        self.assertEqual(node.hex(), proof["treeHead"]["root"])
        sizes = [int(line.split()[0][5:]) for line in self.anchor.read_text().splitlines()]
        status, said = self.command("prove", "--from", sizes[0])
        self.assertEqual(status, 0, said)
        self.assertEqual((json.loads(said)["from"]["size"], json.loads(said)["to"]["size"]), (sizes[0], sizes[-1]))
        self.assertEqual(self.command("prove", 10**6)[0], 2)
        self.assertEqual(self.command("prove", "--from", 10**6)[0], 2)

    def test_what_is_no_record_and_no_session_is_said(self):
        for words, why in [(("list", "--limit", 0), "no whole number above 0"), (("list", "--after=-1",), "no whole number"),
                           (("show", "--why", "x", "--", -1), "no whole number above 0"),
                           (("list", "--session", "nonsense"), "no session id")]:
            status, said = self.command(*words)
            self.assertEqual(status, 2, words)
            self.assertIn(why, said)
        self.assertEqual(self.command("list", "--after", 0)[0], 0)

    def test_who_looked_and_why_is_listed(self):
        self.assertEqual(self.command("show", 2, "--who", "Kim Sample", "--why", "complaint of the ward")[0], 0)
        status, said = self.command("list", "--kind", "read", "--limit", 1000)
        self.assertEqual(status, 0)
        self.assertRegex(said, r"record-shown by Kim Sample \(command, uid \d+.*\) \(complaint of the ward\)")
        status, said = self.command("list", "--kind", "read", "--json", "--limit", 1000)
        looks = [json.loads(line) for line in said.splitlines()]
        self.assertTrue(any((look["actor"].partition(" (command")[0], look["why"], look["reason"]) ==
                            ("Kim Sample", "complaint of the ward", "record-shown") for look in looks if "why" in look))
        landed = [json.loads(line) for line in self.command("list", "--kind", "checked", "--json")[1].splitlines()]
        self.assertEqual(len(landed), 2)
        self.assertTrue(all("mapping" in record["made-with"] for record in landed), landed)

    def test_an_export_is_verified_by_the_script_of_the_docs(self):
        folder = self.export("all")
        status, said = self.check_export(folder, str(self.journal) + ".head-key.pub")
        self.assertEqual(status, 0, said)
        self.assertIn("sound: ", said)
        self.assertEqual(self.command("export", folder)[0], 2)  # not over something that is there
        only = self.export("landed", "--kind", "landed")
        self.assertEqual(len(list((only / "records").glob("*.record"))), 2)
        self.assertEqual(self.check_export(only)[0], 0)

    def test_a_tampered_export_is_found_out(self):
        whole = self.export("whole")
        part = sorted((whole / "records").glob("*.document*"))[0].name
        record = part.split(".")[0] + ".record"

        def flip(file, at=10):
            data = bytearray(file.read_bytes())
            data[at] ^= 1
            file.write_bytes(data)

        def swap(folder):
            leaves = (folder / "leaves").read_text().split()
            leaves[1], leaves[2] = leaves[2], leaves[1]
            (folder / "leaves").write_text("\n".join(leaves) + "\n")

        def resign(folder):
            lines = (folder / "tree-heads").read_text().splitlines()
            head, signature = lines[-1].rsplit("=", 1)
            lines[-1] = head + "=" + signature[:-1] + ("0" if signature[-1] != "0" else "1")
            (folder / "tree-heads").write_text("\n".join(lines) + "\n")

        for name, spoil, finding in [
                ("body", lambda f: flip(f / "records" / part), f"{part}: its bytes are not those"),
                ("record", lambda f: flip(f / "records" / record), f"{record}: is not the record"),
                ("gone", lambda f: (f / "records" / part).unlink(), f"{part}: is missing"),
                ("cut", lambda f: (f / "leaves").write_text("\n".join((f / "leaves").read_text().split()[:3])), "covers"),
                ("swapped", swap, "have another root"),
                ("signature", resign, "the signature does not verify")]:
            folder = self.folder / f"tampered-{name}"
            shutil.copytree(whole, folder)
            spoil(folder)
            status, said = self.check_export(folder)
            self.assertEqual(status, 1, name)
            self.assertIn(finding, said)

    def test_what_is_no_export_is_named_in_a_sentence(self):
        broken = self.export("broken")
        (broken / "leaves").write_text("no hash\n")
        headless = self.export("headless")
        (headless / "tree-heads").write_text("size=many\n")
        strange = self.export("strange")
        (strange / "records" / "x.record").write_text("kind landed\n")
        for words, said in (((self.folder / "none",), "is no folder"), ((self.folder,), "leaves"), ((broken,), "leaves"),
                            ((headless,), "tree-heads:1"), ((strange,), "x.record"),
                            ((self.export("good"), self.folder / "none"), "none")):
            done = subprocess.run([sys.executable, "-B", str(SCRIPT), *map(str, words)], capture_output=True, text=True,
                                  check=False)
            self.assertNotEqual(done.returncode, 0, words)
            self.assertNotIn("Traceback", done.stderr)
            self.assertIn(said, done.stdout + done.stderr)

    def test_a_flipped_byte_anywhere_changes_nothing_unseen(self):
        """Each is named, or lies where no reader sees it: then everything that can be read is as it was."""
        def readable(journal):
            with sqlite3.connect(f"file:{journal}?mode=ro&immutable=1", uri=True) as database:
                return [list(database.execute(f"SELECT * FROM {table} ORDER BY 1, 2"))
                        for table in ("record", "part", "revision", "leg")]

        chance = random.Random(7)
        journal = self.copied("flips")
        with sqlite3.connect(journal) as database:
            database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        good, before = journal.read_bytes(), readable(journal)
        named = 0
        for _ in range(100):
            data = bytearray(good)
            place = chance.randrange(len(data))
            data[place] ^= 1 << chance.randrange(8)
            journal.write_bytes(data)
            status, said = self.command("verify", journal=journal)
            if status == 0:
                self.assertEqual(readable(journal), before, f"byte {place}")
            else:
                self.assertRegex(said, "fault|unreadable|chartferry journal", f"byte {place}")
                named += 1
        self.assertGreater(named, 10)

    def test_a_truncated_file_is_named(self):
        journal = self.copied("short")
        with sqlite3.connect(journal) as database:
            database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        data = journal.read_bytes()
        journal.write_bytes(data[:len(data) // 2])
        status, said = self.command("verify", journal=journal)
        self.assertNotEqual(status, 0, said)
        self.assertRegex(said, "fault|unreadable|chartferry journal")


if __name__ == "__main__":
    unittest.main()
