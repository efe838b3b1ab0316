"""Requests as they are sent, for the document and for whoever tries the API for the first time."""

from typing import Any, Final

from drf_spectacular.utils import OpenApiExample


def _id(number: int) -> str:
    return f"0198a7b0-0000-7000-8000-{number:012d}"


GLYCERIN: Final = _id(1)
WATER, JAR, SUPPLIER, FORMULA, PRODUCT, LINE, LOT = (_id(number) for number in range(2, 9))
BATCH_ID: Final = _id(9)


def _sent(name: str, value: dict[str, Any]) -> list[OpenApiExample]:
    return [OpenApiExample(name, value=value, request_only=True)]


TOKEN: Final = _sent("Sign in", {"username": "north", "password": "a long pass phrase"})
MATERIAL: Final = _sent(
    "A humectant that is sold by volume",
    {
        "name": "Glycerin, vegetable",
        "inci_name": "Glycerin",
        "measured_by": "mass",
        "density": {"value": "1.26 g/mL", "at": "20 degC"},
    },
)
RECEIPT: Final = _sent(
    "Four gallons, with freight",
    {
        "supplier": SUPPLIER,
        "happened_at": "2025-05-05T09:30:00Z",
        "lines": [
            {
                "material": GLYCERIN,
                "supplier_lot": "G-77",
                "quantity": "4 gal",
                "price": "186.00",
                "expires_on": "2027-04-30",
            }
        ],
        "charges": [{"kind": "freight", "amount": "12.40", "spread_by": "mass"}],
        "release": {"basis": "certificate agrees with specification"},
    },
)
DECISION: Final = _sent(
    "Release", {"decision": "release", "basis": "certificate agrees with specification"}
)
PLACE: Final = _sent("A shelf of its own", {"name": "Quarantine shelf", "keeps": "quarantine"})
PLACE_CHANGE: Final = _sent("Another name", {"name": "Shelf by the door"})
PLACING: Final = _sent("Onto a shelf", {"place": _id(10)})
OPENING: Final = _sent("A drum that was opened on this day", {"opened_on": "2026-05-06"})
EMPTYING: Final = _sent(
    "Twelve pots with the wrong label", {"units": 12, "reason": "labels of another batch"}
)
FORMULA_IN: Final = _sent(
    "A gel whose water is the balance",
    {
        "name": "Hand gel",
        "process_loss_percent": "2",
        "density": {"value": "1.05 g/mL"},
        "phases": [
            {
                "name": "A",
                "lines": [
                    {"material": WATER, "balance": True},
                    {"material": GLYCERIN, "percent": "40", "max_temperature": "45 degC"},
                ],
            }
        ],
        "windows": [{"measure": "ph", "target": "5.5", "low": "5.0", "high": "6.0"}],
    },
)
SCALING: Final = _sent("By what is to be left", {"output": "15606 g"})
PRODUCT_IN: Final = _sent(
    "A jar of 60 g",
    {
        "name": "Hand gel 60 g",
        "formula": FORMULA,
        "fill": {"nominal": "60 g", "overfill_percent": "2"},
        "packaging": [{"material": JAR, "quantity": "1 each"}],
        "labour": {"minutes_per_batch": "30", "hourly_rate": "20.00"},
        "overhead": {"percent_of_materials": "10"},
        "use": "leave_on",
    },
)
UNITS: Final = _sent("For 60 units", {"units": 60})
PRICE: Final = _sent(
    "A margin of 60 % after a fee of 6.5 %",
    {"unit_cost": "2.35", "fixed_fee": "0.30", "margin_percent": "60", "fee_percent": "6.5"},
)
OFFER: Final = _sent(
    "A kilogram that costs less from 25, 50 and 75 kg on",
    {
        "supplier": SUPPLIER,
        "material": GLYCERIN,
        "pack": "1 kg",
        "article_code": "GLY-1",
        "valid_from": "2025-05-01",
        "price": "5.20",
        "breaks": [
            {"at_least": "25 kg", "price": "4.60"},
            {"at_least": "50 kg", "price": "4.10"},
            {"at_least": "75 kg", "price": "3.80"},
        ],
        "lead_time_days": 9,
    },
)
OFFER_PRICE: Final = _sent(
    "In another currency, at the rate of the day",
    {"valid_from": "2025-06-01", "price": "4.90", "currency": "EUR", "rate": "1.0845"},
)
OFFER_END: Final = _sent(
    "Out of the list", {"valid_from": "2025-09-01", "note": "not in the autumn list"}
)
SUPPLIER_TERMS: Final = _sent(
    "28.00 for each order, free from 200.00 on",
    {"valid_from": "2025-05-01", "freight_kind": "flat", "freight": "28", "free_from": "200"},
)
LADDER: Final = _sent(
    "Wholesale at a margin, and a shop price that ends in .95 with tax",
    {
        "unit_cost": "2.35",
        "channels": [
            {"name": "Wholesale", "margin_percent": "40", "shown": "net"},
            {
                "name": "Shop",
                "margin_percent": "60",
                "fee_percent": "6.5",
                "fixed_fee": "0.30",
                "tax_percent": "20",
                "ending": {"every": "1", "ends_in": "0.95"},
            },
        ],
        "fixed": {"cost": "1800", "batch_units": 60},
    },
)
WHAT_IF: Final = _sent(
    "A humectant that costs a quarter more",
    {"materials": [{"material": GLYCERIN, "change_percent": "25"}], "margin_percent": "60"},
)
BATCH: Final = _sent(
    "Units of a product", {"product": PRODUCT, "units": 60, "planned_for": "2025-05-07"}
)
WEIGHING: Final = _sent(
    "A lot for a line",
    {"line": LINE, "lot": LOT, "quantity": "9.3 kg", "happened_at": "2025-05-07T10:00:00Z"},
)
MEASUREMENT: Final = _sent(
    "A pH, once it has cooled",
    {
        "measure": "ph",
        "value": "5.4",
        "at": "25 degC",
        "note": "10 % in water",
        "happened_at": "2025-05-07T13:00:00Z",
    },
)
FINISH: Final = _sent(
    "Sixty units, one of them kept",
    {
        "output": "15606 g",
        "units": 60,
        "happened_at": "2025-05-07T15:00:00Z",
        "samples": [{"quantity": "1 each", "reason": "for its shelf life", "purpose": "retained"}],
        "release": {"basis": "pH 5.4, clear"},
        "labour_minutes": "95",
    },
)
FORMULA_STANDARD: Final = _sent(
    "At today's costs, but for one price that was agreed",
    {
        "valid_from": "2025-05-01",
        "prices": [{"material": GLYCERIN, "price": "11.50"}],
        "note": "price agreed for the year",
    },
)
PRODUCT_STANDARD: Final = _sent(
    "Packaging at today's cost, and an hour at 21.00",
    {
        "valid_from": "2025-05-01",
        "labour": {"minutes_per_batch": "90", "hourly_rate": "21.00"},
        "overhead": {"percent_of_materials": "10"},
    },
)
INTERMEDIATES: Final = _sent("The day before", {"planned_for": "2025-05-06"})
TOP_UP: Final = _sent(
    "The rest of a lot, made up with the first alternate that has enough",
    {"line": LINE, "lot": LOT},
)
ISSUE: Final = _sent(
    "A tester",
    {
        "lines": [{"lot": LOT, "quantity": "15 g"}],
        "purpose": "tester",
        "reason": "for the market stall",
    },
)
SALE: Final = _sent(
    "Three jars", {"lines": [{"lot": LOT, "quantity": "3 each"}], "customer": "market stall 4"}
)
REVERSAL: Final = _sent("A slip", {"reason": "it was the other drum"})
WATCH: Final = _sent("Five kilograms", {"reorder_point": "5 kg", "lead_days": 10})
SNOOZE: Final = _sent("Until Monday", {"until": "2027-01-04T08:00:00Z"})
ALERT_SETTINGS: Final = _sent(
    "Expiring lots every morning, nothing at night",
    {
        "told": {"low_stock": "at_once", "expiring": "digest", "retest_due": "never"},
        "digest_hour": 7,
        "quiet_from": "20:00",
        "quiet_until": "06:30",
        "time_zone": "Europe/Paris",
        "expiring_days": 45,
        "use_told": "counted",
    },
)
RECEIVER: Final = _sent("A program", {"webhook": "https://example.org/alerts"})
COUNT: Final = _sent(
    "All of class A, without the book figures",
    {"place": "shelf by the window", "classes": ["A"], "blind": True},
)
READING: Final = _sent(
    "A drum on the scale, and one that is empty",
    {
        "happened_at": "2025-05-07T10:00:00Z",
        "readings": [{"lot": LOT, "containers": [{"gross": "14060 g", "tare": "1850 g"}]}],
    },
)
CLOSING: Final = _sent(
    "Ladles that hold more than was booked, and shrink",
    {
        "explanations": [
            {
                "lot": LOT,
                "causes": [
                    {
                        "cause": "misbooked",
                        "batch": BATCH_ID,
                        "booked": "800 g",
                        "really": "800 mL",
                        "reason": "four ladles of 200 mL, booked as 200 g each",
                    },
                    {"cause": "shrink", "reason": "nothing else was found"},
                ],
            }
        ]
    },
)
LATE_CHARGE: Final = _sent(
    "Freight that was billed a month later",
    {"kind": "freight", "amount": "30.00", "spread_by": "mass", "reference": "F-2231"},
)
PRICE_CORRECTION: Final = _sent(
    "The invoice has more than the delivery note",
    {"lot": LOT, "amount": "4.20", "reference": "invoice 881", "reason": "old price list"},
)
CREDIT_NOTE: Final = _sent(
    "A rebate", {"amount": "12.00", "reference": "CN-14", "reason": "yearly rebate"}
)
TRANSFER: Final = _sent(
    "A kilogram and a half at cost",
    {"maker": _id(9), "lot": LOT, "quantity": "1.5 kg", "note": "from the May drum"},
)
ACCEPTANCE: Final = _sent("Seen and released", {"release": {"basis": "seal whole, smells right"}})
CONSIGNMENT: Final = _sent(
    "Fifteen jars to a shop",
    {"shop": "harbour shop", "lines": [{"lot": LOT, "quantity": "15 each"}]},
)
RETEST: Final = _sent(
    "Tested again, and good for another year",
    {
        "tested_on": "2025-05-07",
        "result": "pass",
        "basis": "peroxide value 3.1, smell as new",
        "retest_on": "2026-05-07",
    },
)
SPECIFICATION: Final = _sent(
    "A soap's own limits",
    {
        "limits": [
            {"name": "pH", "low": "5.0", "high": "6.5"},
            {"name": "Colour", "text": "clear, pale yellow"},
        ]
    },
)
RESULTS: Final = _sent(
    "Two tests of one morning",
    {
        "tested_on": "2025-05-07",
        "results": [
            {"name": "pH", "value": "5.6"},
            {"name": "Colour", "text": "clear, pale yellow"},
        ],
    },
)

SCRAP: Final = _sent(
    "It separated; a part is kept",
    {"kept": {"quantity": "2.5 kg", "nrv": "50.00"}, "reason": "separated overnight"},
)
REWORK: Final = _sent(
    "What was kept, into the next batch",
    {"lot": LOT, "quantity": "2.5 kg", "approval": "owner, after the viscosity test"},
)
CONTAINER: Final = _sent("A bottle sold as 250 mL", {"nominal": "250 mL", "headspace_percent": "4"})
WATER_FILL: Final = _sent(
    "Three bottles filled to the brim",
    {
        "level": "brimful",
        "at": "20 degC",
        "pieces": [
            {"gross": "300.4 g", "tare": "28.4 g"},
            {"gross": "300.9 g", "tare": "28.3 g"},
            {"gross": "299.8 g", "tare": "28.5 g"},
        ],
    },
)
NET_CONTENTS: Final = _sent("The packers' rules of the Directive", {"rule": "eu"})
FILL_TARGET: Final = _sent(
    "Would 1 % do?",
    {"standard_deviation": "1.2 g", "units": 60, "overfill_percent": "1"},
)
UNIT_WEIGHING: Final = _sent(
    "Three units with one tare",
    {
        "tare": "28.4 g",
        "weighings": [{"gross": "288.4 g"}, {"gross": "289.0 g"}, {"gross": "288.1 g"}],
    },
)
REORDER_POINT: Final = _sent(
    "What is used is known, and how late orders come",
    {
        "service_level_percent": "95",
        "lead_time": {"days": "9", "spread_days": "2"},
        "use": {"per_day": "1.8 kg", "spread": "0.6 kg"},
        "usual_order": "25 kg",
    },
)
ORDER_PLAN: Final = _sent(
    "38 kg are missing, and 6 kg are used in a month",
    {
        "needs": [{"material": GLYCERIN, "quantity": "38 kg", "use_per_month": "6 kg"}],
        "budget": "300.00",
    },
)
RECALL: Final = _sent(
    "A lot called back from the shops",
    {"lot": LOT, "reason": "the supplier found mould in the drum", "depth": "retail"},
)
RECALL_CONTACT: Final = _sent(
    "A buyer who threw the rest away",
    {
        "customer_reference": "market stall 4",
        "how": "phone",
        "on": "2025-05-09",
        "answered": True,
        "lot": LOT,
        "outcome": "destroyed",
        "quantity": "3 each",
    },
)
RECALL_CLOSURE: Final = _sent("Done", {"reason": "every buyer has answered"})
RECALL_ANSWER: Final = _sent("As the records say, and held", {"hold": True})
COMPLAINT: Final = _sent(
    "A rash, told on the phone",
    {
        "received_on": "2025-06-16",
        "what_happened": "a rash on both hands after two days, seen by a doctor",
        "adverse": True,
        "batch_code": "NB8",
        "customer_reference": "market stall 4",
    },
)
COMPLAINT_FACT: Final = _sent(
    "The doctor's letter",
    {"kind": "medical_information", "on": "2025-06-20", "text": "healed within a week"},
)
BATCH_CHECK: Final = _sent(
    "The kettle is clean", {"kind": "equipment", "subject": "kettle 2", "result": "pass"}
)
SOURCE_TEST: Final = _sent(
    "The water of the tap",
    {
        "drawn_from": "tap of the north room, after the filter",
        "tested_on": "2025-05-02",
        "found": "plate count 12 per mL, pH 7.1",
        "result": "pass",
    },
)
ENOUGH: Final = _sent("It is thick enough", {"line": _id(21), "enough": True})
SECOND_LOOK: Final = _sent(
    "Another person has looked", {"weighing": _id(20), "note": "jar, lot and scale seen"}
)
