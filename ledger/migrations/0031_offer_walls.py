from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0030_offers")]
    operations = [_sql.run("offers")]
