"""Orders by mail: to the supplier, with the sheet as PDF and its lines as CSV.

Between the sending and the mark the worker may die; the mail then goes out once more, and its
Message-ID, made from the id of the sending, says that it is the same. What it holds is the order
as it was when its sending was asked for.
"""

from datetime import datetime

from django.core.mail import EmailMessage

from api.sheets.order import order_csv, order_sheet
from ledger import outbox
from ledger.order_papers import Sending, sending_of
from ledger.ordering import keep_sent
from ledger.outbox import Work


def mail_order(work: Work, now: datetime) -> None:
    """Mail an order to its supplier, and keep that it was sent."""
    with outbox.inside(work):
        sending = sending_of(work.subject)
        message = message_of(sending)
    message.send()
    with outbox.inside(work):
        keep_sent(sending.fact, now=now)
        outbox.mark_done(work)


def message_of(sending: Sending) -> EmailMessage:
    """The mail with an order; the same each time it is made."""
    # What draws takes long to load, and most of what a worker does has no use for it.
    from api.sheets import pdf

    fact, paper = sending.fact, sending.paper
    order, maker = paper.order, paper.maker.name
    sheet = order_sheet(paper, printed_at=fact.happened_at, page="a4")
    lines = (
        # A name is a person's text, which may have lines of its own.
        f"{maker} orders from {' '.join(order.supplier.name.split())}, by the number"
        f" {order.number}.",
        "",
        "The order is attached as a PDF to read and as a CSV for programs.",
        *([f"Please answer to {sending.answer_to}."] if sending.answer_to else []),
        *(["", fact.reason] if fact.reason else []),
        "",
    )
    message = EmailMessage(
        subject=f"Order {order.number} of {maker}",
        body="\n".join(lines),
        to=[fact.address],
        reply_to=[sending.answer_to] if sending.answer_to else None,
        headers={"Message-ID": f"<{fact.id}@stillroom>"},
    )
    message.attach(f"{sheet.name}.pdf", pdf.render(sheet), "application/pdf")
    message.attach(f"{sheet.name}.csv", order_csv(paper), "text/csv")
    return message
