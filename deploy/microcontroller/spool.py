"""The events that wait for the server, and the small memory that survives a power cut: RAM first, then a ring of files in flash.

Flash wears out by writing. So an event waits in RAM, and most are confirmed by the server before they would be written. What must
survive a power cut (a promise, the start of a portion, a pause) is written at once, together with all that waits, in one write.

The first write of a file ("segment") has the id of its start and the whole memory, so that older files can go one by one. Each line
has a checksum, and the last one of a write a mark: what a power cut left unfinished was never relied upon and counts for nothing, so an
order is never answered without being in force. A whole line that is damaged leaves the memory in doubt.
"""

import binascii
import hashlib
import json
import os

SEGMENT = 8_192  # bytes; then the next file
FLASH_MAX = 393_216  # bytes of all files together
RAM_MAX = 200  # events, where flash can't be written
BATCH, BATCH_AGE = 24, 600_000  # so many events, or so many ms, that wait in RAM are written in one go
RETRY = 60_000  # ms between attempts where flash can't be written


class Flash:
    """A folder on littlefs: a file that was closed is still there after a power cut, and a rename is done wholly or not at all."""

    def __init__(self, folder):
        self.folder = folder
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it exists; if not, the first write says so

    def names(self):
        return sorted(os.listdir(self.folder))

    def read(self, name):
        with open(self.folder + "/" + name, "rb") as file:
            return file.read()

    def append(self, name, data):
        with open(self.folder + "/" + name, "ab") as file:
            if file.write(data) != len(data):
                raise OSError(28)

    def replace(self, name, data):
        with open(self.folder + "/" + name + ".new", "wb") as file:
            if file.write(data) != len(data):
                raise OSError(28)
        os.rename(self.folder + "/" + name + ".new", self.folder + "/" + name)

    def remove(self, name):
        os.remove(self.folder + "/" + name)


class Segment:
    """What RAM knows of one file."""

    def __init__(self, name, boot):
        self.name, self.boot = name, boot
        self.size = self.count = self.last = 0
        self.is_thinned = False


class Spool:
    """`boot`: the id of this start. `memory`: what the last start remembered, by name; empty at the very first one."""

    def __init__(self, flash, boot):
        self.flash, self.boot = flash, boot
        self.segments = []  # oldest first; the newest holds the memory and is never removed
        self.pending = []  # [seq, is_promise, text, uptime] that are in RAM alone
        self.through = {}  # by start: up to which seq the server has confirmed
        self.lost = 0  # events dropped or damaged, not reported yet
        self.memory, self.in_doubt = {}, False
        self._changed = set()  # the names in memory that flash does not have yet
        self._opened = False  # this start has a file of its own
        self._number = 0
        self.problem, self._retry_at = None, 0  # why flash can't be written, and when to try again
        self.writes = 0
        self._load()

    # --- writing ----------------------------------------------------------------------------------------------------

    def add(self, seq, text, is_promise, now):
        """Into RAM. A later text of the same seq takes the place of the earlier: a portion that was begun and then finished."""
        self.pending = [one for one in self.pending if one[0] != seq]
        self.pending.append([seq, is_promise, text, now])
        if len(self.pending) > RAM_MAX:
            place = next((at for at, one in enumerate(self.pending) if not one[1]), 0)
            self.pending.pop(place)
            self.lost += 1

    def forget(self, seq):
        """What was added, and then did not happen."""
        self.pending = [one for one in self.pending if one[0] != seq]

    def remember(self, name, value):
        self.memory[name] = value
        self._changed.add(name)

    def wants_flush(self, now):
        """Whether so much waits in RAM, or for so long, that it should be written now."""
        if self.problem is not None:
            return now >= self._retry_at
        return len(self.pending) >= BATCH or (len(self.pending) > 0 and now - self.pending[0][3] >= BATCH_AGE)

    def flush(self, now, may_begin=True):
        """Whether all that waits is in flash now. `may_begin`: a new file, which must not fall between start and end of a portion."""
        if self.lost != self.memory.get("lost", 0) or self.problem is not None:
            self._changed.add("lost")
        if not self.pending and not self._changed:
            return True
        begins = not self._opened or (may_begin and self.segments[-1].size >= SEGMENT)
        lines = [("e", "%d %d %s" % (seq, 1 if promise else 0, text)) for seq, promise, text, _ in self.pending]
        if begins:
            lines.insert(0, ("b", self.boot))
        if begins or self._changed:
            self.memory.update(through=dict(self.through), lost=self.lost)
            names = self.memory if begins else self._changed | {"through"}
            lines.append(("m", json.dumps({one: self.memory[one] for one in names})))
        name = "s%08d" % (self._number + 1) if begins else self.segments[-1].name
        data = written(lines)
        try:
            self.flash.append(name, data)
        except OSError as error:
            # What came of it is unknown: the next attempt begins a new file, and a repeated line says the same again.
            self.problem, self._retry_at = repr(error), now + RETRY
            self._opened = False
            self._number += 1 if begins else 0
            return False
        self.problem = None
        self.writes += 1
        if begins:
            self._number += 1
            self.segments.append(Segment(name, self.boot))
            self._opened = True
        newest = self.segments[-1]
        newest.size += len(data)
        newest.count += len(self.pending)
        newest.last = max([newest.last] + [one[0] for one in self.pending])
        self.pending, self._changed = [], set()
        self._remove_empty()
        self._make_room()
        return True

    def _make_room(self):
        """In the oldest files what is no promise goes first, file by file. Only then the oldest file goes with its promises."""
        while sum(one.size for one in self.segments) > FLASH_MAX and len(self.segments) > 1:
            segment = next((one for one in self.segments[:-1] if not one.is_thinned), None)
            try:
                if segment is not None:
                    self._thin(segment)
                else:
                    self.lost += len(self._waiting_in(self.segments[0]))
                    self._remove(self.segments[0])
            except OSError as error:
                self.problem = repr(error)
                return

    def _thin(self, segment):
        events = self._waiting_in(segment)
        promises = [one for one in events if one[1]]
        segment.is_thinned = True
        self.lost += len(events) - len(promises)
        if not promises:
            self._remove(segment)
            return
        data = written([("b", segment.boot)] + [("e", "%d 1 %s" % (seq, text)) for seq, _, text in promises])
        if len(data) < segment.size:
            self.flash.replace(segment.name, data)
            segment.size, segment.count = len(data), len(promises)

    def _remove(self, segment):
        self.flash.remove(segment.name)
        self.segments.remove(segment)

    def _remove_empty(self):
        try:
            for segment in [one for one in self.segments[:-1] if one.count == 0]:
                self._remove(segment)
        except OSError as error:
            self.problem = repr(error)

    # --- for the report ---------------------------------------------------------------------------------------------

    def oldest(self, most, before=None):
        """(boot, [(seq, text)]) of one start by seq, or None. `before`: a portion of this start that is still being given."""
        newer = {seq: text for seq, _, text, _ in self.pending}  # of a portion whose end flash could not take
        for segment in self.segments:
            own = newer if segment.boot == self.boot else {}
            waiting = self._waiting_in(segment)
            events = [(seq, own.get(seq, text)) for seq, _, text in waiting if self._may_go(segment.boot, seq, before)]
            if events:
                return segment.boot, events[:most]
        events = [(seq, text) for seq, _, text, _ in sorted(self.pending) if self._may_go(self.boot, seq, before)]
        return (self.boot, events[:most]) if events else None

    def _may_go(self, boot, seq, before):
        return before is None or boot != self.boot or seq < before

    def confirm(self, boot, through):
        """The server has stored this start's events up to `through`."""
        self.through[boot] = max(through, self.through.get(boot, 0))
        if boot == self.boot:
            self.pending = [one for one in self.pending if one[0] > through]
        for segment in list(self.segments):
            if segment.boot == boot and segment.count:
                segment.count = len(self._waiting_in(segment)) if segment.last > through else 0
        self._remove_empty()
        known = [self.boot] + [segment.boot for segment in self.segments]
        self.through = {one: seq for one, seq in self.through.items() if one in known}

    def drop(self, boot, seq):
        """The server can't take this one: it counts as done, and the caller says so."""
        self.confirm(boot, seq)

    def waiting(self):
        return len(self.pending) + sum(segment.count for segment in self.segments)

    def first_boot(self):
        return next((one.boot for one in self.segments if one.count), self.boot if self.pending else None)

    # --- reading ----------------------------------------------------------------------------------------------------

    def _waiting_in(self, segment):
        """(seq, is_promise, text) of a file by seq, without what is confirmed."""
        if segment.last <= self.through.get(segment.boot, 0):
            return []
        try:
            lines = sound_lines(self.flash.read(segment.name))[0]
        except OSError as error:
            self.problem = repr(error)
            self.lost += segment.count
            segment.count = 0
            return []
        events = {}
        for kind, text in lines:
            if kind == "e":
                seq, promise, body = text.split(" ", 2)
                events[int(seq)] = (int(seq), promise == "1", body)
        through = self.through.get(segment.boot, 0)
        return [events[seq] for seq in sorted(events) if seq > through]

    def _load(self):
        names = [name for name in self.flash.names() if len(name) == 9 and name[0] == "s"]
        for name in names:
            self._number = int(name[1:])
            try:
                lines, damaged = sound_lines(self.flash.read(name))
            except OSError:
                lines, damaged = [], 1
            self.lost += damaged
            # Whatever was damaged in the newest file may have been a pause.
            self.in_doubt = damaged > 0
            self._load_segment(name, lines)
        self.in_doubt = self.in_doubt or (len(names) > 0 and not self.memory)
        self.through = self.memory.get("through", {})
        self.lost += self.memory.get("lost", 0)
        for segment in self.segments:
            segment.count = len(self._waiting_in(segment))

    def _load_segment(self, name, lines):
        segment = Segment(name, None)
        seqs = []
        for kind, text in lines:
            if kind == "b":
                segment.boot = text
            elif kind == "m":
                self.memory.update(json.loads(text))
            elif kind == "e":
                seqs.append(int(text.split(" ", 1)[0]))
            segment.size += len(text) + 12
        segment.last = max([0] + seqs)
        if segment.boot is not None:
            self.segments.append(segment)
        else:
            self.lost += len(seqs)  # nobody can say of which start they are


def written(lines):
    """One write of (kind, text) lines. The kind of the last is a capital: all of it is there."""
    data = []
    for place, (kind, text) in enumerate(lines):
        body = ((kind.upper() if place == len(lines) - 1 else kind) + " " + text).encode()
        data.append(checksum(body) + b" " + body + b"\n")
    return b"".join(data)


def checksum(body):
    """Four bytes of SHA-256, which each board has; a CRC not every one."""
    return binascii.hexlify(hashlib.sha256(body).digest()[:4])


def sound_lines(raw):
    """([(kind, text)] of finished writes, how many whole lines were damaged or are lost by it)."""
    found, damaged, finished = [], 0, 0
    for one in raw.split(b"\n")[:-1]:
        if one[8:9] == b" " and one[:8] == checksum(one[9:]):
            kind = chr(one[9])
            found.append((kind.lower(), one[11:].decode()))
            finished = len(found) if kind < "a" else finished
        else:
            damaged += 1
    if damaged:
        damaged += len(found) - finished  # the mark itself may be what was damaged
    return found[:finished], damaged


def read_sealed(flash, name):
    """The JSON value of a file of its own, or None where there is none or it is damaged."""
    try:
        lines, damaged = sound_lines(flash.read(name))
    except OSError:
        return None
    return json.loads(lines[0][1]) if len(lines) == 1 and not damaged else None


def write_sealed(flash, name, value):
    """Raises OSError, and what was there before still is."""
    flash.replace(name, written([("v", json.dumps(value))]))
