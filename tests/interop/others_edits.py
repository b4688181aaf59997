#!/usr/bin/env python3
"""Somebody else writes on the record server to what the engine landed there: it is held and never overwritten."""
import contextlib
import json
import pathlib
import sqlite3
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

FHIR = {"Content-Type": "application/fhir+json"}


class OthersEdits(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-others-")))
        self.server = self.enterContext(stage.RecordServer(self.folder, load=[stage.WARD / "people.bundle.json"]))
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.server.start()
        self.engine.start(self.server.base)
        self.session = self.send("hazel-stairs.r1")
        self.wait_until("landed")

    def send(self, name):
        return self.engine.session_id(self.engine.send(stage.sent(name)))

    def wait_until(self, *states):
        return stage.wait_for(" or ".join(states), lambda: self.engine.settled(self.session, states))

    def corrected(self):
        """What revision 2 changes of revision 1, by comparing two charts of a server of their own."""
        with tempfile.TemporaryDirectory(prefix="chartferry-others-") as folder, \
                stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"]) as server, \
                stage.Engine(folder) as engine:
            server.start()
            engine.start(server.base)
            for name in ("hazel-stairs.r1", "hazel-stairs.r2"):
                session = engine.session_id(engine.send(stage.sent(name)))
                stage.wait_for("landed", lambda: engine.settled(session, ("landed",)))
            values = {one["identifier"][0]["value"] for one in server.all("Observation")
                      if one["meta"]["versionId"] == "2"}
        return next(one for one in self.server.all("Observation") if one["identifier"][0]["value"] in values)

    def chart(self, resource):
        return self.server.request("GET", f"/fhir/Observation/{resource['id']}")

    def leg(self, revision):
        (one,) = [one for one in self.engine.session(self.session)["revisions"] if one["revision"] == revision]
        return one["targets"][0]

    def edit(self, resource):
        edited = dict(resource, note=[{"text": "seen again at the bedside"}])
        answer = self.server.request("PUT", f"/fhir/Observation/{resource['id']}", edited, FHIR)
        self.assertEqual(answer.status, 200, answer.body)

    def command(self, *arguments):
        done = subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), *arguments],
                              capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 0, done.stderr)
        return done.stdout

    def test_an_edit_is_held_shown_and_written_over_only_knowingly(self):
        resource = self.corrected()
        self.edit(resource)
        before = {one["id"]: one["meta"]["versionId"] for one in self.server.all("Observation")}
        self.send("hazel-stairs.r2")
        self.assertEqual(self.wait_until("held", "landed"), ("held", "changed-elsewhere"))
        self.assertEqual({one["id"]: one["meta"]["versionId"] for one in self.server.all("Observation")}, before,
                         "nothing of the correction is there")
        (conflict,) = self.leg(2)["conflict"]
        self.assertEqual((conflict["resource"], conflict["expected"], conflict["found"]),
                         (f"Observation/{resource['id']}", 'W/"1"', 'W/"2"'))
        said = self.command("list", "--state", "held")
        self.assertIn(f"Observation/{resource['id']} was changed on the record server by somebody else", said)
        outcome = self.engine.request("GET", f"/sessions/{self.session}/outcome").json()
        self.assertEqual(outcome["issue"][0]["code"], "conflict")
        self.edit(resource)  # again, after somebody looked
        self.assertEqual(self.engine.release(self.session, "compared").status, 200)
        stage.wait_for("held for the newer version", lambda: self.engine.settled(self.session, ("held",))
                       and self.leg(2).get("conflict", [{}])[0].get("found") == 'W/"3"')
        self.command("release", self.session, "--who", "Robin Sample", "--why", "the correction is right")
        self.assertEqual(self.wait_until("landed"), ("landed", None))
        now = self.chart(resource).json()
        self.assertEqual((now["meta"]["versionId"], "note" in now), ("4", False))
        self.assertTrue(self.engine.verify_journal()[0])

    def test_a_deletion_is_held_and_withdraw_keeps_theirs(self):
        resource = self.corrected()
        self.server.request("DELETE", f"/fhir/Observation/{resource['id']}")
        self.send("hazel-stairs.r2")
        self.assertEqual(self.wait_until("held", "landed"), ("held", "changed-elsewhere"))
        self.assertTrue(self.leg(2)["conflict"][0]["gone"])
        self.command("withdraw", self.session, "--who", "Robin Sample", "--why", "deleted on purpose")
        self.wait_until("withdrawn")
        self.assertEqual(self.chart(resource).status, 410)

    def test_what_landed_after_a_backup_is_held_when_it_is_sent_again(self):
        """As the operators' guide works it off: nobody can tell it from what somebody else wrote over it."""
        backup = self.folder / "backup"
        with contextlib.closing(sqlite3.connect(self.engine.journal)) as now, contextlib.closing(sqlite3.connect(backup)) as copy:
            now.backup(copy)
        names = ("hazel-stairs.r2", "alder-moving")
        sessions = [self.send(name) for name in names]
        for session in sessions:
            stage.wait_for("landed", lambda: self.engine.settled(session, ("landed",)))
        before = self.readings()
        self.engine.stop()
        for end in ("-wal", "-shm"):
            pathlib.Path(f"{self.engine.journal}{end}").unlink(missing_ok=True)
        backup.rename(self.engine.journal)
        heads = pathlib.Path(f"{self.engine.journal}.heads")
        heads.rename(f"{heads}.until-2026-11-30")
        self.engine.start(self.server.base)
        self.assertEqual([self.send(name) for name in names], sessions)
        for session in sessions:
            stage.wait_for("held", lambda: self.engine.settled(session, ("held", "landed")))
        held = [json.loads(line) for line in self.command("list", "--state", "held", "--json").splitlines()]
        self.assertEqual([(one["session"], one["target"], one["reason"]) for one in held],
                         [(session, "main", "changed-elsewhere") for session in sessions])
        self.assertEqual(self.readings(), before)
        for one in held:
            self.command("release", one["session"], "--target", one["target"], "--why", "sent again after the backup")
        for session in sessions:
            stage.wait_for("landed", lambda: self.engine.settled(session, ("landed",)))
        after = self.readings()
        self.assertNotEqual(after, before, "written anew, with the time of this intake")
        self.assertEqual({key: dict(one, issued=before[key]["issued"]) for key, one in after.items()}, before)
        self.assertTrue(self.engine.verify_journal()[0])

    def readings(self):
        """What the Observations of the chart say, by their identifiers."""
        return {one["identifier"][0]["value"]: {name: one[name] for name in one if name not in ("id", "meta")}
                for one in self.server.all("Observation")}

    def test_a_lost_answer_is_no_edit(self):
        self.server.faults({"action": "drop-after-commit", "times": 1, "method": "POST"})
        self.send("hazel-stairs.r2")
        self.assertEqual(self.wait_until("held", "landed"), ("landed", None))
        self.assertEqual(self.server.fired(), 1)
        self.assertEqual(max(int(one["meta"]["versionId"]) for one in self.server.all("Observation")), 2)


if __name__ == "__main__":
    unittest.main()
