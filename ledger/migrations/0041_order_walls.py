from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0040_orders")]
    operations = [_sql.run("orders"), _sql.renew("verify")]
