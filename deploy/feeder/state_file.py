"""A small state that survives a power cut, also on a card without free space."""

import errno
import json
import logging
import os
import struct
import zlib
from pathlib import Path

log = logging.getLogger("feeder")


class StateFile:
    """One JSON value in a file of fixed size, overwritten in place, which needs no free space.

    Two slots are written in turn, each with a generation and a checksum: a power cut in the middle of one leaves the other.
    """

    SLOT = 32_768  # bytes
    HEADER = struct.Struct(">8sQII")  # magic, generation, length and CRC-32 of what follows
    MAGIC = b"feeder01"
    MOST = SLOT - HEADER.size

    def __init__(self, path):
        self.path = Path(path)
        self.generation = 0
        self.descriptor = None

    def read(self):
        """("absent", None), ("unreadable", None) or ("read", value)."""
        try:
            raw = self.path.read_bytes()
        except FileNotFoundError:
            return "absent", None
        except OSError as error:
            log.error("The state can't be read: %s", error)
            return "unreadable", None
        found = [slot for slot in (self._slot(raw, 0), self._slot(raw, self.SLOT)) if slot is not None]
        if not found:
            return "unreadable", None
        self.generation, value = max(found, key=lambda slot: slot[0])
        return "read", value

    def _slot(self, raw, place):
        header = raw[place : place + self.HEADER.size]
        if len(header) < self.HEADER.size:
            return None
        magic, generation, length, checksum = self.HEADER.unpack(header)
        payload = raw[place + self.HEADER.size :][:length]
        if magic != self.MAGIC or len(payload) != length or zlib.crc32(payload) != checksum:
            return None
        return generation, json.loads(payload)

    def write(self, payload, twice=False):
        """Returns when it is on the card. Twice: into both slots, so that one bad block can't bring back what was before."""
        for _ in range(2 if twice else 1):
            try:
                generation = self.generation + 1
                block = self.HEADER.pack(self.MAGIC, generation, len(payload), zlib.crc32(payload)) + payload
                if self.descriptor is None:
                    self._open(block, generation % 2 * self.SLOT)
                if os.pwrite(self.descriptor, block, generation % 2 * self.SLOT) != len(block):
                    raise OSError(errno.EIO, "only a part of the state was written")
                os.fsync(self.descriptor)
            except OSError:
                self.close()
                raise
            self.generation = generation  # only now: a try that failed is repeated in the same slot

    def _open(self, block, place):
        if not self.path.exists() or self.path.stat().st_size != 2 * self.SLOT:
            self._take_up_space(block, place)
        self.descriptor = os.open(self.path, os.O_RDWR)

    def _take_up_space(self, block, place):
        """Real bytes, since a file of holes would need space later; and never a file without a state in it."""
        whole = bytearray(os.urandom(2 * self.SLOT))
        whole[place : place + len(block)] = block
        new = self.path.with_suffix(".new")
        try:
            with open(new, "wb") as file:
                file.write(whole)
                file.flush()
                os.fsync(file.fileno())
            new.replace(self.path)
            sync_folder(self.path.parent)
        except OSError:
            new.unlink(missing_ok=True)
            raise

    def close(self):
        if self.descriptor is not None:
            os.close(self.descriptor)
            self.descriptor = None


def sync_folder(folder):
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
