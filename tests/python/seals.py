"""Reads seals with programs that know nothing of this one: hashlib, the package cryptography, a QR reader.

    python seals.py RECORD_FOLDER|CASE_FOLDER SHOP.pub

checks seal.json (SHA-256 of the manifest, ed25519 signature, SHA-256 of every file it names), the seals inside report.html, report.pdf and
certificate.pdf, and what the QR codes of the two PDF files say; of a case every seal-N.json, the entry that it covers, and the documents beside it. Exits with a traceback at the first thing that is not as documented.
"""

import base64
import hashlib
import json
import re
import sys
from pathlib import Path

import pypdfium2
import zxingcpp
from cryptography.hazmat.primitives import serialization

SLOT = re.compile(rb"TPSEAL1\(([A-Za-z0-9_-]{172})\)")


def unpadded(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def raw(key):
    return key.public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)


def check_seal(folder, key, name="seal.json"):
    seal = json.loads((folder / name).read_text(encoding="utf-8"))
    digest = hashlib.sha256(seal["manifest"].encode()).digest()
    assert digest.hex() == seal["fingerprint"] and raw(key).hex() == seal["key"]
    key.verify(bytes.fromhex(seal["signature"]), b"trackpair record seal 1\n" + digest)
    message = b"trackpair record documents 1\n" + digest + seal["documents"].encode()
    key.verify(bytes.fromhex(seal["documents_signature"]), message)
    manifest, documents = json.loads(seal["manifest"]), json.loads(seal["documents"])
    assert manifest["record"] == folder.name
    for entry in manifest["files"] + documents:
        content = (folder.parent.parent / entry["path"]).read_bytes()
        assert len(content) == entry["bytes"] and hashlib.sha256(content).hexdigest() == entry["sha256"], entry
    return digest, seal, len(manifest["files"]) + len(documents)


def check_document(path, key, fingerprint):
    content = path.read_bytes()
    slots = set(SLOT.findall(content))
    assert len(slots) == 1, f"{path.name} has {len(slots)} different seals"
    slot = unpadded(slots.pop().decode())
    assert slot[0] == 1 and slot[1:33] == fingerprint and slot[33:65] == raw(key), path.name
    empty = SLOT.sub(b"TPSEAL1(" + b"0" * 172 + b")", content)
    key.verify(slot[65:], b"trackpair document seal 1\n" + fingerprint + hashlib.sha256(empty).digest())


def qr_codes(path):
    """What every QR code of a PDF says; pages as they would be printed at 150 dots per inch, in grey."""
    found = []
    for page in pypdfium2.PdfDocument(path):
        picture = page.render(scale=150 / 72, grayscale=True).to_pil()
        found += [code.text for code in zxingcpp.read_barcodes(picture)]
    return found


def check_code(text, key, seal):
    word, _, fingerprint, own, signature = text.split(" ")
    assert word == "TRACKPAIR1" and fingerprint == seal["fingerprint"] and unpadded(own) == raw(key)
    key.verify(unpadded(signature), b"trackpair record seal 1\n" + bytes.fromhex(fingerprint))


def check_case(folder, key):
    """Every entry of a case, from 1 without a gap, and what it says of itself."""
    count, documents = len(list(folder.glob("entry-*.json"))), 0
    for number in range(1, count + 1):
        fingerprint, seal, _ = check_seal(folder, key, f"seal-{number}.json")
        manifest = json.loads(seal["manifest"])
        assert manifest["kind"] == "case" and manifest["number"] == number
        assert [f["path"] for f in manifest["files"]] == [f"cases/{folder.name}/entry-{number}.json"]
        entry = json.loads((folder / f"entry-{number}.json").read_text(encoding="utf-8"))
        assert (entry["case"], entry["number"], entry["date"]) == (folder.name, number, manifest["sealed"])
        for document in json.loads(seal["documents"]):
            check_document(folder / Path(document["path"]).name, key, fingerprint)
            documents += 1
    print(f"{count} entries and {documents} documents hold")


def main():
    folder = Path(sys.argv[1])
    key = serialization.load_pem_public_key(Path(sys.argv[2]).read_bytes())
    if folder.name.startswith("case-"):
        return check_case(folder, key)
    fingerprint, seal, files = check_seal(folder, key)
    documents = ["report.html", "report.pdf", "certificate.pdf"]
    for name in documents:
        check_document(folder / name, key, fingerprint)
    for name in documents[1:]:
        codes = qr_codes(folder / name)
        assert len(codes) >= 1, f"no QR code can be read in {name}"
        for code in codes:
            check_code(code, key, seal)
    print(f"{files} files, {len(documents)} documents and their QR codes hold")
    print(codes[0])


if __name__ == "__main__":
    main()
