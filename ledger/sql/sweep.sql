-- Once in each window and co-op: has time alone moved a material across its reorder point? Then its
-- check is owed, and so is a review of each maker that has or lacks anything, for what else time
-- changes. Returns how many checks are owed, or null when somebody else swept this window, and
-- inside a maker's walls: the sweep is the co-op's, and tells a maker nothing.
create or replace function ledger_sweep_watches(window_begins timestamptz, at timestamptz)
returns bigint
language plpgsql security definer set search_path = pg_catalog, public, pg_temp
set work_mem = '32MB' set enable_indexscan = off as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  day date;
  found_low bigint;
begin
  if nullif(current_setting('app.maker', true), '') is not null then
    return null;
  end if;
  insert into ledger_sweep (coop_id, task, begins_at) values (coop, 'sweep_watches', window_begins)
    on conflict do nothing;
  if not found then
    return null;
  end if;
  delete from ledger_sweep s
    where s.coop_id = coop and s.begins_at < window_begins - interval '7 days';
  insert into ledger_outbox (coop_id, maker_id, id, task, subject)
  select coop, m.id, uuidv7(), 'review_alerts', m.id
    from ledger_maker m
    where m.coop_id = coop
      and (exists (select from ledger_holding h
                     where h.coop_id = coop and h.maker_id = m.id and h.kind = 'store'
                       and h.any_left)
           or exists (select from ledger_shortfall s where s.coop_id = coop and s.maker_id = m.id)
           or exists (select from ledger_alert a
                        where a.coop_id = coop and a.maker_id = m.id and a.closed_at is null))
    on conflict do nothing;
  select (at at time zone c.time_zone)::date into day from ledger_coop c where c.id = coop;
  -- What `ledger_position` says of one material, of all that are watched at once: asked one by one,
  -- a hundred thousand of them would take longer than to add up every posting there is. What may
  -- not be used is little, so it is found first, and all else is not looked up. Tables are read in
  -- the order in which they lie: by an index they would be read here and there.
  insert into ledger_outbox (coop_id, maker_id, id, task, subject)
  with usable as (
    select h.maker_id, h.material_id, sum(h.quantity) as quantity
      from ledger_holding h
      left join ledger_custody c
        on c.coop_id = coop and c.maker_id = h.maker_id and c.lot_id = h.lot_id
       and (c.status <> 'released' or c.use_by < day)
      left join ledger_lot l
        on l.coop_id = coop and l.id = h.lot_id and least(l.expires_on, l.retest_on) < day
      where h.coop_id = coop and h.kind = 'store' and h.any_left
        and c.lot_id is null and l.id is null
      group by 1, 2
  ), reserved as (
    select r.maker_id, r.material_id, sum(r.quantity) as quantity
      from ledger_reservation r where r.coop_id = coop group by 1, 2
  ), lacking as (
    select s.maker_id, s.material_id, sum(s.quantity) as quantity
      from ledger_shortfall s where s.coop_id = coop group by 1, 2
  ), coming as (
    select o.maker_id, o.material_id, sum(o.quantity) as quantity
      from ledger_onorder o where o.coop_id = coop and o.any_left group by 1, 2
  )
  select coop, w.maker_id, uuidv7(), 'check_watch', w.material_id
    from ledger_watch w
    left join usable u on u.maker_id = w.maker_id and u.material_id = w.material_id
    left join reserved r on r.maker_id = w.maker_id and r.material_id = w.material_id
    left join lacking s on s.maker_id = w.maker_id and s.material_id = w.material_id
    left join coming o on o.maker_id = w.maker_id and o.material_id = w.material_id
    left join ledger_alert a
      on a.coop_id = coop and a.maker_id = w.maker_id and a.subject = w.material_id
     and a.kind = 'low_stock' and a.closed_at is null
    where w.coop_id = coop
      and (coalesce(u.quantity, 0) + coalesce(o.quantity, 0) - coalesce(r.quantity, 0)
             - coalesce(s.quantity, 0) <= w.reorder_point) is distinct from (a.id is not null)
    on conflict do nothing;
  get diagnostics found_low = row_count;
  return found_low;
end $$;

select walls.define('ledger_sweep_watches(timestamptz, timestamptz)');
