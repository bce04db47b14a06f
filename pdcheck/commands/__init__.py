"""The commands, one module each. Each calls the rooms and shows what they return; no logic of its own.

Why it is: a command starts fast because only its own module is imported, and everything that it does can be done
from Python. A new command is a module here and a line in :data:`pdcheck.cli.COMMANDS`.
"""
