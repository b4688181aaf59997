#!/usr/bin/env python3
"""The ward list as a site gives it: what the engine refuses at the start, and what it says while it runs."""
import copy
import json
import os
import pathlib
import sys
import tempfile
import time
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

NOWHERE = "http://127.0.0.1:9/fhir"


class WardList(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-ward-")))
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.path = self.folder / "ward.json"
        self.writes = 0
        self.good = json.loads((stage.WARD / "ward.json").read_text(encoding="utf-8"))

    def write(self, ward):
        """As an admissions system should: a new file, renamed over the old."""
        text = ward if isinstance(ward, str) else json.dumps(ward, indent=1)
        fresh = self.path.with_suffix(".new")
        fresh.write_text(text, encoding="utf-8")
        self.writes += 1  # a file system may tell two writes of one moment apart by nothing
        os.utime(fresh, (time.time(), 1_700_000_000 + self.writes))
        os.replace(fresh, self.path)

    def changed(self, change):
        ward = copy.deepcopy(self.good)
        change(ward)
        return ward

    def test_an_unusable_list_keeps_the_engine_from_starting_with_its_place(self):
        def saturation(ward):
            ward["patient"][0]["order"]["saturationTarget"]["low"]["value"] = 194

        for what, ward, said in (
                ("no JSON", "{", "ward.json:1:2"),
                ("a member twice", '{"patient":[],"patient":[]}', "a second time"),
                ("an unknown member", self.changed(lambda w: w.update(nurse=[])), "no member 'nurse'"),
                ("no patients", self.changed(lambda w: w.update(patient=[])), "'patient' is a list"),
                ("anchors that are no texts", self.changed(lambda w: w.update(anchors={"exertion": {"6": 6}})),
                 "texts by number"),
                ("anchors of another rating", self.changed(lambda w: w.update(anchors={"pain": {}})), "no member 'pain'"),
                ("a bed twice", self.changed(lambda w: w["patient"][1].update(bed="1A")), "same bed"),
                ("no name", self.changed(lambda w: w["patient"][0].pop("name")), "a text 'name'"),
                ("no identifier", self.changed(lambda w: w["patient"][0]["patient"].pop("identifier")),
                 "patient.identifier"),
                ("an impossible limit", self.changed(saturation), "saturationTarget.low"),
                ("a therapist without discipline", self.changed(lambda w: w["therapist"][0].update(discipline="XX")),
                 "discipline"),
                ("a sheet with another member", self.changed(lambda w: w.update(sheet={"then": ["x"]})), "no member 'then'"),
                ("a sheet's text that is no list", self.changed(lambda w: w["sheet"].update(stop="x")), "'stop' is a list"),
                ("an empty list of a patient's sheet", self.changed(lambda w: w["patient"][0].update(sheet={"call": []})),
                 "1 to 8 texts"),
                ("a line too long", self.changed(lambda w: w["sheet"].update(call=["x" * 301])), "300 bytes"),
                ("too many lines", self.changed(lambda w: w["sheet"].update(call=["x"] * 9)), "1 to 8 texts"),
                ("too many patients", self.changed(lambda w: w.update(patient=w["patient"][:1] * 501)), "at most 500")):
            with self.subTest(what):
                self.write(ward)
                with self.assertRaises(stage.Failure) as refused:
                    self.engine.start(NOWHERE, "--ward", self.path)
                self.assertIn(said, str(refused.exception))
                self.assertIn("ward.json", str(refused.exception))
                self.engine.process = None  # it has ended by itself
                self.engine.log.unlink()

    def test_a_change_is_taken_while_it_runs_and_a_bad_one_is_told(self):
        self.write(self.good)
        self.engine.start(NOWHERE, "--ward", self.path)
        beds = [patient["bed"] for patient in self.engine.request("GET", "/ward").json()["patient"]]
        self.assertEqual(beds[:2], ["1A", "1B"])
        self.write(self.changed(lambda ward: ward["patient"][0].update(bed="9Z")))
        self.assertEqual(self.engine.request("GET", "/ward").json()["patient"][0]["bed"], "9Z")
        self.write(self.changed(lambda ward: ward["patient"][0].pop("bed")))
        answer = self.engine.request("GET", "/ward")
        self.assertEqual(answer.status, 503)
        self.assertIn("a text 'bed'", answer.body.decode())
        self.path.unlink()
        self.assertEqual(self.engine.request("GET", "/ward").status, 503)
        self.write(self.good)
        self.assertEqual(self.engine.request("GET", "/ward").status, 200)

    def test_without_a_list_the_page_is_told_so(self):
        self.engine.start(NOWHERE)
        answer = self.engine.request("GET", "/ward")
        self.assertEqual(answer.status, 404)
        self.assertIn("--ward FILE", answer.body.decode())


if __name__ == "__main__":
    unittest.main()
