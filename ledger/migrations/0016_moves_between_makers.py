from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0015_transfers")]
    operations = [
        _sql.run("transfers"),
        *(_sql.renew(name) for name in ("check_days", "post_entry", "reverse_entry", "verify")),
    ]
