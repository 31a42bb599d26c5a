"""One chip on an I2C bus. On many boards GPIO 2 is SDA and GPIO 3 is SCL, with pull-ups to 3.3 V on the board.

The bus is opened at the first use and again after an error, so that a chip or bus that is absent costs its reading, and not the feeder.
"""

from .packages import package


class I2cChip:
    """bus: such as 1 for /dev/i2c-1. address: 7 bits. Each method raises OSError where the chip doesn't answer.

    A call may block for about a second if the bus hangs: call it from a Background only. One object belongs to one thread.
    """

    def __init__(self, bus, address):
        self._smbus2 = package("smbus2")
        self._number = bus
        self._address = address
        self._bus = None

    def read(self, register, length):
        """Octets from a register on."""
        return bytes(self._call(lambda bus: bus.read_i2c_block_data(self._address, register, length)))

    def write(self, first, rest):
        """A first octet (register or command), then the others."""
        self._call(lambda bus: bus.write_i2c_block_data(self._address, first, list(rest)))

    def receive(self, length):
        """Octets, without naming a register first."""
        message = self._smbus2.i2c_msg.read(self._address, length)
        self._call(lambda bus: bus.i2c_rdwr(message))
        return bytes(message)

    def close(self):
        bus, self._bus = self._bus, None
        if bus is not None:
            bus.close()

    def _call(self, use):
        try:
            if self._bus is None:
                self._bus = self._smbus2.SMBus(self._number)
            return use(self._bus)
        except FileNotFoundError as error:
            raise OSError(f"there is no I2C bus {self._number}: switch I2C on in the board's settings") from error
        except OSError as error:
            self.close()
            raise OSError(f"no answer at address 0x{self._address:02x} of I2C bus {self._number} ({error})") from error
