"""A batch of several products has its main one among them."""

from django.db import migrations

from ledger.migrations import _sql


class Migration(migrations.Migration):
    dependencies = [("formulas", "0017_joint_products")]

    operations = [_sql.run("joint_products_whole", app="formulas")]
