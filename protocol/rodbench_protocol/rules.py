"""Cross rules: one expression of the schema as a Python function and as C, checked for int32.

Allowed: integers, key names, + - * //, comparisons, and, or, not, abs(). Every intermediate value
must fit 32 bits for all values in range, and // needs a numerator of at least 0 and a divisor
above 0, so that Python's and C's integer division agree.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Mapping
from typing import TypeAlias

from rodbench_protocol.errors import SchemaError

Range: TypeAlias = tuple[int, int]
_INT32 = (-(2**31), 2**31 - 1)
_INT16 = (-(2**15), 2**15 - 1)
_BINARY: dict[type[ast.operator], str] = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.FloorDiv: "/",
}
_COMPARE: dict[type[ast.cmpop], str] = {
    ast.Eq: "==",
    ast.NotEq: "!=",
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
}


def _tree(expr: str) -> ast.expr:
    try:
        return ast.parse(expr, mode="eval").body
    except SyntaxError as error:
        raise SchemaError([f"rule {expr!r}: {error.msg}"]) from None


def to_python(expr: str, ranges: Mapping[str, Range]) -> Callable[[Mapping[str, int]], bool]:
    """The rule as a function of the values; SchemaError where it is not allowed."""
    check_ranges(expr, ranges)
    code = compile(ast.Expression(_tree(expr)), "<rule>", "eval")
    return lambda values: bool(eval(code, {"__builtins__": {}, "abs": abs}, dict(values)))


def to_c(expr: str, names: Mapping[str, str], ranges: Mapping[str, Range]) -> str:
    """The rule as a C expression; `names` maps key names to C expressions.

    A comparison is reckoned in int16_t where nothing in it can leave 16 bits, else in int32_t.
    """
    check_ranges(expr, ranges)
    return _c(_tree(expr), names, ranges)


def names_in(expr: str) -> set[str]:
    """Key names that a rule reads."""
    found = {n.id for n in ast.walk(_tree(expr)) if isinstance(n, ast.Name)}
    return found - {"abs"}


def check_ranges(expr: str, ranges: Mapping[str, Range]) -> Range:
    """The least and greatest value of a rule; SchemaError when it may leave 32 bits."""
    return _range(_tree(expr), expr, ranges)


def _refuse(expr: str, why: str) -> SchemaError:
    return SchemaError([f"rule {expr!r}: {why}"])


def _range(node: ast.expr, expr: str, ranges: Mapping[str, Range]) -> Range:
    found = _range_of(node, expr, ranges)
    if found[0] < _INT32[0] or found[1] > _INT32[1]:
        raise _refuse(expr, f"{ast.unparse(node)} may leave 32 bits")
    return found


def _range_of(node: ast.expr, expr: str, ranges: Mapping[str, Range]) -> Range:
    match node:
        case ast.Constant(value=int(value)):
            return (int(value), int(value))
        case ast.Name(id=name):
            if name not in ranges:
                raise _refuse(expr, f"no key {name}")
            return ranges[name]
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _BINARY:
            return _binary(op, _range(left, expr, ranges), _range(right, expr, ranges), expr)
        case ast.Call(func=ast.Name(id="abs"), args=[inner], keywords=[]):
            low, high = _range(inner, expr, ranges)
            return (0 if low <= 0 <= high else min(abs(low), abs(high)), max(abs(low), abs(high)))
        case ast.BoolOp(values=parts):
            return _truth(parts, expr, ranges)
        case ast.UnaryOp(op=ast.Not(), operand=inner):
            return _truth([inner], expr, ranges)
        case ast.Compare(left=left, ops=[op], comparators=[right]) if type(op) in _COMPARE:
            return _truth([left, right], expr, ranges)
    raise _refuse(expr, f"{ast.unparse(node)} is not allowed")


def _truth(parts: list[ast.expr], expr: str, ranges: Mapping[str, Range]) -> Range:
    for part in parts:
        _range(part, expr, ranges)
    return (0, 1)


def _binary(op: ast.operator, a: Range, b: Range, expr: str) -> Range:
    if isinstance(op, ast.Add):
        return (a[0] + b[0], a[1] + b[1])
    if isinstance(op, ast.Sub):
        return (a[0] - b[1], a[1] - b[0])
    if isinstance(op, ast.Mult):
        products = [x * y for x in a for y in b]
        return (min(products), max(products))
    if a[0] < 0 or b[0] <= 0:
        raise _refuse(expr, "// needs a numerator of at least 0 and a divisor above 0")
    return (a[0] // b[1], a[1] // b[0])


def _c(node: ast.expr, names: Mapping[str, str], ranges: Mapping[str, Range]) -> str:
    match node:
        case ast.BoolOp(op=op, values=parts):
            word = " && " if isinstance(op, ast.And) else " || "
            return "(" + word.join(_c(p, names, ranges) for p in parts) + ")"
        case ast.UnaryOp(operand=inner):
            return f"!{_c(inner, names, ranges)}"
        case ast.Compare(left=left, ops=[op], comparators=[right]):
            bits = 16 if _fits_16(left, ranges) and _fits_16(right, ranges) else 32
            a, b = (_c_number(side, names, bits) for side in (left, right))
            return f"({a} {_COMPARE[type(op)]} {b})"
    raise AssertionError(node)  # refused before


def _fits_16(node: ast.expr, ranges: Mapping[str, Range]) -> bool:
    """Whether the value and all on the way to it lie within 16 bits."""
    parts = [part for part in ast.walk(node) if isinstance(part, ast.expr)]
    found = [_range(part, "", ranges) for part in parts if not _is_abs(part)]
    return all(_INT16[0] <= low and high <= _INT16[1] for low, high in found)


def _is_abs(node: ast.expr) -> bool:
    return isinstance(node, ast.Name) and node.id == "abs"


def _c_number(node: ast.expr, names: Mapping[str, str], bits: int) -> str:
    match node:
        case ast.Constant(value=int(value)):
            return f"INT{bits}_C({value})"
        case ast.Name(id=name):
            return f"(int{bits}_t){names[name]}"
        case ast.BinOp(left=left, op=op, right=right):
            a, b = (_c_number(side, names, bits) for side in (left, right))
            return f"({a} {_BINARY[type(op)]} {b})"
        case ast.Call(args=[inner]):
            return f"rule_abs_{bits}({_c_number(inner, names, bits)})"
    raise AssertionError(node)  # refused before
