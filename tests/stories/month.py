"""What a maker has at hand over a month, for a story that asks for it by its names."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from tests.api.client import Answer, Client


@dataclass
class Month:
    """What the maker has at hand: materials, lots, batches and papers, by what they are called."""

    maker: Client
    materials: dict[str, str] = field(default_factory=dict)
    lots: dict[str, str] = field(default_factory=dict)
    papers: dict[str, Any] = field(default_factory=dict)

    def does(self, day: int, path: str, **facts: Any) -> Answer:
        return self.maker.post(path, {"happened_at": f"2025-05-{day:02}T10:00:00Z", **facts})

    def made(self, day: int, path: str, **facts: Any) -> Any:
        return self.does(day, path, **facts).made()

    def path(self, batch: str) -> str:
        return f"batches/{self.papers[batch]['id']}"

    def weigh(self, day: int, batch: str, place: int, grams: str, lot: str, **facts: Any) -> Answer:
        line = self.papers[batch]["lines"][place]["id"]
        poured = {"lot": self.lots[lot]} if lot else {}
        body = {"line": line, "quantity": f"{grams} g", **poured, **facts}
        return self.does(day, f"{self.path(batch)}/weighings", **body)

    def measure(self, measure: str, value: str) -> Any:
        path = f"{self.path('hand wash')}/measurements"
        return self.made(6, path, measure=measure, value=value)

    def store(self, **wanted: str) -> None:
        """What is in store of these lots, in grams or pieces."""
        for name, amount in wanted.items():
            (there,) = self.maker.get(f"lots/{self.lots[name]}").made()["on_hand"].values()
            assert Decimal(there) == Decimal(amount), name

    def worth(self, lot: str) -> Decimal:
        return Decimal(self.maker.get(f"lots/{self.lots[lot]}").made()["value"])
