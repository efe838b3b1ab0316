from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0020_scrap")]
    operations = [_sql.renew("post_entry")]
