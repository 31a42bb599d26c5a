"""Parts of a feeder on a small board, one file each, and example.py, which puts them together. README.md in the folder above lists them.

Each part has `poll()` (events for agent.py, as hardware.py documents them) and `close()`. None of it has run on a real board:
the tests use simulated pins, buses and lines.
"""
