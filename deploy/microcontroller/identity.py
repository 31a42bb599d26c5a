"""Proves to the server which feeder this is: by its key, or by a signature that never sends the key (for a home without https).

As ../feeder/identity.py, with an HMAC of its own (RFC 2104), since a board has SHA-256 alone. The nonce is the server's: no clock needed.
"""

import binascii
import hashlib

BLOCK = 64  # bytes, of SHA-256
NONCE_MAX = 200


def hmac_sha256(key, message):
    if len(key) > BLOCK:
        key = hashlib.sha256(key).digest()
    key = key + bytes(BLOCK - len(key))
    inner = hashlib.sha256(bytes(one ^ 0x36 for one in key))
    inner.update(message)
    outer = hashlib.sha256(bytes(one ^ 0x5C for one in key))
    outer.update(inner.digest())
    return outer.digest()


class Identity:
    """`feeder`: its id on the server, to sign; None sends the key."""

    def __init__(self, key, feeder=None):
        self.key, self.feeder, self.nonce = key, feeder, None

    @property
    def can_sign(self):
        """False before the first nonce: what is sent then is refused, so it should be short."""
        return self.feeder is None or self.nonce is not None

    def header(self, body):
        """The value of Authorization for exactly this body."""
        if self.feeder is None:
            return "Bearer " + self.key
        if self.nonce is None:
            return 'Signature feeder="%s"' % self.feeder
        secret = binascii.hexlify(hashlib.sha256(self.key.encode()).digest())
        mac = binascii.b2a_base64(hmac_sha256(secret, self.nonce.encode() + b"\n" + body)).decode().rstrip("=\n")
        mac = mac.replace("+", "-").replace("/", "_")
        return 'Signature feeder="%s", nonce="%s", mac="%s"' % (self.feeder, self.nonce, mac)

    def takes_nonce(self, text):
        """From WWW-Authenticate or Authentication-Info. True where it was a new one, so that it is worth trying again."""
        if self.feeder is None or not text or 'nonce="' not in text:
            return False
        nonce = text.split('nonce="', 1)[1].split('"', 1)[0]
        if not 0 < len(nonce) <= NONCE_MAX or " " in nonce or nonce == self.nonce:
            return False
        self.nonce = nonce
        return True
