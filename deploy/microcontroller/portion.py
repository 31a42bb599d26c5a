"""One portion while it is being given: what is measured meanwhile, and the event that comes of it."""

PIECES_SETTLE = 600  # ms after the motor until the last piece has passed the chute sensor
INRUSH = 300  # ms in which a starting motor draws as much as a stalled one


class Portion:
    def __init__(self, seq, begun, now):
        self.seq, self.begun = seq, begun
        self.started, self.stopped = now, None
        self.pieces = self.readings = self.sum = 0
        self.peak = None

    def measure(self, current):
        """`current`: milliamperes, or None where it is not measured."""
        if current is not None:
            self.readings += 1
            self.sum += current
            self.peak = current if self.peak is None else max(self.peak, current)

    def is_stalled(self, current, limit, now):
        return None not in (current, limit) and now - self.started > INRUSH and current > limit

    def has_settled(self, now):
        return self.stopped is not None and now - self.stopped >= PIECES_SETTLE

    def event(self, now, has_chute_sensor):
        """Cut short unless the motor had stopped by itself."""
        event = dict(self.begun)
        event["motorMs"] = (now if self.stopped is None else self.stopped) - self.started
        if self.readings:
            event.update(meanMilliamps=self.sum // self.readings, peakMilliamps=self.peak)
        if has_chute_sensor and (self.has_settled(now) or self.pieces):
            event["chuteCount"] = self.pieces  # where the chute was not watched to the end, "nothing" would be a guess
        if self.stopped is not None:
            del event["cutShort"]
        return event
