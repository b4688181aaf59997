#!/usr/bin/env python3
"""Verifies a folder that `chartferry journal export` wrote: verify_export.py FOLDER [PUBLIC-KEY]

Needs Python 3.8 or later and the openssl command (3.0 or later), nothing of chartferry. Take the public key from a place of
your own when you can: the one in the folder came with what it is to prove. Exit status 0: everything agrees and is proved;
1: something is wrong; 2: nothing is wrong, but there are records that no signed head covers, which anybody can have written,
or a list of what was destroyed is packed, as earlier versions did, and neither Python 3.14 nor the zstd command is here.
"""
import functools
import hashlib
import pathlib
import shutil
import subprocess
import sys
import tempfile

try:
    from compression import zstd
except ImportError:
    zstd = None

faults = []
unproved = []  # records that no signed head covers, lists that nothing here unpacks
named = set()  # the files of records/ that records of the export name
counts = {"destroyed, as records say": 0, "missing, and whether a record says so is not seen": 0,
          "sealed, without their keys": 0}  # parts that hold nothing for the reader
DESTROYED, UNSEEN, SEALED = counts


def sha256(data):
    return hashlib.sha256(data).digest()


def shown(text):
    """Without what would steer a terminal: names of files are whoever's who made the export."""
    return "".join(c if c.isprintable() else "?" for c in text)


def lines_of(text):
    """Lines end with a line feed and with nothing else: words of a person may hold what Python parts lines at, too."""
    return [] if not text else (text[:-1] if text.endswith("\n") else text).split("\n")


def roots_of(leaves, sizes):
    """The Merkle tree hash of RFC 6962, section 2.1, over the first so many leaves, which are hashed already, for each size."""
    roots, stack = {}, []  # of the stack: (leaves below, hash), sizes falling
    for size, leaf in enumerate(leaves, 1):
        stack.append((1, leaf))
        while len(stack) > 1 and stack[-2][0] == stack[-1][0]:
            (n, left), (m, right) = stack[-2:]
            stack[-2:] = [(n + m, sha256(b"\x01" + left + right))]
        if size in sizes:
            roots[size] = stack[-1][1]
            for _, left in reversed(stack[:-1]):
                roots[size] = sha256(b"\x01" + left + roots[size])
    return roots


def signature_verifies(head, key_file):
    text = "chartferry tree head 1\n" + "".join(f"{name} {head[name]}\n" for name in ("size", "root", "time", "key"))
    with tempfile.TemporaryDirectory() as folder:
        text_file, signature_file = pathlib.Path(folder, "text"), pathlib.Path(folder, "signature")
        text_file.write_text(text, encoding="utf-8")
        signature_file.write_bytes(bytes.fromhex(head["signature"]))
        return subprocess.run(["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", str(key_file), "-rawin",
                               "-in", str(text_file), "-sigfile", str(signature_file)],
                              stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False).returncode == 0


def check_heads(folder, key_file, leaves):
    """How many records the largest head covers of those that agree. One that verifies vouches for all records that it covers,
    so of smaller ones it is enough that they agree."""
    heads = []
    for number, line in enumerate(lines_of((folder / "tree-heads").read_text(encoding="utf-8", errors="replace")), 1):
        try:
            head = dict(part.split("=", 1) for part in line.split(" "))
            head = {name: head[name] for name in ("size", "root", "time", "key", "signature")}
            bytes.fromhex(head["signature"])
            heads.append((number, int(head["size"]), head))
        except (ValueError, KeyError):
            faults.append(f"tree-heads:{number}: is no tree head")
    if not heads:
        faults.append("tree-heads: holds no tree head")
    roots = roots_of(leaves, {size for _, size, _ in heads})
    last, agreeing = 0, []
    for number, size, head in heads:
        if size < max(last, 1) or size > len(leaves):
            faults.append(f"tree-heads:{number}: covers {size} records; before it {last}, leaves {len(leaves)}")
        elif roots[size].hex() != head["root"]:
            faults.append(f"tree-heads:{number}: the first {size} leaves have another root")
        else:
            agreeing.append((number, size, head))
        last = max(last, size)
    for number, size, head in reversed(agreeing):
        if signature_verifies(head, key_file):
            return size
        faults.append(f"tree-heads:{number}: the signature does not verify with {key_file}")
    return 0


def unpacked(file):
    """What a file packed with zstd (RFC 8878) holds; None: nothing here unpacks it."""
    if zstd:
        return zstd.decompress(file.read_bytes())
    if not shutil.which("zstd"):
        return None
    return subprocess.run(["zstd", "-dcq"], input=file.read_bytes(), capture_output=True, check=True).stdout


@functools.lru_cache(maxsize=None)
def destroyed_by(head_file, leaf):
    """Lines of the list of what this record had destroyed: none unless it has this leaf, None when nothing here unpacks it."""
    head = head_file.read_bytes() if head_file.is_file() else b""
    lines = lines_of(head.decode("utf-8"))
    if sha256(b"\x00" + head) != leaf or not ("kind shredded" in lines or "kind expired" in lines):
        return []
    for words in (line.split(" ") for line in lines if line.startswith("part destroyed ")):
        packed = words[4] == "1"
        list_file = head_file.with_suffix(".destroyed.zst" if packed else ".destroyed")
        if not list_file.is_file() or sha256(list_file.read_bytes()).hex() != words[2]:
            return []
        listed = unpacked(list_file) if packed else list_file.read_bytes()
        if listed is None:
            unproved.append(f"{list_file.name}: is packed: install the zstd command to see what it says was destroyed")
            return None
        return lines_of(listed.decode("ascii"))
    return []


def destroyed_as_said(part, position, proved, sealed):
    """Whether a later record that is proved says that this part was destroyed, its place or the key it was sealed with:
    what it counts as, or nothing."""
    note = part.with_name(part.name + ".destroyed")
    named.add(note.name)
    by = int(note.read_text(encoding="ascii")) if note.is_file() else 0
    if not position < by <= len(proved):
        return None
    listed = destroyed_by(part.parent / f"{by}.record", proved[by - 1])
    if listed is None:
        return UNSEEN
    for line in listed:
        words = line.split(" ")
        if words[0] == "key" and sealed and bytes.fromhex(words[1]) == sealed[:16]:
            return DESTROYED
        if words[0] == "records" and int(words[1]) <= position <= int(words[2]):
            return DESTROYED
    return None


def aes(mode, key, data):
    return subprocess.run(["openssl", "enc", *mode, "-nosalt", "-K", key], input=data, capture_output=True, check=True).stdout


def ghash(factor, data):
    """NIST SP 800-38D, section 6.4, of whole blocks."""
    powers, power = [], int.from_bytes(factor, "big")
    for _ in range(128):
        powers.append(power)
        power = (power >> 1) ^ (0xE1 << 120 if power & 1 else 0)
    total = 0
    for at in range(0, len(data), 16):
        mixed, total = total ^ int.from_bytes(data[at:at + 16], "big"), 0
        for bit, power in enumerate(powers):
            if mixed >> (127 - bit) & 1:
                total ^= power
    return total


def opened(sealed, key):
    """What a sealed part holds, None when this is not its key: AES-256-GCM (NIST SP 800-38D)."""
    name, nonce, text, tag = sealed[:16], sealed[16:28], sealed[28:-16], sealed[-16:]
    if len(sealed) < 44:
        return None
    blocks = aes(["-e", "-aes-256-ecb", "-nopad"], key, bytes(16) + nonce + b"\0\0\0\1")
    lengths = (8 * len(name)).to_bytes(8, "big") + (8 * len(text)).to_bytes(8, "big")
    mark = ghash(blocks[:16], name + text + bytes(-len(text) % 16) + lengths) ^ int.from_bytes(blocks[16:], "big")
    if mark != int.from_bytes(tag, "big"):
        return None
    return aes(["-d", "-aes-256-ctr", "-iv", nonce.hex() + "00000002"], key, text)


def check_sealed(part, clear, sealed, position, proved):
    key = part.with_name(part.name + ".key")
    named.update((key.name, clear.name))
    destroyed = None if key.is_file() or clear.is_file() else destroyed_as_said(part, position, proved, sealed)
    if key.is_file():
        if not clear.is_file() or opened(sealed, key.read_text(encoding="ascii").strip()) != clear.read_bytes():
            faults.append(f"{clear.name}: is not what the sealed part holds")
    elif clear.is_file():
        faults.append(f"{clear.name}: nothing shows that the sealed part holds it")
    elif destroyed:
        counts[destroyed] += 1
    elif part.with_name(part.name + ".destroyed").is_file():
        faults.append(f"{part.name}.destroyed: no record says so")
    else:
        counts[SEALED] += 1


def check_part(file, words, position, proved):
    part = file.with_suffix("." + words[1])
    clear = file.with_suffix("." + words[1] + (".zst" if words[4] in ("1", "3") else ""))
    is_sealed = words[4] in ("2", "3")
    stored = file.with_suffix("." + words[1] + ".sealed") if is_sealed else clear
    named.add(stored.name)
    if not stored.is_file():
        destroyed = destroyed_as_said(part, position, proved, None)
        if destroyed:
            counts[destroyed] += 1
        else:
            faults.append(f"{stored.name}: is missing")
    elif sha256(stored.read_bytes()).hex() != words[2]:
        faults.append(f"{stored.name}: its bytes are not those that the record names")
    elif is_sealed:
        check_sealed(part, clear, stored.read_bytes(), position, proved)


def check_record(file, leaves, proved):
    named.add(file.name)
    position = int(file.name.split(".")[0])
    head = file.read_bytes()
    if file.name != f"{position}.record" or not 0 < position <= len(leaves) or sha256(b"\x00" + head) != leaves[position - 1]:
        faults.append(f"{file.name}: is not the record with leaf {position}")
        return
    if position > len(proved):
        unproved.append(f"{file.name}: is newer than the signed heads; nothing shows that the journal wrote it")
    for line in lines_of(head.decode("utf-8")):
        words = line.split(" ")
        if words[0] == "part":
            check_part(file, words, position, proved)


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    folder = pathlib.Path(sys.argv[1])
    key_file = pathlib.Path(sys.argv[2]) if len(sys.argv) == 3 else folder / "head-key.pub"
    if not folder.is_dir():
        sys.exit(f"{folder}: is no folder")
    for name in ("leaves", "tree-heads"):
        if not (folder / name).is_file():
            sys.exit(f"{folder}: is no folder that journal export wrote: it holds no {name}")
    if not key_file.is_file():
        sys.exit(f"{key_file}: is no file of a public key")
    if shutil.which("openssl") is None:
        sys.exit("the command openssl is needed, 3.0 or later")
    try:
        leaves = [bytes.fromhex(line) for line in (folder / "leaves").read_text(encoding="ascii").split()]
    except ValueError:
        sys.exit(f"{folder / 'leaves'}: is no list of hashes")
    covered = check_heads(folder, key_file, leaves)
    proved = leaves[:covered]
    records = [file for file in (folder / "records").glob("*.record") if file.is_file()]
    records.sort(key=lambda file: (len(file.name), file.name))
    for file in records:
        try:
            check_record(file, leaves, proved)
        except (ValueError, IndexError, OSError, subprocess.CalledProcessError) as problem:
            faults.append(f"{file.name}: cannot be checked: {problem}")
    for file in sorted((folder / "records").glob("*")):
        if file.name not in named:
            faults.append(f"{file.name}: no record of the export names this file")
    for fault in faults:
        print("fault:", shown(fault))
    for record in unproved:
        print("not proved:", shown(record))
    for what, count in counts.items():
        if count:
            print(f"{count} parts are {what}")
    verdict = "NOT SOUND" if faults else "NOT PROVED" if unproved else "sound"
    print(f"{verdict}: {len(records)} records of {len(leaves)}, {covered} of them under signed heads")
    sys.exit(1 if faults else 2 if unproved else 0)


if __name__ == "__main__":
    main()
