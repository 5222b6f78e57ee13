"""What the build keeps once (firmware_reference/share.py), and what it leaves where it is."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from tests.board.build import FIRMWARE

RUN = ["ldd r24,Y+1", "ldd r25,Y+2", "adiw r24,1", "std Y+1,r24", "std Y+2,r25"]


def _module() -> ModuleType:
    spec = importlib.util.spec_from_file_location("share", FIRMWARE / "share.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


share = _module()


def shared(folder: Path, *bodies: list[str]) -> str:
    """What becomes of functions f0, f1 ... with these bodies of instructions and labels."""
    (folder / "to").mkdir()
    text = []
    for n, body in enumerate(bodies):
        text += [f'\t.section .text.f{n},"ax",@progbits', f"\t.type\tf{n}, @function", f"f{n}:"]
        text += [line if line.endswith(":") or "=" in line else f"\t{line}" for line in body]
    (folder / "a.s").write_text("\n".join(text) + "\n")
    share.main(folder / "to", [[folder / "a.s"]])
    return (folder / "to" / "a.s").read_text()


def test_a_run_that_occurs_again_is_kept_once(tmp_path: Path) -> None:
    text = shared(tmp_path, [*RUN, "rjmp .L1"], [*RUN, "rjmp .L2"], [*RUN, "rjmp .L3"])
    assert text.count("adiw r24,1") == 1
    assert text.count("call shared0_0") == 3
    kept = text[text.index("shared0_0:") :].split("\n")
    assert [line.strip() for line in kept[1:7]] == [*RUN, "ret"]


def test_a_run_that_ends_a_function_is_jumped_to_with_what_it_pops(tmp_path: Path) -> None:
    end = [*RUN, "pop r29", "pop r28", "ret"]
    text = shared(tmp_path, end, end, end)
    assert [text.count(word) for word in ("jmp shared0_0", "ret", "pop")] == [3, 1, 2]


def test_pops_alone_are_never_called(tmp_path: Path) -> None:
    body = ["pop r29", "pop r28", "pop r17", "pop r16", "rjmp .L1"]
    assert "shared" not in shared(tmp_path, body, body, body)


@pytest.mark.parametrize("skip", ["sbrs r18,0", "sbrc r18,0", "cpse r18,r19"])
def test_what_may_be_skipped_is_one_instruction(tmp_path: Path, skip: str) -> None:
    """Behind a skip no run begins: the skip would pass over all of it. Nor does one end in it."""
    body = [skip, *RUN, skip, "rjmp .L1"]
    lines = [line.strip() for line in shared(tmp_path, body, body, body).split("\n")]
    for at, line in enumerate(lines):
        if line == skip:
            assert not lines[at + 1].startswith(("call shared", "jmp shared", "ret"))


@pytest.mark.parametrize(
    "breaks",
    [".L7:", "brne .L7", "rjmp .L7", "push r24", "in r28,__SP_L__", "out __SREG__,r0", "sei"],
)
def test_a_run_is_straight_and_leaves_the_stack_alone(tmp_path: Path, breaks: str) -> None:
    body = ["ldd r24,Y+1", "ldd r25,Y+2", breaks, "std Y+1,r24", "std Y+2,r25", "rjmp .L1"]
    text = shared(tmp_path, *[body] * 9)
    functions = text[text.index(".text.shared0_0") :].split("\tret\n")
    assert len(functions) == 3  # one run before, one behind
    assert text.count(breaks) == 9


def test_a_function_that_finds_arguments_on_the_stack_is_not_called_from_deeper(
    tmp_path: Path,
) -> None:
    callee = ["push r28", "in r28,__SP_L__", ".L__stack_usage = 2", "ldd r24,Y+5", "rjmp .L1"]
    body = [*RUN[:2], "call f0", *RUN[3:], "rjmp .L2"]
    text = shared(tmp_path, callee, body, body, body, body)
    assert text.count("call f0") == 4
    within = ["push r28", "in r28,__SP_L__", ".L__stack_usage = 4", "ldd r24,Y+3", "rjmp .L1"]
    (tmp_path / "other").mkdir()
    assert shared(tmp_path / "other", within, body, body, body, body).count("call f0") == 1


def test_names_of_two_files_are_not_mixed_up(tmp_path: Path) -> None:
    """A function of the same name in each of two files is two functions."""
    (tmp_path / "to").mkdir()
    body = "".join(f"\t{line}\n" for line in ["ldi r24,1", "call own", "ldi r25,2", "call own"])
    for name in ("a", "b"):
        text = f'\t.section .text.{name},"ax",@progbits\n\t.type\town, @function\nown:\n\tnop\n'
        (tmp_path / f"{name}.s").write_text(f"{text}{name}:\n{body}\trjmp .L1\n")
    share.main(tmp_path / "to", [[tmp_path / "a.s", tmp_path / "b.s"]])
    for name in ("a", "b"):
        assert (tmp_path / "to" / f"{name}.s").read_text().count("call own") == 2
