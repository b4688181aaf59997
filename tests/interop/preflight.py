#!/usr/bin/env python3
"""The preflight command against the sandbox's record server in several moods, and against servers that are none."""
import http.server
import json
import pathlib
import subprocess
import sys
import tempfile
import threading
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402


def preflight(*words):
    done = subprocess.run([str(stage.ENGINE), "preflight", *map(str, words)], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout, done.stderr


class Preflight(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-preflight-")))
        self.server = self.enterContext(stage.RecordServer(self.folder))
        self.server.start()

    def serve(self, answer):
        """A server of ours for one test: answer(path, headers) gives (status, type, body)."""
        class Handler(http.server.BaseHTTPRequestHandler):
            def do_GET(self):  # pylint: disable=invalid-name
                status, kind, body = answer(self.path, self.headers)
                self.send_response(status)
                self.send_header("Content-Type", kind)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_):  # pylint: disable=arguments-differ
                pass

        server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        self.addCleanup(server.server_close)
        self.addCleanup(server.shutdown)
        return f"http://127.0.0.1:{server.server_address[1]}/fhir"

    def test_a_server_with_everything_is_ready_and_nothing_was_written(self):
        status, said, _ = preflight(self.server.base)
        self.assertEqual(status, 0, said)
        self.assertIn("ready: everything needed is there", said)
        self.assertEqual(self.server.request("GET", "/fhir/Observation?_summary=count").json()["total"], 0)

    def test_what_is_not_there_is_named_with_what_follows(self):
        answer = self.server.request("POST", "/$abilities", {"transaction": False, "updateCreate": False})
        self.assertEqual(answer.status, 200)
        status, said, _ = preflight(self.server.base, "--format", "json")
        self.assertEqual(status, 0)
        report = json.loads(said)
        self.assertTrue(report["ready"])
        self.assertEqual([(row["name"], row["grade"]) for row in report["abilities"] if row["grade"] != "there"],
                         [("transaction", "absent"), ("Provenance: update as create", "absent")])
        self.assertTrue(all("consequence" in row for row in report["abilities"] if row["grade"] != "there"))

    def test_the_targets_of_a_configuration_are_asked(self):
        config = self.folder / "engine.toml"
        config.write_text(f'journal = "{self.folder}/j"\n[[target]]\nname = "a"\nurl = "{self.server.base}"\n'
                          f'[[target]]\nname = "b"\nurl = "{self.server.base}"\n', encoding="utf-8")
        status, said, _ = preflight("--config", config)
        self.assertEqual((status, said.count("ready: ")), (0, 2), said)

    def test_a_sign_in_that_is_not_accepted_is_named(self):
        statement = self.server.request("GET", "/fhir/metadata").body
        token = self.folder / "token"
        token.write_text("Bearer right\n", encoding="utf-8")
        token.chmod(0o600)

        def answer(path, headers):
            if path.endswith("/metadata"):
                return 200, "application/fhir+json", statement
            allowed = headers.get("Authorization") == "Bearer right"
            return (200 if allowed else 401), "application/fhir+json", b'{"resourceType":"Bundle"}'

        base = self.serve(answer)
        status, said, _ = preflight(base)
        self.assertEqual(status, 1)
        self.assertIn("the sign-in is not accepted", said)
        self.assertEqual(preflight(base, "--authorization-file", token)[0], 0)
        status, _, why = preflight("http://127.0.0.1.records.example/fhir", "--authorization-file", token)
        self.assertEqual(status, 2)
        self.assertIn("an authorization goes to an https:// address", why)

    def test_what_is_no_record_server_is_unusable(self):
        page = self.serve(lambda *_: (200, "text/html", b"<html>Welcome</html>"))
        other = self.serve(lambda *_: (200, "application/json", b'{"resourceType":"Patient"}'))
        gone = self.serve(lambda *_: (404, "text/plain", b"no"))
        for words, finding in [((page,), "no CapabilityStatement"), ((other,), "no CapabilityStatement"),
                               ((gone,), "HTTP 404"), (("http://127.0.0.1:1/fhir",), "no answer"),
                               (("ftp://x",), "must begin with http"), ((), "no record server is named"),
                               ((page, "--format", "xml"), "xml")]:
            status, said, why = preflight(*words)
            self.assertEqual((status, said if "--format" not in words else ""), (2, ""), words)
            self.assertIn(finding, said + why)


if __name__ == "__main__":
    unittest.main()
