"""What a batch that was planned short still lacks, once some of it is weighed."""

from typing import Final
from uuid import UUID

from django.db import connection

from formulas.models import Batch

# A batch that was planned short keeps asking for what it lacks until that is weighed too.
_STILL_SHORT: Final = """
update ledger_shortfall s
   set quantity = greatest(0, least(s.quantity, n.needed - h.weighed - r.reserved))
  from (select sum(grams) as needed from formulas_wanted
          where coop_id = %(coop)s and batch_id = %(batch)s and material_id = %(material)s) n,
       (select coalesce(sum(quantity), 0) as weighed from ledger_holding
          where coop_id = %(coop)s and account_id = %(account)s and material_id = %(material)s) h,
       (select coalesce(sum(quantity), 0) as reserved from ledger_reservation
          where coop_id = %(coop)s and account_id = %(account)s and material_id = %(material)s) r
 where s.coop_id = %(coop)s and s.account_id = %(account)s and s.material_id = %(material)s
"""


def lessen_shortfall(batch: Batch, material_id: UUID) -> None:
    """Lessen what a batch lacks of a material by what was weighed of it."""
    with connection.cursor() as cursor:
        cursor.execute(
            _STILL_SHORT,
            {
                "coop": batch.coop_id,
                "batch": batch.id,
                "account": batch.account_id,
                "material": material_id,
            },
        )
