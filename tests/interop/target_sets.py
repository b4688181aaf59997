#!/usr/bin/env python3
"""Targets with maps of their own, and with conditions on what is meant for them."""
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
SUMMARY = (stage.TOP / "mappings" / "summary.map").read_text(encoding="utf-8")
CHANGED = SUMMARY.replace("'Lowest saturation: '", "'Lowest value seen: '")
PEOPLE = [stage.WARD / "people.bundle.json"]
# "Vital signs of the national profile", as the published package names it.
NATIONAL = "http://hl7.org/fhir/us/core/StructureDefinition/us-core-pulse-oximetry"


class TargetSets(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-targets-")))
        (self.folder / "a").mkdir()
        (self.folder / "b").mkdir()
        self.a = self.enterContext(stage.RecordServer(self.folder / "a", load=PEOPLE))
        self.b = self.enterContext(stage.RecordServer(self.folder / "b", load=PEOPLE))
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.a.start()
        self.b.start()

    def start(self, of_b, *more, of_a=""):
        config = self.folder / "engine.toml"
        config.write_text(f'[[target]]\nname = "main"\nurl = "{self.a.base}"\n{of_a}\n'
                          f'[[target]]\nname = "second"\nurl = "{self.b.base}"\n{of_b}\n', encoding="utf-8")
        self.engine.start(None, "--config", config, *more)
        stage.wait_for("the engine is ready", self.engine.ready)

    def send(self, name, value, change=None):
        document = copy.deepcopy(stage.sent(name))
        document["identifier"]["value"] = value
        if change:
            change(document)
        answer = self.engine.send(document)
        self.assertEqual(answer.status, 202, answer.body)
        return self.engine.session_id(answer), document

    def legs(self, session, *wanted):
        """Waits until the session's legs are these (revision, target, state)."""
        def now():
            return {(one["revision"], leg["target"], leg["state"])
                    for one in self.engine.session(session)["revisions"] for leg in one["targets"]}

        stage.wait_for(f"{wanted}, not {now()}", lambda: now() == set(wanted))

    def summaries(self, server):
        chart = server.request("GET", "/fhir/Observation?code=session-summary&_count=100").json()
        return sorted(entry["resource"]["valueString"] for entry in chart.get("entry", ()))

    def assert_all_verified(self):
        for good, said in (self.engine.verify_replay(), self.engine.verify_journal()):
            self.assertTrue(good, said)

    def test_a_target_has_maps_of_its_own(self):
        maps = self.folder / "site" / "mappings"
        maps.mkdir(parents=True)
        (maps / "summary.map").write_text(CHANGED, encoding="utf-8")
        self.start(f'site = "{self.folder / "site"}"\noverlay = "us-core"')
        session, _ = self.send("alder-moving", "own-maps")
        self.legs(session, (1, "main", "landed"), (1, "second", "landed"))
        self.assertTrue(any("Lowest saturation" in text for text in self.summaries(self.a)))
        self.assertTrue(any("Lowest value seen" in text for text in self.summaries(self.b)))
        self.assertNotIn(NATIONAL, self.a.request("GET", "/fhir/Observation?_count=500").body.decode())
        self.assertIn(NATIONAL, self.b.request("GET", "/fhir/Observation?_count=500").body.decode())
        mapping = self.engine.request("GET", "/mapping").json()
        self.assertEqual([one["target"] for one in mapping["targets"]], ["second"])
        self.assertNotEqual(mapping["targets"][0]["inForce"]["mapping"], mapping["inForce"]["mapping"])
        # A change of its files is a change for it alone, and the step back is too.
        first = mapping["targets"][0]["inForce"]["set"]
        (maps / "summary.map").write_text(CHANGED.replace("value seen", "value of all"), encoding="utf-8")
        stage.wait_for("the change is in force", lambda: self.engine.request("GET", "/mapping").json()
                       ["targets"][0]["inForce"]["set"] != first, seconds=60, pause=0.2)
        self.send("birch-moving", "own-maps-changed")
        stage.wait_for("it has landed", lambda: any("value of all" in text for text in self.summaries(self.b)))
        wish = {"actor": "Robin Sample", "why": "not as agreed"}
        self.assertEqual(self.engine.request("POST", "/mapping/roll-back", wish, JSON).status, 404)
        answer = self.engine.request("POST", "/mapping/roll-back", dict(wish, target="second"), JSON)
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(answer.json()["targets"][0]["inForce"]["set"], first)
        self.assertEqual(answer.json()["inForce"], mapping["inForce"])
        self.assert_all_verified()
        again = self.engine.request("POST", "/log/replay", {}, JSON)
        self.assertEqual((again.status, again.json()["otherSets"], again.json()["faults"]), (200, {}, []), again.body)
        self.assertGreaterEqual(again.json()["same"], 4)
        # After a restart it is still the set that a person went back to.
        self.engine.stop()
        self.start(f'site = "{self.folder / "site"}"\noverlay = "us-core"')
        self.assertEqual(self.engine.request("GET", "/mapping").json()["targets"][0]["inForce"]["set"], first)

    def test_what_was_destroyed_is_counted_once_whatever_it_was_made_with(self):
        maps, of_b = self.site("own")
        maps.write_text(CHANGED, encoding="utf-8")
        self.start(of_b)
        for name, value in (("alder-moving", "stays"), ("birch-moving", "goes")):
            session, document = self.send(name, value)
            self.legs(session, (1, "main", "landed"), (1, "second", "landed"))
        who = document["patient"]["identifier"]
        subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), "shred", "--why", "wish",
                        "--patient", f"{who['system']}|{who['value']}"], check=True, capture_output=True)
        told = self.engine.request("POST", "/log/replay", {}, JSON).json()
        self.assertEqual(told, {"translations": 2, "same": 2, "destroyed": 2, "otherSets": {}, "faults": []})
        for words in ([], ["--overlay", "us-core"]):  # either set at hand
            self.assertEqual(self.replay("--verify", *words), {"translations": 2, "same": 2, "destroyed": 2, "otherSets": 0,
                                                               "faults": 0, "verified": True})
        told = self.replay()
        self.assertEqual((told["targets"], told["translations"], told["destroyed"]), (["main"], 1, 1))

    def replay(self, *words):
        done = subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--json", *words],
                              check=True, capture_output=True, text=True)
        return json.loads(done.stdout)

    def test_other_maps_are_tried_on_what_was_made_with_that_set_only(self):
        maps, of_b = self.site("own")
        maps.write_text(CHANGED, encoding="utf-8")
        self.start(of_b)
        session, _ = self.send("alder-moving", "tried")
        self.legs(session, (1, "main", "landed"), (1, "second", "landed"))
        told = self.engine.request("POST", "/try-out/traffic", {"files": {"summary.map": SUMMARY}}, JSON).json()
        self.assertEqual((told["looked"], told["same"], told["otherSets"], told["kinds"]), (1, 1, 1, []))
        told = self.engine.request("POST", "/try-out/traffic", {"files": {"summary.map": CHANGED}}, JSON).json()
        self.assertEqual([(kind["count"], [one["target"] for one in kind["examples"]]) for kind in told["kinds"]],
                         [(1, ["main"])])
        same = self.folder / "same"
        same.mkdir()
        (same / "summary.map").write_text(SUMMARY, encoding="utf-8")
        for words, status, left_out, target in (
                ((), 0, 1, "main"), (("--config", self.folder / "engine.toml"), 0, 1, "main"),
                (("--target", "main"), 0, 1, "main"), (("--target", "second"), 1, 1, "second")):
            with self.subTest(words=words):
                done, said = self.what_if(same, "--json", *words)
                self.assertEqual(done, status, said)
                report = json.loads(said)
                self.assertEqual((report["translations"], report["otherSets"], report["targets"]), (1, left_out, [target]))
                self.assertEqual(len(report["differences"]), status)
        done, said = self.what_if(maps.parent, "--target", "second")
        self.assertEqual(done, 0, said)
        self.assertIn("1 translations for second, 1 the same", said)
        self.assertIn("1 translations are left out, of targets with sets of their own or not asked for: main", said)
        done, said = self.what_if(same, "--target", "third")
        self.assertEqual(done, 2)
        self.assertIn("third", said)
        # A target that has none of its own any more is the engine's.
        self.engine.stop()
        self.start("")
        done, said = self.what_if(same, "--json", "--config", self.folder / "engine.toml")
        self.assertEqual((done, json.loads(said)["targets"]), (1, ["main", "second"]))

    def what_if(self, maps, *words):
        done = subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--with", str(maps),
                               "--why", "a try", *map(str, words)], capture_output=True, text=True, check=False)
        return done.returncode, done.stdout + done.stderr

    def site(self, name):
        """A site's folder, the file of its summary map, and the line that makes it a target's."""
        maps = self.folder / name / "mappings"
        maps.mkdir(parents=True)
        (maps / "summary.map").write_text(SUMMARY, encoding="utf-8")
        return maps / "summary.map", f'site = "{self.folder / name}"'

    def test_a_set_that_waits_for_two_targets_is_approved_for_the_one_that_is_named(self):
        (one, of_a), (other, of_b) = self.site("one"), self.site("other")
        self.start(of_b, "--approval-needed", of_a=of_a)

        def waiting():
            targets = self.engine.request("GET", "/mapping").json()["targets"]
            return {each["target"]: each["waiting"]["set"] for each in targets if "waiting" in each}

        def approve(status, **more):
            wish = {"set": name, "actor": "Robin Sample", "why": "agreed", **more}
            answer = self.engine.request("POST", "/mapping/approve", wish, JSON)
            self.assertEqual(answer.status, status, answer.body)
            return answer.body.decode()

        for file in (one, other):
            file.write_text(CHANGED, encoding="utf-8")
        stage.wait_for("both wait", lambda: len(waiting()) == 2, seconds=60, pause=0.2)
        self.assertEqual(waiting()["main"], waiting()["second"])
        name = waiting()["main"]
        # Whose is meant is not guessed.
        self.assertIn("'main', 'second'", approve(409))
        approve(404, target="third")
        self.assertEqual(set(waiting()), {"main", "second"})
        approve(200, target="second")
        self.assertEqual(set(waiting()), {"main"})
        approve(404, target="second")
        self.assertEqual(set(waiting()), {"main"})
        # Where it waits at one place only, that is the one.
        approve(200)
        self.assertEqual(waiting(), {})
        approved = self.engine.request("POST", "/log", {"kind": "approved"}, JSON).json()["records"]
        self.assertEqual([record["target"] for record in approved], ["main", "second"])

    def test_what_a_targets_own_profiles_do_not_admit_is_held_there_and_says_so(self):
        table = json.loads((stage.TOP / "profiles" / "session" / "plausibility.json").read_text(encoding="utf-8"))
        for datum in table["datum"]:
            if datum["id"] == "saturation":
                datum.update(refuse={"low": 0, "high": 90}, confirm={"low": 60, "high": 90})
        strict = self.folder / "strict" / "session"
        strict.mkdir(parents=True)
        (strict / "plausibility.json").write_text(json.dumps(table), encoding="utf-8")
        self.start(f'profiles = "{strict.parent}"')
        session, _ = self.send("alder-moving", "stricter")
        self.legs(session, (1, "main", "landed"), (1, "second", "held"))
        view = self.engine.session(session)
        self.assertEqual(view["reason"], "not-admitted")
        self.assertIn("nothing is made of it", view["reasonText"])
        why = self.engine.request("GET", f"/sessions/{session}/outcome").json()["issue"]
        self.assertTrue(any("is impossible" in issue["details"]["text"] for issue in why), why)
        wish = {"why": "seen", "actor": "Robin Sample"}
        self.assertEqual(self.engine.request("POST", f"/sessions/{session}/release", wish, JSON).status, 422)
        self.assert_all_verified()

    def test_what_was_sent_before_the_limits_became_stricter_stays_and_can_be_taken_back(self):
        table = json.loads((stage.TOP / "profiles" / "session" / "plausibility.json").read_text(encoding="utf-8"))
        for datum in table["datum"]:
            if datum["id"] == "pulse":
                datum.update(refuse={"low": 0, "high": 105}, confirm={"low": 30, "high": 105})
        strict = self.folder / "strict" / "session"
        strict.mkdir(parents=True)
        (strict / "plausibility.json").write_text(json.dumps(table), encoding="utf-8")
        self.start("")
        session, _ = self.send("hazel-stairs.r1", "stricter")  # with a pulse of 108
        self.legs(session, (1, "main", "landed"), (1, "second", "landed"))
        live = self.live(self.b)
        self.engine.stop()
        self.start(f'profiles = "{strict.parent}"')

        def first_entry_alone(whole):
            whole.update(revision=2, change={"reason": "Misread"}, entry=whole["entry"][:1])
            whole["entry"][0]["vitals"]["pulse"]["value"] += 1
            whole["order"]["limits"].pop("pulseMax", None)  # which is over the new limit, too

        self.send("hazel-stairs.r1", "stricter", first_entry_alone)
        self.legs(session, *((r, t, "landed") for r in (1, 2) for t in ("main", "second")))
        self.assertEqual(self.live(self.b), live)

        def all_of_it(whole):
            whole.update(revision=3, status="entered-in-error", change={"reason": "Entered on another bed"})

        self.send("hazel-stairs.r1", "stricter", all_of_it)
        self.legs(session, *((r, t, "landed") for r in (1, 2, 3) for t in ("main", "second")))
        self.assertEqual((self.live(self.a), self.live(self.b)), (set(), set()))
        self.assert_all_verified()

    def test_a_condition_decides_what_is_meant_for_a_target(self):
        self.start("only = \"entry.selfCare.exists()\"")
        moving, _ = self.send("alder-moving", "walked")
        self.legs(moving, (1, "main", "landed"))
        care, _ = self.send("alder-daily-living", "washed")
        self.legs(care, (1, "main", "landed"), (1, "second", "landed"))

        # A correction that no longer meets the condition goes wherever what it corrects went.
        def take_back(whole):
            whole.update(revision=2, status="entered-in-error", change={"reason": "Entered on another bed"},
                         entry=[one for one in whole["entry"] if "selfCare" not in one])

        before = self.b.count("Observation", status="entered-in-error")
        self.send("alder-daily-living", "washed", take_back)
        self.legs(care, (1, "main", "landed"), (1, "second", "landed"), (2, "main", "landed"), (2, "second", "landed"))
        self.assertGreater(self.b.count("Observation", status="entered-in-error"), before)
        self.assert_all_verified()

    def test_a_session_that_is_meant_for_no_target_is_kept_and_says_so(self):
        self.a.stop()
        config = f'[[target]]\nname = "second"\nurl = "{self.b.base}"\nonly = "entry.selfCare.exists()"\n'
        (self.folder / "one.toml").write_text(config, encoding="utf-8")
        self.engine.start(None, "--config", self.folder / "one.toml")
        stage.wait_for("the engine is ready", self.engine.ready)
        session, _ = self.send("alder-moving", "walked")
        view = self.engine.session(session)
        self.assertEqual((view["state"], view["reason"], view["revisions"][0]["targets"]), ("accepted", "no-target", []))
        self.assertIn("no record server", view["reasonText"])

    def test_what_cannot_be_decided_is_held_there_and_goes_on_elsewhere(self):
        self.start("only = \"entry.id\"")  # several, so neither true nor false
        session, _ = self.send("alder-moving", "undecided")
        self.legs(session, (1, "main", "landed"), (1, "second", "held"))
        self.assertEqual(self.engine.session(session)["reason"], "condition-failed")
        # Mended in the configuration, and made again.
        self.engine.stop()
        self.start("only = \"entry.exists()\"")
        answer = self.engine.request("POST", f"/sessions/{session}/remap",
                                     {"why": "the condition is mended", "actor": "Robin Sample"}, JSON)
        self.assertEqual(answer.status, 200, answer.body)
        self.legs(session, (1, "main", "landed"), (1, "second", "landed"))
        self.assert_all_verified()

    def test_what_left_as_another_bundle_before_is_taken_back_too(self):
        self.start('overlay = "us-core"')
        self.b.faults({"action": "html-after-commit", "times": 1, "method": "POST"})
        session, _ = self.send("alder-moving", "made-anew")
        self.legs(session, (1, "main", "landed"), (1, "second", "held"))
        self.engine.stop()
        self.start("")
        wish = {"why": "with the maps of today", "actor": "Robin Sample", "target": "second"}
        answer = self.engine.request("POST", f"/sessions/{session}/remap", wish, JSON)
        self.assertEqual(answer.status, 200, answer.body)
        self.legs(session, (1, "main", "landed"), (1, "second", "landed"))
        self.take_back("alder-moving", session, "made-anew")
        self.legs(session, *((r, t, "landed") for r in (1, 2) for t in ("main", "second")))
        self.assertEqual(self.live(self.b), set())
        self.assert_all_verified()

    def test_a_refusal_does_not_forget_what_left_as_another_bundle(self):
        self.start('overlay = "us-core"')
        self.b.faults({"action": "html-after-commit", "times": 1, "transactions": True},
                      {"action": "status", "status": 422, "times": 1, "transactions": True})
        session, _ = self.send("alder-moving", "refused-anew")
        self.legs(session, (1, "main", "landed"), (1, "second", "held"))
        self.engine.stop()
        self.start("")
        wish = {"why": "with the maps of today", "actor": "Robin Sample", "target": "second", "revision": 1}
        for action, state in (("remap", "held"), ("withdraw", "withdrawn")):
            answer = self.engine.request("POST", f"/sessions/{session}/{action}", wish, JSON)
            self.assertEqual(answer.status, 200, answer.body)
            stage.wait_for(action, lambda: self.b.fired() == 2)
            self.legs(session, (1, "main", "landed"), (1, "second", state))
        self.take_back("alder-moving", session, "refused-anew")
        self.legs(session, (1, "main", "landed"), (1, "second", "withdrawn"), (2, "main", "landed"), (2, "second", "landed"))
        self.assertEqual(self.live(self.b), set())
        self.assert_all_verified()

    def test_a_moved_session_goes_to_whom_the_right_patient_is_meant_for(self):
        patients = "https://hill.example/ids/patient"
        self.start("only = \"patient.identifier.value = 'P-0102'\"")
        for name, more in (("with-the-file", ["--config", self.folder / "engine.toml"]), ("without", [])):
            session, _ = self.send("alder-breathing-am", name)
            self.legs(session, (1, "main", "landed"))
            done = subprocess.run([stage.ENGINE, "journal", "--journal", self.engine.journal, "move", session,
                                   "--to", f"{patients}|P-0102", "--who", "Robin Sample", "--why", "Wrong bed", *more],
                                  capture_output=True, text=True, check=False)
            self.assertEqual(done.returncode, 0, done.stderr)
            entered = done.stdout.split(" takes it back, ")[1].split("/")[0]
            self.legs(session, (1, "main", "landed"), (2, "main", "landed"))
            self.legs(entered, (1, "main", "landed"), *([(1, "second", "landed")] if more else []))
        self.assert_all_verified()

    def take_back(self, name, session, value):
        """Sends a revision that takes the whole session back."""
        def all_of_it(whole):
            whole.update(revision=2, status="entered-in-error", change={"reason": "Entered on another bed"})

        self.assertEqual(self.send(name, value, all_of_it)[0], session)

    def live(self, server):
        return {(kind, one["id"]) for kind in ("Observation", "Procedure") for one in server.all(kind)
                if one["status"] != "entered-in-error"}

    def test_what_another_set_made_is_taken_back_and_corrected_too(self):
        kept, national = "", 'overlay = "us-core"'
        for number, (before, after) in enumerate(((kept, national), (national, kept), (kept, kept))):
            self.start(before)
            session, _ = self.send("alder-moving", f"set-{number}")
            self.legs(session, (1, "main", "landed"), (1, "second", "landed"))
            first = {one["id"] for one in self.b.all("Observation")}
            self.engine.stop()
            self.start(after)
            self.take_back("alder-moving", session, f"set-{number}")
            self.legs(session, *((r, t, "landed") for r in (1, 2) for t in ("main", "second")))
            self.assertEqual(self.live(self.b), set(), (before, after))
            self.assertEqual({one["id"] for one in self.b.all("Observation")}, first, "what never was is not made")
            self.assertEqual(self.live(self.a), set())
            self.engine.stop()
        self.start(kept)
        self.assert_all_verified()

    def test_what_may_have_landed_and_was_given_up_is_taken_back_too(self):
        self.start("")
        for fault in ("html-after-commit", "html"):
            self.b.faults({"action": fault, "times": 1, "method": "POST"})
            session, _ = self.send("alder-moving", fault)
            self.legs(session, (1, "main", "landed"), (1, "second", "held"))
            wish = {"why": "nobody knows", "actor": "Robin Sample", "target": "second"}
            answer = self.engine.request("POST", f"/sessions/{session}/withdraw", wish, JSON)
            self.assertEqual(answer.status, 200, answer.body)
            self.take_back("alder-moving", session, fault)
            self.legs(session, (1, "main", "landed"), (1, "second", "withdrawn"), (2, "main", "landed"),
                      (2, "second", "landed"))
            self.assertEqual(self.live(self.b), set(), fault)
        self.assert_all_verified()

    def test_what_was_given_up_is_not_done_by_the_next_revision(self):
        self.start("")

        def pulses(server):
            chart = server.request("GET", "/fhir/Observation?code=8867-4&_count=100").json()
            return sorted(one["resource"]["valueQuantity"]["value"] for one in chart.get("entry", ())
                          if one["resource"]["status"] != "entered-in-error")

        for fault in ("html-after-commit", "html"):
            session, first = self.send("hazel-stairs.r1", fault)
            self.legs(session, (1, "main", "landed"), (1, "second", "landed"))
            before, live = pulses(self.b), self.live(self.b)
            measured = next(one for one in first["entry"] if "pulse" in one.get("vitals", {}))

            def other(whole):
                wrong = next(one for one in whole["entry"] if one["id"] == measured["id"])
                wrong["vitals"]["pulse"]["value"] += 3
                whole["entry"].append(dict(copy.deepcopy(wrong), id="e9"))
                whole.update(revision=2, change={"reason": "Misread"})

            self.b.faults({"action": fault, "times": 1, "method": "POST"})
            self.send("hazel-stairs.r1", fault, other)
            self.legs(session, (1, "main", "landed"), (1, "second", "landed"), (2, "main", "landed"), (2, "second", "held"))
            wish = {"why": "of another bed", "actor": "Robin Sample", "target": "second"}
            answer = self.engine.request("POST", f"/sessions/{session}/withdraw", wish, JSON)
            self.assertEqual(answer.status, 200, answer.body)

            def without(whole):
                whole.update(revision=3, entry=[one for one in whole["entry"] if one["id"] != measured["id"]])

            self.send("hazel-stairs.r1", fault, without)
            self.legs(session, (1, "main", "landed"), (1, "second", "landed"), (2, "main", "landed"),
                      (2, "second", "withdrawn"), (3, "main", "landed"), (3, "second", "landed"))
            self.assertEqual(pulses(self.b), before, fault)
            self.assertEqual(self.live(self.b), live, fault)
        self.assert_all_verified()

    def test_a_condition_that_no_document_could_meet_is_refused_at_the_start(self):
        with self.assertRaises(stage.Failure) as refused:
            self.start("only = \"facilty.exists()\"")
        self.assertIn("the condition of target 'second'", str(refused.exception))
        self.assertIn("facilty", str(refused.exception))


if __name__ == "__main__":
    unittest.main()
