#!/usr/bin/env python3
"""What an auditor asks of the journal of an engine that took sessions in, landed and corrected them."""
import copy
import json
import pathlib
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

USAGE = 2


def text_of(identifier):
    return f"{identifier['system']}|{identifier['value']}"


class Reports(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(cls.enterClassContext(tempfile.TemporaryDirectory(prefix="chartferry-reports-")))
        server = cls.enterClassContext(stage.RecordServer(cls.folder, load=[stage.WARD / "people.bundle.json"]))
        cls.engine = cls.enterClassContext(stage.Engine(cls.folder))
        server.start()
        cls.engine.start(server.base)
        cls.first = stage.sent("alder-moving")
        cls.session = cls.send(cls.first)
        cls.second = copy.deepcopy(cls.first)
        cls.second["revision"] = 2
        cls.second["change"] = {"reason": "Misread", "author": cls.first["therapist"], "time": cls.first["period"]["end"]}
        cls.second["entry"][0]["comment"] = "corrected"
        cls.send(cls.second)
        cls.patient = text_of(cls.first["patient"]["identifier"])
        cls.engine.request("GET", f"/sessions/{cls.session}/document")

    @classmethod
    def send(cls, document):
        answer = cls.engine.send(document)
        session = cls.engine.session_id(answer)
        stage.wait_for("landed", lambda: cls.engine.landed_revision(session) == document["revision"])
        return session

    def command(self, *words, given=None):
        """Beside the running engine."""
        done = subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), *map(str, words)],
                              capture_output=True, text=True, check=False, input=given)
        return done.returncode, done.stdout, done.stderr

    def rows(self, report, *words, given=None):
        status, out, err = self.command("report", report, "--format", "ndjson", "--why", "audit", "--who", "Kim Auditor",
                                        *words, given=given)
        self.assertEqual(status, 0, err)
        return [json.loads(line) for line in out.splitlines()]

    def test_disclosures_of_a_patient(self):
        """Named on the input, where nobody sees it."""
        rows = self.rows("disclosures", "--patient-file", "-", given=self.patient + "\n")
        landed = [(row["session"], row["revision"], row["target"]) for row in rows if row["what"] == "landed"]
        self.assertEqual(landed, [(self.session, 1, "main"), (self.session, 2, "main")])
        reads = [row for row in rows if row["what"] == "read"]
        self.assertTrue(any(row.get("session") == self.session for row in reads), rows)
        self.assertIn(("Kim Auditor", "audit", "report-disclosures"),
                      [(row.get("who", "").partition(" (command, uid ")[0], row.get("why"), row.get("reason")) for row in reads])
        self.assertEqual(self.rows("disclosures", "--patient", self.patient, "--until", "2000-01-01T00:00:00Z"), [])

    def test_what_a_therapist_entered(self):
        rows = self.rows("activity", "--therapist", text_of(self.first["therapist"]["identifier"]))
        self.assertEqual([(row["did"], row["revision"], row.get("why")) for row in rows if row["did"] == "accepted"],
                         [("accepted", 1, None), ("accepted", 2, "Misread")])

    def test_who_asked_is_activity_too(self):
        self.rows("delay")
        rows = self.rows("activity", "--actor", "Kim Auditor")
        self.assertIn(("read", "report-delay", "audit"), [(row["did"], row["reason"], row["why"]) for row in rows])
        self.assertIn("report-activity", [row["reason"] for row in rows])
        status, out, err = self.command("report", "activity", "--actor", "Kim Auditr", "--why", "audit")
        self.assertEqual((status, len(out.splitlines())), (0, 1), out)
        self.assertIn("no record within this is of that person", err)

    def test_corrections_before_and_after(self):
        rows = self.rows("corrections", "--patient", self.patient)
        self.assertEqual([(row["element"], row.get("before"), row["after"], row["why"]) for row in rows],
                         [(f"entry[{self.first['entry'][0]['id']}].comment", None, '"corrected"', "Misread")])
        self.assertIn(self.first["therapist"]["display"], rows[0]["who"])
        self.assertEqual(self.rows("corrections"), rows)
        # Who asks of all looks at each of whom something is shown.
        before = self.looks("report-corrections")
        self.rows("corrections")
        self.assertEqual(self.looks("report-corrections"), before + 1)
        self.rows("corrections", "--until", "2000-01-01T00:00:00Z")
        self.assertEqual(self.looks("report-corrections"), before + 1)

    def looks(self, reason):
        """How often the patient was looked at for that."""
        rows = self.rows("disclosures", "--patient", self.patient)
        return len([row for row in rows if row.get("reason") == reason])

    def test_nobody_is_no_account_of_somebody(self):
        for report in ("disclosures", "corrections"):
            for patient, said in ((self.patient, False), (self.patient + "O", True)):
                status, _, err = self.command("report", report, "--patient", patient, "--why", "wish of the patient")
                self.assertEqual((status, "no session of this patient" in err), (0, said), err)
        for words in (("list",), ("export", self.folder / "nobody")):
            status, _, err = self.command(*words, "--patient", self.patient + "O", "--why", "x")
            self.assertEqual((status, "no session of this patient" in err), (0, True), err)

    def test_delay_by_target_and_therapist(self):
        rows = self.rows("delay")
        self.assertEqual({(row["target"], row["until"], row["sessions"]) for row in rows},
                         {("main", "accepted", 1), ("main", "landed", 1)})
        self.assertEqual(len(rows), 4)
        for row in rows:
            self.assertTrue(0 <= row["median-s"] <= row["p90-s"] <= row["p99-s"] <= row["worst-s"], row)

    def test_a_table_for_people(self):
        status, out, err = self.command("report", "disclosures", "--patient", self.patient, "--why", "audit")
        self.assertEqual(status, 0, err)
        lines = out.splitlines()
        self.assertRegex(lines[0], r"^record +time +what +session +revision +target")
        self.assertTrue(any(self.session in line and " landed " in line for line in lines), out)

    def test_what_is_refused(self):
        empty = self.folder / "empty"
        empty.write_text("\n")
        several = self.folder / "several"
        several.write_text(f"{self.patient}\nhttps://hill.example/ids/patient|P-0007\n")
        for words, said in ((("disclosures", "--why", "x"), "whose?"),
                            (("activity", "--why", "x"), "whose?"),
                            (("disclosures", "--patient", self.patient), "--why"),
                            (("disclosures", "--patient", "P-0007", "--why", "x"), "SYSTEM|VALUE"),
                            (("disclosures", "--patient-file", empty, "--why", "x"), "first line"),
                            (("disclosures", "--patient-file", several, "--why", "x"), "more than one line"),
                            (("disclosures", "--patient-file", self.folder / "none", "--why", "x"), "none"),
                            (("delay", "--why", "x", "--since", "yesterday"), "2026-03-02T08:00:00Z"),
                            (("delay", "--why", "x", "--format", "xml"), "xml"),
                            (("weather", "--why", "x"), "")):
            status, out, err = self.command("report", *words)
            self.assertEqual((status, out), (USAGE, ""), words)
            self.assertIn(said, err)
            self.assertNotIn("P-0007", err)

    def test_the_journal_stays_sound(self):
        good, said = self.engine.verify_journal()
        self.assertTrue(good, said)


if __name__ == "__main__":
    unittest.main()
