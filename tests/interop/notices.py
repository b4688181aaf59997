#!/usr/bin/env python3
"""Notices of outcomes from a running engine to a receiver that is away, comes back, refuses; over kills of the engine."""
import copy
import http.server
import json
import pathlib
import sys
import tempfile
import threading
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

PERSON = stage.sent("alder-moving")["patient"]["identifier"]["value"]


class Receiver:
    """A sender's system: takes notices on loopback, on one port for its life."""

    def __init__(self):
        self.got = []
        self.status = 204
        self.port = 0
        self.server = None

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self.stop()

    def start(self):
        receiver = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"])).decode()
                if receiver.status == 204:
                    receiver.got.append(body)
                self.send_response(receiver.status)
                self.end_headers()

            def log_message(self, *_):
                pass

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self.port = self.server.server_address[1]
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.02})
        self.thread.start()

    def stop(self):
        if self.server:
            self.server.shutdown()
            self.server.server_close()
            self.thread.join()
            self.server = None

    def told(self):
        """event -> what was told of it; the same event is always told the same."""
        found = {}
        for body in self.got:
            one = json.loads(body)
            assert found.setdefault(one["event"], one) == one, body
        return found


class Notices(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-notices-")))
        self.server = self.enterContext(stage.RecordServer(self.folder, load=[stage.WARD / "people.bundle.json"]))
        self.receiver = self.enterContext(Receiver())
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.server.start()
        self.config = self.folder / "engine.toml"
        self.config.write_text(f'[notices]\nurl = "http://127.0.0.1:{self.receiver.port}/outcomes"\n')
        self.number = 0
        self.start()

    def start(self):
        self.engine.start(self.server.base, "--config", self.config)
        stage.wait_for("the engine is ready", self.engine.ready)

    def send(self, patient=None):
        self.number += 1
        document = copy.deepcopy(stage.sent("alder-moving"))
        document["identifier"]["value"] = f"notices-{self.number}"
        if patient:
            document["patient"]["identifier"]["value"] = patient
        answer = self.engine.send(document)
        self.assertEqual(answer.status, 202, answer.body)
        session = self.engine.session_id(answer)
        stage.wait_for("it has ended", lambda: self.engine.settled(session, ("landed", "held")))
        return session

    def wait_until_told(self, sessions):
        stage.wait_for("all are told", lambda: {one["session"] for one in self.receiver.told().values()} >= set(sessions),
                       seconds=90)

    def test_every_outcome_is_told_whatever_falls_over(self):
        sessions = [self.send(), self.send(patient="nobody-knows-this-one")]
        self.wait_until_told(sessions)
        self.receiver.stop()
        sessions.append(self.send())
        self.engine.kill()  # before the position was written down
        self.start()
        sessions.append(self.send())
        self.receiver.status = 503
        self.receiver.start()
        sessions.append(self.send())
        self.receiver.status = 204
        self.wait_until_told(sessions)
        by_session = {}
        for one in self.receiver.told().values():
            by_session.setdefault(one["session"], []).append((one["state"], one.get("reason")))
        self.assertEqual([by_session[session][-1] for session in sessions],
                         [("landed", None), ("held", "unknown-patient")] + 3 * [("landed", None)])
        order = list(dict.fromkeys(json.loads(body)["event"] for body in self.receiver.got))
        self.assertEqual(order, sorted(order))
        for body in self.receiver.got:
            self.assertEqual(set(json.loads(body)) - {"reason"},
                             {"event", "time", "session", "revision", "target", "state"})
            self.assertNotIn(PERSON, body)
        self.engine.stop()
        told = len(self.receiver.got)
        self.start()  # an end in good order repeats nothing
        last = self.send()
        self.wait_until_told([last])
        fresh = [json.loads(body) for body in self.receiver.got[told:]]
        self.assertTrue(all(one["session"] == last or one["reason"] == "unknown-patient" for one in fresh), fresh)
        good, said = self.engine.verify_journal()
        self.assertTrue(good, said)


if __name__ == "__main__":
    unittest.main()
