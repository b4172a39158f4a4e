"""Plain lines: a pipe or a plain terminal leads to the same end, and no line breaks the job."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diag.errors import DiagError
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.plain import run_plain
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.typed import TypedError, command_of, message_of, older_of, value_of
from tests.talk.hands import first_look, fresh
from tests.talk.test_terminal import until_measure

STEADY = "turn lamps light but do not flash"


def said(conversation: Conversation, *lines: str) -> str:
    """What is printed for these lines."""
    out = io.StringIO()
    run_plain(conversation, lines, out, [])
    return out.getvalue()


def values(conversation: Conversation) -> list[object]:
    """Values of the answers that stand, without the complaint."""
    return [e.fields["value"] for e in conversation.state.standing("answered")][1:]


def test_plain_lines_reach_the_flasher_unit(reasoner: Reasoner) -> None:
    """The whole job in words: from the complaint over remedy and proof to the end."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ["flasher-unit.never-opens"])

    def lines() -> Iterator[str]:
        yield STEADY
        for _ in range(60):
            ask = conversation.open_ask
            if ask is None:
                if fitter.cured:
                    return
                assert fitter.remedy(conversation.say()[-1]["remedies"][0]["id"])
                yield "done"
                continue
            value = fitter.answer(ask)["value"]
            if isinstance(value, dict):
                value = f"{value['light']} {value['rhythm']}"
            yield f"{value} {ask['unit'] or ''}".replace("not-sure", "not sure")
        raise AssertionError("the job does not end")

    out = io.StringIO()
    run_plain(conversation, lines(), out, [])
    text = out.getvalue()
    assert [e.fields["remedy"] for e in conversation.state.standing("remedied")] == ["flasher-unit-renew"]
    assert text.index("CAUTION") < text.index("1. Earth clamp off")
    assert "to be told." in " ".join(text.split()) and "Nothing is open." not in text
    assert "diag resume a-job" in text


def test_end_of_lines_tells_what_is_known(reasoner: Reasoner) -> None:
    """A pipe that runs dry still leaves its reader with the likeliest remedies and the way on."""
    text = said(fresh(reasoner), STEADY, "normal steady")
    assert "Renew the flasher unit" in text.split("Kept: a-job")[1]
    assert "Open" in text and "diag resume a-job" in text


@pytest.mark.parametrize(
    ("line", "light", "rhythm"),
    [
        ("2", "normal", "steady"),
        ("17", "too-bright", "slow"),
        ("dark", "dark", "none"),
        ("Steady.", "normal", "steady"),
        ("flashing, dim", "dim", "flashing"),
        ("too bright fast", "too-bright", "fast"),
    ],
)
def test_looks_are_taken_as_number_or_words(reasoner: Reasoner, line: str, light: str, rhythm: str) -> None:
    """People write the same look in many ways."""
    conversation = fresh(reasoner)
    said(conversation, first_look(reasoner)[0], line)
    assert values(conversation) == [{"light": light, "rhythm": rhythm}]


@pytest.mark.parametrize("line", ["18", "0", "dim", "purple", "normal dim steady", "9" * 5000, "²"])
def test_a_bad_line_is_refused_and_asked_again(reasoner: Reasoner, line: str) -> None:
    """`dim` alone has no rhythm, and no number may be guessed at: the message says what was expected."""
    conversation = fresh(reasoner)
    text = said(conversation, first_look(reasoner)[0], line, "dark")
    assert "! " in text and "expected" in text
    assert text.count(f"Watch: {first_look(reasoner)[1]}.") == 2
    assert values(conversation) == [{"light": "dark", "rhythm": "none"}]


@pytest.mark.parametrize(("line", "volts"), [("11,8 V", 11.8), ("11.8", 11.8), ("11800 mV", 11.8)])
def test_readings_are_taken_with_their_unit(reasoner: Reasoner, line: str, volts: float) -> None:
    """The reading is the most precise thing that a person tells."""
    conversation = until_measure(reasoner)
    said(conversation, line)
    assert values(conversation)[-1] == pytest.approx(volts, rel=1e-9)


def test_commands_are_spelt_out(reasoner: Reasoner) -> None:
    """Whatever a key does in the terminal a word does here."""
    conversation, (complaint, lamp) = fresh(reasoner), first_look(reasoner)
    text = said(
        conversation, complaint, "why", "causes", "help", "note fuse box is wet", "dark", "undo", "not sure",
        "symptom horn silent", "can't reach", "changed renewed the horn fuse",
    )  # fmt: skip
    assert "Why this question" in text and "Likely so far" in text and "One answer a line" in text
    assert re.search(rf"Undone:\s+{lamp}[^:]*: dark", " ".join(text.split()))
    events = [e.event for e in conversation.state.entries]
    assert events == ["answered", "noted", "not-sure", "found", "skipped", "changed"]


def test_an_older_answer_is_corrected_in_one_line(reasoner: Reasoner) -> None:
    """The number stands before each answer in the list that `correct` prints."""
    conversation = fresh(reasoner)
    said(conversation, first_look(reasoner)[0], "dark")
    seq = conversation.state.standing("answered")[-1].seq
    text = said(conversation, "correct", "correct 99 dark", "correct x", f"correct {seq} normal steady")
    assert f"{seq} {first_look(reasoner)[1]}" in text and "No answer has the number 99" in text and "Found `x`" in text
    assert values(conversation) == [{"light": "normal", "rhythm": "steady"}]


def test_quit_stops_before_the_lines_end(reasoner: Reasoner) -> None:
    """What stands behind `quit` is not an answer."""
    conversation = fresh(reasoner)
    said(conversation, first_look(reasoner)[0], "quit", "dark")
    assert values(conversation) == []


def test_unclear_words_list_what_may_be_meant(reasoner: Reasoner) -> None:
    """The numbers of the short list then count, not those of the long one."""
    conversation = fresh(reasoner)
    text = said(conversation, "lamp dark", "2")
    assert "choose one of these" in text
    assert conversation.state.standing("answered")[0].fields["value"] in conversation.knowledge.symptoms


@pytest.mark.parametrize("line", ["not sure", "later", "done", "can't reach"])
def test_the_complaint_is_not_passed_over(reasoner: Reasoner, line: str) -> None:
    """Without a complaint or a circuit there is nothing to go by."""
    conversation = fresh(reasoner)
    assert "! " in said(conversation, line)
    assert conversation.state.entries == ()


WORDS = ["done", "undo", "dark", "steady", "2", "correct 3", "symptom horn silent", "other 1", "done 9", "later", "why"]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lines=st.lists(st.one_of(st.sampled_from([STEADY, *WORDS]), st.text(max_size=30)), max_size=6))
def test_no_line_breaks_the_job(reasoner: Reasoner, lines: list[str]) -> None:
    """Cats walk over keyboards; the job is still there afterwards."""
    assert "diag resume a-job" in said(fresh(reasoner), *lines)


@given(st.text(max_size=60))
def test_typed_words_mean_something_or_are_refused(line: str) -> None:
    """Parsing itself never fails in any other way than with a message."""
    ask = {"id": "q", "check": "some-lamp", "kind": "look", "choices": [], "instruments": [], "place": "front"}
    command = command_of(line)
    try:
        message = message_of(command, ask) if command is not None else {"answer": "q", "value": value_of(ask, line)}
        older_of(line)
    except TypedError as error:
        assert isinstance(error, DiagError) and str(error)
    else:
        assert message is None or len(message) <= 2
