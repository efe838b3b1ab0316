"""What a rule refuses: which refusal, about what, and the whole sentence that a maker reads."""

from collections.abc import Callable
from typing import Any

import pytest

from ledger.errors import Refusal

Asked = tuple[Callable[[], Any], type[Refusal], str, str]


def assert_refused(ask: Callable[[], Any], kind: type[Refusal], pointer: str, says: str) -> None:
    """Exactly this kind, placed exactly there. The sentence tells its facts as well."""
    with pytest.raises(Refusal) as caught:
        ask()
    refusal = caught.value
    assert (type(refusal), refusal.pointer, str(refusal)) == (kind, pointer, says)
    assert None not in refusal.facts.values()
