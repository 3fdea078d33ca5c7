"""One-time codes: HOTP (RFC 4226) and TOTP (RFC 6238)."""

from __future__ import annotations

import hmac
import math
from typing import Final, Literal

STEP_S: Final = 30
DIGITS: Final = 6
Algorithm = Literal["sha1", "sha256", "sha512"]


def hotp_code(secret: bytes, counter: int, *, digits: int = DIGITS, algorithm: Algorithm = "sha1") -> str:
    """The code of a counter, RFC 4226 section 5.3: dynamic truncation of the keyed hash.

    Parameters
    ----------
    secret
        The shared secret.
    counter
        Moving factor, 0 or more [1].
    digits
        Length of the code [1].
    algorithm
        Hash of the code; phones take SHA-1.
    """
    digest = hmac.digest(secret, counter.to_bytes(8, "big"), algorithm)
    offset = digest[-1] & 0x0F
    number = int.from_bytes(digest[offset : offset + 4], "big") & 0x7FFFFFFF
    return str(number % 10**digits).zfill(digits)


def totp_step(time_s: float) -> int:
    """The step that a moment lies in, RFC 6238 section 4.2.

    Parameters
    ----------
    time_s
        Seconds since 1970-01-01 UTC [s].
    """
    return math.floor(time_s / STEP_S)


def step_of_code(secret: bytes, code: str, *, time_s: float, after_step: int, drift: int = 1) -> int | None:
    """The step that a code belongs to, None where it is of none; all are compared, whichever fits.

    Parameters
    ----------
    secret
        The shared secret.
    code
        As somebody typed it.
    time_s
        The moment [s].
    after_step
        The newest step that was taken already: only later ones count (RFC 6238 section 5.2) [1].
    drift
        Steps that the phone's clock may be off, each way [1].
    """
    now, found = totp_step(time_s), None
    for step in range(now - drift, now + drift + 1):
        fits = hmac.compare_digest(hotp_code(secret, step).encode(), code.encode("utf-8", "replace"))
        if fits and step > after_step:
            found = step
    return found
