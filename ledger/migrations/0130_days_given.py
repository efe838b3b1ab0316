"""What is open of a material that comes by its days once open, has them with every maker; and what
was opened before the days were known goes to others, and into cans, as open.

What such materials have open today has their days from now on. Lots of pieces that were opened as a
whole, as long as that could be said, are closed again.
"""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from ledger.migrations import _sql

# As the role that writes openings whoever is asked for, in one co-op after the other.
PUT_RIGHT = """
set local role stillroom_ledger;
do $$
declare
  one record;
  had record;
begin
  for one in select id from ledger_coop order by id loop
    perform set_config('app.coop', one.id::text, true);
    insert into ledger_lotopening (coop_id, maker_id, id, lot_id, reason, recorded_at)
    select c.coop_id, c.maker_id, uuidv7(), c.lot_id, 'Each piece is opened by itself.',
           clock_timestamp()
      from ledger_custody c
      join ledger_material m on m.coop_id = c.coop_id and m.id = c.material_id
      where c.coop_id = one.id and m.measured_by = 'count' and c.opened_on is not null
      order by c.maker_id, c.lot_id;
    for had in select m.id, m.maker_id from ledger_material m
                 where m.coop_id = one.id and m.use_within_days is not null order by m.id loop
      perform set_config('app.maker', coalesce(had.maker_id::text, ''), true);
      perform ledger_give_days(had.id);
    end loop;
  end loop;
  perform set_config('app.coop', '', true), set_config('app.maker', '', true);
end $$;
reset role;
"""
# Before, somebody said each opening: whoever said the one before it, or else an owner. The owner of
# the tables stands before the walls of the co-ops like anybody else.
PUT_BACK = """
alter table ledger_lotopening no force row level security, disable trigger only_added;
alter table ledger_membership no force row level security;
update ledger_lotopening o set person_id = coalesce(
    (select x.person_id from ledger_lotopening x
      where x.coop_id = o.coop_id and x.maker_id = o.maker_id and x.lot_id = o.lot_id
        and x.person_id is not null order by x.id desc limit 1),
    (select m.person_id from ledger_membership m
      where m.coop_id = o.coop_id and m.maker_id = o.maker_id
      order by m.role = 'owner' desc, m.id limit 1))
 where o.person_id is null;
-- Who they are is looked at now: no table is altered before that.
set constraints all immediate;
alter table ledger_membership force row level security;
alter table ledger_lotopening force row level security, enable trigger only_added;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("ledger", "0129_openings_by_draws"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AlterField(
            model_name="lotopening",
            name="person",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        _sql.renew("first_drawn"),
        _sql.renew("open_lot"),
        _sql.renew("post_entry"),
        _sql.renew("between_makers"),
        _sql.renew("show_offered"),
        _sql.renew("show_shares"),
        _sql.run("days_given"),
        migrations.RunSQL([(PUT_RIGHT, None)], [(PUT_BACK, None)]),
    ]
