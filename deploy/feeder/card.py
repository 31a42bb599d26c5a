"""What is wrong with a failing card, in plain text for the keeper."""

import errno
import os
import sqlite3


def is_damage(error):
    """Python before 3.11 gives no error codes, so it compares SQLite's texts of SQLITE_CORRUPT and SQLITE_NOTADB."""
    return isinstance(error, sqlite3.DatabaseError) and any(
        text in str(error) for text in ("malformed", "not a database")
    )


def trouble_text(error, what):
    """A reason, so that an episode reports each problem once, and plain text for the keeper."""
    message = str(error)
    on = getattr(error, "errno", None)
    if what == "state":
        return "state", (
            "The card can't store this feeder's orders: a pause stays in force, but would be forgotten in a power cut."
        )
    if on in (errno.ENOSPC, errno.EDQUOT) or "full" in message:
        return "full", (
            "The card is full: events wait in memory, and some of them would be lost in a power cut. "
            "Make space on the card."
        )
    if on == errno.EROFS or "readonly" in message:
        return "readonly", (
            "The card can only be read: events wait in memory, and would be lost in a power cut. Replace the card soon."
        )
    if is_damage(error):
        return "damaged", "The spool on the card is damaged. It is renamed, and a new one is started as soon as the card allows."
    return "unwritable", (
        f"The card can't be written ({message[:100]}): events wait in memory, and would be lost in a power cut."
    )


def size_of(path):
    """0 where there is no file; 1 where the path can't be read."""
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0
    except OSError:
        return 1


def free_bytes(folder):
    try:
        space = os.statvfs(folder)
    except (AttributeError, OSError):  # not on every system
        return 1 << 30  # assumed to be enough
    return space.f_bavail * space.f_frsize
