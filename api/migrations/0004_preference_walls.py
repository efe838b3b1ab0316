from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("api", "0003_preferences")]
    operations = [_sql.run("preferences", app="api")]
