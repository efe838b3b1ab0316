"""Drawing from queues of layers is a function of its own, so that all other posting is shorter."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("ledger", "0008_alerts")]

    operations = [_sql.run("draw_in_turn"), _sql.renew("post_entry")]
