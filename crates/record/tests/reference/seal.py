"""The seal of one small group, computed from the list in src/chain.rs by another hand.

Run with Python 3 and the package blake3; writes seal.json beside itself.
"""

import json
import pathlib
import struct

from blake3 import blake3


def text(value):
    raw = value.encode("utf-8")
    return struct.pack("<I", len(raw)) + raw


entry_bytes = '{"at":1790000000000,"by":"Ilse Brandt","edition":"e1",' \
    '"event":{"what":"piece-made","piece":"B0417","part":"block","heat":"H77"}}'
entry = blake3(b"E" + struct.pack("<Q", 1) + text(entry_bytes)).digest()

names = ["AG-2", "Ilse Brandt", "M3", "2", "", "page", "e1"]
context = blake3(b"C" + b"".join(text(n) for n in names)).digest()

reading = blake3(
    b"R"
    + struct.pack("<Qq", 2, 1790000000123)
    + text("block.bore")
    + text("B0417")
    + text("3")
    + struct.pack("<qb", 680087, -4)
    + text("mm")
    + context
).digest()

seal = blake3(
    b"G"
    + struct.pack("<IQ", 1, 1)
    + bytes(32)
    + b"deed-0000-000001"
    + struct.pack("<qQII", 1790000000456, 1, 1, 1)
    + entry
    + reading
).digest()

answer = {
    "entry_bytes": entry_bytes,
    "entry": entry.hex(),
    "context": context.hex(),
    "reading": reading.hex(),
    "check_word": struct.unpack("<I", reading[:4])[0],
    "seal": seal.hex(),
}
path = pathlib.Path(__file__).with_name("seal.json")
path.write_text(json.dumps(answer, indent=2) + "\n", encoding="utf-8")
