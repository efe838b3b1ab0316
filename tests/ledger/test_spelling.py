"""What is spelled nearly so: an accent, a letter, the order of words; and no more than that."""

import pytest

from ledger.spelling import MOST, distance, folded, nearest

NAMES = ["Glycerin", "Shea butter", "Huile de genévrier", "Sweet almond oil", "Coconut oil"]


def found(*words: str) -> list[str]:
    return [key for key, _ in nearest(((name, name) for name in NAMES), words)]


def test_a_text_is_folded_to_its_plain_letters() -> None:
    assert folded("Genévrier ÅNGSTRÖM Straße") == "genevrier angstrom strasse"


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (["glycerine"], "Glycerin"),
        (["glicerin"], "Glycerin"),
        (["clycerin"], "Glycerin"),
        (["glicer"], "Glycerin"),
        (["genevrier"], "Huile de genévrier"),
        (["géneuriér"], "Huile de genévrier"),
        (["buter", "shae"], "Shea butter"),
        (["oil", "almnod"], "Sweet almond oil"),
        (["glicerine", ""], "Glycerin"),
        (["glicerim"], "Glycerin"),
        (["cerin"], "Glycerin"),
    ],
)
def test_what_is_nearly_right_is_found(words: list[str], name: str) -> None:
    assert found(*words) == [name]


@pytest.mark.parametrize(
    "words",
    [[], [""], ["oel"], ["glycol"], ["glyzzrim"], ["shea", "glycerine"], ["butterfly"], ["sh0a0"]],
)
def test_what_is_not_is_not(words: list[str]) -> None:
    assert found(*words) == []


def test_a_name_without_letters_is_near_to_nothing() -> None:
    assert nearest([("dash", "-")], ["glycerin"]) == []


def test_the_likeliest_stands_first_and_only_a_few_are_told() -> None:
    many = [(n, f"Rose {n}") for n in range(9)]
    assert [key for key, _ in nearest([*many, ("as typed", "Rosa")], ["rosa"])][:2] == [
        "as typed",
        0,
    ]
    assert len(nearest(many, ["rosa"])) == MOST
    assert nearest(many, ["rosa"], most=1) == [(0, "Rose 0")]


@pytest.mark.parametrize(
    ("one", "other", "letters"),
    [
        *(("", "", 0), ("shea", "shea", 0), ("", "shea", 4), ("shea", "", 4)),
        *(("shae", "shea", 1), ("sha", "shea", 1), ("sheaa", "shea", 1), ("shoa", "shea", 1)),
        *(("hsae", "shea", 2), ("kitten", "sitting", 3), ("ab", "ba", 1), ("abc", "cab", 2)),
        ("aaa", "a", 2),
    ],
)
def test_letters_are_counted(one: str, other: str, letters: int) -> None:
    assert distance(one, other) == letters
