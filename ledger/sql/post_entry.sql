-- The heart: one event, one call, one round trip.
--
-- An entry is given as moves: so much of a lot, worth so much, from one account to another. Each
-- move becomes two postings, so that quantity and value sum to zero by their shape; a trigger
-- checks it again. A move without a value takes it from where the goods lie: out of a store by the
-- maker's cost formula, out of any other account in proportion to what lies there.
--
-- The pool rows of the materials are locked first, in order. Every holding, layer and reservation
-- of a maker belongs to one pool, so nothing else need be locked and nobody can deadlock.

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

-- Writes the entry's own row, once its day is neither in the future nor in a closed period.
create function ledger_open_entry(
  entry uuid, kind text, happened_at timestamptz, person int,
  reason text, deviation text, details jsonb, reverses uuid) returns date
language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  day date;
  closed_on date;
begin
  select (happened_at at time zone c.time_zone)::date, m.books_closed_on into day, closed_on
    from ledger_coop c join ledger_maker m on m.coop_id = c.id and m.id = maker
    where c.id = coop;
  if day is null then
    raise exception 'No co-op and maker are set.'
      using errcode = '23514', constraint = 'entry_has_a_maker';
  end if;
  -- A minute's grace: the clock of whoever tells us is not the database's own.
  if happened_at > clock_timestamp() + interval '1 minute' then
    raise exception 'An entry cannot happen in the future.'
      using errcode = '23514', constraint = 'entry_not_in_future';
  end if;
  if day <= closed_on then
    raise exception 'The books are closed up to %.', closed_on
      using errcode = '23514', constraint = 'entry_period_open',
        detail = json_build_object('closed_on', closed_on);
  end if;
  insert into ledger_entry (coop_id, maker_id, id, kind, happened_at, happened_on, recorded_at,
                            person_id, reason, deviation, details, reverses_id)
  values (coop, maker, entry, kind, happened_at, day, clock_timestamp(),
          person, reason, deviation, details, reverses);
  return day;
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

-- A back-dated draw must leave the lot's balance at or above zero at the end of every later day.
create function ledger_check_days(entry uuid, day date) returns void language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  worst record;
begin
  with touched as (
    select distinct p.account_id, p.lot_id from ledger_posting p
      join ledger_holding h on h.coop_id = coop and h.account_id = p.account_id
        and h.lot_id = p.lot_id
      where p.coop_id = coop and p.entry_id = entry and p.quantity < 0
        and h.kind in ('store', 'batch') and h.last_on > day
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

-- Refuses what is not there, at the place where it is missed.
create function ledger_not_enough(lot uuid, on_hand numeric, wanted numeric) returns numeric
language plpgsql as $$
begin
  raise exception 'Not enough of the lot.' using errcode = '23514',
    constraint = 'holding_not_negative',
    detail = ledger_lot_facts(lot) || jsonb_build_object('left', on_hand, 'wanted', wanted);
end $$;

create function ledger_post_entry(
  entry uuid, kind text, happened_at timestamptz, person int,
  reason text, deviation text, details jsonb,
  from_accounts uuid[], to_accounts uuid[], lots uuid[], quantities numeric[], move_values numeric[]
) returns numeric[]
language plpgsql security definer set search_path = pg_catalog, public, pg_temp
-- All rows are found by their keys. One plan therefore serves every call, where planning each time
-- would take longer than the work; and it must look rows up one by one even if the plan was made
-- while a table was small enough to be read through.
set plan_cache_mode = force_generic_plan set enable_seqscan = off set enable_hashjoin = off
set enable_mergejoin = off as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  moves ledger_move[];
  materials uuid[];
  is_exact boolean;
  is_priced boolean;
  leaves_store boolean;
  enters_store boolean;
  asks_share boolean;
  back_dated boolean;
  is_watched boolean;
  is_promised boolean;
  all_stored boolean;
  day date;
  bad record;
begin
  -- Every account must be the maker's, and every lot in its custody.
  with own as materialized (
    select a.id, a.kind from ledger_account a
      where a.coop_id = coop and a.maker_id = maker and a.id = any (from_accounts || to_accounts)
  )
  select array_agg(row(m.line, f.id, f.kind, t.id, t.kind, m.lot, c.material_id, m.quantity,
    m.value)::ledger_move
                   order by m.line),
         coalesce(array_agg(distinct c.material_id) filter (where c.material_id is not null), '{}'),
         bool_and(f.kind = 'store') filter (where m.lot is not null),
         bool_and(m.quantity >= 0 and m.quantity < 'Infinity' and m.quantity = round(m.quantity, 6))
           and coalesce(bool_and(m.value >= 0 and m.value < 'Infinity'
             and m.value = round(m.value, 6)), true),
         bool_or(m.lot is not null and f.kind = 'store' and m.value is not null),
         bool_or(m.lot is not null and f.kind = 'store' and t.kind <> 'store'),
         bool_or(m.lot is not null and f.kind <> 'store' and t.kind = 'store'),
         bool_or(m.value is null and (m.lot is null or f.kind <> 'store' or t.kind = 'store'))
    into moves, materials, all_stored, is_exact, is_priced, leaves_store, enters_store, asks_share
    from unnest(from_accounts, to_accounts, lots, quantities, move_values)
         with ordinality m(from_id, to_id, lot, quantity, value, line)
    join own f on f.id = m.from_id
    join own t on t.id = m.to_id
    left join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = m.lot
    where (m.lot is null or c.lot_id is not null);
  if cardinality(moves) is distinct from cardinality(lots) then
    raise exception 'An account or a lot of the entry is not there.'
      using errcode = '23514', constraint = 'entry_of_own_accounts_and_lots';
  end if;
  -- Rounding on the way in would let layers, holdings and postings differ; NaN is above 'Infinity'.
  if not is_exact then
    raise exception 'A move has a quantity and a value of zero or more, to six decimals.'
      using errcode = '23514', constraint = 'move_is_exact';
  end if;
  if is_priced then
    raise exception 'What leaves a store costs what its layers say.'
      using errcode = '23514', constraint = 'store_costs_by_formula';
  end if;

  -- What lies in a store came there through its pool.
  if not all_stored then
    perform ledger_make_pools(materials);
  end if;
  perform from ledger_pool p
    where p.coop_id = coop and p.maker_id = maker and p.material_id = any (materials)
    order by p.material_id for update;
  day := ledger_open_entry(entry, kind, happened_at, person, reason, deviation, details, null);

  -- Only what is there is taken; the holdings refuse the rest below. What an entry itself brings
  -- to an account is not there yet.
  if from_accounts && to_accounts then
    perform ledger_not_enough(m.lot_id, coalesce(max(h.quantity), 0), sum(m.quantity))
      from unnest(moves) m
      left join ledger_holding h on h.coop_id = coop and h.account_id = m.from_id
        and h.lot_id = m.lot_id
      where m.from_kind in ('store', 'batch') and m.lot_id is not null
      group by m.from_id, m.lot_id having sum(m.quantity) > coalesce(max(h.quantity), 0);
  end if;
  -- Only what may be used is used, on the day of the event; a deviation says why not, but never
  -- for what was rejected. Decisions wait for the same lock, so none can come in between.
  if kind in ('draw', 'sale', 'fill') then
    select c.lot_id, c.status, least(l.expires_on, l.retest_on) as last_day into bad
      from unnest(moves) m
      join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = m.lot_id
      join ledger_lot l on l.coop_id = coop and l.id = m.lot_id
      where m.from_kind = 'store' and (c.status = 'rejected' or deviation = ''
        and (c.status <> 'released' or least(l.expires_on, l.retest_on) < day))
      order by m.line limit 1;
    if found then
      raise exception 'The lot may not be used.' using errcode = '23514', constraint = 'lot_usable',
        detail = ledger_lot_facts(bad.lot_id)
          || jsonb_build_object('status', bad.status, 'last_day', bad.last_day);
    end if;
  end if;

  -- What leaves a store is taken from its cost layers, at the value that it has there.
  if leaves_store then
    with draw as (
      -- Each draw is a stretch of the pool's queue, which ends at `ends`, in the order of the
      -- lines.
      select m.line, m.material_id, m.quantity, q.queue,
             sum(m.quantity) over (partition by m.material_id, q.queue order by m.line) as ends
        from unnest(moves) m
        join ledger_pool p on p.coop_id = coop and p.maker_id = maker
          and p.material_id = m.material_id
        cross join lateral (values (case when p.cost_formula = 'lot' then m.lot_id end)) q(queue)
        where m.from_kind = 'store' and m.to_kind <> 'store'
    ), piece as (
      -- Where it overlaps a layer's stretch, it takes from that layer.
      select d.line, l.id as layer_id, l.quantity, l.value,
             greatest(d.ends - d.quantity, l.ends - l.quantity) - (l.ends - l.quantity) as a,
             least(d.ends, l.ends) - (l.ends - l.quantity) as b
        from draw d
        cross join lateral (
          select y.id, y.quantity, y.value, sum(y.quantity) over (order by y.ordinal) as ends
            from ledger_layer y
            where y.coop_id = coop and y.maker_id = maker and y.material_id = d.material_id
              and y.any_left and (d.queue is null or y.lot_id = d.queue)) l
        where l.ends > d.ends - d.quantity and l.ends - l.quantity < d.ends
    ), taken as (
      insert into ledger_layerposting (coop_id, maker_id, entry_id, line, layer_id, quantity, value)
      -- Rounded at both ends of the stretch, so that whoever takes the last gram takes the last
      -- cent.
      select coop, maker, entry, line, layer_id, -(b - a),
             ledger_part(value, a, quantity) - ledger_part(value, b, quantity)
        from piece
      returning line, layer_id, quantity, value
    ), carried as (
      update ledger_layer l set quantity = l.quantity + d.quantity, value = l.value + d.value
        from (select layer_id, sum(quantity) as quantity, sum(value) as value from taken
          group by layer_id) d
        where l.coop_id = coop and l.id = d.layer_id
    )
    select array_agg(row(m.line, m.from_id, m.from_kind, m.to_id, m.to_kind, m.lot_id,
      m.material_id, m.quantity,
                         case when m.from_kind = 'store' and m.to_kind <> 'store'
                           and m.lot_id is not null
                              then coalesce(d.value, 0) else m.value end)::ledger_move
                                order by m.line)
      into moves
      from unnest(moves) m left join (select line, -sum(value) as value from taken group by line) d
        using (line);
  end if;
  -- What leaves any other account without a value takes its share of what lies there.
  if asks_share then
    select array_agg(row(m.line, m.from_id, m.from_kind, m.to_id, m.to_kind, m.lot_id,
      m.material_id, m.quantity,
                         coalesce(m.value, ledger_part(h.value, m.quantity, h.quantity),
                           0))::ledger_move
                     order by m.line)
      into moves
      from unnest(moves) m
      left join ledger_holding h on h.coop_id = coop and h.account_id = m.from_id
        and h.lot_id = m.lot_id
        and h.quantity > 0;
  end if;
  if enters_store then
    perform ledger_open_layers(moves);
    with given as (
      insert into ledger_layerposting (coop_id, maker_id, entry_id, line, layer_id, quantity, value)
      select coop, maker, entry, m.line, l.id, m.quantity, m.value
        from unnest(moves) m
        join ledger_pool p on p.coop_id = coop and p.maker_id = maker
          and p.material_id = m.material_id
        join ledger_layer l on l.coop_id = coop and l.maker_id = maker
          and l.material_id = m.material_id
          and l.lot_id is not distinct from case when p.cost_formula <> 'average' then m.lot_id end
        where m.to_kind = 'store' and m.from_kind <> 'store'
      returning layer_id, quantity, value
    )
    update ledger_layer l set quantity = l.quantity + d.quantity, value = l.value + d.value
      from (select layer_id, sum(quantity) as quantity, sum(value) as value from given
        group by layer_id) d
      where l.coop_id = coop and l.id = d.layer_id;
  end if;

  with carried as (
    merge into ledger_holding h
    using (select d.account_id, d.lot_id, d.material_id, d.kind, sum(d.quantity) as quantity,
      sum(d.value) as value
             from (select m.from_id, m.lot_id, m.material_id, m.from_kind, -m.quantity, -m.value
               from unnest(moves) m
                   union all
                   select m.to_id, m.lot_id, m.material_id, m.to_kind, m.quantity, m.value
                     from unnest(moves) m
                  ) d(account_id, lot_id, material_id, kind, quantity, value)
             where d.lot_id is not null group by 1, 2, 3, 4) d
      on h.coop_id = coop and h.account_id = d.account_id and h.lot_id = d.lot_id
    when matched then update set
      quantity = case when h.kind in ('store', 'batch') and d.quantity < 0
                        and h.quantity + d.quantity < 0
                      then ledger_not_enough(d.lot_id, h.quantity, -d.quantity)
                      else h.quantity + d.quantity end,
      value = h.value + d.value, last_on = greatest(h.last_on, day)
    when not matched then insert (coop_id, maker_id, account_id, lot_id, material_id, kind,
      quantity, value, last_on)
      values (coop, maker, d.account_id, d.lot_id, d.material_id, d.kind,
              case when d.kind in ('store', 'batch') and d.quantity < 0
                   then ledger_not_enough(d.lot_id, 0, -d.quantity) else d.quantity end,
              d.value, day)
    returning h.last_on
  )
  select bool_or(last_on > day) into back_dated from carried;

  insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
    value, happened_on)
  select coop, maker, entry, s.line, s.account_id, m.lot_id, s.sign * m.quantity, s.sign * m.value,
    day
    from unnest(moves) m
    cross join lateral (values (2 * m.line - 1, m.from_id, -1), (2 * m.line, m.to_id, 1)) s(line,
      account_id, sign);

  if back_dated then
    perform ledger_check_days(entry, day);
  end if;
  select exists (select from ledger_watch w
             where w.coop_id = coop and w.maker_id = maker and w.material_id = any (materials)),
         exists (select from ledger_reservation r where r.coop_id = coop and r.maker_id = maker
             and r.lot_id = any (lots) and r.quantity > 0)
    into is_watched, is_promised;
  if is_watched then
    perform ledger_owe_checks(materials);
  end if;
  if is_promised then
    perform ledger_keep_promises(entry, moves, kind);
  end if;
  return array(select m.value from unnest(moves) m order by m.line);
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

-- Takes back exactly the postings that the entry made, at their value.
create function ledger_reverse_entry(
  entry uuid, original uuid, happened_at timestamptz, person int, reason text) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  day date;
  way json;
begin
  perform ledger_lock_pools(array(
    select distinct c.material_id from ledger_posting p
      join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = p.lot_id
      where p.coop_id = coop and p.maker_id = maker and p.entry_id = original));
  if happened_at < (select e.happened_at from ledger_entry e where e.coop_id = coop
    and e.id = original) then
    raise exception 'An entry is not undone before it happened.'
      using errcode = '23514', constraint = 'reversal_after_its_entry';
  end if;
  day := ledger_open_entry(entry, 'reversal', happened_at, person, reason, '', '{}', original);

  insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
    value, happened_on)
  select coop, maker, entry, p.line, p.account_id, p.lot_id, -p.quantity, -p.value, day
    from ledger_posting p where p.coop_id = coop and p.maker_id = maker and p.entry_id = original;

  perform ledger_open_layers(array(
    select row(p.line, null, null, p.account_id, 'store', p.lot_id, h.material_id, -p.quantity,
      -p.value)::ledger_move
      from ledger_posting p
      join ledger_holding h on h.coop_id = coop and h.account_id = p.account_id
        and h.lot_id = p.lot_id
      where p.coop_id = coop and p.entry_id = entry and h.kind = 'store' and p.quantity > 0));
  -- Back to the layers they came from; where the cost formula has changed since, to today's.
  insert into ledger_layerposting (coop_id, maker_id, entry_id, line, layer_id, quantity, value)
  select coop, maker, entry, p.line, now_layer.id, -sum(p.quantity), -sum(p.value)
    from ledger_layerposting p
    join ledger_layer l on l.coop_id = coop and l.id = p.layer_id
    join ledger_pool o on o.coop_id = coop and o.maker_id = maker and o.material_id = l.material_id
    join ledger_posting q on q.coop_id = coop and q.entry_id = original
      and q.line = case when p.quantity < 0 then 2 * p.line - 1 else 2 * p.line end
    join ledger_layer now_layer on now_layer.coop_id = coop and now_layer.maker_id = maker
      and now_layer.material_id = l.material_id
      and now_layer.lot_id is not distinct from case o.cost_formula
        when 'average' then null when 'lot' then q.lot_id else coalesce(l.lot_id, q.lot_id) end
    where p.coop_id = coop and p.maker_id = maker and p.entry_id = original
    group by p.line, now_layer.id;

  -- Which entries stand in the way: what they took is missing from a holding or a layer, or it is
  -- a return of the very sale. What was itself undone since does not count, nor does its undoing.
  select json_build_object('entries', json_agg(s.entry_id order by s.entry_id),
                           'formula_changed', bool_or(e.kind = 'cost_formula'))
    into way from (
    select later.entry_id
      from (select p.account_id, p.lot_id, sum(p.quantity) as quantity, sum(p.value) as value
              from ledger_posting p where p.coop_id = coop and p.entry_id = entry group by 1, 2) p
      join ledger_holding h on h.coop_id = coop and h.account_id = p.account_id
        and h.lot_id = p.lot_id
        and (h.kind in ('store', 'batch') and h.quantity + p.quantity < 0
             or h.kind = 'batch' and (h.value + p.value < 0
                                      or h.quantity + p.quantity = 0 and h.value + p.value <> 0))
      join ledger_posting later on later.coop_id = coop and later.account_id = p.account_id
        and later.lot_id = p.lot_id and later.quantity < 0 and later.entry_id > original
    union
    select later.entry_id
      from (select p.layer_id, sum(p.quantity) as quantity, sum(p.value) as value
        from ledger_layerposting p
              where p.coop_id = coop and p.entry_id = entry group by 1) p
      join ledger_layer l on l.coop_id = coop and l.id = p.layer_id
        and (l.quantity + p.quantity < 0 or l.value + p.value < 0
             or l.quantity + p.quantity = 0 and l.value + p.value <> 0)
      join ledger_layerposting later on later.coop_id = coop and later.layer_id = p.layer_id
        and later.entry_id > original
      join ledger_entry x on x.coop_id = coop and x.id = later.entry_id
        and (later.quantity < 0 or x.kind = 'cost_formula')
    union
    select later.entry_id
      from ledger_posting p
      join ledger_posting later on later.coop_id = coop and later.account_id = p.account_id
        and later.lot_id = p.lot_id and later.quantity < 0 and later.entry_id > original
      join ledger_entry r on r.coop_id = coop and r.id = later.entry_id
        and r.kind = 'customer_return' and r.details ->> 'sale' = original::text
      where p.coop_id = coop and p.entry_id = entry and p.quantity < 0
  ) s
    join ledger_entry e on e.coop_id = coop and e.id = s.entry_id
    where s.entry_id <> entry and coalesce(e.reverses_id <= original, true)
      and not exists (select from ledger_entry r where r.coop_id = coop
        and r.reverses_id = s.entry_id)
    having count(*) > 0;
  if way is not null then
    raise exception 'What the entry moved has been used since.' using errcode = '23514',
      constraint = 'entry_not_used_since', detail = way;
  end if;

  merge into ledger_holding h
  using (select p.account_id, p.lot_id, sum(p.quantity) as quantity, sum(p.value) as value
           from ledger_posting p where p.coop_id = coop and p.entry_id = entry
             and p.lot_id is not null
           group by 1, 2) d
    on h.coop_id = coop and h.account_id = d.account_id and h.lot_id = d.lot_id
  when matched then update set quantity = h.quantity + d.quantity, value = h.value + d.value,
                               last_on = greatest(h.last_on, day);
  perform ledger_carry(entry);
  perform ledger_check_days(entry, day);
  perform ledger_keep_promises(entry, array(
    select row((p.line + 1) / 2, p.account_id, h.kind, null, null, p.lot_id, h.material_id,
      -p.quantity, -p.value)::ledger_move
      from ledger_posting p
      join ledger_holding h on h.coop_id = coop and h.account_id = p.account_id
        and h.lot_id = p.lot_id
      where p.coop_id = coop and p.entry_id = entry and p.quantity < 0), 'reversal');
end $$;

-- Whoever posts changes these rows again and again; room beside them keeps the changes out of the
-- indexes.
alter table ledger_holding set (fillfactor = 70);
alter table ledger_layer set (fillfactor = 70);

-- Sums to zero are checked again where nobody can forget it, and an entry stays sealed.
create function ledger_check_postings() returns trigger language plpgsql as $$
declare
  bad record;
begin
  select grouping(lot_id) = 0 as of_lot, grouping(maker_id) = 0 as of_maker into bad from added
    group by grouping sets ((coop_id, entry_id, lot_id), (coop_id, entry_id, maker_id), (coop_id,
      entry_id))
    having grouping(lot_id) = 0 and sum(quantity) <> 0
      or grouping(maker_id) = 0 and sum(value) <> 0
      or grouping(lot_id, maker_id) = 3 and not exists (
        select from ledger_entry e
          where e.coop_id = added.coop_id and e.id = added.entry_id
            and e.posted_in = pg_current_xact_id())
    limit 1;
  if bad.of_lot then
    raise exception 'The quantities of an entry do not sum to zero.'
      using errcode = '23514', constraint = 'entry_quantities_sum_to_zero';
  elsif bad.of_maker then
    raise exception 'The values of an entry do not sum to zero.'
      using errcode = '23514', constraint = 'entry_values_sum_to_zero';
  elsif found then
    raise exception 'An entry is sealed with its transaction.'
      using errcode = '23514', constraint = 'entry_sealed';
  end if;
  return null;
end $$;
create trigger check_postings after insert on ledger_posting
  referencing new table as added for each statement execute function ledger_check_postings();

select walls.define('ledger_lock_pools(uuid[])'),
       walls.define('ledger_post_entry(uuid, text, timestamptz, int, text, text, jsonb, '
                    'uuid[], uuid[], uuid[], numeric[], numeric[])'),
       walls.define('ledger_reverse_entry(uuid, uuid, timestamptz, int, text)');
