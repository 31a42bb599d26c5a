"""What a failing card says, in plain words for the keeper."""

import errno
import os
import sqlite3


def is_damage(error):
    """Python before 3.11 tells no error codes, so it goes by SQLite's own words for SQLITE_CORRUPT and SQLITE_NOTADB."""
    return isinstance(error, sqlite3.DatabaseError) and any(
        words in str(error) for words in ("malformed", "not a database")
    )


def words_for(error, what):
    """A reason, by which an episode tells each thing once, and plain words for the keeper."""
    said = str(error)
    on = getattr(error, "errno", None)
    if what == "state":
        return "state", (
            "The card can't store what this feeder was told: a pause holds, but would be forgotten if the power goes."
        )
    if on in (errno.ENOSPC, errno.EDQUOT) or "full" in said:
        return "full", (
            "The card is full: events wait in memory, and some of them would be lost if the power goes. "
            "Make space on the card."
        )
    if on == errno.EROFS or "readonly" in said:
        return "readonly", (
            "The card can only be read: events wait in memory, and would be lost if the power goes. Replace the card soon."
        )
    if is_damage(error):
        return "damaged", "The spool on the card is damaged. It is set aside, and begun anew as soon as the card allows."
    return "unwritable", (
        f"The card can't be written ({said[:100]}): events wait in memory, and would be lost if the power goes."
    )


def size_of(path):
    """0 where there is nothing; a path that can't even be asked is taken for something."""
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
        return 1 << 30  # taken for enough
    return space.f_bavail * space.f_frsize
