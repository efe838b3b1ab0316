"""What was said to be open before its material had days has them also where nothing was left of it,
so that what comes back of it is not used past them."""

from django.db import migrations

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


class Migration(migrations.Migration):
    dependencies = (("ledger", "0133_weighed_openings"),)

    operations = (
        _sql.renew("days_given"),
        migrations.RunSQL([(PUT_RIGHT, None)], migrations.RunSQL.noop),
    )
