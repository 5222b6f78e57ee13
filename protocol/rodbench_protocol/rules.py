"""Cross rules: one expression of the schema as a Python function and as the firmware's code.

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
_SMALL_MAX = 63
_WORD_MAX = 2**16 - 1
_BINARY: dict[type[ast.operator], str] = {
    ast.Add: "RULE_ADD",
    ast.Sub: "RULE_SUBTRACT",
    ast.Mult: "RULE_MULTIPLY",
    ast.FloorDiv: "RULE_DIVIDE",
}
_C_BINARY: dict[type[ast.operator], str] = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.FloorDiv: "/",
}
_COMPARE: dict[type[ast.cmpop], tuple[str, bool]] = {  # and whether its sides change places
    ast.Eq: ("RULE_EQUAL", False),
    ast.NotEq: ("RULE_NOT_EQUAL", False),
    ast.Lt: ("RULE_LESS", False),
    ast.LtE: ("RULE_NOT_LESS", True),
    ast.Gt: ("RULE_LESS", True),
    ast.GtE: ("RULE_NOT_LESS", False),
}
_TAKE_TWO = {*_BINARY.values(), *(word for word, _ in _COMPARE.values()), "RULE_AND", "RULE_OR"}


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


def to_code(expr: str, places: Mapping[str, str], ranges: Mapping[str, Range]) -> list[str]:
    """The rule for the firmware, as core/rule.h has it: C constants, operands before operators.

    `places` gives what fetches each key; names that are not in it are constants of the C text.
    """
    check_ranges(expr, ranges)
    return _truth_code(_tree(expr), places, ranges)


def depth(code: list[str]) -> int:
    """How many values lie on the stack at most while a rule is reckoned."""
    most = now = 0
    for step in code:
        now += -1 if step in _TAKE_TWO else step != "RULE_ABS"
        most = max(most, now)
    return most


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


def _truth_code(
    node: ast.expr, places: Mapping[str, str], ranges: Mapping[str, Range]
) -> list[str]:
    """What is not 0 where `node` is true."""
    match node:
        case ast.BoolOp(op=op, values=[first, *others]):
            code = _truth_code(first, places, ranges)
            word = "RULE_AND" if isinstance(op, ast.And) else "RULE_OR"
            for part in others:
                code += [*_truth_code(part, places, ranges), word]
            return code
        case ast.UnaryOp(operand=inner):
            return [*_truth_code(inner, places, ranges), "RULE_SMALL(0)", "RULE_EQUAL"]
        case ast.Compare(left=left, ops=[op], comparators=[right]):
            if _is_itself(left, op, right, ranges):
                return _number_code(left, places, ranges)
            a, b = (_number_code(side, places, ranges) for side in (left, right))
            word, swapped = _COMPARE[type(op)]
            return [*b, *a, word] if swapped else [*a, *b, word]
    raise AssertionError(node)  # refused before


def _is_zero(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value == 0


def _is_itself(left: ast.expr, op: ast.cmpop, right: ast.expr, ranges: Mapping[str, Range]) -> bool:
    """Whether the left side is not 0 just where the comparison is true."""
    low, high = _range(left, "", ranges)
    if _is_zero(right):
        return isinstance(op, ast.NotEq) or (isinstance(op, ast.Gt) and low >= 0)
    return isinstance(op, ast.Eq) and _range(right, "", ranges) == (1, 1) and 0 <= low <= high <= 1


def _number_code(
    node: ast.expr, places: Mapping[str, str], ranges: Mapping[str, Range]
) -> list[str]:
    if not names_in(ast.unparse(node)) & set(places):
        return [_constant_code(node, ranges)]
    match node:
        case ast.Name(id=name):
            return [places[name]]
        case ast.BinOp(left=left, op=op, right=right):
            a, b = (_number_code(side, places, ranges) for side in (left, right))
            return [*a, *b, _BINARY[type(op)]]
        case ast.Call(args=[inner]):
            return [*_number_code(inner, places, ranges), "RULE_ABS"]
    raise AssertionError(node)  # refused before


def _constant_code(node: ast.expr, ranges: Mapping[str, Range]) -> str:
    low, high = _range(node, "", ranges)
    if low < 0 or high > _WORD_MAX:
        raise _refuse(ast.unparse(node), f"a constant lies within 0..{_WORD_MAX}")
    if low == high <= _SMALL_MAX:
        return f"RULE_SMALL({low})"
    return f"RULE_WORD({_c_constant(node)})"


def _c_constant(node: ast.expr) -> str:
    match node:
        case ast.Constant(value=int(value)):
            return f"INT32_C({value})"
        case ast.Name(id=name):
            return f"CORE_{name.upper()}"
        case ast.BinOp(left=left, op=op, right=right):
            return f"({_c_constant(left)} {_C_BINARY[type(op)]} {_c_constant(right)})"
    raise _refuse(ast.unparse(node), "is not allowed in a constant")
