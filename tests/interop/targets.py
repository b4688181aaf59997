#!/usr/bin/env python3
"""Record servers of a running engine: pausing and resuming over HTTP, by the command, over restarts and crashes; one
that is not in the configuration for a while."""
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

    def configure(self, *servers):
        """The engine again, with these record servers: main, second."""
        self.engine.stop()
        text = "".join(f'[[target]]\nname = "{name}"\nurl = "{server.base}"\n'
                       for name, server in zip(("main", "second"), servers))
        config = self.folder / "engine.toml"
        config.write_text(text, encoding="utf-8")
        self.engine.start(None, "--config", config)
        stage.wait_for("the engine is ready", self.engine.ready)

    def legs(self, session):
        return {(one["revision"], leg["target"]): leg["state"]
                for one in self.engine.session(session)["revisions"] for leg in one["targets"]}

    def test_a_target_that_is_not_configured_for_a_while(self):
        second = self.enterContext(stage.RecordServer(pathlib.Path(self.enterContext(tempfile.TemporaryDirectory())),
                                                      load=[stage.WARD / "people.bundle.json"]))
        second.start()
        self.configure(self.server, second)
        landed = self.engine.session_id(self.engine.send(stage.sent("hazel-stairs.r1")))
        stage.wait_for("it lands on both", lambda: set(self.legs(landed).values()) == {"landed"})
        second.stop()
        given_up = self.send()
        stage.wait_for("one waits", lambda: self.legs(given_up).get((1, "main")) == "landed")

        self.configure(self.server)
        self.assertIn("event=target-gone name=second waiting=1 held=0", self.engine.log.read_text())
        self.assertEqual([(one["target"], one["state"], one["backlog"])
                          for one in self.engine.request("GET", "/targets").json()],
                         [("main", "sending", {}), ("second", "not-configured", {"checked": 1})])
        self.assertRegex(self.command("targets")[1], r"(?m)^second not-configured checked=1$")
        self.assertEqual(self.command("withdraw", given_up, "--why", "no target named")[0], 2)
        status, _, wrong = self.command("withdraw", given_up, "--target", "second", "--why", "that server is no more")
        self.assertEqual(status, 0, wrong)
        self.assertEqual(self.legs(given_up)[1, "second"], "withdrawn")
        self.engine.send(stage.sent("hazel-stairs.r2"))
        stage.wait_for("the correction lands", lambda: self.legs(landed).get((2, "main")) == "landed")
        self.assertNotIn((2, "second"), self.legs(landed))

        second.start()
        self.configure(self.server, second)
        self.assertRegex(self.engine.log.read_text(), r"event=target-returned name=second since=\d+ revisions=1")
        stage.wait_for("the correction lands there, too", lambda: self.legs(landed).get((2, "second")) == "landed")
        good, said = self.engine.verify_journal()
        self.assertTrue(good, said)


if __name__ == "__main__":
    unittest.main()
