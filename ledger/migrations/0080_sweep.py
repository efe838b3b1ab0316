"""The sweep looks up what may not be used, which is little, instead of what may."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0009_draws")]

    operations = [_sql.renew("sweep")]
