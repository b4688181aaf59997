#!/usr/bin/env python3
"""journal reconcile: what landed, held against what the record server has now."""
import json
import pathlib
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

JSON = {"Content-Type": "application/fhir+json"}


class Reconcile(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-reconcile-")))
        self.server = self.enterContext(stage.RecordServer(self.folder, load=[stage.WARD / "people.bundle.json"]))
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.server.start()
        self.engine.start(self.server.base)
        self.document = stage.sent("alder-moving")
        self.land()

    def land(self):
        session = self.engine.session_id(self.engine.send(self.document))
        stage.wait_for("landed", lambda: self.engine.settled(session, ("landed", "held")))
        self.assertEqual(self.engine.settled(session, ("landed", "held"))[0], "landed")

    def reconcile(self, *words, url=None):
        done = subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), "reconcile", "--url",
                               url or self.server.base, "--json", *words], capture_output=True, text=True, check=False)
        return done.returncode, json.loads(done.stdout) if done.stdout else done.stderr

    def chart(self):
        return [entry["resource"] for entry in self.server.request("GET", "/fhir/Observation?_count=100").json()["entry"]]

    def test_what_landed_is_unchanged_also_after_a_correction_of_ours(self):
        status, report = self.reconcile()
        self.assertEqual((status, report["drifts"]), (0, []))
        self.assertEqual(report["same"], report["resources"])
        self.assertGreater(report["resources"], 5)
        for part in ("r1", "r2"):
            self.document = stage.sent(f"hazel-stairs.{part}")
            self.land()
        self.assertTrue(any(int(resource["meta"]["versionId"]) > 1 for resource in self.chart()))
        status, report = self.reconcile()
        self.assertEqual((status, report["drifts"]), (0, []))

    def test_what_others_changed_or_removed_is_named(self):
        changed, removed = self.chart()[:2]
        changed["status"] = "amended"
        answer = self.server.request("PUT", f"/fhir/Observation/{changed['id']}", changed, JSON)
        self.assertEqual(answer.status, 200, answer.body)
        self.assertIn(self.server.request("DELETE", f"/fhir/Observation/{removed['id']}").status, (200, 204))
        status, report = self.reconcile()
        self.assertEqual((status, report["drifted"]), (1, 2))
        self.assertEqual({(drift["resource"], drift["kind"]) for drift in report["drifts"]},
                         {(f"Observation/{changed['id']}", "changed"), (f"Observation/{removed['id']}", "gone")})
        one = next(drift for drift in report["drifts"] if drift["kind"] == "changed")
        self.assertNotEqual(one["landed"], one["found"])
        self.assertEqual(self.reconcile("--since", "2100-01-01T00:00:00Z")[1]["resources"], 0)
        status, said = self.reconcile("--target", "another")
        self.assertEqual(status, 2)
        self.assertIn("there is no target 'another' in this journal; there are: main", said)
        # Nor does a name that was mistyped look as if nothing were there, or held.
        for words in (("list",), ("list", "--state", "held"), ("export", self.folder / "out"),
                      ("release", one["session"], "--why", "x"), ("remap", one["session"], "--why", "x"),
                      ("withdraw", one["session"], "--why", "x")):
            done = subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), *map(str, words),
                                   "--target", "mian"], capture_output=True, text=True, check=False)
            self.assertEqual((done.returncode, done.stdout), (2, ""), words)
            self.assertIn("there is no target 'mian' in this journal; there are: main", done.stderr)
        self.assertFalse((self.folder / "out").exists())

    def test_other_peoples_resources_with_our_ids_are_no_proof(self):
        # A server of its own: the ids, and version 1 of each, are those of a session of somebody else.
        with tempfile.TemporaryDirectory(prefix="chartferry-reconcile-") as folder, \
                stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"]) as server, stage.Engine(folder) as engine:
            server.start()
            engine.start(server.base)
            other = json.loads(json.dumps(self.document))
            other["identifier"]["value"] += "-other"
            session = engine.session_id(engine.send(other))
            stage.wait_for("landed", lambda: engine.settled(session, ("landed",)))
            status, report = self.reconcile(url=server.base)
            self.assertEqual((status, report["same"]), (1, 0), report)
            self.assertEqual({drift["kind"] for drift in report["drifts"]} - {"gone"}, {"other"})
            # Brought along they are found, wherever they are.
            subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--resend", "--url",
                            server.base, "--why", "moved"], check=True, capture_output=True)
            status, report = self.reconcile(url=server.base)
            self.assertEqual((status, report["drifts"]), (0, []))
            self.assertGreater(report["moved"], 0)

    def test_a_later_landing_of_ours_is_no_drift_of_an_earlier_one(self):
        self.document = stage.sent("hazel-stairs.r1")
        self.land()
        first = self.engine.records("landed")[-1]["time"]
        self.document = stage.sent("hazel-stairs.r2")
        self.land()
        until = self.engine.records("landed")[-1]["time"]
        self.assertLess(first, until)
        status, report = self.reconcile("--until", until)
        self.assertEqual((status, report["drifts"]), (0, []))

    def test_what_is_not_asked_for_is_counted(self):
        status, report = self.reconcile()
        self.assertEqual((status, report["unreadable"], report["destroyed"]), (0, 0, 0))
        who = self.document["patient"]["identifier"]
        subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), "shred", "--why", "wish",
                        "--patient", f"{who['system']}|{who['value']}"], check=True, capture_output=True)
        status, report = self.reconcile()
        self.assertEqual((status, report["resources"], report["unreadable"], report["destroyed"]), (0, 0, 0, 1))

    def test_a_server_that_does_not_answer_proves_nothing(self):
        self.engine.stop()
        self.server.stop()
        status, said = self.reconcile(url="http://127.0.0.1:1/fhir")
        self.assertEqual(status, 2)
        self.assertIn("does not answer", said)


if __name__ == "__main__":
    unittest.main()
