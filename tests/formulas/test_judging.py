"""What is measured is read with its unit, and judged by its window."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.judging import (
    Judgement,
    Measure,
    MeasurementOutOfRange,
    MeasurementUnreadable,
    Window,
    is_outside,
    judge,
    read_measure,
    read_window,
    told,
)
from ledger.errors import Invalid, Refusal, TemperatureUnreadable
from tests.factories import D

VALUES = st.decimals("0", "14", places=3)


@pytest.mark.parametrize(
    ("measure", "typed", "value"),
    [
        ("ph", "5.4", "5.4"),
        ("ph", "pH 5.4", "5.4"),
        ("ph", "0", "0"),
        ("ph", "14", "14"),
        ("temperature", "72 degC", "72"),
        ("temperature", "161.6 °F", "72"),
        ("temperature", "-5 degC", "-5"),
        ("viscosity", "5200 mPa.s", "5200"),
        ("viscosity", "5200 cP", "5200"),
        ("viscosity", "5.2 Pa.s", "5200"),
        ("viscosity", "5.2 Pa·s", "5200"),
        ("flow_time", "38 s", "38"),
        ("flow_time", "1.5 min", "90"),
    ],
)
def test_what_people_write_is_read(measure: str, typed: str, value: str) -> None:
    assert read_measure(Measure(measure), typed) == D(value)


@pytest.mark.parametrize(
    ("measure", "typed", "refused"),
    [
        ("ph", "5,4", MeasurementUnreadable),
        ("ph", "5.4 degC", MeasurementUnreadable),
        ("ph", "acid", MeasurementUnreadable),
        ("ph", "14.01", MeasurementOutOfRange),
        ("ph", "1e1", MeasurementUnreadable),
        ("ph", "-1", MeasurementUnreadable),
        ("temperature", "72", TemperatureUnreadable),
        ("viscosity", "5200", MeasurementUnreadable),
        ("viscosity", "5200 s", MeasurementUnreadable),
        ("viscosity", "0 cP", MeasurementOutOfRange),
        ("viscosity", "1000001 Pa.s", MeasurementOutOfRange),
        ("flow_time", "38", MeasurementUnreadable),
        ("flow_time", "38 degC", MeasurementUnreadable),
        ("flow_time", "1441 min", MeasurementOutOfRange),
        ("flow_time", "", MeasurementUnreadable),
    ],
)
def test_what_could_mean_something_else_is_refused(
    measure: str, typed: str, refused: type[Refusal]
) -> None:
    with pytest.raises(refused) as refusal:
        read_measure(Measure(measure), typed)
    assert len(refusal.value.detail) > 10


@given(st.text(max_size=70), st.sampled_from(Measure))
def test_no_text_is_more_than_refused(typed: str, measure: Measure) -> None:
    if measure is Measure.APPEARANCE:
        return
    try:
        value = read_measure(measure, typed)
    except Refusal:
        return
    assert value.is_finite()


@given(low=VALUES, high=VALUES, value=VALUES)
def test_both_limits_are_inside(low: D, high: D, value: D) -> None:
    low, high = sorted((low, high))
    window = Window(Measure.PH, low=low, high=high)
    judgement = judge(window, value)
    assert (judgement is Judgement.INSIDE) == (low <= value <= high)
    assert (judgement is Judgement.BELOW) == (value < low)
    assert is_outside(judgement) == bool(told(window, value))
    assert judge(window, low) is judge(window, high) is Judgement.INSIDE


def test_one_limit_alone_limits_and_a_target_alone_judges_nothing() -> None:
    assert judge(Window(Measure.PH, low=D(5)), D(14)) is Judgement.INSIDE
    assert judge(Window(Measure.PH, high=D(5)), D("5.000001")) is Judgement.ABOVE
    assert judge(Window(Measure.PH, target=D(5)), D(9)) is Judgement.NOT_JUDGED
    assert judge(None, D(9)) is Judgement.NOT_JUDGED
    # A limit of zero is a limit.
    assert judge(Window(Measure.TEMPERATURE, low=D(0)), D(-1)) is Judgement.BELOW


def test_an_appearance_is_judged_by_whoever_looks() -> None:
    window = read_window(Measure.APPEARANCE, target=" clear,  pale yellow ")
    assert window == Window(Measure.APPEARANCE, text="clear, pale yellow")
    assert judge(window, None) is Judgement.NOT_JUDGED
    assert judge(window, None, True) is Judgement.INSIDE
    assert judge(window, None, False) is Judgement.OUTSIDE
    assert told(window, None, False) == (
        "The appearance does not agree, which should be: clear, pale yellow."
    )
    assert told(window, None, True) == told(window, None) == ""
    assert told(None, None, False) == "The appearance does not agree."


def test_the_sentence_names_both_figures() -> None:
    window = read_window(Measure.VISCOSITY, low="3 Pa.s", target="4000 cP", high="5000 mPa.s")
    assert told(window, D(2500)) == ("Viscosity 2500 mPa.s is below the low limit of 3000 mPa.s.")
    assert told(read_window(Measure.PH, high="6"), D("6.8")) == (
        "pH 6.8 is above the high limit of 6."
    )
    assert told(window, D(4000)) == ""
    assert told(read_window(Measure.FLOW_TIME, high="1 min"), D("60.5")) == (
        "Flow time 60.5 s is above the high limit of 60 s."
    )
    assert told(read_window(Measure.TEMPERATURE, low="0 degC"), D(-1)) == (
        "Temperature -1 degC is below the low limit of 0 degC."
    )


def test_a_window_is_kept_as_it_was_typed_in_the_unit_that_is_kept() -> None:
    typed = {"target": "4000 cP", "low": "3 Pa.s", "high": "5000 mPa.s"}
    assert read_window(Measure.VISCOSITY, **typed) == Window(
        Measure.VISCOSITY, D(4000), D(3000), D(5000)
    )
    assert read_window(Measure.PH, low="5", target="5", high="5") == Window(
        Measure.PH, D(5), D(5), D(5)
    )
    assert read_measure(Measure.FLOW_TIME, "1440 min") == 86_400
    assert str(read_measure(Measure.TEMPERATURE, "72 degC")) == "72.000000"
    assert str(read_measure(Measure.PH, "5.4")) == "5.400000"


def test_what_a_person_said_stands_where_there_is_no_value() -> None:
    assert [judge(None, None, agrees) for agrees in (None, True, False)] == [
        *(Judgement.NOT_JUDGED, Judgement.INSIDE, Judgement.OUTSIDE),
    ]
    assert [one for one in Judgement if is_outside(one)] == [
        *(Judgement.BELOW, Judgement.ABOVE, Judgement.OUTSIDE),
    ]


@pytest.mark.parametrize(
    ("measure", "typed", "pointer"),
    [
        ("ph", {}, "/target"),
        ("ph", {"low": "6", "high": "5"}, "/low"),
        ("ph", {"low": "6", "target": "5"}, "/low"),
        ("ph", {"target": "6", "high": "5"}, "/target"),
        ("ph", {"low": "4", "target": "7", "high": "6"}, "/target"),
        ("ph", {"low": "5", "target": "5", "high": "4"}, "/target"),
        ("appearance", {}, "/target"),
        ("appearance", {"target": "  "}, "/target"),
        ("appearance", {"target": "clear", "low": "5"}, "/target"),
    ],
)
def test_a_window_that_cannot_be(measure: str, typed: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refusal:
        read_window(Measure(measure), **typed)
    assert refusal.value.pointer == pointer


def test_a_limit_that_cannot_be_read_is_named() -> None:
    with pytest.raises(MeasurementUnreadable) as refusal:
        read_window(Measure.FLOW_TIME, low="30 s", high="a while")
    assert refusal.value.pointer == "/high"
