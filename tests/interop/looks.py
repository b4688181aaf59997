#!/usr/bin/env python3
"""What the commands write down of who looked at whom, what they refuse to read as a question, and what they list."""
import copy
import datetime
import json
import os
import pathlib
import pwd
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

USAGE = 2
# What the system says of who runs this test, behind any name that is given.
RAN = f" (command, uid {os.getuid()} {pwd.getpwuid(os.getuid()).pw_name})"
SUMMARY = (stage.TOP / "mappings" / "summary.map").read_text(encoding="utf-8")


def text_of(identifier):
    return f"{identifier['system']}|{identifier['value']}"


class Looks(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(cls.enterClassContext(tempfile.TemporaryDirectory(prefix="chartferry-looks-")))
        server = cls.enterClassContext(stage.RecordServer(cls.folder, load=[stage.WARD / "people.bundle.json"]))
        server.start()
        cls.engine = cls.enterClassContext(stage.Engine(cls.folder))
        cls.engine.start(server.base)
        cls.sessions = []
        documents = [stage.sent("alder-moving"), stage.sent("maple-moving")]
        documents.append(copy.deepcopy(documents[0]))
        documents[2]["identifier"]["value"] = "held-1"
        documents[2]["patient"]["identifier"]["value"] = "P-0999"  # nobody knows this patient
        for document in documents:
            session = cls.engine.session_id(cls.engine.send(document))
            stage.wait_for("it has ended", lambda: cls.engine.settled(session, ("landed", "held")))  # pylint: disable=cell-var-from-loop
            cls.sessions.append(session)
        cls.one, cls.other, cls.unknown = (text_of(document["patient"]["identifier"]) for document in documents)
        cls.therapist = text_of(documents[0]["therapist"]["identifier"])
        cls.engine.stop()

    def run_it(self, program, *words, given=None):
        done = subprocess.run([str(stage.ENGINE), program, "--journal", str(self.engine.journal), *map(str, words)],
                              capture_output=True, text=True, check=False, errors="replace", input=given)
        return done.returncode, done.stdout, done.stderr

    def command(self, *words, given=None):
        status, out, err = self.run_it("journal", *words, given=given)
        self.assertEqual(status, 0, err)
        return out

    def disclosed(self, patient):
        """(what, reason, who, why) of each disclosure of a patient, with the asking itself."""
        out = self.command("report", "disclosures", "--patient-file", "-", "--format", "ndjson", "--why", "asked",
                           given=patient + "\n")
        rows = [json.loads(line) for line in out.splitlines()]
        return [(row["what"], row.get("reason"), row.get("who"), row.get("why")) for row in rows]

    def place(self, session, kind):
        (line,) = self.command("list", "--session", session, "--kind", kind).splitlines()
        return line.split()[0]

    def test_what_is_shown_proved_searched_and_exported_is_disclosed_to_the_patient_it_is_of(self):
        accepted = self.place(self.sessions[0], "accepted")
        for what, *words in [("record-shown", "show", accepted),
                             ("record-proved", "prove", accepted),
                             ("search-by-person", "list", "--patient", self.one),
                             ("search-by-person", "list", "--state", "landed", "--patient", self.one),
                             ("exported", "export", self.folder / "of-one", "--patient", self.one),
                             ("exported", "export", self.folder / "of-a-session", "--session", self.sessions[0])]:
            why = " ".join(map(str, words))
            self.command(*words, "--who", "Kim Sample", "--why", why)
            row = ("read", what, "Kim Sample" + RAN, why)
            self.assertEqual(self.disclosed(self.one).count(row), 1, why)
            self.assertNotIn(row, self.disclosed(self.other))

    def test_an_export_of_all_is_disclosed_to_each(self):
        self.command("export", self.folder / "of-all", "--who", "Kim Sample", "--why", "all of it")
        row = ("read", "exported", "Kim Sample" + RAN, "all of it")
        for patient in (self.one, self.other, self.unknown):
            self.assertEqual(self.disclosed(patient).count(row), 1)

    def test_an_example_of_a_difference_is_a_look_at_its_session(self):
        maps = self.folder / "maps"
        maps.mkdir()
        (maps / "summary.map").write_text(SUMMARY.replace("'Lowest saturation: '", "'Lowest value seen: '"),
                                          encoding="utf-8")
        status, out, err = self.run_it("replay", "--with", maps, "--json", "--who", "Kim Sample", "--why", "shorter summary")
        self.assertEqual(status, 1, err)
        shown = {difference["session"] for difference in json.loads(out)["differences"]}
        self.assertEqual(len(shown), 1)
        row = ("read", "difference-shown", "Kim Sample" + RAN, "shorter summary")
        for session, patient in zip(self.sessions, (self.one, self.other)):
            self.assertEqual(self.disclosed(patient).count(row), int(session in shown))
        self.assertIn(" replayed by Kim Sample", self.command("list", "--kind", "read"))
        # The proof that all is the same shows nothing of anybody, and needs nothing but to be read.
        before = self.command("list")
        self.assertEqual(self.run_it("replay", "--verify")[0], 0)
        self.assertEqual(self.command("list"), before)

    def test_who_ran_it_stands_behind_any_name(self):
        name = "Person auditor (auditor)"  # as somebody who signed in is written
        self.command("show", 1, "--who", name, "--why", "looks signed in")
        self.command("show", 1, "--why", "no name given")
        actors = {look["why"]: look["actor"] for look in map(json.loads, self.command(
            "list", "--kind", "read", "--json").splitlines()) if "why" in look}
        self.assertEqual(actors["looks signed in"], name + RAN)
        self.assertEqual(actors["no name given"], f"user {pwd.getpwuid(os.getuid()).pw_name}" + RAN)
        for given in (name, name + RAN):  # found by either
            out = self.command("report", "activity", "--actor", given, "--why", "audit")
            self.assertIn("looks signed in", out)
            self.assertNotIn("no name given", out)
        self.assertNotIn("looks signed in", self.command("report", "activity", "--actor", "Person", "--why", "audit"))
        for words in (("show", 1, "--who", ""), ("show", 1, "--who", "a\nkind approved"),
                      ("hold", "--patient", self.one, "--who", "", "--why", "x"),
                      ("report", "delay", "--who", "a\tb", "--why", "x")):
            self.assertEqual(self.run_it("journal", *words)[0], USAGE, words)

    def test_an_instant_is_read_in_its_offset_and_nonsense_is_refused(self):
        (line,) = self.command("list", "--session", self.sessions[1], "--kind", "accepted", "--json").splitlines()
        at = datetime.datetime.fromisoformat(json.loads(line)["time"])
        east = at.astimezone(datetime.timezone(datetime.timedelta(hours=14))).isoformat(timespec="milliseconds")
        west = (at + datetime.timedelta(milliseconds=1)).astimezone(
            datetime.timezone(datetime.timedelta(hours=-11))).isoformat(timespec="milliseconds")
        for words in ((), ("--state", "landed")):
            out = self.command("list", "--since", east, "--until", west, *words)
            self.assertIn(self.sessions[1], out)
            self.assertNotIn(self.sessions[0], out)
        status, out, _ = self.run_it("replay", "--verify", "--json", "--since", east, "--until", "2100-01-01T00:00:00+01:00")
        self.assertEqual((status, json.loads(out)["translations"]), (0, 2))
        url = ("--url", "http://127.0.0.1:1/fhir")
        for program, *words in [("journal", "list"), ("journal", "list", "--state", "held"),
                                ("journal", "export", self.folder / "none"), ("journal", "reconcile", *url),
                                ("replay", "--verify"), ("replay",), ("replay", "--resend", *url, "--why", "x")]:
            for wrong in ("yesterday", "2026-03-02", "2026-02-30T08:00:00Z", "2026-03-02T08:00:00", "2026-03-02 08:00:00Z",
                          "0001-01-01T00:00:00+14:00"):
                for option in ("--since", "--until"):
                    status, out, err = self.run_it(program, *words, option, wrong)
                    self.assertEqual((status, out), (USAGE, ""), (words, wrong))
                    self.assertIn("2026-03-02T08:00:00Z", err)

    def test_replay_goes_on_behind_a_record(self):
        _, out, _ = self.run_it("replay", "--verify", "--json", "--after", self.place(self.sessions[0], "checked"))
        self.assertEqual(json.loads(out)["translations"], 2)

    def test_a_person_without_a_system_is_refused_and_not_repeated(self):
        for words in (("list", "--patient"), ("export", self.folder / "none", "--patient"), ("list", "--therapist"),
                      ("hold", "--why", "x", "--patient"), ("report", "activity", "--why", "x", "--therapist")):
            for wrong in ("P-0007", "https://hill.example/ids/patient|"):
                status, out, err = self.run_it("journal", *words, wrong)
                self.assertEqual((status, out), (USAGE, ""), words)
                self.assertIn("SYSTEM|VALUE", err)
                self.assertNotIn(wrong, err)

    def test_a_list_is_whole_or_says_that_it_is_not(self):
        before = len(self.command("list").splitlines())
        for _ in range(max(0, 110 - before)):
            self.command("show", 1)
        whole = self.command("list").splitlines()
        self.assertGreater(len(whole), 100)
        status, out, err = self.run_it("journal", "list", "--limit", 7)
        self.assertEqual((status, out.splitlines()), (0, whole[:7]))
        self.assertIn("there are more records: go on with --after 7", err)
        self.assertEqual(self.command("list", "--after", 7).splitlines(), whole[7:])
        status, out, err = self.run_it("journal", "list", "--limit", len(whole))
        self.assertEqual((out.splitlines(), err), (whole, ""))
        self.assertEqual(self.run_it("journal", "list", "--limit", 0)[0], USAGE)
        self.assertIn("(default: all)", self.run_it("journal", "list", "--help")[1])

    def test_revisions_in_a_state_are_chosen_as_records_are(self):
        def listed(state, *words):
            return [json.loads(line)["session"] for line in self.command("list", "--state", state, "--json", *words).splitlines()]
        one, other, unknown = self.sessions
        self.assertEqual((listed("held"), listed("landed")), ([unknown], [one, other]))
        self.assertEqual((listed("held", "--patient", self.unknown), listed("held", "--patient", self.one)), ([unknown], []))
        self.assertEqual((listed("landed", "--patient", self.one), listed("landed", "--patient", self.unknown)), ([one], []))
        self.assertEqual((listed("held", "--session", unknown), listed("held", "--session", one)), ([unknown], []))
        self.assertEqual((listed("landed", "--session", other), listed("landed", "--session", unknown)), ([other], []))
        for state, sessions in (("held", [unknown]), ("landed", [one, other])):
            self.assertEqual(listed(state, "--target", "main"), sessions)
            self.assertEqual(self.run_it("journal", "list", "--state", state, "--target", "another")[0], USAGE)
            self.assertEqual(listed(state, "--since", "2020-01-01T00:00:00Z"), sessions)
            self.assertEqual(listed(state, "--until", "2020-01-01T00:00:00Z"), [])
            self.assertEqual(listed(state, "--therapist", "https://hill.example/ids/staff|nobody"), [])
        self.assertEqual(listed("held", "--therapist", self.therapist), [unknown])
        self.assertIn(one, listed("landed", "--therapist", self.therapist))
        status, out, err = self.run_it("journal", "list", "--state", "landed", "--limit", 1)
        self.assertEqual((status, len(out.splitlines())), (0, 1))
        self.assertIn("there are more", err)
        for words in (("--kind", "accepted"), ("--after", 3)):
            self.assertEqual(self.run_it("journal", "list", "--state", "held", *words)[0], USAGE)

    def test_a_hold_on_somebody_unknown_is_set_and_said(self):
        status, out, err = self.run_it("journal", "hold", "--why", "order", "--patient", "https://hill.example/ids/patient|P-1")
        self.assertEqual(status, 0)
        self.assertIn("no session of this patient", err)
        self.assertIn("end-hold", out)
        status, _, err = self.run_it("journal", "hold", "--why", "order", "--patient", self.one)
        self.assertEqual((status, err), (0, ""))

    def test_the_journal_stays_sound(self):
        good, said = self.engine.verify_journal()
        self.assertTrue(good, said)


if __name__ == "__main__":
    unittest.main()
