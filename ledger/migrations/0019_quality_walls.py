from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0018_quality")]
    operations = [_sql.run("quality")]
