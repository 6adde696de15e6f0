"""The teacher's note in a lesson and in a track, and what is said of a note that is none."""

import pytest
from music import lesson_of

from grooves.errors import LessonError


def test_a_lesson_and_its_tracks_carry_the_teacher_s_note():
    lesson = lesson_of(
        top='note = """\nListen first.\nThen count.\n"""', tracks='[[track]]\nname = "slow"\nnote = "Breathe."'
    )
    assert lesson.note == "Listen first.\nThen count."
    assert lesson.tracks[0].note == "Breathe."
    assert lesson_of().note == "" == lesson_of().tracks[0].note


@pytest.mark.parametrize(
    ("note", "says"),
    [
        ("4", "note: 4 is not a note; write it between quotes"),
        ('"  "', "note: the note is empty; write something, or leave the key out"),
        (f'"{"x" * 2001}"', "note: the note has 2001 signs; there is room for 2000"),
        ("[]", "is not a note"),
    ],
)
def test_a_note_that_is_none_is_refused_in_words(note, says):
    with pytest.raises(LessonError, match=says):
        lesson_of(top=f"note = {note}")
    with pytest.raises(LessonError, match=f"track 1, {says}" if says.startswith("note") else says):
        lesson_of(tracks=f'[[track]]\nname = "slow"\nnote = {note}')
