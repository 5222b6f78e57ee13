"""Make src/avr/pins.h, the pin table of README.md and wiring.svg from pins.toml.

`python3 pins.py` writes them; `python3 pins.py --check` fails when one of them is stale.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

HERE = Path(__file__).resolve().parent
BEGIN, END = "<!-- pins: begin, made by pins.py -->", "<!-- pins: end -->"

Pin = dict[str, object]


def load() -> list[Pin]:
    """Pins in the order of the file; refuses a pin, place or name that is given twice."""
    pins: list[Pin] = tomllib.loads((HERE / "pins.toml").read_text())["pin"]
    for what in (lambda p: p["pin"], lambda p: p["c"], lambda p: (p.get("port"), p.get("bit"))):
        seen = [what(pin) for pin in pins if what(pin) != (None, None)]
        if len(seen) != len(set(seen)):
            raise SystemExit(f"pins.toml: given twice: {sorted(map(str, seen))}")
    return pins


def header(pins: list[Pin]) -> str:
    """C names: NAME_PORT, NAME_DDR, NAME_PIN, NAME_BIT for a port pin, NAME_CHANNEL for the ADC."""
    out = [
        "/* Made by pins.py from pins.toml: change it there. */",
        "#ifndef PINS_H",
        "#define PINS_H",
    ]
    for pin in pins:
        out.append(f"\n/* {pin['pin']}: {pin['role']} */")
        name, port = pin["c"], pin.get("port")
        if "adc" in pin:
            out.append(f"#define {name}_CHANNEL {pin['adc']}u")
        elif port:
            out += [f"#define {name}_{r} {r}{port}" for r in ("PORT", "DDR", "PIN")]
            out.append(f"#define {name}_BIT {pin['bit']}u")
    return "\n".join([*out, "\n#endif", ""])


def table(pins: list[Pin]) -> str:
    """The pin table in Markdown."""
    rows = [
        "| Pin | Chip | What it is | Wire it to | In reset and bootloader |",
        "|---|---|---|---|---|",
    ]
    for pin in pins:
        chip = f"P{pin['port']}{pin['bit']}" if "port" in pin else "analog only"
        rows.append(
            f"| {pin['pin']} | {chip} | {pin['role']} | {pin['wire']} | {pin['at_reset']} |"
        )
    return "\n".join(rows)


def readme(pins: list[Pin]) -> str:
    """README.md with its pin table made new."""
    text = (HERE / "README.md").read_text()
    head, rest = text.split(BEGIN)
    return f"{head}{BEGIN}\n{table(pins)}\n{END}{rest.split(END)[1]}"


# ---------------------------------------------------------------- the picture

INK, WIRE, SOFT = "#1b2a33", "#2f6f8f", "#8a979e"


class Picture:
    """A tiny SVG writer: boxes, wires, parts and words, in user units."""

    def __init__(self, width: int, height: int) -> None:
        self.parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
            f'font-family="sans-serif" font-size="13" fill="{INK}">',
            f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        ]

    def text(self, x: float, y: float, words: str, anchor: str = "start", **style: str) -> None:
        """Words with their base line at y."""
        extra = "".join(f' {k.replace("_", "-")}="{v}"' for k, v in style.items())
        self.parts.append(f'<text x="{x}" y="{y}" text-anchor="{anchor}"{extra}>{words}</text>')

    def box(self, x: float, y: float, w: float, h: float, words: str = "") -> None:
        """A block with its name on top."""
        self.parts.append(
            f'<rect x="{x}" y="{y}" width="{w}" height="{h}" rx="6" fill="#f4f7f8" '
            f'stroke="{INK}" stroke-width="1.5"/>'
        )
        if words:
            self.text(x + w / 2, y + 18, words, "middle", font_weight="bold")

    def wire(self, *points: tuple[float, float], colour: str = WIRE, width: float = 1.6) -> None:
        """A wire through the points."""
        path = " ".join(f"{x},{y}" for x, y in points)
        self.parts.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{width}"/>'
        )

    def part(self, x: float, y: float, words: str) -> None:
        """A two-legged part, standing, from (x, y) down to ground 46 below."""
        self.wire((x, y), (x, y + 8))
        self.parts.append(
            f'<rect x="{x - 5}" y="{y + 8}" width="10" height="20" fill="#ffffff" stroke="{INK}"/>'
        )
        self.wire((x, y + 28), (x, y + 38))
        for step, half in enumerate((9, 6, 3)):
            self.wire((x - half, y + 38 + 3 * step), (x + half, y + 38 + 3 * step), colour=INK)
        self.text(x + 9, y + 23, words, font_size="11", fill=INK)

    def inline(self, x: float, y: float, words: str) -> None:
        """A two-legged part, lying, 36 long, centred on x."""
        self.parts.append(
            f'<rect x="{x - 18}" y="{y - 5}" width="36" height="10" fill="#ffffff" stroke="{INK}"/>'
        )
        self.text(x, y - 9, words, "middle", font_size="11")

    def done(self) -> str:
        """The file's text."""
        return "\n".join([*self.parts, "</svg>", ""])


def draw_axis(pic: Picture, pins: dict[str, str], axis: int, top: float) -> None:
    """One axis: board pins on the left, H-bridge, motor, current sensor and pot on the right."""
    left, bridge = 250.0, 560.0
    pic.box(bridge, top - 6, 150, 150, f"H-bridge {axis}")
    lines = [(f"AXIS{axis}_PWM", "enable"), (f"AXIS{axis}_A", "dir A"), (f"AXIS{axis}_B", "dir B")]
    for n, (name, words) in enumerate(lines):
        y = top + 30 + 44 * n
        pic.text(left - 10, y + 4, f"{pins[name]}", "end", font_weight="bold")
        pic.wire((left, y), (bridge, y))
        pic.part(left + 70 + 75 * n, y, "10 k")
        pic.text(bridge + 8, y + 4, words)
    pic.box(820, top + 4, 120, 62, f"rod {axis}")
    pic.text(880, top + 44, "motor", "middle", font_size="11")
    for y in (top + 30, top + 50):
        pic.wire((bridge + 150, y), (820, y), colour=INK, width=2.6)
    draw_analog(pic, pins, axis, top + 182, "current sensor", f"CURRENT{axis}", "1 k", "100 n")
    draw_analog(pic, pins, axis, top + 256, "wiper of the pot", f"POT{axis}", "1 k", "10 n")
    pic.part(760, top + 256, "470 k bleed")


def draw_analog(
    pic: Picture, pins: dict[str, str], axis: int, y: float, words: str, name: str, r: str, c: str
) -> None:
    """An analog input: source on the right, series resistor, capacitor at the pin."""
    pic.text(240, y + 4, pins[name], "end", font_weight="bold")
    pic.wire((250, y), (820, y))
    pic.part(330, y, c)
    pic.inline(600, y, r)
    pic.text(830, y + 4, f"{words} {axis}")


def draw_supply(pic: Picture, pins: dict[str, str], y: float) -> None:
    """The motor supply with fuse and stop place, the divider, and the pot's feed."""
    pic.wire((250, y), (470, y))
    pic.text(240, y + 4, pins["SUPPLY"], "end", font_weight="bold")
    pic.part(330, y, "100 n")
    pic.part(400, y, "10 k")
    pic.inline(488, y, "47 k")
    pic.wire((506, y), (700, y), (700, y + 70))  # behind the fuse
    pic.wire((560, y + 70), (950, y + 70), colour=INK, width=2.6)
    pic.text(550, y + 74, "+ motor supply", "end")
    for x, words in ((630, "fuse"), (850, "stop: cuts motor power")):
        pic.inline(x, y + 70, words)
    pic.text(960, y + 74, "to both H-bridges")
    pic.text(240, y + 120, "5V, GND", "end", font_weight="bold")
    pic.wire((250, y + 116), (560, y + 116))
    pic.inline(420, y + 116, "220 in the 5 V wire of each pot")
    pic.text(570, y + 120, "both pots: the board's own 5 V and ground, nothing else on that pair")
    notes = (
        "Grounds of board, H-bridges, sensors and motor supply meet in one point at the supply.",
        "Values are calculated, not measured. The stop is a switch in the motor supply, not D8.",
    )
    for line, words in enumerate(notes):
        pic.text(60, y + 160 + 20 * line, words, font_size="12")


def picture(pins: list[Pin]) -> str:
    """The wiring picture of both axes."""
    names = {str(pin["c"]): str(pin["pin"]) for pin in pins}
    pic = Picture(1120, 980)
    pic.box(60, 40, 190, 830, "board")
    pic.text(155, 78, "ATmega328P, 16 MHz, 5 V", "middle", font_size="11", fill=SOFT)
    draw_axis(pic, names, 1, 70)
    draw_axis(pic, names, 2, 390)
    draw_supply(pic, names, 710 + 20)
    return pic.done()


def outputs() -> dict[Path, str]:
    """Every made file with the text it should have."""
    pins = load()
    return {
        HERE / "src" / "avr" / "pins.h": header(pins),
        HERE / "README.md": readme(pins),
        HERE / "wiring.svg": picture(pins),
    }


def main(arguments: list[str]) -> int:
    """Write the made files, or with --check name the stale ones and return 1."""
    stale = [p for p, text in outputs().items() if not p.exists() or p.read_text() != text]
    if "--check" in arguments:
        for path in stale:
            print(f"stale: {path.relative_to(HERE)}: run python3 pins.py", file=sys.stderr)
        return 1 if stale else 0
    for path in stale:
        path.write_text(outputs()[path])
        print(f"wrote {path.relative_to(HERE)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
