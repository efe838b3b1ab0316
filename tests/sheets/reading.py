"""Printed pages as pictures, their text, and the codes on them, read by other libraries."""

from typing import Any

import pypdfium2  # type: ignore[import-untyped]
import zxingcpp


class Pages:
    """The pages of a PDF."""

    def __init__(self, content: bytes) -> None:
        assert content.startswith(b"%PDF-")
        self.document: Any = pypdfium2.PdfDocument(content)

    def __len__(self) -> int:
        return len(self.document)

    @property
    def text(self) -> str:
        """All text, with single spaces."""
        return " ".join(self.of(number) for number in range(len(self)))

    def of(self, number: int) -> str:
        """The text of a page, with single spaces."""
        return " ".join(self.document[number].get_textpage().get_text_range().split())

    def picture(self, number: int = 0, scale: int = 3) -> Any:
        """A page as a picture in grey."""
        return self.document[number].render(scale=scale).to_pil().convert("L")

    def ink(self, number: int = 0) -> int:
        """How many of a page's points are dark."""
        return sum(self.picture(number, 2).histogram()[:128])

    def codes(self, number: int = 0) -> list[str]:
        """What a decoder reads off the page."""
        return [found.text for found in zxingcpp.read_barcodes(self.picture(number))]
