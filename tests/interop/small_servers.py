#!/usr/bin/env python3
"""Record servers without transactions, or with small ones: sessions land in steps, everything once."""
import pathlib
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

WAYS = {"batch": {"transaction": False}, "single": {"transaction": False, "batch": False}}
KINDS = ("Observation", "Procedure", "Provenance")


class SmallServers(unittest.TestCase):
    def begin(self, abilities, body_max=None):
        folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-small-")))
        self.server = self.enterContext(stage.RecordServer(folder, load=[stage.WARD / "people.bundle.json"],
                                                           body_max=body_max))
        self.engine = self.enterContext(stage.Engine(folder))
        self.server.start()
        self.assertEqual(self.server.request("POST", "/$abilities", abilities).status, 200)
        self.engine.start(self.server.base)

    def land(self, name):
        session = self.engine.session_id(self.engine.send(stage.sent(name)))
        self.assertEqual(stage.wait_for("ended", lambda: self.engine.settled(session, ("landed", "held")), 60),
                         ("landed", None))
        return session

    def chart(self):
        """What landed, by its identifier or id: versions and content without what a server settles."""
        found = {}
        for kind in KINDS:
            for one in self.server.all(kind):
                key = one.get("identifier", [{"value": one["id"]}])[0]["value"]
                self.assertNotIn(key, found, "twice in the chart")
                found[key] = (one["meta"]["versionId"], one.get("status"), one.get("valueQuantity"), one.get("code"))
        return found

    def test_the_same_lands_as_with_transactions(self):
        names = ("alder-moving", "hazel-stairs.r1", "hazel-stairs.r2")
        self.begin({})
        for name in names:
            self.land(name)
        expected = self.chart()
        self.assertGreater(len(expected), 10)
        for way, abilities in WAYS.items():
            with self.subTest(way=way):
                self.begin(abilities)
                sessions = [self.land(name) for name in names]
                self.assertEqual(self.chart(), expected)
                self.assertEqual(self.server.counters()["counters"]["transaction"], 1, "that of the people")
                self.assertEqual(self.server.counters()["counters"].get("batch", 0) > 0, way == "batch")
                # What a target looks like is told a tick later.
                stage.wait_for(f"the mode {way} is shown",
                               lambda way=way: self.engine.request("GET", "/targets").json()[0]["mode"] == way)
                landing = self.engine.session(sessions[0])["revisions"][0]["targets"][0]["landing"]
                self.assertTrue(all("location" in row and "etag" in row for row in landing), landing)

    def test_stopped_between_two_sends_everything_is_there_once(self):
        self.begin({})
        self.land("alder-moving")
        expected = self.chart()
        for way, abilities in WAYS.items():
            for skip in (1, 2, 3):
                with self.subTest(way=way, skip=skip):
                    self.begin(abilities)
                    self.server.faults({"action": "drop-after-commit", "times": 2, "skip": skip, "method": "POST"})
                    self.land("alder-moving")
                    self.assertEqual(self.chart(), expected)

    def test_what_is_too_large_as_a_whole_lands_in_pieces(self):
        names = ("alder-moving", "hazel-stairs.r1", "hazel-stairs.r2")
        self.begin({})
        for name in names:
            self.land(name)
        expected = self.chart()
        self.begin({}, body_max=6000)
        session = self.land(names[0])
        records = [one for one in self.engine.records() if one.get("session") == session]
        self.assertEqual([(one["kind"], one.get("reason"), one.get("status")) for one in records][2:],
                         [("dispatched", None, None), ("answered", "too-large", 413), ("dispatched", None, None),
                          ("landed", None, 200)])
        for name in names[1:]:
            self.land(name)
        self.assertEqual(self.chart(), expected)

    def test_one_resource_that_is_too_large_is_named(self):
        self.begin({}, body_max=1000)
        session = self.engine.session_id(self.engine.send(stage.sent("alder-moving")))
        self.assertEqual(stage.wait_for("ended", lambda: self.engine.settled(session, ("landed", "held")), 60),
                         ("held", "too-large"))
        detail = self.engine.session(session)["revisions"][0]["targets"][0]["detail"]
        self.assertRegex(detail, r"^\w+ urn:uuid:[0-9a-f-]+ \(\d+ bytes\) alone is larger")

    def test_what_landed_in_part_is_taken_back_whatever_was_tried_since(self):
        self.begin({}, body_max=6000)
        document = stage.sent("alder-moving")
        document["entry"][0]["comment"] = "Took her time. " * 500
        session = self.engine.session_id(self.engine.send(document))

        def held(times):
            records = [one for one in self.engine.records("held") if one.get("session") == session]
            return len(records) == times and [one["reason"] for one in records] == ["too-large"] * times

        def steer(action):
            wish = {"why": "the limit is still what it was", "actor": "Robin Sample", "revision": 1}
            answer = self.engine.request("POST", f"/sessions/{session}/{action}", wish, {"Content-Type": "application/json"})
            self.assertEqual(answer.status, 200, answer.body)

        def live():
            return [one["id"] for kind in KINDS for one in self.server.all(kind)
                    if one.get("status", "entered-in-error") != "entered-in-error"]

        stage.wait_for("held", lambda: held(1))
        self.assertGreater(len(live()), 10)
        steer("release")
        stage.wait_for("held again", lambda: held(2))
        steer("withdraw")
        self.engine.send(dict(document, revision=2, status="entered-in-error", change={"reason": "Wrong bed"}))
        self.assertEqual(stage.wait_for("taken back", lambda: self.engine.settled(session, ("landed", "held"))),
                         ("landed", None), "the one that is too large never was there")
        self.assertEqual(live(), [])

    def test_an_unknown_patient_is_held_with_nothing_written(self):
        for way, abilities in WAYS.items():
            with self.subTest(way=way):
                self.begin(abilities)
                document = stage.sent("alder-moving")
                document["patient"]["identifier"]["value"] = "nobody"
                session = self.engine.session_id(self.engine.send(document))
                self.assertEqual(stage.wait_for("held", lambda: self.engine.settled(session, ("landed", "held"))),
                                 ("held", "unknown-patient"))
                self.assertEqual(self.chart(), {})

    def test_who_treated_need_not_be_known(self):
        """Named by identifier and display, without a reference; who is known keeps theirs."""
        def people():
            """(identifier, display, whether there is a reference) of everybody in the chart."""
            found = set()

            def walk(node):
                if isinstance(node, dict):
                    if node.get("type") == "Practitioner":
                        found.add((node["identifier"]["value"], node.get("display"), "reference" in node))
                for one in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
                    walk(one)
            for kind in KINDS:
                walk(self.server.all(kind))
            return found

        for way, abilities in {"transaction": {}, **WAYS}.items():
            with self.subTest(way=way):
                self.begin(abilities)
                document = stage.sent("alder-moving")
                known = document["therapist"]
                lent = dict(known, identifier=dict(known["identifier"], value="T-99"), display="L. Lent")
                document["entry"][0]["recordedBy"] = lent

                def lands(document):
                    session = self.engine.session_id(self.engine.send(document))
                    return stage.wait_for("landed", lambda: self.engine.landed_revision(session) == document["revision"])
                lands(document)
                self.assertEqual(people(), {(known["identifier"]["value"], known["display"], True),
                                            ("T-99", "L. Lent", False)})
                # Whoever corrects or takes back is not asked for either.
                lands(dict(document, revision=2, entry=document["entry"][:-1], change={"reason": "Slip", "author": lent},
                           withdrawal=[{"entry": document["entry"][-1]["id"], "reason": "Not done"}]))
                whole, said = self.engine.verify_replay()
                self.assertTrue(whole, said)
                self.assertEqual(self.server.request("POST", "/fhir/Practitioner", {
                    "resourceType": "Practitioner", "identifier": [lent["identifier"]]},
                    {"Content-Type": "application/fhir+json"}).status, 201)
                lands(dict(document, revision=3, status="entered-in-error",
                           change={"reason": "Wrong bed", "author": lent}))
                self.assertIn(("T-99", "L. Lent", True), people())
                self.assertTrue(all(one["status"] == "entered-in-error" for one in self.server.all("Observation")))



if __name__ == "__main__":
    unittest.main()
