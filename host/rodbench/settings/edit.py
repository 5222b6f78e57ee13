"""Changing values in a TOML text and leaving every other byte as it was written.

tomlkit appends a new key behind the comments that belong to the next table, so lines are put in
by place here; the result is parsed by tomlkit again before it is used.
"""

from __future__ import annotations

import re

from rodbench.settings.lines import Place, line_map

_VALUE = re.compile(r"""^(\s*[^=]+?\s*=\s*)("[^"]*"|'[^']*'|[^#"']*?)(\s*#.*)?$""")
OURS = "# rodbench:"  # begins every comment that the tool writes, and may replace


def set_key(text: str, table: Place, name: str, value: str, note: str = "") -> str:
    """`text` with `name = value` in `table`; `note` becomes a comment that the tool may replace.

    `value` is TOML. A comment of the person at the line stays.
    """
    lines = text.splitlines()
    found = line_map(text)
    if (*table, name) in found:
        index = found[(*table, name)] - 1
        lines[index] = _with_value(lines[index], value, note)
    else:
        line = f"{name} = {value}" + (f"  {OURS} {note}" if note else "")
        if table and table not in found:
            lines = _with_table(lines, table)
            found = line_map("\n".join(lines))
        lines.insert(_last_line(found, table), line)
    return "\n".join(lines) + "\n"


def remove_key(text: str, table: Place, name: str) -> str:
    """`text` without the line of this key."""
    lines = text.splitlines()
    index = line_map(text).get((*table, name))
    if index is not None:
        del lines[index - 1]
    return "\n".join(lines) + "\n"


def _with_value(line: str, value: str, note: str) -> str:
    parts = _VALUE.match(line)
    if parts is None:
        return line  # an inline table or the like: the caller sees that nothing changed
    comment = parts[3] or ""
    if not comment or comment.strip().startswith(OURS):
        comment = f"  {OURS} {note}" if note else ""
    return f"{parts[1]}{value}{comment}"


def _with_table(lines: list[str], table: Place) -> list[str]:
    """A new table behind its relatives, else at the end."""
    found = line_map("\n".join(lines))
    for depth in range(len(table) - 1, 0, -1):
        near = [path for path in found if path[:depth] == table[:depth]]
        if near:
            place = max(found[path] for path in near)
            break
    else:
        while lines and not lines[-1].strip():
            lines = lines[:-1]
        place = len(lines)
    header = f"[{'.'.join(_written(part) for part in table)}]"
    return [*lines[:place], "", header, *lines[place:]]


def _last_line(found: dict[Place, int], table: Place) -> int:
    """Number of the last line of a table's own header and keys."""
    own = [line for path, line in found.items() if path[:-1] == table and _is_key(found, path)]
    return max([*own, found.get(table, 0)])


def _is_key(found: dict[Place, int], path: Place) -> bool:
    return not any(other[:-1] == path for other in found)


def _written(part: str) -> str:
    return part if re.fullmatch(r"[\w-]+", part, re.ASCII) else f'"{part}"'
