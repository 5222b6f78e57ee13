"""What the build shortens (firmware_reference/shrink), and what it leaves where it is."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from tests.board.build import FIRMWARE

RUN = ["ldd r24,Y+1", "ldd r25,Y+2", "adiw r24,1", "std Y+1,r24", "std Y+2,r25"]


PUSHES = [f"push r{number}" for number in (14, 15, 16, 17, 28, 29)]
POPS = [f"pop r{number}" for number in (29, 28, 17, 16, 15, 14)]
TO_FRAME = ["in r28,__SP_L__", "in r29,__SP_H__"]
SET_STACK = ["in __tmp_reg__,__SREG__", "cli", "out __SP_H__,r29", "out __SREG__,__tmp_reg__"]
SET_STACK += ["out __SP_L__,r28"]


def shrunk(to: Path, *files: Path) -> str:
    """Both files that come of these."""
    to.mkdir()
    words = ["python3", str(FIRMWARE / "shrink"), str(to), "", *map(str, files)]
    subprocess.run(words, check=True)
    return (to / "before.s").read_text() + (to / "behind.s").read_text()


def shared(folder: Path, *bodies: list[str]) -> str:
    """What becomes of functions f0, f1 ... with these bodies of instructions and labels."""
    text = []
    for n, body in enumerate(bodies):
        text += [f'\t.section .text.f{n},"ax",@progbits', f"\t.type\tf{n}, @function", f"f{n}:"]
        text += [line if line.endswith(":") or "=" in line else f"\t{line}" for line in body]
    (folder / "a.s").write_text("\n".join(text) + "\n")
    return shrunk(folder / "to", folder / "a.s")


def function(text: str, name: str) -> list[str]:
    """The lines behind a label, to the next section."""
    behind = text[text.index(f"\n{name}:") + len(name) + 2 :]
    return [line.strip() for line in behind.split("\t.section")[0].split("\n") if line.strip()]


def test_a_run_that_occurs_again_is_kept_once(tmp_path: Path) -> None:
    text = shared(tmp_path, [*RUN, "rjmp .L1"], [*RUN, "rjmp .L2"], [*RUN, "rjmp .L3"])
    assert text.count("adiw r24,1") == 1
    assert text.count("call shared_0") == 3
    assert function(text, "shared_0") == [*RUN, "ret"]


def test_a_run_that_ends_a_function_is_jumped_to_with_what_it_pops(tmp_path: Path) -> None:
    """One of the three needs no jump: the run lies behind it."""
    end = [*RUN, "pop r17", "pop r16", "ret"]
    text = shared(tmp_path, end, end, end)
    assert [text.count(word) for word in ("jmp shared_0", "ret", "pop")] == [2, 1, 2]


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
    assert text.count("\tret\n") == 2  # one run before, one behind
    assert text.count(breaks.replace(".L", ".La_")) == 9


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
    """A function of the same name in each of two files is two functions, and so is a label."""
    body = "".join(f"\t{line}\n" for line in ["ldi r24,1", "call own", "ldi r25,2", "call own"])
    for name in ("a", "b"):
        text = f'\t.section .text.{name},"ax",@progbits\n\t.type\town, @function\nown:\n\tnop\n'
        (tmp_path / f"{name}.s").write_text(f"{text}{name}:\n.L1:\n{body}\trjmp .L1\n")
    text = shrunk(tmp_path / "to", tmp_path / "a.s", tmp_path / "b.s")
    for name in ("a", "b"):
        assert text.count(f"call own.{name}") == text.count(f"own.{name}:") + 1 == 2
        assert text.count(f"rjmp .L{name}_1") == text.count(f".L{name}_1:") == 1


def test_what_functions_keep_is_pushed_and_fetched_by_one_piece(tmp_path: Path) -> None:
    """The pushes lie above the caller's address as they would have been, and Z alone is lost."""
    text = shared(tmp_path, [*PUSHES, "nop", *POPS, "ret"], [*PUSHES[4:], "nop", *POPS[:2], "ret"])
    assert function(text, "f0")[:2] == ["call begin_6", "nop"]
    assert function(text, "f1")[:2] == ["call begin_2", "nop"]
    words = [line for line in function(text, "begin_6") if not line.endswith(":")]
    assert words == ["pop r31", "pop r30", *PUSHES, "ijmp"]
    assert "rjmp .Lpush_2" in function(text, "begin_2")
    assert text.count("push ") == 6
    assert function(text, "end_6")[:2] == TO_FRAME
    assert "jmp __epilogue_restores__+((18-6)*2)" in function(text, "end_6")
    assert function(text, "end_2") == ["pop r29", "pop r28", "ret"]


def test_room_on_the_stack_is_made_and_given_back_by_libgcc(tmp_path: Path) -> None:
    first = [*PUSHES, *TO_FRAME, "sbiw r28,10", *SET_STACK]
    text = shared(tmp_path, [*first, "nop", "adiw r28,10", *SET_STACK, *POPS, "ret"])
    assert function(text, "f0")[:4] == ["ldi r26,10", "call begin_framed_6", "nop", "adiw r28,10"]
    words = ["pop r31", "pop r30", "ldi r27,0", "jmp __prologue_saves__+((18-6)*2)"]
    assert function(text, "begin_framed_6") == words
    assert "ldi r30,6" in text
    assert "__SP_H__," not in text


@pytest.mark.parametrize("room", [["rcall ."], ["push __zero_reg__", "rcall ."]])
def test_room_that_pushes_make_is_given_back_whole(tmp_path: Path, room: list[str]) -> None:
    count = len(room) + 1 if len(room) > 1 else 2
    spoilt = ["pop __tmp_reg__"] * count
    text = shared(tmp_path, [*PUSHES, *room, *TO_FRAME, "nop", *spoilt, *POPS, "ret"])
    begun = [f"ldi r26,{count}", "call begin_framed_6", "nop", f"adiw r28,{count}"]
    assert function(text, "f0")[:4] == begun


@pytest.mark.parametrize("kept", [["r14", "r16", "r28", "r29"], ["r29"], ["r16", "r17"]])
def test_what_is_kept_otherwise_stays_as_it_is(tmp_path: Path, kept: list[str]) -> None:
    body = [*(f"push {reg}" for reg in kept), "nop", *(f"pop {reg}" for reg in kept[::-1]), "ret"]
    assert function(shared(tmp_path, body), "f0") == body


def test_a_label_among_the_last_instructions_leaves_them(tmp_path: Path) -> None:
    body = [*PUSHES, "nop", *POPS[:3], ".L1:", *POPS[3:], "ret"]
    assert function(shared(tmp_path, body), "f0")[-4:] == [*POPS[3:], "ret"]


def test_far_calls_of_one_neighbourhood_share_a_jump_that_they_reach(tmp_path: Path) -> None:
    """Three functions of 10 KB that begin with five calls each: one has the called beside it."""
    text = shared(tmp_path, *(large(n) for n in range(3)), ["small:", "wdr", "rjmp .L2"])
    assert function(text, "to_small") == ["jmp small"]
    assert [text.count(word) for word in ("call to_small", "call small")] == [5, 10]


def large(number: int) -> list[str]:
    calls = [word for n in range(5) for word in ("call small", f"ldi r24,{number * 5 + n}")]
    return [*calls, *["wdr"] * 5000, "rjmp .L1"]
