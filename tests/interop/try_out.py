#!/usr/bin/env python3
"""Changed maps tried on a running engine: errors with their place, rules as they ran, differences, recorded traffic."""
import copy
import pathlib
import sys
import tempfile
import unittest
import urllib.parse

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

JSON = {"Content-Type": "application/json"}


class TryOut(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(cls.enterClassContext(tempfile.TemporaryDirectory(prefix="chartferry-try-")))
        server = cls.enterClassContext(stage.RecordServer(cls.folder, load=[stage.WARD / "people.bundle.json"]))
        cls.engine = cls.enterClassContext(stage.Engine(cls.folder))
        server.start()
        cls.engine.start(server.base)
        stage.wait_for("the engine is ready", cls.engine.ready)
        cls.sessions = []
        for number in range(4):
            document = copy.deepcopy(stage.sent("alder-moving"))
            document["identifier"]["value"] = f"try-{number}"
            answer = cls.engine.send(document)
            assert answer.status == 202, answer.body
            cls.sessions.append(cls.engine.session_id(answer))
        for session in cls.sessions:
            stage.wait_for("it has landed", lambda: cls.engine.settled(session, ("landed",)))
        cls.document = document

    def ask(self, path, status=200, **wish):
        answer = self.engine.request("POST", path, wish, JSON, timeout=60)
        self.assertEqual(answer.status, status, answer.body)
        return answer.json()

    def text(self, name):
        answer = self.engine.request("GET", "/mapping/files/" + urllib.parse.quote(name, safe=""))
        self.assertEqual(answer.status, 200, answer.body)
        return answer.body.decode()

    def changed(self, name, old, new):
        text = self.text(name)
        self.assertIn(old, text)
        return {name: text.replace(old, new)}

    def summary(self):
        return self.changed("summary.map", "'Lowest saturation: '", "'Lowest value seen: '")

    def reads(self):
        return [one for one in self.engine.records("read")]

    def test_the_files_in_force_are_those_of_the_set(self):
        listed = self.engine.request("GET", "/mapping/files").json()
        self.assertEqual(listed["set"], self.engine.request("GET", "/mapping").json()["inForce"]["set"])
        names = [one["name"] for one in listed["files"]]
        there = {path.relative_to(stage.TOP / "mappings").as_posix() for path in (stage.TOP / "mappings").rglob("*")
                 if path.suffix in (".map", ".csv", ".json")}
        there = {name for name in there if not name.startswith(("samples/", "us-core/"))}
        self.assertEqual(set(names), there)
        self.assertEqual(self.text("concepts/consciousness.csv"),
                         (stage.TOP / "mappings" / "concepts" / "consciousness.csv").read_text(encoding="utf-8"))
        self.assertEqual(self.engine.request("GET", "/mapping/files/..%2Fjournal").status, 404)

    def test_errors_name_file_line_and_column(self):
        files = self.changed("summary.map", "obs.code =", "obs.cod =")
        line = next(number for number, text in enumerate(files["summary.map"].split("\n"), 1) if "obs.cod =" in text)
        told = self.ask("/try-out", files=files, document=self.document)
        self.assertFalse(told["compiled"])
        self.assertEqual([(one["file"], one["line"]) for one in told["problems"]], [("summary.map", line)])
        self.assertGreater(told["problems"][0]["column"], 0)
        self.assertIn("did you mean 'code'", told["problems"][0]["text"])
        told = self.ask("/try-out/traffic", files={"concepts/new.csv": "no,table\n"})
        self.assertEqual((told["compiled"], told["problems"][0]["file"]), (False, "concepts/new.csv"))

    def test_a_document_goes_through_both_sets_and_every_rule_is_told(self):
        told = self.ask("/try-out", files=self.summary(), document=self.document)
        self.assertEqual((told["verdict"], told["verdictInForce"], told["changed"]), ("ready", "ready", ["summary.map"]))
        (difference,) = told["differences"]
        self.assertEqual(difference["kind"], "Observation.valueString changed")
        self.assertIn("Lowest value seen", difference["after"])
        self.assertIn("Lowest saturation", difference["before"])
        entry = told["bundle"]["entry"][int(difference["element"].split("/")[2])]
        self.assertIn("Lowest value seen", entry["resource"]["valueString"])
        runs = told["ruleRuns"]
        made = [made for run in runs["runs"] if runs["rules"][run["rule"]][0].startswith("summary.map:")
                for made in run.get("made", [])]
        self.assertIn(difference["element"], [one["at"] for one in made])
        self.assertEqual(runs["left"], 0)

    def test_a_rule_that_breaks_says_so(self):
        files = self.changed("summary.map", "session -> obs.code =", "session check false -> obs.code =")
        told = self.ask("/try-out", files=files, document=self.document)
        self.assertEqual((told["verdict"], told["reason"], told["verdictInForce"]), ("held", "map-failed", "ready"))
        runs = told["ruleRuns"]
        (broken,) = [run for run in runs["runs"] if "broke" in run]
        self.assertTrue(runs["rules"][broken["rule"]][0].startswith("summary.map:"))
        self.assertNotIn("bundle", told)
        self.assertTrue(told["failingSample"])  # an engine would not take it

    def test_the_set_in_force_itself_can_be_looked_at(self):
        told = self.ask("/try-out", document=self.document)
        self.assertEqual((told["changed"], told["differences"], told["set"]), ([], [], told["setInForce"]))

    def test_a_recorded_session_is_read_and_that_is_journalled(self):
        before = len(self.reads())
        told = self.ask("/try-out", session=self.sessions[0], files=self.summary())
        self.assertEqual([one["kind"] for one in told["differences"]], ["Observation.valueString changed"])
        after = self.reads()
        self.assertEqual(len(after), before + 1)
        self.ask("/try-out", status=404, session=self.sessions[0], revision=9)
        self.ask("/try-out", status=404, session="00000000-0000-5000-8000-000000000000")
        self.assertEqual(len(self.reads()), before + 1)

    def test_traffic_is_looked_at_by_kind_and_that_is_journalled(self):
        before = len(self.reads())
        told = self.ask("/try-out/traffic", files=self.summary())
        self.assertEqual((told["looked"], told["same"]), (len(self.sessions), 0))
        (kind,) = told["kinds"]
        self.assertEqual((kind["kind"], kind["count"]), ("Observation.valueString changed", len(self.sessions)))
        self.assertTrue(all(one["session"] in self.sessions and "before" not in one for one in kind["examples"]))
        # The look, and each session that it names.
        self.assertEqual(len(self.reads()), before + 1 + len({one["session"] for one in kind["examples"]}))
        first = self.ask("/try-out/traffic", files=self.summary(), limit=3)
        rest = self.ask("/try-out/traffic", files=self.summary(), before=first["next"])
        self.assertEqual((first["looked"], rest["looked"]), (3, len(self.sessions) - 3))
        self.assertNotIn("next", rest)
        before = len(self.reads())
        told = self.ask("/try-out/traffic", files=self.summary(), values=True)
        examples = told["kinds"][0]["examples"]
        self.assertTrue(all("Lowest value seen" in one["after"] for one in examples))
        self.assertEqual(len(self.reads()), before + 1 + len({one["session"] for one in examples}))

    def test_nothing_of_it_is_in_force_or_kept(self):
        in_force = self.engine.request("GET", "/mapping").json()
        self.ask("/try-out", files=self.summary(), document=self.document)
        self.assertEqual(self.engine.request("GET", "/mapping").json(), in_force)
        self.assertNotIn("Lowest value seen", self.text("summary.map"))
        accepted = self.engine.records("accepted")
        self.assertEqual(len(accepted), len(self.sessions))
        good, said = self.engine.verify_journal()
        self.assertTrue(good, said)


if __name__ == "__main__":
    unittest.main()
