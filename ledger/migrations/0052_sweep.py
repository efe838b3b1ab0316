"""The sweep owes reviews as well, and knows an alert by its subject."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0051_alert_walls")]

    operations = [_sql.renew("sweep")]
