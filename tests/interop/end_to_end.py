"""The engine and a record server as real processes over real sockets: what a sender and a chart see.

usage: python3 tests/interop/end_to_end.py [-v] [Class[.test]]
"""
import copy
import json
import pathlib
import sys
import tempfile
import time
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

JSON = {"Content-Type": "application/fhir+json"}




def renamed(document, value):
    document = copy.deepcopy(document)
    document["identifier"]["value"] = value
    return document


class Running(unittest.TestCase):
    """A record server that knows the ward's people, and an engine that delivers to it."""

    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-e2e-")))
        self.server = self.enterContext(stage.RecordServer(self.folder, load=[stage.WARD / "people.bundle.json"]))
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.server.start()
        self.engine.start(self.server.base)
        self.example = stage.sent("alder-breathing-am")

    def accept(self, document):
        answer = self.engine.send(document)
        self.assertEqual(answer.status, 202, answer.body[:500])
        return self.engine.session_id(answer)

    def settle(self, session, seconds=30):
        return stage.wait_for(f"{session} is settled", lambda: self.engine.settled(session, ("landed", "held")),
                              seconds)

    def land(self, document):
        session = self.accept(document)
        self.assertEqual(self.settle(session), ("landed", None))
        return session

    def assert_in_chart_once(self, *documents):
        wanted = set()
        for answer in stage.pure(documents):
            wanted |= stage.identifiers_of(answer["bundle"])
        self.assertGreater(len(wanted), len(documents))
        there = [key for kind in ("Observation", "Procedure") for resource in self.server.all(kind)
                 for key in [(resource["resourceType"], resource["identifier"][0]["system"],
                              resource["identifier"][0]["value"])]]
        self.assertEqual(sorted(there), sorted(wanted))


class Landing(Running):
    def test_a_session_lands_once(self):
        self.land(self.example)
        self.assert_in_chart_once(self.example)
        self.assertEqual(self.server.count("Observation", **{"patient.identifier":
                         "https://hill.example/ids/patient|P-0101"}), self.server.count("Observation"))
        self.assertEqual(self.server.count("Provenance"), 1)

    def test_the_same_send_again_changes_nothing(self):
        first = self.land(self.example)
        history = self.server.request("GET", "/fhir/_history?_summary=count").json()["total"]
        for same in (self.example, json.loads(json.dumps(self.example, sort_keys=True))):
            answer = self.engine.send(same)
            self.assertEqual((answer.status, self.engine.session_id(answer)), (200, first))
        self.land(renamed(self.example, "later"))
        self.assertEqual(self.server.request("GET", "/fhir/Observation/_history?_summary=count").json()["total"],
                         self.server.count("Observation"), history)

    def test_other_content_under_the_same_revision_is_a_conflict(self):
        self.land(self.example)
        other = copy.deepcopy(self.example)
        other["entry"][0]["vitals"]["pulse"]["value"] = 99
        answer = self.engine.send(other)
        self.assertEqual(answer.status, 409, answer.body[:500])
        self.assertEqual(answer.json()["resourceType"], "OperationOutcome")
        self.assert_in_chart_once(self.example)

    def test_a_correction_lands_on_the_same_resource(self):
        first, second = stage.sent("hazel-stairs.r1"), stage.sent("hazel-stairs.r2")
        self.land(first)
        before = self.server.count("Observation")
        self.land(second)
        self.assertEqual(self.server.count("Observation"), before)
        corrected = [o for o in self.server.all("Observation") if o["status"] == "corrected"]
        self.assertEqual({o["meta"]["versionId"] for o in corrected}, {"2"})
        self.assertIn(118, [o["valueQuantity"]["value"] for o in corrected if "valueQuantity" in o])

    def test_revisions_sent_at_once_land_in_their_order(self):
        for name in ("elm-weaning-pm.r1", "elm-weaning-pm.r2", "elm-weaning-pm.r3"):
            session = self.accept(stage.sent(name))
        stage.wait_for("the third revision has landed", lambda: self.engine.landed_revision(session) == 3)
        self.assert_in_chart_once(stage.sent("elm-weaning-pm.r3"))
        session_procedures = [p for p in self.server.all("Procedure") if "therapy session" in p["code"].get("text", "")]
        self.assertEqual([p["status"] for p in session_procedures], ["completed"])

    def test_a_withdrawn_entry_stays_marked_as_an_error(self):
        self.land(stage.sent("willow-breathing-late.r1"))
        self.land(stage.sent("willow-breathing-late.r2"))
        wrong = [o for o in self.server.all("Observation") if o["status"] == "entered-in-error"]
        self.assertEqual([o["code"]["coding"][0]["code"] for o in wrong], ["72514-3"])


class Holding(Running):
    def test_an_unknown_patient_is_held_until_it_is_known(self):
        stranger = renamed(self.example, "stranger")
        stranger["patient"] = {"identifier": {"system": "https://hill.example/ids/patient", "value": "P-0777"}}
        session = self.accept(stranger)
        self.assertEqual(self.settle(session), ("held", "unknown-patient"))
        self.land(self.example)  # a held one dams up nobody
        patient = {"resourceType": "Patient", "identifier": [stranger["patient"]["identifier"]]}
        self.assertEqual(self.server.request("POST", "/fhir/Patient", patient, JSON).status, 201)
        stage.wait_for("the stranger has landed by itself",
                       lambda: self.engine.settled(session, ("landed",)), seconds=90)
        self.assert_in_chart_once(self.example, stranger)

    def test_an_unconfirmed_value_is_held_until_released(self):
        session = self.accept(stage.sent("mistake-unconfirmed-saturation"))
        self.assertEqual(self.settle(session), ("held", "unconfirmed-value"))
        self.assertEqual(self.server.count("Observation"), 0)
        answer = self.engine.release(session, "Read again on the other hand")
        self.assertIn(answer.status, (200, 202), answer.body[:500])
        stage.wait_for("the released one has landed", lambda: self.engine.settled(session, ("landed",)))
        self.assertGreater(self.server.count("Observation"), 0)


class Faults(Running):
    def check_lands_once_under(self, *rules):
        self.server.faults(*rules)
        self.land(self.example)
        self.assertGreater(self.server.fired(), 0, "the fault came to nothing")
        self.assert_in_chart_once(self.example)

    def test_unavailable_twice(self):
        self.check_lands_once_under({"action": "status", "status": 503, "times": 2, "method": "POST"})

    def test_throttled_waits_as_long_as_it_is_told(self):
        began = time.monotonic()
        self.check_lands_once_under({"action": "status", "status": 429, "retryAfter": 2, "times": 1, "method": "POST"})
        self.assertGreaterEqual(time.monotonic() - began, 2)

    def test_internal_error_once(self):
        self.check_lands_once_under({"action": "status", "status": 500, "times": 1, "method": "POST"})

    def test_connection_dropped_before_the_commit(self):
        self.check_lands_once_under({"action": "drop-before-commit", "times": 2, "method": "POST"})

    def test_connection_dropped_after_the_commit(self):
        self.check_lands_once_under({"action": "drop-after-commit", "times": 2, "method": "POST"})

    def check_page_is_held_then_lands_once(self, action, in_chart_before):
        self.server.faults({"action": action, "times": 1, "method": "POST"})
        session = self.accept(self.example)
        self.assertEqual(self.settle(session), ("held", "html-answer"))
        self.assertEqual(self.server.count("Observation") > 0, in_chart_before)
        self.assertEqual(self.engine.landed_revision(session), 0)
        answer = self.engine.release(session, "The network is signed in again")
        self.assertIn(answer.status, (200, 202), answer.body[:500])
        stage.wait_for("the released one has landed", lambda: self.engine.settled(session, ("landed",)))
        self.assert_in_chart_once(self.example)
        self.assertEqual(self.server.count("Provenance"), 1)

    def test_a_sign_in_page_is_no_success(self):
        self.check_page_is_held_then_lands_once("html", in_chart_before=False)

    def test_a_sign_in_page_after_the_commit(self):
        self.check_page_is_held_then_lands_once("html-after-commit", in_chart_before=True)

    def test_a_slow_answer(self):
        self.check_lands_once_under({"action": "slow-body", "times": 1, "method": "POST"})

    def test_the_server_is_away_for_a_while(self):
        port = self.server.port
        self.server.kill()
        session = self.accept(self.example)
        time.sleep(0.5)
        self.assertIsNone(self.engine.settled(session, ("landed", "held")))
        self.server.load = []
        self.server.start(port)
        stage.wait_for("landed once the server is back", lambda: self.engine.settled(session, ("landed",)), 60)
        self.assert_in_chart_once(self.example)

    def test_an_engine_asked_to_end_keeps_what_it_took(self):
        self.server.faults({"action": "status", "status": 503})
        session = self.accept(self.example)
        self.assertEqual(self.engine.stop(), 0)
        self.server.faults()
        self.engine.start(self.server.base)
        stage.wait_for("landed after the restart", lambda: self.engine.settled(session, ("landed",)), 60)
        self.assert_in_chart_once(self.example)


class BadInput(Running):
    def refused(self, body, status, headers=None):
        if isinstance(body, dict):
            body = json.dumps(body)
        answer = self.engine.request("POST", "/sessions", body, headers or JSON)
        self.assertEqual(answer.status, status, (body[:200], answer.body[:400]))
        outcome = answer.json()
        self.assertEqual(outcome["resourceType"], "OperationOutcome")
        self.assertTrue(all(issue["details"]["text"] for issue in outcome["issue"]))
        return outcome

    def changed(self, **members):
        document = copy.deepcopy(self.example)
        document.update(members)
        return document

    def vitals(self, **readings):
        document = copy.deepcopy(self.example)
        document["entry"] = [{"id": "e1", "time": "2025-03-04T07:30:00+01:00", "vitals": readings}]
        return document

    def test_what_is_no_session_document(self):
        for body, status in ((b"", 400), (b"{", 400), (b"[]", 400), (b"\xff\xfe{}", 400), (b'{"a":1,"a":2}', 400),
                             (b'{"a":"\xc0\xaf"}', 400), (b"[" * 100 + b"]" * 100, 400), (b"nonsense", 400),
                             (json.dumps({"resourceType": "Patient"}), 422)):
            with self.subTest(body=body[:40]):
                answer = self.engine.request("POST", "/sessions", body, JSON)
                self.assertIn(answer.status, (400, 422), answer.body[:300])
                self.assertEqual(answer.json()["resourceType"], "OperationOutcome")
        self.assertEqual(self.server.count("Observation"), 0)

    def test_an_unknown_member_is_named(self):
        outcome = self.refused(self.changed(saturatoin=1), 422)
        self.assertIn("saturatoin", json.dumps(outcome))

    def test_impossible_values_are_refused(self):
        for readings in ({"saturation": {"value": 104, "unit": "%"}},
                         {"saturation": {"value": -1, "unit": "%"}},
                         {"oxygen": {"device": "nasal-cannula", "flow": {"value": -2, "unit": "L/min"}}},
                         {"pulse": {"value": 88, "unit": "bpm"}},
                         {"pulse": {"value": 88}}):
            with self.subTest(readings=readings):
                self.refused(self.vitals(**readings), 422)

    def test_duplicate_entry_ids_are_refused(self):
        document = copy.deepcopy(self.example)
        document["entry"][1]["id"] = document["entry"][0]["id"]
        self.refused(document, 422)

    def test_an_oversized_body_is_refused_before_it_is_read(self):
        answer = self.engine.request("POST", "/sessions", b" " * (10 * 1024 * 1024 + 1), JSON)
        self.assertEqual(answer.status, 413)

    def test_other_media_types_are_refused(self):
        self.refused(json.dumps(self.example), 415, {"Content-Type": "application/xml"})

    def test_unknown_sessions_and_paths_are_not_found(self):
        for path in ("/sessions/6ba7b811-9dad-11d1-80b4-00c04fd430c8", "/sessions/x", "/nowhere", "/../etc/passwd"):
            answer = self.engine.request("GET", path)
            self.assertEqual(answer.status, 404, path)
            self.assertEqual(answer.json()["resourceType"], "OperationOutcome")


class Edges(Running):
    def test_health_metrics_and_descriptions(self):
        for path in ("/health/live", "/health/ready", "/metrics", "/metadata", "/openapi.json", "/"):
            self.assertEqual(self.engine.request("GET", path).status, 200, path)

    def test_dry_run_keeps_nothing(self):
        answer = self.engine.request("POST", "/sessions?dry-run", self.example, JSON)
        self.assertEqual(answer.status, 200, answer.body[:300])
        self.land(renamed(self.example, "after"))
        self.assert_in_chart_once(renamed(self.example, "after"))

    def test_no_patient_data_in_the_logs(self):
        self.land(self.example)
        self.accept(stage.sent("mistake-unknown-patient"))
        self.engine.request("POST", "/sessions", '{"patient":"P-0101", "entry": [', JSON)
        self.assertEqual(self.engine.stop(), 0)
        log = self.engine.log.read_text(errors="replace")
        for text in ("P-0101", "P-0999", "1958-06-14", "Alder"):
            self.assertNotIn(text, log)


if __name__ == "__main__":
    unittest.main()
