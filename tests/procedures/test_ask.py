"""The one prompt: facts are never invented, answers that do not fit are refused."""

import io
from pathlib import Path

import pytest
from rodbench.bench.ask import Answers, AnswersFile, Asker, Eye, Kind, Question, Typed, Yes
from rodbench.errors import NeedsPerson, UsageError

WAY = Question(
    "run_a", "Did the rod come out or go in?", choices=("out", "in", "still", "not seen")
)
CAUTION = Question("caution_crush", "Type the rod's name", Kind.CAUTION, consent="north")
ACCEPT = Question("accept", "Accept?", Kind.DECISION, ("accept", "edit", "leave"))
LENGTH = Question("length", "How long?", unit="mm")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_yes_accepts_cautions_and_nothing_else() -> None:
    asker = Asker(Yes())
    assert asker.accept(CAUTION)
    for question in (WAY, ACCEPT, LENGTH):
        with pytest.raises(NeedsPerson, match="a person must look") as caught:
            asker.ask(question)
        assert caught.value.exit_code == 9


def test_the_eye_tells_facts_only() -> None:
    asked = []

    def look(name: str) -> str | None:
        asked.append(name)
        return "out"

    asker = Asker(Eye(look))
    assert asker.ask(WAY) == "out"
    for question in (CAUTION, ACCEPT):
        with pytest.raises(NeedsPerson):
            asker.ask(question)
    assert asked == ["run_a"]


def test_sources_are_asked_in_turn() -> None:
    asker = Asker(Answers({"accept": "leave"}), Eye(lambda _: None), Answers({"run_a": "in"}))
    assert asker.ask(WAY) == "in"
    assert asker.ask(ACCEPT) == "leave"


@pytest.mark.parametrize(("text", "mm"), [("305", 305.0), ("305 mm", 305.0), ("12 in", 304.8)])
def test_quantities_take_units(text: str, mm: float) -> None:
    assert Asker(Answers({"length": text})).number(LENGTH) == pytest.approx(mm)


@pytest.mark.parametrize("text", ["3 kg", "long", "", "3,5 mm"])
def test_quantities_that_are_none_are_refused(text: str) -> None:
    with pytest.raises(UsageError, match="length"):
        Asker(Answers({"length": text})).number(LENGTH)


def test_an_answer_outside_the_choices_is_refused() -> None:
    with pytest.raises(UsageError, match="'up' is none of"):
        Asker(Answers({"run_a": "up"})).ask(WAY)


def test_answers_file(tmp_path: Path) -> None:
    path = tmp_path / "answers.toml"
    path.write_text('run_a = "not seen"\nlength = 12.5\nsure = true\n')
    asker = Asker(AnswersFile(path))
    assert asker.ask(WAY) == "not seen"
    assert asker.number(LENGTH) == 12.5


@pytest.mark.parametrize(
    ("text", "why"), [("run_a = out", "not TOML"), ("[run_a]\nx = 1", "must be one value")]
)
def test_a_bad_answers_file_says_why(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "answers.toml"
    path.write_text(text)
    with pytest.raises(UsageError, match=why):
        AnswersFile(path)
    with pytest.raises(UsageError, match="cannot read"):
        AnswersFile(tmp_path / "missing.toml")


def test_typed_answers_may_be_short_and_are_asked_again_when_wrong() -> None:
    out = io.StringIO()
    typed = Typed(Terminal("up\no\n"), out)
    assert Asker(typed).ask(WAY) == "out"
    assert "none of" in out.getvalue()
    assert out.getvalue().count("Did the rod") == 2


def test_no_terminal_and_the_end_of_input_invent_nothing() -> None:
    for source in (io.StringIO("out\n"), Terminal("")):
        with pytest.raises(NeedsPerson):
            Asker(Typed(source, io.StringIO())).ask(WAY)


LONG = Question("driver", "Driver?", choices=tuple(f"a-driver-with-{n}-long-names" for n in "abcd"))


@pytest.mark.parametrize(("typed", "answer"), [("2", "b"), ("a-driver-with-c", "c"), ("4", "d")])
def test_long_choices_are_a_menu_and_its_numbers_answer(typed: str, answer: str) -> None:
    out = io.StringIO()
    asker = Asker(Typed(Terminal(f"{typed}\n"), out))
    assert asker.ask(LONG) == f"a-driver-with-{answer}-long-names"
    assert "  2 a-driver-with-b-long-names\n" in out.getvalue()
    assert out.getvalue().endswith("1 to 4? ")


@pytest.mark.parametrize("typed", ["0", "5", "a-driver"])
def test_a_number_outside_the_menu_is_no_answer(typed: str) -> None:
    out = io.StringIO()
    assert Asker(Typed(Terminal(f"{typed}\n1\n"), out)).ask(LONG).startswith("a-driver-with-a")
    assert "is none of" in out.getvalue()


def test_a_bare_number_counts_in_the_units_of_the_screen() -> None:
    inches = Question("length", "How long, in inches?", unit="mm", bare="in")
    for text, mm in (("12", 304.8), ("305 mm", 305.0), ("1 ft", 304.8)):
        assert Asker(Answers({"length": text})).number(inches) == pytest.approx(mm)


def test_what_cannot_be_meant_is_asked_again_or_refused_with_the_reason() -> None:
    def check(amps: float) -> str | None:
        return None if amps < 60 else f"{amps:g} A is no fuse"

    fuse = Question("fuse_a", "Fuse, A?", unit="A", check=check)
    out = io.StringIO()
    assert Asker(Typed(Terminal("5000\n5 A\n"), out)).number(fuse) == 5.0
    assert "5000 A is no fuse" in out.getvalue()
    with pytest.raises(UsageError, match="'fuse_a': 5000 A is no fuse"):
        Asker(Answers({"fuse_a": 5000})).number(fuse)
    for word in ("nan", "inf"):
        with pytest.raises(UsageError, match="beyond all bounds"):
            Asker(Answers({"fuse_a": word})).number(fuse)


def test_giving_up_after_three_mistyped_answers() -> None:
    with pytest.raises(NeedsPerson):
        Asker(Typed(Terminal("x\ny\nz\nout\n"), io.StringIO())).ask(WAY)


def test_an_empty_line_keeps_what_the_question_says() -> None:
    kept = Question("edit_trip_a", "Trip?", Kind.DECISION, unit="A", enter="2.9")
    assert Asker(Typed(Terminal("\n"), io.StringIO())).number(kept) == 2.9
    assert Asker(Typed(Terminal("3 A\n"), io.StringIO())).number(kept) == 3.0
