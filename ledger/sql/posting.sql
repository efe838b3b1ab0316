-- What posting an entry is made of: the locks, the entry's own row, cost layers, promises, and the
-- checks that hold whoever writes. post_entry.sql and reverse_entry.sql put them together.

create type ledger_move as (
  line smallint, from_id uuid, from_kind text, to_id uuid, to_kind text,
  lot_id uuid, material_id uuid, quantity numeric, value numeric);

-- The value of a part, rounded once from the exact quotient with ties away from zero. A plain
-- division is cut off first, and could then tip a figure just below a tie over it.
create function ledger_part(value numeric, part numeric, whole numeric) returns numeric
immutable parallel safe language sql as $$
  select sign(value) * div(2000000 * abs(value) * part + whole, 2 * whole) * 0.000001
$$;

-- What a refusal tells of a lot: its code as it stands on the jar, and what it is measured in.
create function ledger_lot_facts(lot uuid) returns jsonb stable language sql as $$
  select jsonb_build_object('lot', l.id, 'code', l.code,
      'unit', case m.measured_by when 'count' then 'each' else 'g' end)
    from ledger_lot l join ledger_material m on m.coop_id = l.coop_id and m.id = l.material_id
    where l.coop_id = nullif(current_setting('app.coop', true), '')::uuid and l.id = lot
$$;

-- Makes the maker's pools of these materials where they are missing.
create function ledger_make_pools(materials uuid[]) returns void language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
begin
  if not exists (select from unnest(materials) m(id) where not exists (
      select from ledger_pool p
        where p.coop_id = coop and p.maker_id = maker and p.material_id = m.id)) then
    return;
  end if;
  -- Whoever chooses a cost formula holds this lock alone, so that no pool is made of the old one.
  perform pg_advisory_xact_lock_shared(hashtextextended('cost formulas of ' || maker, 0));
  insert into ledger_pool (coop_id, maker_id, material_id, cost_formula)
  select coop, maker, m.id, coalesce(c.cost_formula, m.cost_formula, 'average')
    from ledger_material m
    left join ledger_costpolicy c
      on c.coop_id = coop and c.maker_id = maker and c.cost_class = m.cost_class
    where m.coop_id = coop and (m.maker_id is null or m.maker_id = maker)
      and m.id = any (materials) and not exists (
      select from ledger_pool p where p.coop_id = coop and p.maker_id = maker
        and p.material_id = m.id)
    order by m.id
    on conflict do nothing;
end $$;

-- Takes the locks on a maker's pools. Those that are missing are made before any is locked: whoever
-- waited for a new row while holding an old one could be waited for in turn.
create function ledger_lock_pools(materials uuid[]) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
begin
  perform ledger_make_pools(materials);
  perform from ledger_pool p
    where p.coop_id = coop and p.maker_id = maker and p.material_id = any (materials)
    order by p.material_id for update;
end $$;

-- What is watched of these materials is to be looked at again.
create function ledger_owe_checks(materials uuid[]) returns void language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
begin
  insert into ledger_outbox (coop_id, maker_id, id, task, subject)
  select coop, maker, uuidv7(), 'check_watch', w.material_id
    from ledger_watch w
    where w.coop_id = coop and w.maker_id = maker and w.material_id = any (materials)
    on conflict do nothing;
end $$;

-- Carries an entry's layer postings into the layers.
create function ledger_carry(entry uuid) returns void language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
begin
  update ledger_layer l set quantity = l.quantity + d.quantity, value = l.value + d.value
    from (select p.layer_id, sum(p.quantity) quantity, sum(p.value) as value
      from ledger_layerposting p
            where p.coop_id = coop and p.entry_id = entry group by p.layer_id) d
    where l.coop_id = coop and l.id = d.layer_id;
  perform ledger_owe_checks(array(
    select distinct l.material_id from ledger_layerposting p
      join ledger_layer l on l.coop_id = coop and l.id = p.layer_id
      where p.coop_id = coop and p.entry_id = entry));
end $$;

-- Makes the layers that are missing for what enters a store. From one store to another of the
-- maker's own goods keep their layers.
create function ledger_open_layers(moves ledger_move[]) returns void language sql as $$
  with own as (
    select nullif(current_setting('app.coop', true), '')::uuid as coop,
           nullif(current_setting('app.maker', true), '')::uuid as maker
  ), entering as (
    select m.material_id, case when p.cost_formula <> 'average'
      then m.lot_id end as lot_id, min(m.line) as line
      from own cross join unnest(moves) m
      join ledger_pool p on p.coop_id = own.coop and p.maker_id = own.maker
        and p.material_id = m.material_id
      where m.to_kind = 'store' and m.from_kind is distinct from 'store' group by 1, 2
  )
  insert into ledger_layer (coop_id, maker_id, id, material_id, lot_id, ordinal, quantity, value)
  select own.coop, own.maker, uuidv7(), n.material_id, n.lot_id,
         (select coalesce(max(l.ordinal), 0) from ledger_layer l
            where l.coop_id = own.coop and l.maker_id = own.maker and l.material_id = n.material_id)
           + row_number() over (partition by n.material_id order by n.line), 0, 0
    from own, entering n
    where not exists (select from ledger_layer l
      where l.coop_id = own.coop and l.maker_id = own.maker and l.material_id = n.material_id
        and l.lot_id is not distinct from n.lot_id)
$$;

-- A back-dated draw must leave the lot's balance at or above zero at the end of every later day.
create function ledger_check_days(entry uuid, day date) returns void
language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  worst record;
begin
  with touched as (
    select distinct p.account_id, p.lot_id from ledger_posting p
      join ledger_holding h on h.coop_id = coop and h.account_id = p.account_id
        and h.lot_id = p.lot_id
      where p.coop_id = coop and p.entry_id = entry and p.quantity < 0
        and h.kind in ('store', 'batch', 'consignment') and h.last_on > day
  ), days as (
    select p.lot_id, p.happened_on,
           sum(sum(p.quantity)) over (partition by p.account_id, p.lot_id
             order by p.happened_on) as balance
      from touched t join ledger_posting p
        on p.coop_id = coop and p.lot_id = t.lot_id and p.account_id = t.account_id
      group by p.account_id, p.lot_id, p.happened_on
  )
  select lot_id, happened_on, balance into worst from days
    where happened_on >= day and balance < 0 order by balance limit 1;
  if found then
    raise exception 'The lot would have been overdrawn on %.', worst.happened_on
      using errcode = '23514', constraint = 'holding_not_negative_on_any_day',
        detail = ledger_lot_facts(worst.lot_id)
          || jsonb_build_object('on', worst.happened_on, 'short', -worst.balance);
  end if;
end $$;

-- Refuses what is not there, at the place where it is missed.
create function ledger_not_enough(lot uuid, on_hand numeric, wanted numeric) returns numeric
language plpgsql as $$
begin
  raise exception 'Not enough of the lot.' using errcode = '23514',
    constraint = 'holding_not_negative',
    detail = ledger_lot_facts(lot) || jsonb_build_object('left', on_hand, 'wanted', wanted);
end $$;

-- What a batch takes uses up its own reservation; what others were promised stays.
create function ledger_keep_promises(entry uuid, moves ledger_move[], kind text) returns void
language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  bad record;
begin
  update ledger_reservation r set quantity = greatest(r.quantity - d.quantity, 0)
    from (select m.to_id, m.lot_id, sum(m.quantity) as quantity from unnest(moves) m
            where m.to_kind = 'batch' and m.from_kind = 'store' group by 1, 2) d
    where r.coop_id = coop and r.account_id = d.to_id and r.lot_id = d.lot_id;
  select r.lot_id, sum(r.quantity) as reserved, h.quantity as on_hand, w.quantity as wanted,
         json_agg(a.name order by a.name) as batches
    into bad
    from (select m.lot_id, m.material_id, sum(m.quantity) as quantity from unnest(moves) m
            where m.from_kind = 'store' and m.lot_id is not null group by 1, 2) w
    join ledger_reservation r on r.coop_id = coop and r.maker_id = maker and r.lot_id = w.lot_id
      and r.quantity > 0
    join ledger_account a on a.coop_id = coop and a.id = r.account_id
    cross join lateral (
      select coalesce(sum(h.quantity), 0) as quantity from ledger_holding h
        where h.coop_id = coop and h.maker_id = maker and h.material_id = w.material_id
          and h.lot_id = w.lot_id and h.kind = 'store' and h.any_left) h
    group by r.lot_id, h.quantity, w.quantity
    having h.quantity < sum(r.quantity)
    limit 1;
  if found then
    raise exception 'The lot is reserved.' using errcode = '23514', constraint = 'reservation_kept',
      detail = ledger_lot_facts(bad.lot_id) || jsonb_build_object('wanted', bad.wanted,
        'batches', bad.batches, 'reserved', bad.reserved,
        'left', greatest(bad.on_hand + bad.wanted - bad.reserved, 0));
  end if;
end $$;

-- Whoever posts changes these rows again and again; room beside them keeps the changes out of the
-- indexes.
alter table ledger_holding set (fillfactor = 70);
alter table ledger_layer set (fillfactor = 70);

create trigger check_postings after insert on ledger_posting
  referencing new table as added for each statement execute function ledger_check_postings();

select walls.define('ledger_lock_pools(uuid[])');
