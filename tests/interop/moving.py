#!/usr/bin/env python3
"""A session that was recorded on the wrong patient: moved at a running engine over HTTP and by the command."""
import copy
import json
import pathlib
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

JSON = {"Content-Type": "application/json"}
PATIENTS = "https://hill.example/ids/patient"
WRONG, RIGHT = "P-0101", "P-0102"
WHY = "Charted on the wrong bed"


class Moving(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-moving-")))
        self.server = self.enterContext(stage.RecordServer(self.folder, load=[stage.WARD / "people.bundle.json"]))
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.server.start()
        self.engine.start(self.server.base)
        self.document = stage.sent("alder-breathing-am")
        self.assertEqual(self.document["patient"]["identifier"], {"system": PATIENTS, "value": WRONG})
        answer = self.engine.send(self.document)
        self.assertEqual(answer.status, 202, answer.body)
        self.session = self.engine.session_id(answer)
        self.wait_until_landed()

    def wait_until_landed(self):
        self.engine.wait_until_landed()

    def move(self, **more):
        body = {"to": {"system": PATIENTS, "value": RIGHT}, "actor": "Robin Sample", "why": WHY, **more}
        return self.engine.request("POST", f"/sessions/{self.session}/move", body, JSON)

    def command(self, *arguments):
        done = subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), *arguments],
                              capture_output=True, text=True, check=False)
        return done.returncode, done.stdout, done.stderr

    def readings(self, patient):
        return [one for one in self.server.all("Observation") + self.server.all("Procedure")
                if one["subject"]["reference"] == self.reference(patient)]

    def reference(self, patient):
        (one,) = [p for p in self.server.all("Patient") if any(i["value"] == patient for i in p["identifier"])]
        return f"Patient/{one['id']}"

    def assert_moved(self, new_values=0):
        self.wait_until_landed()
        wrong, right = self.readings(WRONG), self.readings(RIGHT)
        self.assertEqual({one["status"] for one in wrong}, {"entered-in-error"})
        self.assertNotIn("entered-in-error", {one["status"] for one in right})
        # The readings themselves are all there; what needs the order or the size of the first patient is not.
        def values(resources):
            return sorted(json.dumps(one["valueQuantity"], sort_keys=True) for one in resources
                          if "valueQuantity" in one and "method" not in one)
        self.assertTrue(values(right))
        self.assertEqual(len(set(values(right)) - set(values(wrong))), new_values)
        nullify = [one for one in self.server.all("Provenance")
                   if one["activity"]["coding"][0]["code"] == "NULLIFY"]
        self.assertEqual(len(nullify), 1)
        self.assertIn(WHY, json.dumps(nullify[0]))
        self.assertEqual(self.engine.verify_journal()[0], True)
        self.assertEqual(self.engine.verify_replay()[0], True)

    def test_over_http_all_is_taken_back_and_entered_anew(self):
        answer = self.move()
        self.assertEqual(answer.status, 202, answer.body)
        self.assertEqual(answer.json()["takenBack"]["session"], self.session)
        self.assert_moved()
        self.assertEqual(self.engine.session(answer.json()["entered"]["session"])["state"], "landed")

    def test_what_was_given_up_for_the_wrong_patient_is_entered_for_the_right_one(self):
        document = copy.deepcopy(self.document)
        document["identifier"]["value"] = "nobody-knows-them"
        document["patient"]["identifier"]["value"] = "P-9999"
        session = self.engine.session_id(self.engine.send(document))
        stage.wait_for("held", lambda: self.engine.session(session)["state"] == "held")
        self.assertEqual(self.command("withdraw", session, "--why", WHY)[0], 0)
        self.assertIn("to whom?", self.command("move", session, "--why", WHY)[2])
        right = self.folder / "right"  # not in the list of processes
        right.write_text(f"{PATIENTS}|{RIGHT}\n", encoding="utf-8")
        status, said, wrong = self.command("move", session, "--to-file", str(right), "--who", "Robin Sample", "--why", WHY)
        self.assertEqual(status, 0, wrong)
        entered = said.split(" takes it back, ")[1].split("/")[0]
        stage.wait_for("landed", lambda: self.engine.session(entered)["state"] == "landed")
        self.assertTrue(self.readings(RIGHT))

    def send_second(self, change=None, **more):
        """Revision 2 with another pulse, which `change` may change further."""
        document = copy.deepcopy(self.document)
        document.update(revision=2, change={"reason": "Misread"}, **more)
        document["entry"][0]["vitals"]["pulse"]["value"] = 93
        if change:
            change(document)
        self.assertEqual(self.engine.send(document).status, 202)

    def leg(self, revision, session=None):
        view = self.engine.session(session or self.session)
        (one,) = [row["targets"][0] for row in view["revisions"] if row["revision"] == revision]
        return one["state"]

    def wait_for_leg(self, revision, state, session=None):
        stage.wait_for(f"{revision} is {state}", lambda: self.leg(revision, session) == state)

    def steer(self, action, revision):
        answer = self.engine.request("POST", f"/sessions/{self.session}/{action}",
                                     {"actor": "Robin Sample", "why": WHY, "revision": revision}, JSON)
        self.assertEqual(answer.status, 200, answer.body)

    def pulses(self, patient):
        return {one["valueQuantity"]["value"] for one in self.readings(patient)
                if one.get("valueQuantity", {}).get("unit") == "/min" and "Heart rate" in json.dumps(one["code"])
                and one["status"] != "entered-in-error"}

    @staticmethod
    def for_the_right_one(document):
        document["patient"] = {"identifier": {"system": PATIENTS, "value": RIGHT}}

    def test_a_held_revision_that_names_the_right_patient_is_moved_there(self):
        self.send_second(self.for_the_right_one)
        stage.wait_for("held", lambda: self.engine.settled(self.session, ("held",)) == ("held", "patient-changed"))
        answer = self.move()
        self.assertEqual((answer.status, answer.json().get("leftOut")), (202, []), answer.body)
        self.assert_moved(new_values=1)
        self.assertEqual([self.leg(revision) for revision in (1, 2, 3)], ["landed", "superseded", "landed"])
        self.assertEqual(self.pulses(RIGHT), {93, 96})

    def test_without_what_was_given_up_of_it(self):
        self.send_second(self.for_the_right_one)
        self.wait_for_leg(2, "held")
        self.steer("withdraw", 2)
        status, said, wrong = self.command("move", self.session, "--to", f"{PATIENTS}|{RIGHT}", "--who", "Robin Sample",
                                           "--why", WHY)
        self.assertEqual((status, wrong), (0, ""), said)
        self.assertIn("revision 2 was given up: what it says is not moved", said)
        self.wait_for_leg(3, "landed")
        self.assert_moved()
        self.assertEqual(self.pulses(RIGHT), {92, 96})

    def test_what_the_server_refused_and_a_person_gave_up_is_final_on_no_chart(self):
        self.server.faults({"action": "status", "status": 422, "method": "POST", "times": 1})
        self.send_second(lambda document: document["entry"].append(
            dict(copy.deepcopy(document["entry"][4]), id="e9", time="2025-03-04T07:55:00+01:00")))
        self.wait_for_leg(2, "held")
        self.steer("withdraw", 2)
        answer = self.move()
        self.assertEqual((answer.status, answer.json().get("leftOut")), (202, [2]), answer.body)
        self.assert_moved()
        self.assertEqual(self.pulses(RIGHT), {92, 96})

    def test_a_taking_back_that_was_given_up_stands_in_no_moves_way(self):
        self.send_second(lambda document: document.pop("change"), status="entered-in-error")
        self.wait_for_leg(2, "held")
        answer = self.move()
        self.assertEqual(answer.status, 409, answer.body)
        self.assertIn(b"withdraw it first", answer.body)
        self.steer("withdraw", 2)
        self.assertEqual(self.move().status, 202)
        self.assert_moved()

    def test_what_takes_it_back_is_brought_back_after_it_was_given_up(self):
        self.server.faults({"action": "status", "status": 422, "method": "POST", "times": 2})
        entered = self.move().json()["entered"]["session"]
        self.wait_for_leg(2, "held")
        self.wait_for_leg(1, "held", entered)
        self.steer("withdraw", 2)
        self.assertNotIn("entered-in-error", {one["status"] for one in self.readings(WRONG)})
        answer = self.move()
        self.assertEqual(answer.status, 409, answer.body)
        self.assertIn(b"remap", answer.body)
        self.assertEqual(self.engine.release(entered, WHY).status, 200)
        self.steer("remap", 2)
        self.assert_moved()

    def test_the_command_does_the_same_beside_a_running_engine(self):
        status, said, wrong = self.command("move", self.session, "--to", f"{PATIENTS}|{RIGHT}", "--who", "Robin Sample",
                                           "--why", WHY)
        self.assertEqual((status, wrong), (0, ""), said)
        stage.wait_for("the engine has seen it", lambda: any(one["status"] == "entered-in-error"
                                                             for one in self.server.all("Observation")))
        self.assert_moved()

    def test_what_the_sender_still_sends_for_it_is_refused(self):
        self.assertEqual(self.move().status, 202)
        later = copy.deepcopy(self.document)
        later["revision"] = 7
        later["change"] = {"reason": "One more reading"}
        answer = self.engine.send(later)
        self.assertEqual(answer.status, 409, answer.body)
        self.assertIn(b"moved", answer.body)
        # The first send again is still only a repetition.
        self.assertEqual(self.engine.send(self.document).status, 200)
        self.assert_moved()

    def test_a_second_move_and_one_to_the_same_patient_change_nothing(self):
        same = self.engine.request("POST", f"/sessions/{self.session}/move", {
            "to": {"system": PATIENTS, "value": WRONG}, "actor": "Robin Sample", "why": WHY}, JSON)
        self.assertEqual(same.status, 422, same.body)
        self.assertEqual(self.move().status, 202)
        self.assertEqual(self.move().status, 409)
        self.assertEqual(self.move(**{"as": "another"}).status, 409)
        self.assert_moved()

    def test_a_fault_in_what_is_known_is_named_by_its_place_and_not_by_its_value(self):
        known = self.folder / "known.json"
        known.write_text(json.dumps({"patient": {"weight": {"value": 98765, "unit": "kg"}}}))
        before = len(self.engine.records("accepted"))
        status, said, wrong = self.command("move", self.session, "--to", f"{PATIENTS}|{RIGHT}", "--who", "Robin Sample",
                                           "--why", WHY, "--known", str(known))
        self.assertEqual((status, said), (2, ""))
        self.assertIn("patient.weight", wrong)
        self.assertNotIn("98765", wrong)
        self.assertEqual(len(self.engine.records("accepted")), before)

    def test_without_a_reason_or_a_session_nothing_is_written(self):
        before = len(self.engine.records("accepted"))
        self.assertEqual(self.move(why="").status, 422)
        self.session = "0b1c2d3e-0000-5000-8000-000000000000"
        self.assertEqual(self.move().status, 404)
        self.assertEqual(len(self.engine.records("accepted")), before)


if __name__ == "__main__":
    unittest.main()
