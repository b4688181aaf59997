#!/usr/bin/env python3
"""replay --resend: what landed in one record server, moved to another."""
import contextlib
import json
import pathlib
import re
import signal
import sqlite3
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


def text_of(name):
    identifier = stage.sent(name)["patient"]["identifier"]
    return f"{identifier['system']}|{identifier['value']}"


class Resend(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-resend-")))
        self.old = self.started("old", [PEOPLE])
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.engine.start(self.old.base)
        for name in ("alder-moving", "hazel-stairs.r1", "hazel-stairs.r2", "alder-breathing-am"):
            session = self.engine.session_id(self.engine.send(stage.sent(name)))
            stage.wait_for("landed", lambda: self.engine.settled(session, ("landed",)))  # pylint: disable=cell-var-from-loop

    def started(self, name, load, body_max=None):
        folder = self.folder / name
        folder.mkdir()
        server = self.enterContext(stage.RecordServer(folder, load=load, body_max=body_max))
        server.start()
        return server

    def resend(self, server, *words):
        done = subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--resend", "--url",
                               server.base, "--json", "--who", "Kim Sample", "--why", "another server", *map(str, words)],
                              capture_output=True, text=True, check=False)
        return done.returncode, json.loads(done.stdout) if done.stdout else done.stderr

    def resends(self, patient):
        """What the disclosures of a patient say of resends."""
        done = subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), "report", "disclosures",
                               "--patient-file", "-", "--format", "ndjson", "--why", "asked"], capture_output=True, text=True,
                              check=True, input=patient + "\n")
        rows = [json.loads(line) for line in done.stdout.splitlines()]
        for row in rows:
            if row["what"] == "resend":
                self.assertTrue(row["who"].startswith("Kim Sample (command, uid "), row)
                self.assertEqual(row["why"], "another server")
        return [row["reason"] for row in rows if row["what"] == "resend"]

    def test_who_sent_whose_sessions_where_is_written_down(self):
        new = self.started("new", [PEOPLE])
        patients = [(text_of("alder-moving"), 2), (text_of("hazel-stairs.r1"), 2)]
        self.assertEqual(self.resend(new)[0], 0)
        for patient, landings in patients:
            self.assertEqual(self.resends(patient), [f"resend landings={landings} of=main server={new.base}"])
        self.assertEqual(self.resends("https://hill.example/ids/patient|P-1"), [])
        (whole,) = [one for one in self.engine.records("read") if "patients=" in one["reason"]]
        self.assertEqual(whole["reason"], f"resend landings=4 patients=2 of=main server={new.base}")
        good, said = self.engine.verify_journal()
        self.assertTrue(good, said)

    def test_what_did_not_leave_after_all_is_written_down_too(self):
        new = self.started("new", [])  # knows nobody: the first stops it
        self.assertEqual(self.resend(new)[0], 1)
        said = [self.resends(text_of(name))[1:] for name in ("alder-moving", "hazel-stairs.r1")]
        self.assertEqual(said, [[f"resend-ended landings=2 sent=1 taken=0 of=main server={new.base}"],
                                [f"resend-ended landings=2 sent=0 taken=0 of=main server={new.base}"]])

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

    def versions(self, server):
        return {one["id"]: one["meta"]["versionId"] for kind in ("Observation", "Procedure") for one in server.all(kind)}

    def test_what_is_older_is_not_written_over_what_is_newer(self):
        # A third revision, and then the first two once more to the server that has it.
        document = json.loads(json.dumps(stage.sent("hazel-stairs.r2")))
        document.update(revision=3, change={"reason": "Read off wrongly"})
        measured = [one for one in document["entry"] if "pulse" in one.get("vitals", {})]
        for one in measured:
            one["vitals"]["pulse"]["value"] += 1
        self.assertTrue(measured)
        session = self.engine.session_id(self.engine.send(document))
        stage.wait_for("landed", lambda: self.engine.landed_revision(session) == 3)
        landed = [one for one in self.engine.records("landed") if one["session"] == session]
        chart, versions = content(self.old), self.versions(self.old)
        status, report = self.resend(self.old, "--until", landed[-1]["time"])
        self.assertEqual((status, report["sent"]), (0, 4), report)
        self.assertEqual((content(self.old), self.versions(self.old)), (chart, versions))
        # Elsewhere it is what was there then, and goes on to what is there now.
        new = self.started("new", [PEOPLE])
        status, report = self.resend(new, "--until", landed[-1]["time"])
        self.assertEqual((status, report["sent"]), (0, 4), report)
        self.assertNotEqual(content(new), chart)
        status, report = self.resend(new, "--after", report["last"])
        self.assertEqual((status, report["sent"]), (0, 1), report)
        self.assertEqual(content(new), chart)

    def test_of_a_correction_too_only_what_left_is_told(self):
        new = self.started("new", [PEOPLE])
        landed = [one["position"] for one in self.engine.records("landed")]
        self.assertEqual(self.resend(new)[0], 0)
        new.stop()
        status, report = self.resend(new, "--after", landed[1])
        self.assertEqual((status, report["sent"], report["partly"]), (1, 0, False), report)
        self.assertEqual(self.resends(text_of("hazel-stairs.r1"))[-1],
                         f"resend-ended landings=1 sent=0 taken=0 of=main server={new.base}")

    def test_what_somebody_else_wrote_stops_it(self):
        new = self.started("new", [PEOPLE])
        landed = [one["position"] for one in self.engine.records("landed")]
        self.assertEqual(self.resend(new)[0], 0)
        corrected = [one for one in new.all("Observation") if one["status"] == "corrected"][0]
        edited = dict(corrected, note=[{"text": "Looked at by somebody else"}])
        answer = new.request("PUT", f"/fhir/Observation/{edited['id']}", edited,
                             {"Content-Type": "application/fhir+json"})
        self.assertEqual(answer.status, 200, answer.body)
        status, report = self.resend(new, "--after", landed[1])
        self.assertEqual((status, report["reason"], report["partly"]), (1, "changed-elsewhere", False), report)
        (now,) = [one for one in new.all("Observation") if one["id"] == edited["id"]]
        self.assertEqual(now["note"], edited["note"])

    def test_a_first_revision_that_was_made_again_in_doubt_is_not_written_over_what_is_newer(self):
        self.old.faults({"action": "html", "method": "POST", "times": 1})
        document = json.loads(json.dumps(stage.sent("hazel-stairs.r1")))
        document["identifier"]["value"] = "made-again"
        session = self.engine.session_id(self.engine.send(document))
        stage.wait_for("held", lambda: self.engine.settled(session, ("held",)))
        wish = {"actor": "Robin Sample", "why": "the portal is away"}
        answer = self.engine.request("POST", f"/sessions/{session}/remap", wish, {"Content-Type": "application/json"})
        self.assertEqual(answer.status, 200, answer.body)
        stage.wait_for("landed", lambda: self.engine.landed_revision(session) == 1)
        document.update(revision=2, status="entered-in-error", change={"reason": "Never done"})
        self.assertEqual(self.engine.send(document).status, 202)
        stage.wait_for("taken back", lambda: self.engine.landed_revision(session) == 2)
        landed = [one for one in self.engine.records("landed") if one["session"] == session]
        new = self.started("new", [PEOPLE])
        self.assertEqual(self.resend(new)[0], 0)
        self.assertEqual(content(new), content(self.old))
        # Its updates alone once more: what the second left stays.
        alone = ("--after", landed[0]["position"] - 1, "--until", landed[1]["time"])
        chart, versions = content(new), self.versions(new)
        status, report = self.resend(new, *alone)
        self.assertEqual((status, report["sent"]), (0, 1), report)
        self.assertEqual((content(new), self.versions(new)), (chart, versions))
        # And so does what somebody else wrote.
        edited = [one for one in new.all("Observation") if one["status"] == "entered-in-error"][0]
        edited["note"] = [{"text": "Looked at by somebody else"}]
        answer = new.request("PUT", f"/fhir/Observation/{edited['id']}", edited,
                             {"Content-Type": "application/fhir+json"})
        self.assertEqual(answer.status, 200, answer.body)
        status, report = self.resend(new, *alone)
        self.assertEqual((status, report["reason"]), (1, "changed-elsewhere"), report)
        self.assertEqual(content(new), chart)
        (now,) = [one for one in new.all("Observation") if one["id"] == edited["id"]]
        self.assertEqual(now["note"], edited["note"])

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

    def test_broken_off_it_says_where_to_go_on(self):
        new = self.started("new", [PEOPLE])
        new.faults({"action": "latency", "delayMs": 1500, "transactions": True})
        running = subprocess.Popen([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--resend", "--url",
                                    new.base, "--who", "Kim Sample", "--why", "another server"], stdout=subprocess.PIPE,
                                   text=True)
        stage.wait_for("the first is on its way", lambda: new.fired() > 0)
        running.send_signal(signal.SIGINT)
        said = running.communicate(timeout=30)[0]
        self.assertEqual(running.returncode, 1, said)
        self.assertIn("1 landings sent again", said)
        behind = re.search(r"BROKEN OFF behind record (\d+); go on with --after \1\n", said)[1]
        self.assertIn("resend-ended", self.resends(text_of("hazel-stairs.r1"))[-1])
        status, report = self.resend(new, "--after", behind)
        self.assertEqual((status, report["sent"]), (0, 3), report)
        self.assertEqual(content(new), content(self.old))

    def test_what_is_too_large_for_the_new_server_goes_in_pieces(self):
        new = self.started("new", [PEOPLE], body_max=6000)
        status, report = self.resend(new)
        self.assertEqual((status, report["sent"], report["complete"]), (0, 4, True), report)
        self.assertEqual(content(new), content(self.old))
        self.assertEqual(self.resends(text_of("alder-moving")), [f"resend landings=2 of=main server={new.base}"])
        before = len(content(new))
        self.assertEqual(self.resend(new)[0], 0)
        self.assertEqual(len(content(new)), before)

    def test_a_server_that_takes_no_transactions(self):
        for name, abilities in (("batch", {"transaction": False}), ("single", {"transaction": False, "batch": False})):
            with self.subTest(name=name):
                new = self.started(name, [PEOPLE])
                self.assertEqual(new.request("POST", "/$abilities", abilities).status, 200)
                status, report = self.resend(new)
                self.assertEqual((status, report["sent"]), (0, 4), report)
                self.assertEqual(content(new), content(self.old))

    def test_what_landed_in_part_is_told(self):
        new = self.started("new", [PEOPLE], body_max=1500)
        status, report = self.resend(new)
        self.assertEqual((status, report["sent"], report["reason"], report["partly"]), (1, 0, "too-large", True), report)
        self.assertRegex(report["about"], r"^Observation urn:uuid:[0-9a-f-]+ \(\d+ bytes\)$")
        self.assertTrue(content(new))
        self.assertLess(len(content(new)), len(content(self.old)))
        self.assertEqual(self.resends(text_of("alder-moving"))[1:],
                         [f"resend-ended landings=2 sent=1 taken=0 partly=1 of=main server={new.base}"])
        status, said = self.resend(new, "--after", report["stoppedAt"])
        self.assertEqual((status, said["reason"]), (1, "too-large"), "the next one")

    def test_what_the_journal_has_no_more_is_named_and_not_all_is_moved(self):
        gone = [one for one in self.engine.records("landed") if one["session"] == self.session_of("alder-moving")]
        subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), "shred", "--why", "wish",
                        "--patient", text_of("alder-moving")], check=True, capture_output=True)
        new = self.started("new", [PEOPLE])
        status, report = self.resend(new)
        self.assertEqual((status, report["complete"], report["sent"], report["destroyed"]), (1, False, 2, 2), report)
        self.assertIn({"session": gone[0]["session"], "revision": 1, "position": gone[0]["position"]},
                      report["destroyedSessions"])

    def session_of(self, name):
        return self.engine.session_id(self.engine.send(stage.sent(name)))  # again: the same

    def test_what_somebody_added_to_a_provenance_stays(self):
        new = self.started("new", [PEOPLE])
        self.assertEqual(self.resend(new)[0], 0)
        one = {**new.all("Provenance")[0], "policy": ["https://hill.example/policy"]}
        put = new.request("PUT", f"/fhir/Provenance/{one['id']}", one, {"Content-Type": "application/fhir+json"})
        self.assertEqual(put.status, 200)
        status, report = self.resend(new)
        self.assertEqual((status, report["reason"]), (1, "changed-elsewhere"), report)
        kept = next(other for other in new.all("Provenance") if other["id"] == one["id"])
        self.assertEqual(kept["policy"], one["policy"])

    def test_what_was_there_and_what_was_made_anew_is_told_apart(self):
        new = self.started("new", [PEOPLE])
        for there in (0, 4):
            status, report = self.resend(new)
            self.assertEqual((status, report["sent"], report["there"], report["inPart"]), (0, 4, there, 0), report)
        session = self.session_of("alder-moving")
        value = next(one["landing"] for one in self.engine.session(session)["revisions"][0]["targets"])
        identifier = next(one for one in self.old.all("Observation") if f"Observation/{one['id']}/" in json.dumps(value))
        there = next(one for one in new.all("Observation") if one["identifier"] == identifier["identifier"])
        self.assertIn(new.request("DELETE", f"/fhir/Observation/{there['id']}").status, (200, 204))
        status, report = self.resend(new)
        self.assertEqual((status, report["sent"], report["there"], report["inPart"]), (0, 4, 3, 1), report)
        self.assertEqual([one["session"] for one in report["inPartSessions"]], [session])

    def test_what_waits_or_is_held_is_not_sent_and_counted(self):
        unknown = json.loads(json.dumps(stage.sent("alder-breathing-am")))
        unknown["identifier"]["value"] += "-nobody"
        unknown["patient"]["identifier"]["value"] = "P-0999"
        session = self.engine.session_id(self.engine.send(unknown))
        stage.wait_for("held", lambda: self.engine.settled(session, ("held",)))
        report = self.resend(self.started("new", [PEOPLE]))[1]
        self.assertEqual((report["sent"], report["held"], report["waiting"], report["complete"]), (4, 1, 0, True), report)

    def test_a_bundle_that_cannot_be_read_ends_it_with_all_that_was_sent(self):
        self.engine.stop()
        last = self.engine.records("landed")[-1]
        with contextlib.closing(sqlite3.connect(self.engine.journal)) as database, database:
            (bundle,) = [one["position"] for one in self.engine.records("checked")
                         if (one["session"], one["revision"]) == (last["session"], last["revision"])]
            database.execute("UPDATE part SET bytes = x'00' WHERE position = ? AND name = 'bundle'", (bundle,))
        new = self.started("new", [PEOPLE])
        status, report = self.resend(new)
        self.assertEqual((status, report["sent"], report["stoppedAt"], report["reason"], report["complete"]),
                         (1, 3, last["position"], "bundle-unreadable", False), report)
        self.assertEqual(self.resends(text_of("alder-breathing-am"))[1:],
                         [f"resend-ended landings=2 sent=1 taken=1 of=main server={new.base}"])
        status, report = self.resend(new, "--after", last["position"])
        self.assertEqual((status, report["sent"]), (0, 0), report)

    def test_sealed_bodies_need_their_key_before_anything_leaves(self):
        self.engine.stop()
        self.engine.seal_bodies()
        self.engine.start(self.old.base)
        document = json.loads(json.dumps(stage.sent("alder-moving")))
        document["identifier"]["value"] += "-sealed"
        session = self.engine.session_id(self.engine.send(document))
        stage.wait_for("landed", lambda: self.engine.settled(session, ("landed",)))
        before = len(self.engine.records("read"))
        new = self.started("new", [PEOPLE])
        status, said = self.resend(new)
        self.assertEqual(status, 2)
        self.assertIn("give the master key", said)
        self.assertEqual((len(self.engine.records("read")), new.count("Observation")), (before, 0))
        self.assertEqual(self.resend(new, *self.engine.sealing)[0], 0)

    def test_it_says_what_it_needs(self):
        done = subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--resend"],
                              capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 2)
        self.assertIn("--url", done.stdout + done.stderr)

    def test_nothing_leaves_without_a_reason_or_of_a_target_that_there_is_not(self):
        new = self.started("new", [PEOPLE])
        before = len(self.engine.records())
        for words, said in ((["--why", ""], "--why"), (["--target", "another"], "there are: main")):
            status, err = self.resend(new, *words)
            self.assertEqual(status, 2, err)
            self.assertIn(said, err)
        done = subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--resend", "--url",
                               new.base], capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 2)
        self.assertIn("--why", done.stderr)
        self.assertEqual((content(new), len(self.engine.records())), ({}, before))


class AnotherServer(unittest.TestCase):
    """Under the same target name the record server is another one, or what it was before: ids and versions are others'."""

    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-another-")))
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.other = self.enterContext(stage.Engine(self.folder, "other"))

    def started(self, name):
        folder = self.folder / name
        folder.mkdir(exist_ok=True)
        server = self.enterContext(stage.RecordServer(folder, load=[PEOPLE]))
        server.start()
        return server

    def land(self, engine, document, states=("landed",)):
        session = engine.session_id(engine.send(document))
        stage.wait_for(" or ".join(states), lambda: engine.settled(session, states))
        return session

    def leg(self, session, revision):
        (one,) = [one for one in self.engine.session(session)["revisions"] if one["revision"] == revision]
        return one["targets"][0]

    def others(self):
        """A session of the same shape of somebody else, so that ids fall on those of the first one's."""
        document = json.loads(json.dumps(stage.sent("alder-breathing-am")))
        document["patient"]["identifier"] = stage.sent("birch-breathing-am")["patient"]["identifier"]
        document["identifier"]["value"] += "-others"
        return document

    def corrected(self):
        document = json.loads(json.dumps(stage.sent("alder-breathing-am")))
        document.update(revision=2, change={"reason": "Read off wrongly"})
        document["entry"][0]["vitals"]["pulse"]["value"] += 9
        return document

    def taken_back(self):
        return dict(self.corrected(), status="entered-in-error")

    @staticmethod
    def of_others(server):
        patient = stage.sent("birch-breathing-am")["patient"]["identifier"]["value"]
        (one,) = [one for one in server.all("Patient") if one["identifier"][0]["value"] == patient]
        return {each["id"]: each for each in server.all("Observation") + server.all("Procedure")
                if each["subject"]["reference"].endswith(f"/{one['id']}")}

    def moved(self, resend):
        old = self.started("old")
        self.engine.start(old.base)
        session = self.land(self.engine, stage.sent("alder-breathing-am"))
        new = self.started("new")
        self.other.start(new.base)
        self.land(self.other, self.others())
        if resend:
            subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--resend", "--url", new.base,
                            "--why", "moved"], capture_output=True, check=True)
        self.engine.stop()
        self.engine.start(new.base)
        return session, new

    def test_corrections_find_what_was_moved_and_nothing_else(self):
        session, new = self.moved(resend=True)
        others, before = self.of_others(new), content(new)
        self.assertTrue(others)
        self.land(self.engine, self.corrected())
        self.assertEqual(self.of_others(new), others)
        after = content(new)
        changed = [key for key in before if after[key] != before[key]]
        self.assertEqual({after[key][1] for key in changed}, {"corrected"})
        self.assertTrue(changed)
        self.assertEqual([one["revision"] for one in self.engine.session(session)["revisions"]], [1, 2])
        document = dict(self.taken_back(), revision=3)
        self.land(self.engine, document)
        self.assertEqual(self.of_others(new), others)
        theirs = {one["identifier"][0]["value"] for one in others.values()}
        ours = {key: said for key, said in content(new).items() if key not in theirs and said[0] != "Provenance"}
        self.assertEqual({said[1] for said in ours.values()}, {"entered-in-error"})

    def under_another_name(self, old, server):
        """The engine's next start: its one target has another name. `server`: which one it is."""
        self.engine.stop()
        path = self.folder / "engine.toml"
        path.write_text(f'[[target]]\nname = "hill"\nurl = "{server.base}"\n', encoding="utf-8")
        if old is not server:
            subprocess.run([str(stage.ENGINE), "replay", "--journal", str(self.engine.journal), "--resend", "--url",
                            server.base, "--why", "moved"], capture_output=True, check=True)
        self.engine.start(None, "--config", path)
        return path

    def at_hill(self, session, revision):
        def settled():
            (one,) = [one for one in self.engine.session(session)["revisions"] if one["revision"] == revision]
            (leg,) = [leg for leg in one["targets"] if leg["target"] == "hill"]
            return (leg["state"], leg.get("reason")) if leg["state"] in ("landed", "held") else None
        return stage.wait_for("an end", settled)

    def move(self, session, config):
        subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), "move", session, "--to-file", "-",
                        "--why", "wrong bed", "--config", str(config)], input=text_of("birch-breathing-am") + "\n",
                       capture_output=True, text=True, check=True)

    @staticmethod
    def statuses(server):
        """Of what is on the first patient's chart, Provenances aside."""
        patient = stage.sent("alder-breathing-am")["patient"]["identifier"]["value"]
        (alder,) = [one for one in server.all("Patient") if one["identifier"][0]["value"] == patient]
        return [one["status"] for one in server.all("Observation") + server.all("Procedure")
                if one["subject"]["reference"].endswith(f"/{alder['id']}")]

    def check_under_another_name(self, moved):
        server = old = self.started("old")
        self.engine.start(old.base)
        sessions = {}
        for name in ("whole", "part", "corrected", "moved"):
            document = json.loads(json.dumps(stage.sent("alder-breathing-am")))
            document["identifier"]["value"] += f"-{name}"
            sessions[name] = (self.land(self.engine, document), document["identifier"])
        server = self.started("new") if moved else old
        config = self.under_another_name(old, server)
        a_session = len(self.statuses(server)) // len(sessions)
        self.assertGreater(a_session, 10)
        part = dict(self.corrected(), withdrawal=[{"entry": "e1", "reason": "not hers"}])
        part["entry"] = part["entry"][1:]
        for name, document in (("whole", self.taken_back()), ("part", part), ("corrected", self.corrected())):
            self.engine.send(dict(document, identifier=sessions[name][1]))
            self.assertEqual(self.at_hill(sessions[name][0], 2), ("landed", None), name)
        self.move(sessions["moved"][0], config)
        self.assertEqual(self.at_hill(sessions["moved"][0], 2), ("landed", None))
        # Two sessions are taken back whole, of one an entry is, and one has a correction.
        statuses = self.statuses(server)
        self.assertEqual(len(statuses), 4 * a_session, "nothing is there twice")
        wrong = statuses.count("entered-in-error")
        self.assertTrue(2 * a_session < wrong < 3 * a_session, wrong)
        self.assertIn("corrected", statuses)
        self.assertTrue(self.engine.verify_journal()[0])

    def test_under_another_name_what_is_taken_back_is_taken_back(self):
        self.check_under_another_name(moved=False)

    def test_at_a_new_server_with_a_new_name_too(self):
        self.check_under_another_name(moved=True)

    def test_what_was_not_moved_is_held_and_nothing_is_written_over(self):
        session, new = self.moved(resend=False)
        before = content(new)
        self.land(self.engine, self.taken_back(), ("held", "landed"))
        self.assertEqual((self.leg(session, 2)["state"], self.leg(session, 2)["reason"]), ("held", "changed-elsewhere"))
        self.assertEqual(content(new), before)

    def test_a_server_that_was_brought_back_has_others_where_ours_were(self):
        server = self.started("server")
        server.stop()
        kept = (server.folder / "record_server.kept").read_bytes()
        server.start()
        self.engine.start(server.base)
        session = self.land(self.engine, stage.sent("alder-breathing-am"))
        self.engine.stop()
        server.stop()
        (server.folder / "record_server.kept").write_bytes(kept)
        server.start()
        self.other.start(server.base)
        self.land(self.other, self.others())
        before = content(server)
        self.engine.start(server.base)
        self.land(self.engine, self.taken_back(), ("held", "landed"))
        self.assertEqual((self.leg(session, 2)["state"], self.leg(session, 2)["reason"]), ("held", "changed-elsewhere"))
        self.assertEqual(content(server), before)


if __name__ == "__main__":
    unittest.main()
