#!/usr/bin/env python3
"""Mapping sets of a running engine: changed files, approval, shadow, rolling back, restart, replay over several sets."""
import copy
import pathlib
import shutil
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

JSON = {"Content-Type": "application/json"}
SUMMARY = (stage.TOP / "mappings" / "summary.map").read_text(encoding="utf-8")
CHANGED = SUMMARY.replace("'Lowest saturation: '", "'Lowest value seen: '")


class MappingSets(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-sets-")))
        self.maps = self.folder / "maps"
        self.maps.mkdir()
        (self.maps / "summary.map").write_text(SUMMARY, encoding="utf-8")
        self.server = self.enterContext(stage.RecordServer(self.folder, load=[stage.WARD / "people.bundle.json"]))
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.server.start()
        self.number = 0

    def start(self, *more):
        self.engine.start(self.server.base, "--mappings", self.maps, *more)
        stage.wait_for("the engine is ready", self.engine.ready)

    def land(self):
        """Lands a session of its own and gives the text of its summary in the chart."""
        self.number += 1
        document = copy.deepcopy(stage.sent("alder-moving"))
        document["identifier"]["value"] = f"sets-{self.number}"
        answer = self.engine.send(document)
        self.assertEqual(answer.status, 202, answer.body)
        session = self.engine.session_id(answer)
        stage.wait_for("it has landed", lambda: self.engine.settled(session, ("landed", "held")))
        self.assertEqual(self.engine.settled(session, ("landed", "held"))[0], "landed")
        chart = self.server.request("GET", "/fhir/Observation?code=session-summary&_count=100").json()
        return sorted(entry["resource"]["valueString"] for entry in chart["entry"])

    def mapping(self):
        return self.engine.request("GET", "/mapping").json()

    def change(self, text, until):
        (self.maps / "summary.map").write_text(text, encoding="utf-8")
        stage.wait_for("the change was looked at", lambda: until(self.mapping()), seconds=60, pause=0.2)

    def post(self, action, **wish):
        return self.engine.request("POST", f"/mapping/{action}", wish, JSON)

    def assert_all_verified(self):
        good, said = self.engine.verify_replay()
        self.assertTrue(good, said)
        good, said = self.engine.verify_journal()
        self.assertTrue(good, said)

    def test_a_changed_set_is_taken_only_when_it_is_good(self):
        self.start()
        first = self.mapping()["inForce"]["set"]
        self.assertTrue(any("Lowest saturation" in text for text in self.land()))
        self.change(SUMMARY.replace("group summary(", "group summary"), lambda now: "problem" in now)
        self.assertEqual(self.mapping()["inForce"]["set"], first)
        self.assertIn("summary.map", self.mapping()["problem"])
        self.land()  # work goes on
        self.change(CHANGED, lambda now: now["inForce"]["set"] != first)
        self.assertNotIn("problem", self.mapping())
        self.assertEqual(self.mapping()["previous"]["set"], first)
        self.assertTrue(any("Lowest value seen" in text for text in self.land()))
        self.assert_all_verified()  # of both sets

    def test_the_name_of_a_file_makes_no_line_of_the_log(self):
        self.start()
        (self.maps / "x\nevent=paused target=main what=forged.map").write_text("no map", encoding="utf-8")
        stage.wait_for("it was looked at", lambda: "problem" in self.mapping(), seconds=60, pause=0.2)
        self.engine.stop()
        events = [line.split(" ")[0] for line in self.engine.log.read_text(encoding="utf-8").splitlines()]
        self.assertIn("event=mapping-refused", events)
        self.assertNotIn("event=paused", events)

    def test_a_set_that_fails_a_sample_of_the_site_is_not_taken(self):
        (self.maps / "samples").mkdir()
        shutil.copy(stage.TOP / "mappings" / "samples" / "walk.session.json", self.maps / "samples")
        shutil.copy(stage.TOP / "tests" / "golden" / "note.bundle.json", self.maps / "samples" / "walk.bundle.json")
        self.start()
        self.change(CHANGED, lambda now: "problem" in now)
        self.assertIn("samples/walk.session.json", self.mapping()["problem"])

    def test_a_set_waits_in_shadow_for_a_person_and_can_be_rolled_back(self):
        self.start("--approval-needed")
        first = self.mapping()["inForce"]["set"]
        self.change(CHANGED, lambda now: "waiting" in now)
        waiting = self.mapping()["waiting"]["set"]
        self.assertNotEqual(waiting, first)
        self.assertTrue(all("Lowest saturation" in text for text in self.land()))
        shadow = self.mapping()["waiting"]["shadow"]
        self.assertEqual((shadow["translations"], shadow["same"]), (1, 0))
        self.assertEqual([one["kind"] for one in shadow["differences"]], ["Observation.valueString changed"])
        self.assertEqual(self.post("approve", set=waiting, actor="", why="shorter").status, 422)
        self.assertEqual(self.post("approve", set="no-such-set", actor="Robin Sample", why="shorter").status, 404)
        self.assertEqual(self.post("approve", set=waiting, actor="Robin Sample", why="shorter").status, 200)
        self.assertEqual(self.mapping()["inForce"]["actor"], "Robin Sample")
        self.assertTrue(any("Lowest value seen" in text for text in self.land()))
        self.engine.stop()
        self.start("--approval-needed")
        self.assertEqual(self.mapping()["inForce"]["set"], waiting)
        self.change(SUMMARY + "// again\n", lambda now: "waiting" in now)
        third = self.mapping()["waiting"]["set"]
        self.assertEqual(self.post("approve", set=third, actor="Robin Sample", why="back").status, 200)
        self.assertEqual(self.post("roll-back", actor="Kim Sample", why="not read by anybody").status, 200)
        self.assertEqual(self.mapping()["inForce"]["set"], waiting)
        self.assertEqual(self.post("roll-back", actor="Kim Sample", why="twice").status, 200)
        self.assertEqual(self.mapping()["inForce"]["set"], third)
        self.assert_all_verified()


if __name__ == "__main__":
    unittest.main()
