#!/usr/bin/env python3
"""A journal that something happened to, under a real engine: lost keys, damaged records, older copies, heads posted away."""
import contextlib
import copy
import http.server
import os
import pathlib
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402


class Notary(http.server.BaseHTTPRequestHandler):
    """Keeps the heads that it is sent; the first it does not take."""

    taken = []
    asked = 0

    def do_POST(self):  # pylint: disable=invalid-name
        body = self.rfile.read(int(self.headers["Content-Length"])).decode()
        Notary.asked += 1
        if Notary.asked > 1:
            Notary.taken.append((self.headers["Content-Type"], body))
        self.send_response(200 if Notary.asked > 1 else 503)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_):  # pylint: disable=arguments-differ
        pass


class JournalDamage(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-damage-")))
        self.server = self.enterContext(stage.RecordServer(self.folder, load=[stage.WARD / "people.bundle.json"]))
        self.server.start()
        self.engine = self.enterContext(stage.Engine(self.folder))

    def beside(self, ending):
        return pathlib.Path(str(self.engine.journal) + ending)

    def run_once(self, *words, name="damage"):
        """One landed session; its id."""
        self.engine.start(self.server.base, *words)
        document = copy.deepcopy(stage.sent("alder-moving"))
        document["identifier"]["value"] = name
        session = self.engine.session_id(self.engine.send(document))
        stage.wait_for("landed", lambda: self.engine.settled(session, ("landed",)))
        self.engine.stop()
        return session

    def command(self, *words):
        done = subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), *map(str, words)],
                              capture_output=True, text=True, check=False, errors="replace")
        return done.returncode, done.stdout + done.stderr

    def log(self):
        return self.engine.log.read_text(errors="replace")

    def sql(self, text):
        with contextlib.closing(sqlite3.connect(self.engine.journal)) as database, database:
            return database.execute(text).fetchall()

    def test_no_engine_runs_and_no_hold_is_set_under_another_search_key(self):
        self.run_once()
        kept = self.folder / "kept.key"
        self.beside(".key").rename(kept)
        with self.assertRaisesRegex(stage.Failure, "bring the file back"):
            self.engine.start(self.server.base)
        self.assertFalse(self.beside(".key").exists())
        kept.rename(self.beside(".key"))
        wrong = self.folder / "wrong.key"
        wrong.write_text("ab" * 32 + "\n")
        status, said = self.command("list", "--patient", "https://hill.example/ids/patient|P-0007", "--key", wrong)
        self.assertEqual(status, 2, said)
        self.assertIn("chmod 600", said)
        wrong.chmod(0o600)
        patient = "https://hill.example/ids/patient|P-0007"
        for words in (("hold", "--why", "court order"), ("shred", "--why", "wish"), ("list",)):
            status, said = self.command(*words, "--patient", patient, "--key", wrong)
            self.assertEqual(status, 2, said)
            self.assertIn("not the key that the journal's patients are hidden with", said)
        self.assertEqual(self.command("hold", "--patient", patient, "--why", "court order")[0], 0)

    def test_one_damaged_head_takes_nothing_else_with_it(self):
        session = self.run_once()
        other = self.run_once(name="another")
        for kind in (3, 10):  # accepted and landed
            (at,) = self.sql(f"SELECT position FROM record WHERE session = '{session}' AND kind = {kind}")
            self.sql(f"UPDATE record SET head = 'C' || substr(head, 2) WHERE position = {at[0]}")
        status, said = self.command("verify")
        self.assertEqual(status, 1, said)
        self.assertIn(f"record {at[0]}: a record's head is not readable", said)
        status, said = self.command("list", "--limit", 1000)
        self.assertEqual(status, 0, said)
        self.assertRegex(said, rf" {at[0]} +unreadable")
        self.assertEqual(said.count("unreadable"), 2)
        status, said = self.command("export", self.folder / "export")
        self.assertEqual(status, 0, said)
        status, said = self.command("reconcile", "--url", self.server.base)
        self.assertIn("1 landings cannot be read", said)
        person = stage.sent("alder-moving")["patient"]["identifier"]
        of = ("--patient", f"{person['system']}|{person['value']}")
        # The landing, the acceptance, all of the session, all that there is.
        for report, lost in ((("delay",), 1), (("corrections", *of), 1), (("disclosures", *of), 1),
                             (("activity", "--actor", "nobody"), 2)):
            status, said = self.command("report", *report, "--why", "quality round")
            self.assertEqual(status, 0, said)
            self.assertIn(f"{lost} records cannot be read any more and are left out", said)
            status, said = self.command("report", *report, "--why", "quality round", "--format", "ndjson")
            self.assertEqual((status, said.splitlines().count(f'{{"unreadable":{lost}}}')), (0, 1), said)
        self.engine.start(self.server.base)
        stage.wait_for("the damage is told", lambda: f"the head of record {at[0]} does not hash" in self.log())
        answer = self.engine.request("POST", "/log", {},
                                     {"Content-Type": "application/json", "Read-Why": "damage"})
        self.assertEqual(answer.status, 200, answer.body)
        self.assertIn(b"unreadable", answer.body)
        self.assertEqual([one["revision"] for one in self.engine.session(session)["revisions"]], [1])
        document = copy.deepcopy(stage.sent("alder-moving"))
        document["identifier"]["value"] = "damage"
        self.assertEqual(self.engine.send(document).status, 200)  # repeated
        document["revision"] = 2
        document["entry"] = document["entry"][:1]
        answer = self.engine.send(document)
        self.assertEqual(answer.status, 202, answer.body)
        stage.wait_for("it is held or lands", lambda: self.engine.settled(session, ("held", "landed")))
        self.assertEqual(self.engine.session(other)["state"], "landed")

    def test_a_damaged_newest_record_keeps_no_engine_from_starting(self):
        self.run_once()
        (last,) = self.sql("SELECT max(position) FROM record")[0]
        self.sql(f"UPDATE record SET head = 'junk' WHERE position >= {last - 1}")
        self.engine.start(self.server.base, "--retention", "10 years")
        stage.wait_for("the damage is told", lambda: f"the head of record {last} does not hash" in self.log())
        self.assertNotIn("event=retention-waits", self.log())
        self.engine.stop()

    def test_what_waits_is_listed_past_a_damaged_acceptance(self):
        self.engine.start(self.server.base)
        sessions = []
        for name in ("first", "second", "third"):
            document = stage.sent("alder-moving")
            document["identifier"]["value"] = name
            document["patient"]["identifier"]["value"] = "P-0999"  # nobody knows this patient
            sessions.append(self.engine.session_id(self.engine.send(document)))
            stage.wait_for("held", lambda: self.engine.settled(sessions[-1], ("held",)))
        self.engine.stop()
        therapist = stage.sent("alder-moving")["therapist"]["identifier"]
        self.sql(f"UPDATE record SET head = 'junk' WHERE session = '{sessions[1]}' AND kind = 3")
        self.sql(f"DELETE FROM record WHERE session = '{sessions[2]}' AND kind = 3")
        for words, found in ((("--since", "2020-01-01T00:00:00Z"), sessions[:2]),
                             (("--therapist", f"{therapist['system']}|{therapist['value']}"), sessions[:2]),
                             (("--since", "2090-01-01T00:00:00Z"), []), ((), sessions)):
            status, said = self.command("list", "--state", "held", *words)
            self.assertEqual(status, 0, said)
            self.assertEqual([one for one in sessions if one in said], found, said)

    def test_an_older_copy_is_not_signed_against_its_anchor(self):
        anchor = self.folder / "anchor"
        self.run_once("--anchor", anchor)
        before = self.folder / "before"
        before.mkdir()
        for ending in ("", ".heads"):
            shutil.copy(self.beside(ending), before)
        self.run_once("--anchor", anchor, name="later")
        heads = anchor.read_text()
        for ending in ("", ".heads"):
            shutil.copy(before / self.beside(ending).name, self.beside(ending))
        self.engine.start(self.server.base, "--anchor", anchor)
        stage.wait_for("it is told", lambda: "event=journal-altered" in self.log())
        self.engine.stop()
        # Missing, or others by now: the engine has written since it started.
        self.assertRegex(self.log(), f"event=journal-altered what=.* signed at .*{anchor}")
        self.assertEqual(anchor.read_text(), heads)
        # As docs/operations.md says.
        anchor.rename(self.folder / "anchor.until")
        self.engine.start(self.server.base, "--anchor", anchor)
        stage.wait_for("it is told", lambda: "event=heads-missing" in self.log())
        self.engine.stop()
        self.assertEqual(anchor.read_text(), self.beside(".heads").read_text())
        self.assertEqual(self.command("verify", "--heads", anchor)[0], 0)

    def test_heads_are_posted_and_what_fails_is_told_until_it_is_over(self):
        with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Notary) as notary:
            threading.Thread(target=notary.serve_forever, daemon=True).start()
            address = f"http://127.0.0.1:{notary.server_address[1]}/heads"
            anchor = self.folder / "anchor"
            self.engine.start(self.server.base, "--anchor", anchor, "--anchor", address)
            stage.wait_for("the cause is told", lambda: f"HTTP 503 ({address})" in self.log())
            self.engine.stop()
            notary.shutdown()
        self.assertIn("event=heads-failing", self.log())
        self.assertIn("event=heads-written", self.log())
        self.assertEqual(Notary.taken, [("text/plain", anchor.read_text().splitlines(keepends=True)[-1])])
        with self.assertRaisesRegex(stage.Failure, "tree heads go to an https:// address"):
            self.engine.start(self.server.base, "--anchor", "http://notary.example/heads")

    def test_heads_are_kept_in_regular_files_only(self):
        pipe = self.folder / "pipe"
        os.mkfifo(pipe)
        with self.assertRaisesRegex(stage.Failure, f"cannot be kept here: this is no regular file.*{pipe}"):
            self.engine.start(self.server.base, "--anchor", pipe)
        os.mkfifo(self.beside(".heads"))
        with self.assertRaisesRegex(stage.Failure, "this is no regular file"):
            self.engine.start(self.server.base)
        self.assertEqual(self.command("verify")[0], 1)
        self.beside(".heads").unlink()
        # A disk that comes later, and has something else there.
        later = self.folder / "later"
        later.touch()
        self.engine.start(self.server.base, "--anchor", later / "heads")
        stage.wait_for("the disk is missed", lambda: "event=heads-failing" in self.log())
        later.unlink()
        later.mkdir()
        os.mkfifo(later / "heads")
        self.assertEqual(self.engine.stop(), 0)
        self.assertRegex(self.log(), f"event=heads-failing what=.*this is no regular file.*{later}")

    def test_what_is_made_is_the_owners_only(self):
        self.run_once()
        self.assertEqual(self.command("export", self.folder / "export")[0], 0)
        for path in (self.engine.journal, self.beside(".sets"), self.folder / "export"):
            self.assertEqual(pathlib.Path(path).stat().st_mode & 0o077, 0, path)
        for file in (self.folder / "export").rglob("*"):
            self.assertEqual(file.stat().st_mode & 0o077, 0, file)

    def test_what_is_to_be_sent_and_cannot_be_read_is_told(self):
        self.run_once()
        self.sql("DROP INDEX leg_due")
        self.sql("CREATE INDEX leg_due ON leg(target, accepted) WHERE state = 99")
        status, said = self.command("verify")
        self.assertEqual(status, 1, said)
        self.assertIn("the index leg_due is not made as in any journal", said)
        self.engine.start(self.server.base)
        stage.wait_for("it is not ready", lambda: self.engine.request("GET", "/health/ready").status == 503)
        self.assertIn(b"run journal verify", self.engine.request("GET", "/health/ready").body)
        self.assertEqual(self.engine.request("GET", "/health/live").status, 200)
        self.engine.stop()
        self.assertRegex(self.log(), "(?m)^event=queue-unread target=main kind=damaged failures=1 what=")

    def test_a_key_is_no_other_for_a_table_that_was_taken_away(self):
        self.run_once()
        self.sql("DROP TABLE agreed")
        status, said = self.command("verify")
        self.assertEqual(status, 1, said)
        self.assertIn("the table agreed does not say which key", said)
        kept = self.beside(".key").read_text()
        self.beside(".key").write_text("ab" * 32 + "\n")
        with self.assertRaisesRegex(stage.Failure, "not the key that the journal's patients are hidden with"):
            self.engine.start(self.server.base)
        status, said = self.command("shred", "--patient", "https://hill.example/ids/patient|P-0007", "--why", "wish")
        self.assertEqual(status, 2, said)
        self.beside(".key").write_text(kept)
        self.run_once(name="after")
        self.assertEqual(self.command("verify")[0], 0)

    def test_a_master_key_that_nobody_put_in_force_is_found(self):
        self.run_once()
        self.sql("INSERT INTO body_master VALUES(1, 'abcdabcdabcdabcd')")
        status, said = self.command("verify")
        self.assertEqual(status, 1, said)
        self.assertIn("under the master key abcdabcdabcdabcd, and neither a record nor a data key does", said)

    def test_blank_reasons_are_none(self):
        self.run_once()
        for words in (("show", 2), ("report", "delay"), ("hold", "--patient", "https://hill.example/ids/patient|P-0007")):
            status, said = self.command(*words, "--why", " \u00a0")
            self.assertEqual(status, 2, said)
            self.assertIn("why", said)

    def test_damage_of_the_file_is_named_at_a_start(self):
        self.run_once()
        whole = self.engine.journal.read_bytes()
        for left in (len(whole) // 2, len(whole) - 8192):
            self.engine.journal.write_bytes(whole[:left])
            with self.assertRaisesRegex(stage.Failure, "the file is cut short"):
                self.engine.start(self.server.base)
            self.assertIn("the file is cut short", self.command("verify")[1])


if __name__ == "__main__":
    unittest.main()
