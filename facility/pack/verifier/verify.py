# ruff: noqa  # goes along in packs, stands alone and runs on Python 3.8: none of the project style that needs more
# mypy: ignore-errors
"""Verify this pack: python3 verify.py [FOLDER] [--key FINGERPRINT] [--older FILE]. Needs nothing but Python 3.8.

--older: an older pack, as a folder or zip, or its checkpoint.note alone: does the log of this pack go on from it?
Ends with 0: all statements hold; 1: something is wrong and named; 2: something could not be checked.
"""

import argparse
import base64
import hashlib
import json
import re
import sys
import zipfile
from pathlib import Path

P = 2**255 - 19
ORDER = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
ROOT_OF_MINUS_ONE = pow(2, (P - 1) // 4, P)
TAGS, SIGNATURE, PAYLOAD = "tagmanifest-sha256.txt", "tagmanifest-sha256.txt.sig", "manifest-sha256.txt"
HEAD, LEAVES, EVENTS, KEYS = "data/checkpoint.note", "data/leaves.txt", "data/events.jsonl", "data/keys.json"
BAGIT = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
LOST = "the chain of keys is broken: %s was lost, and only %s itself says that it took its place"
LONGEST_NOTE = 65536
LISTED = re.compile(r"[0-9a-f]{64}  [A-Za-z0-9._/-]+")


class Statement:
    def __init__(self):
        self.holds = True
        self.problems = []

    def wrong(self, member, words):
        self.holds = False
        self.said(member, words)

    def said(self, member, words):
        self.problems.append((_plain(member), _plain(words)))

    def unchecked(self, member, words):
        if self.holds:
            self.holds = None
        self.said(member, words)


class Report:
    def __init__(self):
        self.files, self.events, self.signature = Statement(), Statement(), Statement()
        self.continues = None
        self.fingerprint, self.size, self.older_size, self.lost = "", 0, 0, []

    @property
    def code(self):
        asked = (self.files, self.events, self.signature) + ((self.continues,) if self.continues else ())
        told = [one.holds for one in asked]
        return 1 if False in told else 2 if None in told else 0


def _plain(text):
    """Return a text of the pack so that it can neither end a line nor steer a terminal."""
    return "".join(one if one.isprintable() else "\\u{%x}" % ord(one) for one in str(text))


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
    full, found = [], {0: hashlib.sha256().digest()}
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


def _hex(code):
    if not isinstance(code, str) or not re.fullmatch("[0-9a-f]{64}", code):
        raise ValueError("not 64 digits and letters a to f: %r" % (code,))
    return bytes.fromhex(code)


def _base64(code):
    raw = base64.b64decode(code, validate=True)
    if base64.b64encode(raw).decode() != code:
        raise ValueError("not base64 as it is written: %r" % code)
    return raw


def _text(folder, name):
    path = folder / name
    if path.is_symlink() or not path.is_file():
        raise ValueError("it is missing")
    return path.read_bytes().decode()


def _lines(folder, name):
    found = _text(folder, name).split("\n")
    if found.pop():
        raise ValueError("its last line is not ended")
    return found


def _json(text):
    def refuse(constant):
        raise ValueError("JSON knows no " + constant)

    return json.loads(text, parse_constant=refuse)


def _string(told, name):
    if not isinstance(told[name], str):
        raise ValueError("no such text: " + name)
    return told[name]


def _leaves(folder):
    return [_hex(line) for line in _lines(folder, LEAVES)]


def _digest(path):
    made = hashlib.sha256()
    with path.open("rb") as file:
        for block in iter(lambda: file.read(1 << 20), b""):
            made.update(block)
    return made.hexdigest()


def _manifest(folder, name, report):
    told = set()
    for line in _lines(folder, name):
        digest, path = line[:64], line[66:]
        parts = path.split("/")
        if not LISTED.fullmatch(line) or path in told or {"", ".", ".."} & set(parts):
            report.files.wrong(name, "a line that cannot be: " + repr(line))
            continue
        told.add(path)
        at = folder / path
        if at.is_symlink() or not at.is_file():
            report.files.wrong(path, "is missing")
        else:
            _tried(report.files, path, _compared, at, path, digest, report)
    return told


def _compared(at, path, digest, report):
    if _digest(at) != digest:
        report.files.wrong(path, "was changed")


def _files(folder, report):
    tags = _tried(report.files, TAGS, _manifest, folder, TAGS, report)
    payload = _tried(report.files, PAYLOAD, _manifest, folder, PAYLOAD, report)
    for need in ("bagit.txt", "bag-info.txt", PAYLOAD):
        if tags is not None and need not in tags:
            report.files.wrong(need, "is not in the tag manifest")
    if (folder / "bagit.txt").is_file() and (folder / "bagit.txt").read_bytes() != BAGIT:
        report.files.wrong("bagit.txt", "is not that of a pack")
    listed = None if None in (tags, payload) else tags | payload | {TAGS, SIGNATURE}
    seen = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink() or (listed is not None and not path.is_dir() and name not in listed):
            report.files.wrong(name, "does not belong to the pack")
        if seen.setdefault(name.lower(), name) != name:
            report.files.wrong(name, "differs only in capitals from " + seen[name.lower()])


def _note(whole):
    text, gap, tail = whole.rpartition("\n\n")
    lines, signed = text.split("\n"), tail.split("\n")
    if not gap or signed.pop() or len(lines) != 3 or not re.fullmatch("[1-9][0-9]{0,14}", lines[1]):
        raise ValueError("it is no signed head of a log")
    found = []
    for line in signed:
        dash, name, code = line.split(" ")
        if dash != "\u2014" or not name:
            raise ValueError("a line that is no signature: %r" % line)
        found.append((name, _base64(code)))
    return text + "\n", int(lines[1]), _base64(lines[2]), found


def _note_in(folder, name):
    return _note(_text(folder, name))


def _signer(text, signed, keys):
    for name, raw in signed:
        for key in keys:
            number = hashlib.sha256(name.encode() + b"\n\x01" + key).digest()[:4]
            if raw[:4] == number and ed25519(key, text.encode(), raw[4:]):
                return key
    return None


def _events(folder, report, notes):
    leaves = _leaves(folder)
    report.size = len(leaves)
    found = roots(leaves, {size for _, size, _, _ in notes.values()})
    for name, (_, size, root, _) in notes.items():
        if found.get(size) != root or (name == HEAD and size != len(leaves)):
            report.events.wrong(LEAVES, "does not lead to the head in " + name)
    _tried(report.events, EVENTS, _chain, folder, report, leaves)


def _chain(folder, report, leaves):
    last = 0
    for line in _lines(folder, EVENTS):
        one = _json(line)
        if len(one) != 4:
            raise ValueError("an event has a part too many: " + line[:200])
        seq, prev = one["seq"], _hex(one["prev"])
        made = hashlib.sha256(b"deepstead event v1\0" + prev + one["payload"].encode()).digest()
        fits = type(seq) is int and last < seq <= len(leaves) and made == leaves[seq - 1] == _hex(one["digest"])
        if not fits or prev != (leaves[seq - 2] if seq > 1 else bytes(32)):
            report.events.wrong(EVENTS, "event %s is not the one of the log" % seq)
        else:
            last = seq


def _list(told):
    if not isinstance(told, list):
        raise ValueError("it is no list")
    return told


def _keys(folder, report):
    keys, before = {}, {}
    for row in _list(_json(_text(folder, KEYS))):
        if _string(row, "use") != "log":
            continue
        raw = _hex(row["public_hex"])
        told = hashlib.sha256(raw).hexdigest()
        if told != _string(row, "fingerprint"):
            report.signature.wrong(KEYS, "a fingerprint is not that of its key")
        if told in keys:
            report.signature.wrong(KEYS, "a key is there twice")
        keys[told] = raw
        before[told] = _passed_on(row, raw, keys, report)
    return keys, before


def _signature(folder, report, notes, pin):
    keys, before = _keys(folder, report)
    if not keys:
        report.signature.unchecked(KEYS, "holds no key of the log")
        return
    for name, (text, _, _, signed) in notes.items():
        key = _signer(text, signed, keys.values())
        if key is None:
            report.signature.wrong(name, "is not signed by a key in " + KEYS)
        elif name == HEAD:
            report.fingerprint = hashlib.sha256(key).hexdigest()
            _tried(report.signature, SIGNATURE, _tags, folder, key, report)
    at, steps = report.fingerprint, 0
    while at and at != pin and steps < len(keys):
        at, steps = before.get(at, ""), steps + 1
    for words in report.lost:
        (report.signature.said if pin else report.signature.unchecked)(KEYS, words)
    if pin and at != pin:
        report.signature.wrong(
            HEAD, "is signed by %s, not by the key asked for" % (report.fingerprint or "no known key")
        )


def _tags(folder, key, report):
    signature = _base64(_text(folder, SIGNATURE))
    if not ed25519(key, b"deepstead pack v1\0" + (folder / TAGS).read_bytes(), signature):
        report.signature.wrong(SIGNATURE, "does not fit the tag manifest")


def _passed_on(row, raw, known, report):
    """Return the fingerprint of the key that passed on to this one, if both signed so."""
    told = row["passed_on"]
    if told is None:
        return ""
    statement = _string(told, "text")
    lines = dict(line.split(": ", 1) for line in statement.split("\n")[1:-1])
    old, new = lines["old"], lines["new"]
    content = b"deepstead key statement v1\0" + statement.encode()
    if told.get("broken") == "yes" and new == row["fingerprint"] and "chain" in lines:
        if ed25519(raw, content, _base64(_string(told, "new_signature"))):
            report.lost.append(LOST % (old[:16], new[:16]))
            return ""
    if new == row["fingerprint"] and (
        ed25519(known.get(old, b""), content, _base64(_string(told, "old_signature")))
        and ed25519(raw, content, _base64(_string(told, "new_signature")))
    ):
        return old
    report.signature.wrong(KEYS, "a key was not passed on by the one before it")
    return ""


def _tried(statement, member, act, *given):
    try:
        return act(*given)
    except Exception as error:
        statement.wrong(member, "cannot be read: %s" % error)
        return None


def verify_folder(path, pin="", older=None):
    """Verify an unpacked pack. ``pin``: fingerprint that must have signed, or passed on to the key that did."""
    folder, report, notes = Path(path), Report(), {}
    _tried(report.files, TAGS, _files, folder, report)
    for need in (TAGS, SIGNATURE, PAYLOAD, HEAD, LEAVES, EVENTS, KEYS):
        if not (folder / need).is_file():
            report.files.wrong(need, "is missing")
    earlier = sorted(one for one in (folder / "data/checkpoints").rglob("*") if not one.is_dir())
    for name in [HEAD, *(one.relative_to(folder).as_posix() for one in earlier)]:
        told = _tried(report.events, name, _note_in, folder, name)
        if told:
            notes[name] = told
    if HEAD not in notes:
        report.signature.wrong(HEAD, "cannot be read")
    _tried(report.events, LEAVES, _events, folder, report, notes)
    _tried(report.signature, KEYS, _signature, folder, report, notes, "".join(pin.lower().split()))
    if older:
        report.continues = Statement()
        _tried(report.continues, LEAVES, _continues, folder, Path(older), notes.get(HEAD), report)
    return report


def _older_head(older):
    if older.is_dir():
        return _note_in(older, HEAD)
    if zipfile.is_zipfile(str(older)):
        with zipfile.ZipFile(str(older)) as archive:
            found = [one for one in archive.infolist() if one.filename.split("/", 1)[-1] == HEAD]
            if len(found) != 1 or found[0].file_size > LONGEST_NOTE:
                raise ValueError("it is a zip without one " + HEAD)
            return _note(archive.read(found[0]).decode())
    if older.stat().st_size > LONGEST_NOTE:
        raise ValueError("it is no signed head of a log")
    return _note(older.read_bytes().decode())


def _continues(folder, older, head, report):
    """Say whether the log goes on from an older head: its first events lead to that root (RFC 9162, 2.1)."""
    try:
        text, size, root, signed = _older_head(older)
    except Exception as error:
        report.continues.unchecked(older.name, "cannot be read: %s" % error)
        return
    report.older_size = size
    leaves = _leaves(folder)
    if not head:
        report.continues.wrong(HEAD, "cannot be read")
    elif text.split("\n")[0] != head[0].split("\n")[0]:
        report.continues.wrong(older.name, "is of another log")
    elif size > len(leaves):
        report.continues.wrong(LEAVES, "has %d events, the older head tells of %d" % (len(leaves), size))
    elif roots(leaves[:size], {size})[size] != root:
        report.continues.wrong(LEAVES, "does not go on from the older head of %d events" % size)
    known = _tried(report.continues, KEYS, _keys, folder, Report())
    if known and _signer(text, signed, known[0].values()) is None:
        report.continues.wrong(older.name, "is not signed by a key in " + KEYS)


def main():
    reader = argparse.ArgumentParser(description="Verify an unpacked pack.")
    reader.add_argument("folder", nargs="?", default=str(Path(__file__).resolve().parent))
    reader.add_argument("--key", default="")
    reader.add_argument("--older")
    given = reader.parse_args()
    if given.key and not re.fullmatch("[0-9a-f]{64}", "".join(given.key.lower().split())):
        reader.error("--key: a fingerprint is 64 digits and letters a to f; this one is %r" % given.key)
    if not Path(given.folder).is_dir():
        reader.error("there is no folder %s" % given.folder)
    sys.stdout.reconfigure(errors="backslashreplace")
    report = verify_folder(given.folder, given.key, given.older)
    told = [
        ("Files unchanged", report.files),
        ("Events belong to the log of %d events" % report.size, report.events),
        ("Signed by the key %s" % (report.fingerprint or "?"), report.signature),
    ]
    if report.continues:
        told.append(("The log goes on from the older one of %s events" % (report.older_size or "?"), report.continues))
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
