#!/usr/bin/env python3
"""Who may, at a running engine: the people command, signing in and out, roles, tokens, and what the journal says of it."""
import http.client
import json
import os
import pathlib
import socket
import stat
import subprocess
import sys
import tempfile
import unittest
import urllib.parse

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

NOWHERE = "http://127.0.0.1:1/fhir"  # the record server is away: nothing here needs it
PASSWORD = "a walk along the quiet river"
COOKIE = "__Host-chartferry"


class WhoMay(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-people-")))
        self.file = self.folder / "people"
        self.engine = self.enterContext(stage.Engine(self.folder))

    def people(self, *arguments, text="", status=0):
        done = subprocess.run([str(stage.ENGINE), "people", "--people", str(self.file), *arguments], input=text,
                              capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, status, done.stderr)
        return done.stdout if status == 0 else done.stderr

    def add(self, name, *roles, password=PASSWORD):
        flags = [part for role in roles for part in ("--role", role)]
        self.people("add", name, *flags, "--display", name.title() + " Sample", text=password + "\n")

    def start(self, *more):
        self.engine.start(NOWHERE, "--people", self.file, *more)

    def sign_in(self, name, password=PASSWORD, headers=None):
        return self.engine.request("POST", "/sign-in", {"name": name, "password": password},
                                   {"Content-Type": "application/json", **(headers or {})})

    def as_person(self, name):
        """Headers of this person's own page."""
        answer = self.sign_in(name)
        self.assertEqual(answer.status, 200, answer.body)
        return {"Cookie": answer.headers["set-cookie"].split(";")[0], "Content-Type": "application/json",
                "Origin": f"http://127.0.0.1:{self.engine.port}"}

    def status(self, headers, method, path, body=None):
        return self.engine.request(method, path, body, headers).status

    def test_persons_do_what_their_roles_may_and_the_journal_names_them(self):
        self.add("robin", "therapist")
        self.add("audrey", "auditor")
        self.add("erin", "engineer")
        self.start("--ward", stage.WARD / "ward.json")
        answer = self.sign_in("robin")
        told = answer.json()
        self.assertRegex(told.pop("deviceKey"), "^[0-9a-f]{64}$")
        self.assertEqual(told, {"signIn": True, "name": "robin", "display": "Robin Sample", "roles": ["therapist"], "lasts": 43200,
                                "may": ["send", "preview", "follow", "traffic", "read-ward", "read-record", "read-message", "search", "hand-out"]})
        cookie = answer.headers["set-cookie"]
        for part in (COOKIE + "=", "Path=/", "Secure", "HttpOnly", "SameSite=Strict"):
            self.assertIn(part, cookie)
        robin, audrey, erin = (self.as_person(name) for name in ("robin", "audrey", "erin"))
        self.assertEqual(self.engine.request("GET", "/me", None, robin).json()["name"], "robin")
        document = stage.sent("alder-moving")
        sent = self.engine.request("POST", "/sessions", document, robin)
        self.assertEqual(sent.status, 202, sent.body)
        path = "/sessions/" + sent.json()["session"]
        self.assertEqual(self.status(audrey, "POST", "/sessions", document), 403)
        self.assertEqual(self.status(erin, "GET", path), 200)
        self.assertEqual(self.status(erin, "GET", path + "/document"), 403)
        self.assertEqual(self.status(audrey, "GET", path + "/document"), 400, "an auditor says why")
        why = {"Read-Why": urllib.parse.quote("complaint 2026-11")}
        self.assertEqual(self.status({**audrey, **why}, "GET", path + "/document"), 200)
        self.assertEqual(self.status(erin, "POST", "/log", {}), 403)
        self.assertEqual(self.status(audrey, "POST", "/log", {}), 400)
        self.assertEqual(self.status(audrey, "POST", "/log/verify", {}), 200, "holds no patient's data")
        self.assertEqual(self.status({**erin, **why}, "GET", path + "/revisions/1"), 200)
        self.assertEqual(self.status(robin, "GET", "/ward"), 200)
        self.assertEqual(self.status(robin, "GET", "/ward"), 200)
        self.assertEqual(self.status(robin, "POST", "/history", document["patient"]["identifier"]), 200)
        self.assertEqual(self.status(erin, "POST", "/targets/main/pause", {"actor": "Somebody Else", "why": "upgrade"}),
                         200)
        self.assertEqual([(one["actor"], one["why"]) for one in self.engine.records("read")],
                         [("Audrey Sample (audrey)", "complaint 2026-11 (document of a session)"),
                          ("Erin Sample (erin)", "complaint 2026-11 (message with all that became of it)"),
                          ("Robin Sample (robin)", "the ward list"),
                          ("Robin Sample (robin)", "latest sessions of a patient")])
        self.assertEqual([one["actor"] for one in self.engine.records("paused")], ["Erin Sample (erin)"])

    def test_who_hands_a_sheet_out_is_who_signed_in(self):
        self.add("robin", "therapist")
        self.start("--ward", stage.WARD / "ward.json")
        robin = self.as_person("robin")
        ward = self.engine.request("GET", "/ward", None, robin).json()
        named = next(one for one in ward["therapist"] if one["role"] == "therapist")
        wish = {"patient": ward["patient"][0]["patient"]["identifier"],
                "therapist": {**named.get("identifier", {}), "display": named["display"]}}
        self.assertEqual(self.status(robin, "POST", "/sheets", wish), 201)
        self.assertEqual(self.status(robin, "POST", "/sheets/end", wish), 200)
        for kind in ("handed-out", "link-ended"):
            [record] = self.engine.records(kind)
            self.assertEqual(record["actor"], "Robin Sample (robin)")
            self.assertTrue(record["why"].endswith(", in the name of " + named["display"]), record["why"])

    def test_who_signs_in_and_who_tries_is_in_the_journal(self):
        self.add("robin", "therapist")
        self.start()
        robin = self.as_person("robin")
        self.assertEqual(self.sign_in("robin", "a walk along the loud river").status, 401)
        self.assertEqual(self.sign_in(PASSWORD, PASSWORD).status, 401, "a password in the wrong field")
        self.assertEqual(self.status(robin, "POST", "/sign-out", {}), 204)
        self.assertEqual(self.status(robin, "POST", "/sign-out", {}), 401)
        self.engine.stop()
        self.assertEqual([(one["kind"], one.get("actor", ""), one.get("reason", "")) for one in self.engine.records()
                          if one["kind"] not in ("started", "stopped")],
                         [("signed-in", "Robin Sample (robin)", ""),
                          ("not-let-in", "Robin Sample (robin)", "wrong-password"),
                          ("not-let-in", "", "unknown-name"),
                          ("signed-out", "Robin Sample (robin)", "")])
        whole = b"".join(path.read_bytes() for path in self.folder.iterdir() if "journal" in path.name and path.is_file())
        self.assertNotIn(PASSWORD.encode(), whole)

    def test_strangers_see_the_pages_and_nothing_else(self):
        self.add("robin", "therapist")
        self.start()
        for path in ("/", "/page.js", "/health/ready", "/openapi.json", "/plausibility"):
            self.assertEqual(self.engine.request("GET", path).status, 200, path)
        plain = {"Content-Type": "application/json"}
        for method, path in (("GET", "/ward"), ("GET", "/traffic"), ("GET", "/metrics"),
                             ("GET", "/events"), ("POST", "/sessions"), ("POST", "/sessions?dry-run"),
                             ("POST", "/history"), ("POST", "/mapping/roll-back"), ("POST", "/sign-out")):
            answer = self.engine.request(method, path, "{}" if method == "POST" else None, plain)
            self.assertEqual(answer.status, 401, path)
            self.assertEqual(answer.json()["resourceType"], "OperationOutcome")
            self.assertIn("Bearer", answer.headers["www-authenticate"])
        self.assertEqual(self.engine.request("GET", "/nothing").status, 404)
        self.assertEqual(self.engine.request("GET", "/me").json(), {"signIn": True})

    def test_a_strangers_body_is_not_read(self):
        self.add("robin", "therapist")
        self.start()
        for path, status in (("/sessions", b"401"), ("/nothing", b"404"), ("/sign-in", b"413")):
            with socket.create_connection(("127.0.0.1", self.engine.port), timeout=20) as raw:
                # The answer comes though not one byte of the body does.
                raw.sendall(f"POST {path} HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
                            "Content-Length: 9000000\r\n\r\n".encode())
                self.assertEqual(raw.recv(65536)[9:12], status, path)

    def test_a_persons_device_key_is_the_same_after_everything_and_nobody_elses(self):
        self.add("robin", "therapist")
        self.add("sam", "therapist")
        token = self.people("token", "ward", "--role", "sender", "--display", "Ward").strip()
        self.start()
        keys = [self.sign_in("robin").json()["deviceKey"],
                self.engine.request("GET", "/me", None, self.as_person("robin")).json()["deviceKey"]]
        self.assertNotEqual(self.sign_in("sam").json()["deviceKey"], keys[0])
        self.assertNotIn("deviceKey", self.sign_in("robin", "another walk along the river").json())
        self.assertNotIn("deviceKey", self.engine.request("GET", "/me").json(), "a stranger")
        system = self.engine.request("GET", "/me", None, {"Authorization": "Bearer " + token}).json()
        self.assertEqual(system, {"signIn": True, "name": "ward", "display": "Ward", "roles": ["sender"],
                                  "may": ["send", "preview", "follow"]})
        self.engine.stop()
        self.people("password", "robin", text="another walk along the river\n")
        self.start()
        keys.append(self.sign_in("robin", "another walk along the river").json()["deviceKey"])
        self.assertEqual(len(set(keys)), 1, "over a restart and another password")

    def test_a_sign_in_ends(self):
        self.add("robin", "therapist")
        self.start()
        first, second = self.as_person("robin"), self.as_person("robin")
        connection = http.client.HTTPConnection("127.0.0.1", self.engine.port, timeout=60)
        self.addCleanup(connection.close)
        connection.request("GET", "/events", headers=first)
        events = connection.getresponse()
        self.assertEqual(events.status, 200)
        out = self.engine.request("POST", "/sign-out", {}, first)
        self.assertEqual(out.status, 204)
        self.assertIn(COOKIE + "=; Max-Age=0", out.headers["set-cookie"])
        self.assertEqual(self.status(first, "GET", "/traffic"), 401)
        self.assertEqual(self.status(second, "GET", "/traffic"), 200)
        self.assertEqual(self.status(second, "POST", "/sessions", stage.sent("alder-moving")), 202)
        self.assertNotIn(b"accepted", events.read(), "what is open ends, and tells nothing more")
        self.people("password", "robin", text="another walk along the river\n")
        stage.wait_for("another password signs out", lambda: self.status(second, "GET", "/traffic") == 401)
        self.assertEqual(self.sign_in("robin").status, 401)
        self.assertEqual(self.sign_in("robin", "another walk along the river").status, 200)

    def test_guessing_is_bounded(self):
        self.add("robin", "therapist")
        self.start()
        self.assertEqual([self.sign_in("robin", f"guess number {i}").status for i in range(6)], [401] * 5 + [429])
        answer = self.sign_in("robin")
        self.assertEqual(answer.status, 429, "also for the right one")
        self.assertGreater(int(answer.headers["retry-after"]), 600)
        self.assertEqual(self.sign_in("nobody").status, 401, "and a name that nobody has is told the same")

    def test_refuses_what_is_no_sign_in(self):
        self.add("robin", "therapist")
        self.start()
        for body in ("{", "[]", {}, {"name": "robin"}, {"name": "robin", "password": ""}, {"name": 1, "password": 2}):
            self.assertEqual(self.engine.request("POST", "/sign-in", body, {"Content-Type": "application/json"}).status,
                             400, body)
        self.assertEqual(self.sign_in("robin", headers={"Origin": "https://evil.example"}).status, 403)
        self.assertEqual(self.sign_in("robin", headers={"Content-Type": "text/plain"}).status, 415)

    def test_a_system_brings_its_token_until_it_gets_another(self):
        token = self.people("token", "ward", "--role", "sender", "--display", "Charting of the ward").strip()
        watcher = self.people("token", "watch", "--role", "watcher", "--display", "Watching").strip()
        self.start()
        headers = {"Authorization": "Bearer " + token, "Content-Type": "application/json"}
        sent = self.engine.request("POST", "/sessions", stage.sent("alder-moving"), headers)
        self.assertEqual(sent.status, 202, sent.body)
        path = "/sessions/" + sent.json()["session"]
        self.assertEqual(self.status(headers, "GET", path), 200)
        self.assertEqual(self.status(headers, "GET", path + "/document"), 403)
        self.assertEqual(self.status(headers, "GET", "/metrics"), 403)
        self.assertEqual(self.status({"Authorization": "Bearer " + watcher}, "GET", "/metrics"), 200)
        another = self.people("token", "ward").strip()
        stage.wait_for("the old one ends", lambda: self.status(headers, "GET", path) == 401)
        self.assertEqual(self.status({"Authorization": "Bearer " + another}, "GET", path), 200)
        self.people("remove", "ward")
        stage.wait_for("the system is not known any more",
                       lambda: self.status({"Authorization": "Bearer " + another}, "GET", path) == 401)

    def test_the_file_holds_no_secret_and_is_its_owners(self):
        self.add("robin", "therapist", "auditor")
        token = self.people("token", "ward", "--role", "sender", "--display", "Charting").strip()
        self.people("add", "sam", "--role", "engineer", "--display", "Sam Specimen", "--no-password")
        text = self.file.read_text(encoding="utf-8")
        self.assertNotIn(PASSWORD, text)
        self.assertNotIn(token, text)
        self.assertEqual(stat.S_IMODE(os.stat(self.file).st_mode), 0o600)
        self.assertEqual([json.loads(line) for line in self.people("list", "--json").splitlines()], [
            {"kind": "person", "name": "robin", "display": "Robin Sample", "roles": "therapist,auditor", "password": True},
            {"kind": "person", "name": "sam", "display": "Sam Specimen", "roles": "engineer", "password": False},
            {"kind": "system", "name": "ward", "display": "Charting", "roles": "sender", "password": False}])
        self.file.chmod(0o640)
        self.people("remove", "sam")
        self.assertEqual(stat.S_IMODE(os.stat(self.file).st_mode), 0o640, "rights are kept")
        self.assertEqual([one.name for one in self.folder.iterdir() if one.name.startswith("people")], ["people"])

    def test_the_command_refuses_and_changes_nothing(self):
        self.assertIn("No such file", self.people("remove", "robin", status=2))
        self.assertIn("12 to 1024 bytes", self.people("add", "robin", "--role", "therapist", "--display", "Robin",
                                                      text="short\n", status=2))
        self.assertFalse(self.file.exists())
        self.add("robin", "therapist")
        before = self.file.read_bytes()
        for arguments, said in (
                (("add", "robin", "--role", "auditor", "--display", "R", "--no-password"), "the name is taken"),
                (("add", "Robin", "--role", "auditor", "--display", "R"), "small letters"),
                (("add", "sam", "--role", "sender", "--display", "S"), "a person's roles are of"),
                (("add", "sam", "--role", "root", "--display", "S"), "a person's roles are of"),
                (("token", "ward", "--role", "therapist", "--display", "W"), "a system's roles are of"),
                (("token", "ward"), "as people know it"),
                (("token", "robin"), "as people know it"),
                (("password", "nobody"), "no person of this name"),
                (("remove", "nobody"), "nobody of this name")):
            self.assertIn(said, self.people(*arguments, text=PASSWORD + "\n", status=2), arguments)
        self.assertEqual(self.file.read_bytes(), before)

    def refusal(self, *flags):
        done = subprocess.run([str(stage.ENGINE), "serve", "--target", NOWHERE, "--journal", str(self.folder / "never"),
                               *map(str, flags)], capture_output=True, text=True, check=False, timeout=60)
        self.assertEqual(done.returncode, 2, done.stderr)
        return done.stderr

    def test_the_engine_refuses_a_file_that_it_cannot_trust(self):
        local = ("--listen", "127.0.0.1:0", "--people", self.file)
        self.assertIn("No such file", self.refusal(*local))
        self.add("robin", "therapist")
        self.file.chmod(0o644)
        self.assertIn("chmod 640", self.refusal(*local))
        self.file.chmod(0o600)
        self.file.write_text(self.file.read_text() + "person robin\n")
        self.assertIn(f"{self.file}:3", self.refusal(*local))
        self.file.write_text(self.file.read_text().replace("person robin\n", ""))
        away = ("--listen", "0.0.0.0:0")
        self.assertIn("give it a people file", self.refusal(*away))
        self.assertIn("give it TLS", self.refusal(*away, "--people", self.file))

    def test_a_broken_file_leaves_those_who_may_as_they_were(self):
        self.add("robin", "therapist")
        self.start()
        robin = self.as_person("robin")
        good = self.file.read_text(encoding="utf-8")
        self.file.write_text(good + "nonsense\n", encoding="utf-8")
        stage.wait_for("it is refused", lambda: "event=people-refused" in self.engine.log.read_text())
        self.assertEqual(self.status(robin, "GET", "/traffic"), 200)
        self.file.write_text(good.replace(" therapist ", " auditor "), encoding="utf-8")
        stage.wait_for("another role counts at once",
                       lambda: self.engine.request("GET", "/me", None, robin).json()["roles"] == ["auditor"])


if __name__ == "__main__":
    unittest.main()
