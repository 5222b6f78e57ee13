"""The twin: the firmware core again in Python, integer for integer, tick for tick.

Each module is the sibling of the C file of its name in firmware_reference/src/core and has the same
functions, so that both can be read side by side; tests/twin proves them equal. bytes.c is `struct`
here, digest.c is `zlib.crc32`, and frame.c is `rodbench_protocol.framing`.
"""
