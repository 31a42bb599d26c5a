"""Proves to the server which feeder this is: by its key, or by a signature that never sends the key.

Sign on a home network without https, where others could read the key. No clock is needed: the server gives a nonce, which is signed
together with the report (RFC 2104; the server's page at /api/docs#signature has a worked example). A nonce is good for some minutes,
so each answer brings the next one; without one, or with an old one, the first request is refused, and repeated with the one it brings.
"""

import base64
import hashlib
import hmac
import re

NONCE_MAX = 200  # characters


class Identity:
    """`feeder`: its id on the server, to sign; None sends the key. One for each thread: a socket needs a nonce of its own."""

    def __init__(self, key, feeder=None):
        self.key = key
        self.feeder = feeder
        self.nonce = None

    def other(self):
        return Identity(self.key, self.feeder)

    @property
    def can_sign(self):
        """False before the first nonce: what is sent then is refused, so it should be short."""
        return self.feeder is None or self.nonce is not None

    def header(self, body=b""):
        """The value of Authorization for exactly this body."""
        if self.feeder is None:
            return f"Bearer {self.key}"
        if self.nonce is None:
            return f'Signature feeder="{self.feeder}"'
        secret = hashlib.sha256(self.key.encode()).hexdigest().encode()
        digest = hmac.new(secret, self.nonce.encode() + b"\n" + body, hashlib.sha256).digest()
        mac = base64.urlsafe_b64encode(digest).rstrip(b"=").decode()
        return f'Signature feeder="{self.feeder}", nonce="{self.nonce}", mac="{mac}"'

    def takes_nonce(self, text):
        """From WWW-Authenticate or Authentication-Info. True where it was a new one, so that it is worth trying again."""
        found = re.search(r'\b(?:next)?nonce="([^"\s]+)"', text or "")
        if self.feeder is None or found is None or len(found[1]) > NONCE_MAX or found[1] == self.nonce:
            return False
        self.nonce = found[1]
        return True
