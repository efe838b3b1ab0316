"""What the domain says can be said in another language: each sentence can be found beforehand."""

import string

import pytest

from api import sentences
from api.sentences import Said, program, template
from ledger.errors import DensityMissing, Invalid, Sentence


@pytest.fixture(scope="module")
def found() -> list[Said]:
    return list(sentences.sentences(program()))


def test_places_have_names(found: list[Said]) -> None:
    for text in {one.text for one in found if one.text}:
        for _, name, _, _ in string.Formatter().parse(text):
            assert name is None or name.isidentifier(), text


def test_all_kinds_of_them_are_found(found: list[Said]) -> None:
    texts = {one.text for one in found}
    assert "The present state forbids this." in texts
    assert "Nobody offers {names}: write an offer, or leave it out." in texts
    assert "Wear a mask and do not stir up dust." in texts
    assert "Of that move {owed:f} {unit} is still owed; give back no more." in texts
    assert "An error stands in this cell: put the value in its place." in texts


def test_they_are_a_template_for_a_translator() -> None:
    twice = Said("a.py", 3, 'Write "g".', ""), Said("b.py", 5, 'Write "g".', "")
    told = template([*twice, Said("c.py", 7, None, "why")])
    assert '#: a.py:3 b.py:5\nmsgid "Write \\"g\\"."\nmsgstr ""\n' in told
    assert "c.py" not in told


def test_a_sentence_is_a_text_that_knows_its_places() -> None:
    told = Sentence("{left:.2f} of {code!r}", left=2, code="A1")
    assert told == "2.00 of 'A1'"
    assert (told.template, told.places) == ("{left:.2f} of {code!r}", {"left": 2, "code": "A1"})
    assert Invalid("As it stands, {so}.").detail == "As it stands, {so}."
    by_default = DensityMissing(name="Oil").detail
    assert isinstance(by_default, Sentence)
    assert by_default.startswith("A volume of Oil")
