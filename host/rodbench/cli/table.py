"""The commands, where they live and what they are in one line, so that --help imports nothing."""

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("demo", "The main job on an emulated rod: learn it, limit it, move it."),
    "new": ("new", "Make a machine folder: machine file and logbook."),
    "wire": ("wire", "What goes where; names the wires of an unknown rod."),
    "ports": ("ports", "List ports, and say why one cannot be used."),
    "info": ("info", "Who is on the port: versions, digests, counters."),
    "load": ("load", "Put the firmware on a board; its settings survive."),
    "emulate": ("emulate", "Serve an emulated board on a pty or a TCP port."),
    "commission": ("commission", "The whole sequence for one axis, from sensors to trial."),
    "calibrate": ("calibrate", "One step of learning: current, polarity, endpoints, speed."),
    "measure": ("measure", "Look closer: pot. Results go to the logbook."),
    "propose": ("propose", "Propose limits with reasons; sends nothing."),
    "settings": ("settings", "Compare, send and fetch settings: check, diff, push, pull."),
    "jog": ("jog", "Hold-to-run, by keys or for a set time."),
    "move": ("move", "Go to a position and rest there."),
    "stop": ("stop", "Stop one axis or all, whatever runs."),
    "clear": ("clear", "Clear latched faults."),
    "trips": ("trips", "Why it stopped: the last trips, totals, the black box."),
    "log": ("log", "What was done with this machine: the logbook."),
    "note": ("note", "Write a note into the logbook, with photos."),
    "watch": ("watch", "Live view: position, current, duty, state."),
}
