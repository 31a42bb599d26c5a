"""The Debian packages that parts need. They are imported when a part is built: the agent itself has to start without them."""

import importlib

DEBIAN_PACKAGES = {"gpiozero": "python3-gpiozero", "smbus2": "python3-smbus2", "serial": "python3-serial"}


def package(name):
    """The module. Raises ImportError that names the Debian package where it is not installed."""
    try:
        return importlib.import_module(name)
    except ImportError as error:
        debian = DEBIAN_PACKAGES[name]
        text = f"the Python module {name} is missing: run `sudo apt install {debian}`, and start the feeder with /usr/bin/python3"
        raise ImportError(text) from error
