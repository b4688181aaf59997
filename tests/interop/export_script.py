#!/usr/bin/env python3
"""The parts of the script that verifies an export, against what is published, and against inputs made to deceive it."""
import hashlib
import importlib.util
import os
import pathlib
import subprocess
import sys
import tempfile
import unittest

SCRIPT = pathlib.Path(__file__).resolve().parents[2] / "docs" / "formats" / "verify_export.py"
spec = importlib.util.spec_from_file_location("verify_export", SCRIPT)
script = importlib.util.module_from_spec(spec)
spec.loader.exec_module(script)


def tree_hash(leaves):
    """RFC 6962, section 2.1, as it is written there, over leaves that are hashed already."""
    if len(leaves) == 1:
        return leaves[0]
    left = 1
    while left * 2 < len(leaves):
        left *= 2
    return hashlib.sha256(b"\x01" + tree_hash(leaves[:left]) + tree_hash(leaves[left:])).digest()


class ExportScript(unittest.TestCase):
    # D. McGrew, J. Viega: The Galois/Counter Mode of Operation, appendix B, test cases 13, 14 and 16 (AES-256).
    def test_a_tag_is_that_of_gcm(self):
        vectors = [
            ("0" * 64, "0" * 24, "", "", "530f8afbc74536b9a963b4f1c4cb738b"),
            ("0" * 64, "0" * 24, "", "cea7403d4d606b6e074ec5d3baf39d18", "d0d1c8a799996bf0265b98b5d48ab919"),
            ("feffe9928665731c6d6a8f9467308308" * 2, "cafebabefacedbaddecaf888", "feedfacedeadbeef" * 2 + "abaddad2",
             "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa8cb08e48590dbb3da7b08b1056828838"
             "c5f61e6393ba7a0abcc9f662", "76fc6ece0f4e1768cddf8853bb2d551b")]
        for key, nonce, beside, text, tag in vectors:
            beside, text = bytes.fromhex(beside), bytes.fromhex(text)
            blocks = script.aes(["-e", "-aes-256-ecb", "-nopad"], key, bytes(16) + bytes.fromhex(nonce) + b"\0\0\0\1")
            data = (beside + bytes(-len(beside) % 16) + text + bytes(-len(text) % 16)
                    + (8 * len(beside)).to_bytes(8, "big") + (8 * len(text)).to_bytes(8, "big"))
            mark = script.ghash(blocks[:16], data) ^ int.from_bytes(blocks[16:], "big")
            self.assertEqual(mark.to_bytes(16, "big").hex(), tag)

    def test_roots_are_those_of_the_standard(self):
        leaves = [hashlib.sha256(b"\x00" + bytes([n])).digest() for n in range(70)]
        roots = script.roots_of(leaves, set(range(1, 71)) | {99})
        self.assertEqual(roots, {n: tree_hash(leaves[:n]) for n in range(1, 71)})

    def test_lines_end_with_line_feeds_only(self):
        words = "why audit\u2028kind shredded\u2029a\u0085b\x0bc\x0cd\x1ce\rf"
        self.assertEqual(script.lines_of(f"kind read\n{words}\n"), ["kind read", words])
        self.assertEqual(script.lines_of(""), [])
        self.assertEqual(script.lines_of("a"), ["a"])

    def test_names_of_files_steer_no_terminal_and_nothing_is_waited_for(self):
        with tempfile.TemporaryDirectory(prefix="chartferry-export-") as place:
            folder = pathlib.Path(place)
            (folder / "records").mkdir()
            (folder / "leaves").write_text("00" * 32 + "\n")
            (folder / "tree-heads").write_text("")
            (folder / "head-key.pub").write_text("")
            (folder / "records" / "\x1b[2Jsound\u202e\x9b").write_text("")
            os.mkfifo(folder / "records" / "1.record")
            done = subprocess.run([sys.executable, "-B", str(SCRIPT), place], capture_output=True, text=True, check=False,
                                  timeout=60)
            self.assertEqual((done.returncode, done.stderr), (1, ""))
            self.assertTrue(done.stdout.replace("\n", "").isprintable(), done.stdout)
            self.assertIn("fault: ?[2Jsound??: no record of the export names this file", done.stdout)
            self.assertIn("fault: 1.record: no record of the export names this file", done.stdout)


if __name__ == "__main__":
    unittest.main()
