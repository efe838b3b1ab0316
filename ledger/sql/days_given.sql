-- A material came by its days once open: what is open of it ends by them with every maker at once,
-- or the stock of all would be shown as good until somebody draws some and is refused. Only where
-- it has no day yet: what was opened for other days keeps them. What was said to be open has them
-- also where nothing is left, since some may come back and no draw would open it once more; what
-- draws alone show only where something is left.
--
-- Nobody says these openings: whoever changed the material may be of another maker, and nobody sees
-- who works there.
create or replace function ledger_give_days(material uuid) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
begin
  if not exists (select from ledger_material m where m.coop_id = coop and m.id = material
                   and coalesce(m.maker_id, maker) is not distinct from maker) then
    raise exception 'No such material.'
      using errcode = '23514', constraint = 'days_of_known_material';
  end if;
  -- In the order in which a move between makers takes them.
  perform from ledger_pool p where p.coop_id = coop and p.material_id = material
    order by p.material_id, p.maker_id for update;
  -- What is left is found first; only of that the draws are looked at.
  with held as materialized (
    select c.maker_id, c.lot_id from ledger_custody c
      where c.coop_id = coop and c.material_id = material and c.use_by is null
        and (c.opened_on is not null or exists (
          select from ledger_holding h where h.coop_id = coop and h.maker_id = c.maker_id
            and h.material_id = material and h.lot_id = c.lot_id and h.any_left
            and h.kind in ('store', 'batch', 'consignment')))
  ), given as (
    insert into ledger_lotopening (coop_id, maker_id, id, lot_id, opened_on, use_within_days,
      reason, recorded_at)
    select coop, h.maker_id, uuidv7(), h.lot_id, o.opened_on, o.use_by - o.opened_on, '',
           clock_timestamp()
      from held h cross join lateral ledger_open_since(h.maker_id, h.lot_id) o
      where o.use_by is not null order by h.maker_id, h.lot_id
    returning maker_id
  )
  insert into ledger_outbox (coop_id, maker_id, id, task, subject)
  select coop, w.maker_id, uuidv7(), 'check_watch', w.material_id from ledger_watch w
    where w.coop_id = coop and w.material_id = material
      and w.maker_id in (select g.maker_id from given g)
    on conflict do nothing;
end $$;
select walls.define('ledger_give_days(uuid)');

-- Whoever opens a lot itself says who it was.
create or replace function ledger_opening_said() returns trigger language plpgsql as $$
begin
  raise exception 'Somebody says when a lot was opened.'
    using errcode = '23514', constraint = 'opening_said_by_somebody';
end $$;
create or replace trigger said_by_somebody before insert on ledger_lotopening
  for each row when (current_user = 'stillroom' and new.person_id is null)
  execute function ledger_opening_said();
