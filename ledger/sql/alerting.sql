-- What makers choose about their alerts, who hears of them, and what was sent.

select walls.link('ledger_alert', 'lot_id', 'ledger_lot');
select walls.key('ledger_alertsetting', true), walls.of_maker('ledger_alertsetting'),
       walls.link('ledger_alertsetting', 'maker_id', 'ledger_maker');
select walls.key('ledger_alertreceiver', true), walls.of_maker('ledger_alertreceiver'),
       walls.link('ledger_alertreceiver', 'maker_id', 'ledger_maker');
select walls.key('ledger_alertmessage', true), walls.of_maker('ledger_alertmessage'),
       walls.link('ledger_alertmessage', 'maker_id', 'ledger_maker'),
       walls.link('ledger_alertmessage', 'alert_id', 'ledger_alert', 'maker'),
       walls.link('ledger_alertmessage', 'receiver_id', 'ledger_alertreceiver', 'maker');
-- What was sent stays, and so does whoever it was sent to.
revoke delete, truncate on ledger_alertreceiver, ledger_alertmessage from stillroom;
grant select on ledger_alertsetting to stillroom_ledger;

-- Which other makers use a material of the co-op, as far as they want it known: how many, and the
-- names of those who are named. To use one is to watch it, or to have some of it in store.
create function ledger_other_users(materials uuid[])
returns table (material_id uuid, makers bigint, names text[])
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  with own as (
    select nullif(current_setting('app.coop', true), '')::uuid as coop,
           nullif(current_setting('app.maker', true), '')::uuid as maker
  )
  select m.id, count(*), coalesce(array_agg(k.name::text order by k.name)
                                    filter (where s.use_told = 'named'), '{}')
    from own
    join ledger_material m
      on m.coop_id = own.coop and m.maker_id is null and m.id = any (materials)
    join ledger_alertsetting s
      on s.coop_id = own.coop and s.maker_id <> own.maker and s.use_told <> 'nobody'
    join ledger_maker k on k.coop_id = own.coop and k.id = s.maker_id
    where exists (select from ledger_watch w
                    where w.coop_id = own.coop and w.maker_id = k.id and w.material_id = m.id)
       or exists (select from ledger_holding h
                    where h.coop_id = own.coop and h.maker_id = k.id and h.material_id = m.id
                      and h.kind = 'store' and h.any_left)
    group by m.id
$$;
select walls.define('ledger_other_users(uuid[])');
