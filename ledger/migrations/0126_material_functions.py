"""What a material does is one of the functions that are known.

No page and no request has ever taken another; who wrote into the database might have. That must not
stop an upgrade: spelled with capitals or spaces it is the one that is meant, and else "other", as
which every rule has treated it. Its version goes on, since whoever has read it read another.
"""

from django.db import migrations, models

FUNCTIONS = ["", "acid", "base", "botanical", "chelant", "emollient", "emulsifier", "fragrance"]
FUNCTIONS += ["humectant", "other", "preservative", "solvent", "surfactant", "thickener"]
# The owner of the tables stands before the walls of the co-ops like anybody else.
PUT_RIGHT = """
alter table ledger_material no force row level security;
update ledger_material set version = version + 1,
       function = case when lower(btrim(function)) = any (%(known)s) then lower(btrim(function))
                       else 'other' end
 where function <> all (%(known)s);
alter table ledger_material force row level security;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0125_sealed_by_key"),
    ]

    operations = [
        migrations.RunSQL(
            PUT_RIGHT % {"known": f"array{FUNCTIONS}"},
            migrations.RunSQL.noop,
        ),
        migrations.AddConstraint(
            model_name="material",
            constraint=models.CheckConstraint(
                condition=models.Q(("function__in", FUNCTIONS)), name="material_function_known"
            ),
        ),
    ]
