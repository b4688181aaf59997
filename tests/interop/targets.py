#!/usr/bin/env python3
"""Pausing and resuming a record server at a running engine: over HTTP, by the command, over restarts and crashes."""
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
WHO = {"actor": "Robin Sample", "why": "upgrade of the record server"}


class Targets(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-targets-")))
        self.server = self.enterContext(stage.RecordServer(self.folder, load=[stage.WARD / "people.bundle.json"]))
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.server.start()
        self.number = 0
        self.start()

    def start(self):
        self.engine.start(self.server.base)
        stage.wait_for("the engine is ready", self.engine.ready)

    def send(self):
        self.number += 1
        document = copy.deepcopy(stage.sent("alder-moving"))
        document["identifier"]["value"] = f"targets-{self.number}"
        answer = self.engine.send(document)
        self.assertEqual(answer.status, 202, answer.body)
        return self.engine.session_id(answer)

    def steer(self, action, target="main"):
        return self.engine.request("POST", f"/targets/{target}/{action}", WHO, JSON)

    def target(self):
        (one,) = self.engine.request("GET", "/targets").json()
        return one

    def command(self, *arguments):
        done = subprocess.run([str(stage.ENGINE), "journal", "--journal", str(self.engine.journal), *arguments],
                              capture_output=True, text=True, check=False)
        return done.returncode, done.stdout, done.stderr

    def state(self, session):
        return self.engine.session(session)["state"]

    def wait_until(self, session, state):
        stage.wait_for(f"it is {state}", lambda: self.state(session) == state)

    def test_a_pause_holds_over_a_crash_and_ends_when_a_person_says_so(self):
        first = self.send()
        self.wait_until(first, "landed")
        posts = self.server.counters()
        self.assertEqual(self.steer("pause").status, 200)
        self.assertEqual(self.steer("pause").status, 409)
        second = self.send()
        self.wait_until(second, "checked")
        self.engine.kill()
        self.start()
        stage.wait_for("two looks of the engine", lambda: self.target()["state"] == "paused")
        self.assertEqual(self.state(second), "checked")
        self.assertEqual(self.server.counters(), posts)
        target = self.target()
        self.assertEqual(target["pausedBy"]["actor"], "Robin Sample")
        self.assertEqual(target["backlog"], {"checked": 1})
        self.assertLessEqual(target["lastLanding"], target["oldestWaiting"])
        self.assertIn('chartferry_target_paused_by_person{target="main"} 1',
                      self.engine.request("GET", "/metrics").body.decode())
        self.assertEqual(self.steer("resume").status, 200)
        self.wait_until(second, "landed")
        self.assertEqual(self.target()["backlog"], {})

    def test_the_command_pauses_beside_a_running_engine(self):
        self.assertEqual(self.command("pause", "other", "--why", "upgrade")[0], 2)
        status, said, wrong = self.command("pause", "main", "--who", "Kim Sample", "--why", "upgrade")
        self.assertEqual(status, 0, wrong)
        self.assertIn("paused", said)
        self.assertIn("a running engine follows within a second", said)
        stage.wait_for("the engine follows", lambda: self.target()["state"] == "paused")
        session = self.send()
        self.wait_until(session, "checked")
        status, said, _ = self.command("targets")
        self.assertRegex(said, r"^main paused checked=1 by Kim Sample \(command, uid \d+.*\) \(upgrade\) since 2")
        (one,) = map(json.loads, self.command("targets", "--json")[1].splitlines())
        self.assertEqual((one["state"], one["backlog"], one["pausedBy"]["why"]), ("paused", {"checked": 1}, "upgrade"))
        status, _, wrong = self.command("pause", "main", "--why", "again")
        self.assertEqual((status, "paused already, by Kim Sample" in wrong), (2, True), wrong)
        self.assertEqual(self.command("resume", "main", "--why", "done")[0], 0)
        self.wait_until(session, "landed")
        good, said = self.engine.verify_journal()
        self.assertTrue(good, said)


if __name__ == "__main__":
    unittest.main()
