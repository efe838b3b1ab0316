"""Tables of the ledger and their named constraints, by subject."""

from ledger.models.alerts import Alert, AlertKind, Outbox, Sweep, Watch
from ledger.models.bills import Bill, BillLine, BillUse
from ledger.models.catalogue import (
    CostFormula,
    CostPolicy,
    Material,
    MaterialMaximum,
    MaterialPart,
    Supplier,
)
from ledger.models.closing import Closing
from ledger.models.counts import CountCause, CountLine, CountReading, CountSheet
from ledger.models.decanting import Decanting, DecantingDraw, Deposit, DepositReturn
from ledger.models.documents import DecisionDocument, Document
from ledger.models.entries import Entry, LayerPosting, Posting
from ledger.models.hand_outs import (
    RoundHandOut,
    RoundLateBill,
    RoundLatePart,
    RoundPortion,
)
from ledger.models.makers import Coop, Maker, Membership, StoreNaming
from ledger.models.offers import Offer, OfferBreak, OfferPrice, SupplierTerms
from ledger.models.orders import OnOrder, PurchaseOrder, PurchaseOrderFact, PurchaseOrderLine
from ledger.models.places import Place, Placing
from ledger.models.quality import (
    LotOpening,
    LotResult,
    Retest,
    SourceTest,
    Specification,
    SpecificationLimit,
)
from ledger.models.recalls import (
    Recall,
    RecallAnswer,
    RecallClosure,
    RecallContact,
    RecallNotice,
)
from ledger.models.receipts import ChargeShare, Receipt, ReceiptCharge, ReceiptLine
from ledger.models.rounds import (
    OrderRound,
    RoundBuyer,
    RoundBuyerAnswer,
    RoundClosing,
    RoundOrder,
    RoundOrderLine,
    RoundOutcome,
    RoundOwnAlone,
    RoundPlacement,
    RoundPledge,
    RoundShare,
    RoundShareLine,
)
from ledger.models.settlement import Clearing, ClearingPayment, Dispute
from ledger.models.sharing import Claim, Movement, Share
from ledger.models.stock import (
    Account,
    Custody,
    Decision,
    Holding,
    Layer,
    Lot,
    Pool,
    Reservation,
    Shortfall,
    Status,
)
from ledger.models.telling import AlertMessage, AlertReceiver, AlertSetting
from ledger.models.transfers import Transfer

__all__ = [
    "Account",
    "Alert",
    "AlertKind",
    "AlertMessage",
    "AlertReceiver",
    "AlertSetting",
    "Bill",
    "BillLine",
    "BillUse",
    "ChargeShare",
    "Claim",
    "Clearing",
    "ClearingPayment",
    "Closing",
    "Coop",
    "CostFormula",
    "CostPolicy",
    "CountCause",
    "CountLine",
    "CountReading",
    "CountSheet",
    "Custody",
    "Decanting",
    "DecantingDraw",
    "Decision",
    "DecisionDocument",
    "Deposit",
    "DepositReturn",
    "Dispute",
    "Document",
    "Entry",
    "Holding",
    "Layer",
    "LayerPosting",
    "Lot",
    "LotOpening",
    "LotResult",
    "Maker",
    "Material",
    "MaterialMaximum",
    "MaterialPart",
    "Membership",
    "Movement",
    "Offer",
    "OfferBreak",
    "OfferPrice",
    "OnOrder",
    "OrderRound",
    "Outbox",
    "Place",
    "Placing",
    "Pool",
    "Posting",
    "PurchaseOrder",
    "PurchaseOrderFact",
    "PurchaseOrderLine",
    "Recall",
    "RecallAnswer",
    "RecallClosure",
    "RecallContact",
    "RecallNotice",
    "Receipt",
    "ReceiptCharge",
    "ReceiptLine",
    "Reservation",
    "Retest",
    "RoundBuyer",
    "RoundBuyerAnswer",
    "RoundClosing",
    "RoundHandOut",
    "RoundLateBill",
    "RoundLatePart",
    "RoundOrder",
    "RoundOrderLine",
    "RoundOutcome",
    "RoundOwnAlone",
    "RoundPlacement",
    "RoundPledge",
    "RoundPortion",
    "RoundShare",
    "RoundShareLine",
    "Share",
    "Shortfall",
    "SourceTest",
    "Specification",
    "SpecificationLimit",
    "Status",
    "StoreNaming",
    "Supplier",
    "SupplierTerms",
    "Sweep",
    "Transfer",
    "Watch",
]
