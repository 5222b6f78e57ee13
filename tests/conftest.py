"""Children of the tests get a terminal's signals, whatever started the tests.

A run behind `nohup` or `&` has SIGINT and SIGHUP ignored, and every child would inherit that: a
closed terminal or Ctrl-C would then end nothing.
"""

import signal

signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP"):
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
