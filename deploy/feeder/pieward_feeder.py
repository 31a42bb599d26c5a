"""The feeder's program inside a program of your own:

    from pieward_feeder import Feeder

    feeder = Feeder("https://pieward.example", key, "/var/lib/my-feeder", motor.on, motor.off, counted=("button",))
    while True:
        if button.pressed():
            feeder.press()
        feeder.step()           # some fifty times a second: it returns at once
        time.sleep(0.02)

It keeps, reports, pauses and pays as README.md says. Call `close` at the end: it switches the motor off.
"""

import os
from pathlib import Path

import agent
from hardware import Hardware
from stills import Stills
from storage import Store


class Feeder:
    """`motor_on`, `motor_off`: called without arguments; `motor_off` must be safe at any time. `read`: the readings, by the report's names.

    `sign`: the feeder's id, for a server without https, or a broker: the key is then never sent (see identity.py). `counted`: which of
    "button", "detector", "chute", "perch" there are. `settings`: what else hardware.Hardware has, such as portion_seconds=1.2 or
    stall_milliamps=600, and motor_milliamps=... or supply_volts=... as functions. `url`: the server, or your own broker such as
    mqtts://broker.example:8883, with broker_password=..., and broker_ca=... as a file.
    Raises BlockingIOError where another program already runs this feeder from `data`: two would pay each cap twice.
    """

    def __init__(self, url, key, data, motor_on, motor_off, read=dict, counted=(), sign=None, broker_password="", broker_ca=None, **settings):
        agent.make_folder(Path(data))
        self._lock = agent.owned(Path(data))
        if self._lock is None:
            raise BlockingIOError(f"another program already runs this feeder from {data}")
        self._sensed = []
        self._hardware = Given(self, motor_on, motor_off, read, counted, settings)
        try:
            client, link = agent.connections(url, agent.Identity(key, sign), broker_password, broker_ca)
        except BaseException:
            self._unlock()
            raise
        self._connections = [client, link]
        store = Store(Path(data), agent.monotonic)
        over_http = url.startswith(("http://", "https://"))
        self._stills = Stills(url, agent.Identity(key, sign), Path(data) / "stills") if over_http else None
        if self._stills is not None:
            self._connections.append(self._stills)
        self._feeder = agent.Feeder(store, self._hardware, client, agent.monotonic, link=link)

    # --- what your sensors detect ---

    def perch(self):
        self._sensed.append(("perch",))

    def press(self):
        self._sensed.append(("press",))

    def cap(self, strength=None, metal=None, beam=None):
        """`strength`: 0 to 1. `metal`: False where it was none, which earns nothing. `beam`: whether something fell past it."""
        self._sensed.append(("cap", strength, metal, beam))

    def piece(self):
        self._sensed.append(("piece",))

    def lid(self, is_open):
        self._sensed.append(("lid", is_open))

    def filled(self, grams=None):
        self._sensed.append(("filled", grams))

    def trouble(self, text):
        self._sensed.append(("trouble", text))

    def still(self, picture, event=None):
        """A picture of an event, as octets or as the path of a file: JPEG, PNG or WebP of at most 512 KiB. It returns at once.

        `event`: (boot, seq); left out, the newest deposit (`last_deposit`, after `step` has recorded it). Raises ValueError where there
        is none, or where the feeder reports over a broker: stills go over HTTP alone.
        """
        if self._stills is None:
            raise ValueError("expected a server's address: stills don't go over a broker")
        event = event or self._feeder.last_deposit
        if event is None:
            raise ValueError("expected an event: there was no deposit since the start")
        self._stills.add(picture, *event)

    @property
    def last_deposit(self):
        """(boot, seq) of the newest deposit since the start, or None."""
        return self._feeder.last_deposit

    # --- the loop ---

    def step(self):
        self._feeder.step()

    @property
    def paused(self):
        return self._feeder.paused

    def may_run(self):
        """Whether the motor may turn now, and in words why not: (True, None) or (False, "the feeder is paused")."""
        why_not = self._feeder.why_not_run()
        return why_not is None, why_not

    def status(self):
        """(what, value) rows in words."""
        return self._feeder.status()

    def close(self):
        try:
            self._feeder.stop()
        finally:
            self._hardware.motor_off()
            for one in self._connections:
                if hasattr(one, "close"):
                    one.close()  # or it would go on beside the next one
            self._unlock()

    def _unlock(self):
        if isinstance(self._lock, int):
            os.close(self._lock)


class Given(Hardware):
    def __init__(self, feeder, motor_on, motor_off, read, counted, settings):
        unknown = [name for name in settings if name.startswith("_") or not hasattr(Hardware, name)]
        if unknown:
            raise TypeError(f"hardware.Hardware has no {', '.join(unknown)}")
        self._feeder = feeder
        self.motor_on = motor_on
        self.motor_off = motor_off
        self.read = read
        self.counted = tuple(counted)
        for name, value in settings.items():
            setattr(self, name, value)

    def poll(self):
        sensed, self._feeder._sensed = self._feeder._sensed, []
        return sensed
