#!/usr/bin/env python3
"""The engine over TLS: what clients see of it, a certificate renewed while it runs, and pairs that it refuses."""
import http.client
import json
import pathlib
import signal
import ssl
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "sandbox"))
import stage  # noqa: E402

NOWHERE = "http://127.0.0.1:1/fhir"  # the record server is away: nothing here needs it


def make_pair(folder, name):
    """A certificate signed by itself, for 127.0.0.1, and its key; (certificate, key)."""
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    command = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-subj",
               f"/CN={name}.example", "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", key, "-out", certificate]
    subprocess.run([*command, "-days", "365"], check=True, capture_output=True)
    return certificate, key


class Tls(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory(prefix="chartferry-tls-")))
        self.certificate, self.key = make_pair(self.folder, "first")

    def start(self, certificate, key):
        self.engine = self.enterContext(stage.Engine(self.folder))
        self.engine.start(NOWHERE, "--tls-certificate", certificate, "--tls-key", key)

    def ask(self, trusted, method="GET", path="/health/ready", body=None):
        """(status, body) of one request by a client that trusts this certificate only, and its name."""
        context = ssl.create_default_context(cafile=trusted)
        connection = http.client.HTTPSConnection("127.0.0.1", self.engine.port, timeout=20, context=context)
        try:
            connection.request(method, path, body, {"Content-Type": "application/json"})
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()

    def trusts(self, certificate):
        try:
            return self.ask(certificate)[0] == 200
        except ssl.SSLCertVerificationError:
            return False

    def log(self):
        return self.engine.log.read_text(encoding="utf-8")

    def refusal(self, *flags):
        """What `serve` says when it does not start."""
        done = subprocess.run([str(stage.ENGINE), "serve", "--listen", "127.0.0.1:0", "--target", NOWHERE, "--journal",
                               str(self.folder / "never"), *map(str, flags)],
                              capture_output=True, text=True, check=False, timeout=60)
        self.assertEqual(done.returncode, 2, done.stderr)
        self.assertFalse((self.folder / "never").exists())
        return done.stderr

    def test_sessions_are_taken_in_and_plain_http_is_told_so(self):
        self.start(self.certificate, self.key)
        status, body = self.ask(self.certificate, "POST", "/sessions", json.dumps(stage.sent("alder-moving")))
        self.assertEqual(status, 202, body)
        self.assertEqual(self.ask(self.certificate, "GET", "/sessions/" + json.loads(body)["session"])[0], 200)
        plain = self.engine.request("GET", "/traffic")
        self.assertEqual(plain.status, 400)
        self.assertIn("https", plain.json()["issue"][0]["details"]["text"])
        with open(self.folder / "openssl.log", "wb") as log:
            said = subprocess.run(["openssl", "s_client", "-connect", f"127.0.0.1:{self.engine.port}", "-tls1_1",
                                   "-cipher", "ALL:@SECLEVEL=0"], stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                                  check=False, timeout=20)
        self.assertNotEqual(said.returncode, 0)
        self.assertEqual(self.engine.stop(), 0)

    def test_a_renewed_certificate_is_taken_and_a_bad_one_is_not(self):
        live, key = self.folder / "live.pem", self.folder / "live.key"
        live.write_bytes(self.certificate.read_bytes())
        key.touch(mode=0o600)
        key.write_bytes(self.key.read_bytes())
        self.start(live, key)
        self.assertTrue(self.trusts(self.certificate))
        second, second_key = make_pair(self.folder, "second")
        # As a renewal that was broken off leaves it: the new certificate with the old key.
        live.write_bytes(second.read_bytes())
        self.engine.process.send_signal(signal.SIGHUP)
        stage.wait_for("the pair is refused", lambda: "event=certificate-refused" in self.log())
        self.assertIn("the key does not belong to the certificate", self.log())
        self.assertTrue(self.trusts(self.certificate), "the one before stays in force")
        key.write_bytes(second_key.read_bytes())
        stage.wait_for("the new one is shown", lambda: self.trusts(second))
        self.assertFalse(self.trusts(self.certificate))
        self.assertEqual(self.log().count("event=certificate-refused"), 1)
        self.assertIn("event=certificate-renewed", self.log())

    def test_an_outdated_certificate_is_served_and_warned_of(self):
        asked = self.folder / "asked.pem"
        certificate = self.folder / "outdated.pem"
        for command in (["req", "-new", "-key", self.key, "-subj", "/CN=first.example", "-out", asked],
                        ["x509", "-req", "-in", asked, "-signkey", self.key, "-days", "-1", "-out", certificate]):
            subprocess.run(["openssl", *command], check=True, capture_output=True)
        self.start(certificate, self.key)
        stage.wait_for("it warns", lambda: "event=certificate-ending" in self.log())
        self.assertIn("clients refuse it; renew it", self.log())
        self.assertFalse(self.trusts(certificate))

    def test_what_is_no_pair_is_refused_before_anything_begins(self):
        other, other_key = make_pair(self.folder, "other")
        other.chmod(0o600)
        wide = self.folder / "wide.key"
        wide.write_bytes(self.key.read_bytes())
        wide.chmod(0o644)
        missing = self.folder / "missing.pem"
        for flags, said in (
                (("--tls-certificate", self.certificate), "TLS needs both a certificate and its key"),
                (("--tls-key", self.key), "TLS needs both a certificate and its key"),
                (("--tls-certificate", missing, "--tls-key", self.key), f"No such file or directory ({missing})"),
                (("--tls-certificate", self.certificate, "--tls-key", missing), f"No such file or directory ({missing})"),
                (("--tls-certificate", self.key, "--tls-key", self.key), "the certificate is not usable"),
                (("--tls-certificate", self.certificate, "--tls-key", other), "the key is not usable"),
                (("--tls-certificate", self.certificate, "--tls-key", other_key), "does not belong to the certificate"),
                (("--tls-certificate", self.certificate, "--tls-key", wide), "chmod 640 (" + str(wide))):
            with self.subTest(said=said):
                self.assertIn(said, self.refusal(*flags))


if __name__ == "__main__":
    unittest.main()
