"""What a file is by its bytes, and the name it is kept under."""

from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import FileDamaged, FileEmpty, FileMislabelled, FileTypeUnknown
from ledger.file_types import ENDINGS, LONGEST_NAME, FileType, kept_name, type_of_file
from tests.api.files import jpeg, pdf, png, webp
from tests.refusing import assert_refused

WHOLE = {
    FileType.PDF: pdf(),
    FileType.PNG: png(),
    FileType.JPEG: jpeg(),
    FileType.WEBP: webp(),
}


@pytest.mark.parametrize("kind", list(WHOLE))
def test_a_file_is_what_its_bytes_say(kind: FileType) -> None:
    assert type_of_file(WHOLE[kind]) is kind
    assert type_of_file(WHOLE[kind], name=f"a.{ENDINGS[kind][0].upper()}", said=kind.value) is kind
    assert type_of_file(WHOLE[kind], name="lot 4.2", said="Application/Octet-Stream") is kind


@pytest.mark.parametrize("kind", list(WHOLE))
@pytest.mark.parametrize("other", list(WHOLE))
def test_what_the_sender_says_must_agree(kind: FileType, other: FileType) -> None:
    if kind is not other:
        with pytest.raises(FileMislabelled, match=other.value):
            type_of_file(WHOLE[kind], said=other.value)
        with pytest.raises(FileMislabelled, match=rf"\.{ENDINGS[other][0]}"):
            type_of_file(WHOLE[kind], name=f"a.{ENDINGS[other][0]}")


def test_other_names_of_a_type_agree_with_it() -> None:
    assert type_of_file(jpeg(), name="a.jpeg", said="image/jpg") is FileType.JPEG
    assert type_of_file(pdf(), said="application/x-pdf") is FileType.PDF
    with pytest.raises(FileMislabelled):
        type_of_file(pdf(), said="text/html")


@pytest.mark.parametrize("kind", list(WHOLE))
def test_a_file_that_is_cut_off_or_goes_on_is_refused(kind: FileType) -> None:
    for content in (WHOLE[kind][:-3], WHOLE[kind] + b"PK\x03\x04 an archive"):
        with pytest.raises(FileDamaged):
            type_of_file(content)


def test_a_png_whose_bytes_have_changed_is_refused() -> None:
    for place in range(8, len(png())):
        changed = bytearray(png())
        changed[place] ^= 1
        with pytest.raises(FileDamaged):
            type_of_file(bytes(changed))


def test_a_png_begins_and_ends_with_its_own_chunks() -> None:
    head, tail = png()[:33], png()[33:]
    for content in (head[:8] + tail, head + head[8:], png() + tail[-12:]):
        with pytest.raises(FileDamaged):
            type_of_file(content)


@pytest.mark.parametrize(
    "content", [b"MZ\x90\0", b"<html>", b" " + pdf(), b"GIF89a", b"%PDF", b"RIFF\0\0\0\0WAVE"]
)
def test_other_files_are_not_kept(content: bytes) -> None:
    with pytest.raises(FileTypeUnknown):
        type_of_file(content, name="certificate.pdf", said="application/pdf")


def test_an_empty_file_is_no_file() -> None:
    with pytest.raises(FileEmpty):
        type_of_file(b"", name="certificate.pdf")


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("CoA 77.pdf", "CoA 77.pdf"),
        ("CoA 77.PDF", "CoA 77.pdf"),
        ("../../etc/passwd", "passwd.pdf"),
        ("C:\\papers\\CoA.pdf", "CoA.pdf"),
        ("CoA.pdf.exe", "CoA.pdf.exe.pdf"),
        (".pdf", "document.pdf"),
        ("", "document.pdf"),
        ("Zertifikat Öl.pdf", "Zertifikat Öl.pdf"),
        ('a"b\r\nSet-Cookie: c.pdf', "a_b__Set-Cookie_ c.pdf"),
        ("gpj\u202efdp.pdf", "gpj_fdp.pdf"),
        ("x" * 300 + ".pdf", "x" * 116 + ".pdf"),
        ("x" * 114 + " .yz.pdf", "x" * 114 + ".pdf"),
        (" . CoA . .pdf", "CoA.pdf"),
        ("CoA.v2.pdf", "CoA.v2.pdf"),
        ("X, lot X.pdf", "X, lot X.pdf"),
        ("pdf", "pdf.pdf"),
    ],
)
def test_a_name_is_made_safe(sent: str, kept: str) -> None:
    assert kept_name(sent, FileType.PDF) == kept


def test_either_ending_of_a_type_is_kept() -> None:
    assert kept_name("label.JPEG", FileType.JPEG) == "label.jpeg"
    assert kept_name("label.jpg", FileType.JPEG) == "label.jpg"
    assert kept_name("label.pdf", FileType.JPEG) == "label.pdf.jpg"


def test_a_pdf_may_end_with_empty_lines_and_padding_alone() -> None:
    """ISO 32000-1, 7.5.5: its last line has the end-of-file mark; readers pass over padding."""
    assert type_of_file(pdf() + b" \r\n\0\0\0", name="png") is FileType.PDF
    assert_refused(
        lambda: type_of_file(pdf() + b"X"),
        FileDamaged,
        "",
        "This application/pdf does not end as one does: it was cut off, or has something behind its"
        " end. Fetch it again, or save it anew.",
    )


def test_what_a_file_is_called_and_what_it_is_are_both_said() -> None:
    says = (
        "This file is called {}, and its bytes are those of application/pdf: send it as what it is,"
        " with the name it had when it was made."
    )
    for terms, called in (({"said": " Image/PNG "}, "image/png"), ({"name": "a.PNG"}, ".png")):
        assert_refused(
            partial(type_of_file, pdf(), **terms), FileMislabelled, "", says.format(called)
        )


@given(st.text(), st.sampled_from(FileType))
def test_any_name_becomes_one_that_can_be_kept(name: str, kind: FileType) -> None:
    kept = kept_name(name, kind)
    assert 0 < len(kept) <= LONGEST_NAME
    assert kept.isprintable()
    assert not set(kept) & set('/\\<>:"|?*')
    assert kept.endswith(tuple(f".{ending}" for ending in ENDINGS[kind]))
    assert kept_name(kept, kind) == kept
