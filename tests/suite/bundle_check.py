"""Checks a bundle with other people's code: Ed25519 of `cryptography`, SHA-256 of `hashlib`, and canonical JSON written here.

Reads the bundle on standard input. Prints the number of entries of each grade, or fails with what doesn't fit.
"""

import base64
import hashlib
import json
import sys
import uuid

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey


def no_doubles(pairs):
    fields = dict(pairs)
    assert len(fields) == len(pairs), "a key stands twice"
    return fields


def number(value):
    """ECMAScript's spelling, for the range that records use."""
    if isinstance(value, int) or value == int(value):
        return str(int(value))
    text = repr(value)
    assert "e" not in text, text
    return text


def canonical(value):
    """RFC 8785: keys sorted by UTF-16 code units, no white space."""
    if isinstance(value, dict):
        keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
        return "{" + ",".join(canonical(key) + ":" + canonical(value[key]) for key in keys) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(canonical, value)) + "]"
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, (int, float)):
        return number(value)
    return json.dumps(value, ensure_ascii=False)


def bytes_of(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def sha256(*parts):
    return hashlib.sha256(b"".join(parts)).digest()


def check(data):
    bundle = json.loads(data.decode(), object_pairs_hook=no_doubles)
    assert canonical(bundle).encode() == data, "not canonical"
    server = Ed25519PublicKey.from_public_bytes(bytes_of(bundle["server_key"]))
    rest = {key: value for key, value in bundle.items() if key != "signature"}
    server.verify(bytes_of(bundle["signature"]), b"whorl/bundle/1\0" + canonical(rest).encode())

    keys = {one["device_id"]: one for one in bundle["signers"]}
    head = sha256(b"whorl/log/1\0", uuid.UUID(bundle["horse_id"]).bytes)
    counts = {"whole": 0, "content_withheld": 0, "leaf_only": 0}
    for place, event in enumerate(bundle["events"], 1):
        assert event["seq"] == place
        if "envelope" in event:
            envelope = canonical(event["envelope"]).encode()
            signer = keys[event["envelope"]["device_id"]]
            assert signer["account_id"] == event["envelope"]["author_id"]
            signature = bytes_of(event["signature"])
            key = Ed25519PublicKey.from_public_bytes(bytes_of(signer["public_key"]))
            key.verify(signature, b"whorl/event/1\0" + envelope)
            leaf = sha256(b"\0", envelope, signature)
            if "content" in event:
                hashed = sha256(bytes_of(event["salt"]), canonical(event["content"]).encode())
                assert hashed == bytes_of(event["envelope"]["content_hash"])
            counts["whole" if "content" in event else "content_withheld"] += 1
        else:
            leaf = bytes_of(event["leaf"])
            counts["leaf_only"] += 1
        head = sha256(b"\1", head, leaf)

    text, signatures = bundle["note"].split("\n\n")
    lines = text.split("\n")
    assert lines[0] == f"{bundle['server']}/horse/{bundle['horse_id']}"
    assert lines[1] == str(len(bundle["events"]))
    assert base64.b64decode(lines[2]) == head
    assert lines[3] == f"epoch {bundle['epoch']}"
    line = base64.b64decode(signatures.strip().split(" ")[2])
    server.verify(line[4:], (text + "\n").encode())
    return counts


if __name__ == "__main__":
    print(json.dumps(check(sys.stdin.buffer.read()), sort_keys=True))
