"""A fill has its standards, as a batch has, and keeps those that it was judged by."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0014_filled_in_time")]

    operations = [_sql.renew("standard_kept", app="formulas")]
