"""A file that is too large is refused in its place, and what was typed beside it stays."""

from typing import Any

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.factories import open_workshop
from tests.pages.browsing import sent, shown, signed_in


@pytest.fixture(scope="module")
def client(database: Any, redis_server: Any) -> Any:
    return signed_in(open_workshop())


@pytest.mark.parametrize("megabytes", [6, 30])
def test_a_large_certificate_leaves_the_lines(client: Any, megabytes: int) -> None:
    photo = SimpleUploadedFile("label.jpg", b"\xff\xd8\xff" + b"0" * megabytes * 1024**2)
    line = {"lines": "1", "lines-0-material": "Shea butter", "lines-0-quantity": "5 kg"}
    answer = sent(client, "/receive", supplier="Bulk oils", certificate=photo, **line)
    assert answer.status_code == 422
    assert "A file may have at most 5 MB" in shown(answer)
    assert 'value="Bulk oils"' in answer.content.decode()
    assert 'value="5 kg"' in answer.content.decode()


def test_a_large_list_is_told_the_limit(client: Any) -> None:
    answer = sent(client, "/import/lots", file=SimpleUploadedFile("a.csv", b"0" * 6 * 1024**2))
    assert answer.status_code == 422
    assert "A file may have at most 5 MB" in shown(answer)


def test_what_is_not_read_at_all_says_what_to_do(client: Any) -> None:
    length = str(settings.LARGEST_READ + 1)
    answer = client.post("/receive", {"supplier": "Bulk oils"}, CONTENT_LENGTH=length)
    assert answer.status_code == 413
    assert "A file may have at most 5 MB" in shown(answer)
    assert 'href="/receive"' in answer.content.decode()
