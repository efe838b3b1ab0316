"""What is sent and answered is named once: two shapes of one name would be told as one."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from rest_framework.serializers import Serializer

from api import schema


def shapes(of: type[Any] = Serializer) -> Iterator[type[Any]]:
    for kind in of.__subclasses__():
        yield kind
        yield from shapes(kind)


def test_no_two_shapes_have_one_name() -> None:
    """The document knows a shape by its name alone, and would tell the first for both."""
    assert schema.document()
    ours = {kind for kind in shapes() if kind.__module__.startswith("api.")}
    names = Counter(kind.__name__ for kind in ours)
    assert len(names) > 50
    assert [name for name, number in names.items() if number > 1] == []
