"""The sweep reads tables in the order in which they lie."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0081_called_back")]

    operations = [_sql.renew("sweep")]
