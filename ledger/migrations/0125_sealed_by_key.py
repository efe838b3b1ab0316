"""Whether an entry is sealed is looked up by its key, however many are posted at once."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0111_round_wishes")]

    operations = [_sql.renew("check_postings")]
