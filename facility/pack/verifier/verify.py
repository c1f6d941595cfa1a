# ruff: noqa  # goes along in packs, stands alone and runs on Python 3.8: none of the project style that needs more
# mypy: ignore-errors
"""Verify this pack: python3 verify.py [FOLDER] [--key FINGERPRINT] [--older FOLDER]. Needs nothing but Python 3.8.

Ends with 0: all three statements hold; 1: something is wrong and named; 2: something could not be checked.
"""

import argparse
import base64
import hashlib
import json
import sys
from pathlib import Path

P = 2**255 - 19
ORDER = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
ROOT_OF_MINUS_ONE = pow(2, (P - 1) // 4, P)


class Statement:
    def __init__(self):
        self.holds = True
        self.problems = []

    def wrong(self, member, words):
        self.holds = False
        self.problems.append((member, words))

    def unchecked(self, member, words):
        if self.holds:
            self.holds = None
        self.problems.append((member, words))


class Report:
    def __init__(self):
        self.files, self.events, self.signature = Statement(), Statement(), Statement()
        self.fingerprint, self.size = "", 0

    @property
    def code(self):
        told = [one.holds for one in (self.files, self.events, self.signature)]
        return 1 if False in told else 2 if None in told else 0


def _add(p, q):
    a, b = (p[1] - p[0]) * (q[1] - q[0]) % P, (p[1] + p[0]) * (q[1] + q[0]) % P
    c, d = 2 * p[3] * q[3] * D % P, 2 * p[2] * q[2] % P
    e, f, g, h = b - a, d - c, d + c, b + a
    return e * f % P, g * h % P, f * g % P, e * h % P


def _times(s, p):
    q = (0, 1, 1, 0)
    while s:
        if s & 1:
            q = _add(q, p)
        p, s = _add(p, p), s >> 1
    return q


def _point(raw):
    y = int.from_bytes(raw, "little")
    sign, y = y >> 255, y & ((1 << 255) - 1)
    if y >= P:
        return None
    square = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * ROOT_OF_MINUS_ONE % P
    if (x * x - square) % P or (x == 0 and sign):
        return None
    x = P - x if x & 1 != sign else x
    return x, y, 1, x * y % P


BASE = _point((4 * pow(5, P - 2, P) % P).to_bytes(32, "little"))


def ed25519(public, content, signature):
    """Return whether a signature is good (RFC 8032, 5.1.7)."""
    if len(public) != 32 or len(signature) != 64:
        return False
    a, r, s = _point(public), _point(signature[:32]), int.from_bytes(signature[32:], "little")
    if a is None or r is None or s >= ORDER:
        return False
    h = int.from_bytes(hashlib.sha512(signature[:32] + public + content).digest(), "little") % ORDER
    left, right = _times(s, BASE), _add(r, _times(h, a))
    return not ((left[0] * right[2] - right[0] * left[2]) % P or (left[1] * right[2] - right[1] * left[2]) % P)


def roots(leaves, sizes):
    """Return the root at each size (RFC 6962, 2.1)."""
    full, found = [], {}
    for size, leaf in enumerate(leaves, 1):
        made, rest = hashlib.sha256(b"\0" + leaf).digest(), size - 1
        while rest & 1:
            made, rest = hashlib.sha256(b"\1" + full.pop() + made).digest(), rest >> 1
        full.append(made)
        if size in sizes:
            made = full[-1]
            for one in reversed(full[:-1]):
                made = hashlib.sha256(b"\1" + one + made).digest()
            found[size] = made
    return found


def _manifest(folder, name, report):
    told = {}
    for line in (folder / name).read_bytes().decode().split("\n")[:-1]:
        digest, gap, path = line[:64], line[64:66], line[66:]
        if gap != "  " or path in told or ".." in path.split("/") or path.startswith("/") or "\\" in path:
            report.files.wrong(name, "a line that cannot be: " + repr(line))
            continue
        told[path] = digest
        at = folder / path
        if at.is_symlink() or not at.is_file():
            report.files.wrong(path, "is missing")
        elif hashlib.sha256(at.read_bytes()).hexdigest() != digest:
            report.files.wrong(path, "was changed")
    return told


def _files(folder, report):
    told = _manifest(folder, "tagmanifest-sha256.txt", report)
    for need in ("bagit.txt", "bag-info.txt", "manifest-sha256.txt"):
        if need not in told:
            report.files.wrong(need, "is not in the tag manifest")
    payload = _manifest(folder, "manifest-sha256.txt", report)
    known = set(told) | set(payload) | {"tagmanifest-sha256.txt", "tagmanifest-sha256.txt.sig"}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink() or (not path.is_dir() and name not in known):
            report.files.wrong(name, "does not belong to the pack")


def _note(path):
    text, _, tail = path.read_bytes().decode().rpartition("\n\n")
    lines = text.split("\n")
    signed = [line[2:].split(" ") for line in tail.split("\n")[:-1] if line.startswith("\u2014 ")]
    return text + "\n", int(lines[1]), base64.b64decode(lines[2], validate=True), [
        (name, base64.b64decode(code, validate=True)) for name, code in signed
    ]


def _signer(text, signed, keys):
    for name, raw in signed:
        for key in keys:
            number = hashlib.sha256(name.encode() + b"\n\x01" + key).digest()[:4]
            if raw[:4] == number and ed25519(key, text.encode(), raw[4:]):
                return key
    return None


def _events(folder, report, notes):
    leaves = [bytes.fromhex(line) for line in (folder / "data/leaves.txt").read_bytes().decode("ascii").split("\n")[:-1]]
    found = roots(leaves, {size for _, size, _, _ in notes.values()})
    for name, (_, size, root, _) in notes.items():
        if found.get(size) != root or (name == "data/checkpoint.note" and size != len(leaves)):
            report.events.wrong("data/leaves.txt", "does not lead to the head in " + name)
    for line in (folder / "data/events.jsonl").read_bytes().decode().split("\n")[:-1]:
        one = json.loads(line)
        seq, prev = one["seq"], bytes.fromhex(one["prev"])
        made = hashlib.sha256(b"deepstead event v1\0" + prev + one["payload"].encode()).digest()
        before = leaves[seq - 2] if seq > 1 else bytes(32)
        if not 0 < seq <= len(leaves) or made.hex() != one["digest"] or leaves[seq - 1] != made or prev != before:
            report.events.wrong("data/events.jsonl", "event %s is not the one of the log" % seq)
    report.size = len(leaves)


def _signature(folder, report, notes, pin):
    keys = {}
    for row in json.loads((folder / "data/keys.json").read_bytes().decode()):
        if row["use"] == "log":
            raw = bytes.fromhex(row["public_hex"])
            keys[raw] = row
            if hashlib.sha256(raw).hexdigest() != row["fingerprint"]:
                report.signature.wrong("data/keys.json", "a fingerprint is not that of its key")
            _passed_on(row, raw, {hashlib.sha256(key).hexdigest(): key for key in keys}, report)
    for name, (text, _, _, signed) in notes.items():
        key = _signer(text, signed, keys)
        if key is None:
            report.signature.wrong(name, "is not signed by a key in data/keys.json")
        elif name == "data/checkpoint.note":
            report.fingerprint = hashlib.sha256(key).hexdigest()
            signature = base64.b64decode((folder / "tagmanifest-sha256.txt.sig").read_bytes().strip(), validate=True)
            content = b"deepstead pack v1\0" + (folder / "tagmanifest-sha256.txt").read_bytes()
            if not ed25519(key, content, signature):
                report.signature.wrong("tagmanifest-sha256.txt.sig", "does not fit the tag manifest")
    if pin and report.fingerprint != pin.lower():
        report.signature.wrong("data/checkpoint.note", "is signed by %s, not by the key asked for" % report.fingerprint)


def _passed_on(row, raw, known, report):
    told = row["passed_on"]
    if not told:
        return
    lines = dict(line.split(": ", 1) for line in told["text"].split("\n")[1:-1])
    content = b"deepstead key statement v1\0" + told["text"].encode()
    old = known.get(lines["old"], b"")
    if lines["new"] != row["fingerprint"] or not (
        ed25519(old, content, base64.b64decode(told["old_signature"]))
        and ed25519(raw, content, base64.b64decode(told["new_signature"]))
    ):
        report.signature.wrong("data/keys.json", "a key was not passed on by the one before it")


def _tried(statement, member, act, *given):
    try:
        return act(*given)
    except Exception as error:
        statement.wrong(member, "cannot be read: %s" % error)
        return None


def verify_folder(path, pin="", older=None):
    """Verify an unpacked pack."""
    folder, report, notes = Path(path), Report(), {}
    _tried(report.files, "tagmanifest-sha256.txt", _files, folder, report)
    for at in [folder / "data/checkpoint.note", *sorted((folder / "data/checkpoints").glob("*"))]:
        name = at.relative_to(folder).as_posix()
        told = _tried(report.events, name, _note, at)
        if told:
            notes[name] = told
    if "data/checkpoint.note" not in notes:
        report.signature.wrong("data/checkpoint.note", "cannot be read")
    _tried(report.events, "data/events.jsonl", _events, folder, report, notes)
    _tried(report.signature, "data/keys.json", _signature, folder, report, notes, pin)
    if older:
        before, now = ((Path(one) / "data/leaves.txt").read_bytes() for one in (older, folder))
        if not now.startswith(before):
            report.events.wrong("data/leaves.txt", "does not continue the older pack")
    return report


def main():
    reader = argparse.ArgumentParser(description="Verify an unpacked pack.")
    reader.add_argument("folder", nargs="?", default=str(Path(__file__).resolve().parent))
    reader.add_argument("--key", default="")
    reader.add_argument("--older")
    given = reader.parse_args()
    report = verify_folder(given.folder, given.key, given.older)
    told = (
        ("Files unchanged", report.files),
        ("Events belong to the log of %d events" % report.size, report.events),
        ("Signed by the key %s" % (report.fingerprint or "?"), report.signature),
    )
    for words, one in told:
        print("%s: %s" % (words, {True: "yes", False: "NO", None: "NOT CHECKED"}[one.holds]))
        for member, problem in one.problems:
            print("  %s: %s" % (member, problem))
    if not given.key:
        print("Compare the fingerprint with the wall sheet of the facility: this program cannot do that.")
    print("NOT proved: that what was written is true, that nothing was left unwritten, or who held the key.")
    return report.code


if __name__ == "__main__":
    sys.exit(main())
