#!/usr/bin/env python3
"""replay --resend: what landed in one record server, moved to another."""
import json
import pathlib
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

PEOPLE = stage.WARD / "people.bundle.json"


def content(server):
    """What the chart says, without what servers add: by business identifier (Provenance: by its own id)."""
    said = {}
    for kind in ("Observation", "Procedure", "Provenance"):
        for resource in server.all(kind):
            key = resource["identifier"][0]["value"] if "identifier" in resource else resource["id"]
            said[key] = (kind, resource.get("status"), json.dumps(resource.get("valueQuantity"), sort_keys=True))
    return said


class Resend(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-resend-")))
        self.old = self.started("old", [PEOPLE])
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.engine.start(self.old.base)
        for name in ("alder-moving", "hazel-stairs.r1", "hazel-stairs.r2", "alder-breathing-am"):
            session = self.engine.session_id(self.engine.send(stage.sent(name)))
            stage.wait_for("landed", lambda: self.engine.settled(session, ("landed",)))  # pylint: disable=cell-var-from-loop

    def started(self, name, load):
        folder = self.folder / name
        folder.mkdir()
        server = self.enterContext(stage.RecordServer(folder, load=load))
        server.start()
        return server

    def resend(self, server, *words):
        done = subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--resend", "--url",
                               server.base, "--json", *map(str, words)], capture_output=True, text=True, check=False)
        return done.returncode, json.loads(done.stdout) if done.stdout else done.stderr

    def test_the_new_chart_says_the_same_and_again_changes_nothing(self):
        new = self.started("new", [PEOPLE])
        status, report = self.resend(new)
        self.assertEqual((status, report["sent"], report["complete"]), (0, 4, True), report)
        self.assertEqual(content(new), content(self.old))
        self.assertIn("corrected", {status for _, status, _ in content(new).values()})
        before = len(content(new))
        status, report = self.resend(new, "--after", report["last"])
        self.assertEqual((status, report["sent"]), (0, 0))
        status, report = self.resend(new, "--since", "2100-01-01T00:00:00Z")
        self.assertEqual((status, report["sent"]), (0, 0))
        self.assertEqual(self.resend(new)[0], 0)  # all of it once more
        self.assertEqual(len(content(new)), before)
        self.assertEqual(content(new), content(self.old))

    def test_it_stops_at_the_first_that_does_not_land_and_goes_on_from_there(self):
        new = self.started("new", [])
        status, report = self.resend(new)
        self.assertEqual((status, report["sent"], report["reason"]), (1, 0, "unknown-patient"), report)
        self.assertEqual(content(new), {})
        people = json.loads(PEOPLE.read_text(encoding="utf-8"))
        self.assertEqual(new.request("POST", "/fhir", people, {"Content-Type": "application/fhir+json"}).status, 200)
        status, report = self.resend(new, "--after", report["last"])
        self.assertEqual((status, report["sent"]), (0, 4), report)
        self.assertEqual(content(new), content(self.old))

    def test_it_says_what_it_needs(self):
        done = subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--resend"],
                              capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 2)
        self.assertIn("--url", done.stdout + done.stderr)


if __name__ == "__main__":
    unittest.main()
