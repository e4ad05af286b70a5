"""The household's password: argon2 digest, and attempts that slow down."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field

from dryside.film.refusal import Refusal

SHORTEST = 10
FREE_ATTEMPTS = 4
LONGEST_WAIT_S = 300.0
FORGOTTEN_AFTER_S = 24 * 3600.0


def digest(password: str) -> str:
    """argon2id digest to keep in the book; a password under `SHORTEST` characters is refused."""
    from argon2 import PasswordHasher

    if len(password) < SHORTEST:
        raise Refusal("password", f"{len(password)} characters, {SHORTEST} are needed", "Take a few words together.")
    return PasswordHasher().hash(password)


def fits(kept: str, password: str) -> bool:
    """Whether `password` is the one behind the digest `kept`."""
    from argon2 import PasswordHasher
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        return PasswordHasher().verify(kept, password)
    except (VerificationError, InvalidHashError):
        return False


@dataclass
class Attempts:
    """Failed attempts by address: after `FREE_ATTEMPTS` each further one doubles the wait, up to `LONGEST_WAIT_S`."""

    failed: dict[str, tuple[int, float]] = field(default_factory=dict)
    one_at_a_time: threading.Lock = field(default_factory=threading.Lock)
    """Held while an attempt is looked at: many sent at once are counted one by one, and argon2 runs once at a time."""

    def wait_s(self, address: str) -> float:
        """Seconds until the next attempt from this address is looked at."""
        count, last = self.failed.get(address, (0, 0.0))
        if count < FREE_ATTEMPTS:
            return 0.0
        pause = min(LONGEST_WAIT_S, 2.0 ** (count - FREE_ATTEMPTS + 1))
        return max(0.0, last + pause - time.monotonic())

    def note_failure(self, address: str) -> None:
        """Count one more."""
        now = time.monotonic()
        self.failed = {one: kept for one, kept in self.failed.items() if now - kept[1] < FORGOTTEN_AFTER_S}
        count, _ = self.failed.get(address, (0, 0.0))
        self.failed[address] = (count + 1, now)

    def note_success(self, address: str) -> None:
        """Forget this address's failures."""
        self.failed.pop(address, None)
