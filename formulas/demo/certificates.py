"""Papers that a supplier of the demo sends with a lot: a page of text each, as a PDF."""

from collections.abc import Sequence
from io import BytesIO
from typing import Final

from formulas.demo.bench import Bench
from formulas.demo.catalogue import SUPPLIERS
from formulas.demo.incidents import Incident
from ledger.documents import attach_document
from ledger.models import Document

# A4 in points, and where the text begins.
WIDE, HIGH, LEFT, TOP, LINE = 595, 842, 72, 770, 20
FONT: Final = b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>"
DEMO: Final = "An invented paper of an invented supplier, for the demo alone."


def paper(lines: Sequence[str]) -> bytes:
    """A page with these lines of ASCII, as a PDF (objects and cross-reference table: ISO 32000-1,
    7.5; text: 9.4; from memory)."""
    said = "".join(f"({_escaped(line)}) Tj T*\n" for line in lines)
    text = f"BT /F1 12 Tf {LINE} TL {LEFT} {TOP} Td\n{said}ET".encode("ascii")
    page = f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {WIDE} {HIGH}] /Contents 4 0 R"
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        f"{page} /Resources << /Font << /F1 5 0 R >> >> >>".encode("ascii"),
        b"<< /Length %d >>\nstream\n%b\nendstream" % (len(text), text),
        FONT,
    ]
    made, places = BytesIO(), []
    made.write(b"%PDF-1.4\n")
    for number, one in enumerate(objects, 1):
        places.append(made.tell())
        made.write(b"%d 0 obj\n%b\nendobj\n" % (number, one))
    table, count = made.tell(), len(objects) + 1
    made.write(b"xref\n0 %d\n0000000000 65535 f \n" % count)
    made.writelines(b"%010d 00000 n \n" % place for place in places)
    made.write(b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (count, table))
    return made.getvalue()


def _escaped(line: str) -> str:
    return line.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")


def glucoside_papers_kept(bench: Bench, days_ago: int) -> None:
    """The certificate of the last lot of decyl glucoside, and its safety data sheet."""
    lot, sender = bench.lots["decyl"][-1], SUPPLIERS["surfactants"]
    of = ["Decyl glucoside (INCI: Decyl Glucoside), CAS 68515-73-1", f"Lot {lot.supplier_lot}"]
    certificate = [
        *(sender, "", "CERTIFICATE OF ANALYSIS", "", *of, ""),
        *("Active matter: 52.4 % (51 to 55 %)", "pH, 10 % in water: 11.8 (11.5 to 12.5)"),
        *("Appearance: clear, pale yellow", "", DEMO),
    ]
    safety = [
        *(sender, "", "SAFETY DATA SHEET", "", *of, ""),
        *("Causes serious eye damage: wear goggles and gloves.", "Keep from frost.", "", DEMO),
    ]
    kinds, name = Document.Kind, f"decyl-glucoside-{lot.supplier_lot}"
    for kind, lines in ((kinds.COA, certificate), (kinds.SDS, safety)):
        content, file = paper(lines), f"{name}-{kind.value}.pdf"
        bench.does(attach_document, lot=lot.id, kind=kind.value, content=content, name=file)


CERTIFICATES: Final = (Incident(48, "north", glucoside_papers_kept),)
