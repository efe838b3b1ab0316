-- The heart: one event, one call, one round trip.
--
-- An entry is given as moves: so much of a lot, worth so much, from one account to another. Each
-- move becomes two postings, so that quantity and value sum to zero by their shape; a trigger
-- checks it again. A move without a value takes it from where the goods lie: out of a store by the
-- maker's cost formula, out of any other account in proportion to what lies there.
--
-- The pool rows of the materials are locked first, in order. Every holding, layer and reservation
-- of a maker belongs to one pool, so nothing else need be locked and nobody can deadlock.
create or replace function ledger_post_entry(
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
  by_lot uuid[];
  in_turn boolean;
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
    m.value)::ledger_move),
         coalesce(array_agg(c.material_id) filter (where c.material_id is not null), '{}'),
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
  -- Locked; and told on the way which of them are costed lot by lot, and whether any in turn.
  select array_agg(l.material_id) filter (where l.cost_formula = 'lot'),
         bool_or(l.cost_formula = 'fifo') into by_lot, in_turn from (
    select p.material_id, p.cost_formula from ledger_pool p
      where p.coop_id = coop and p.maker_id = maker and p.material_id = any (materials)
      order by p.material_id for update) l;
  day := ledger_open_entry(entry, kind, happened_at, person, reason, deviation, details, null);

  -- Only what is there is taken; the holdings refuse the rest below. What an entry itself brings
  -- to an account is not there yet.
  if from_accounts && to_accounts then
    perform ledger_not_enough(m.lot_id, coalesce(max(h.quantity), 0), sum(m.quantity))
      from unnest(moves) m
      left join ledger_holding h on h.coop_id = coop and h.account_id = m.from_id
        and h.lot_id = m.lot_id
      where m.from_kind in ('store', 'batch', 'consignment') and m.lot_id is not null
      group by m.from_id, m.lot_id having sum(m.quantity) > coalesce(max(h.quantity), 0);
  end if;
  -- Whoever takes the first of what lasts only so long once it is open, opens it; to take some
  -- before the day that was said shows that it was open by then, and the days it had stay its own.
  -- What was drawn before anybody knew how long it lasts, opened it then: that is kept since the
  -- material came by its days (days_given.sql), but not of what was used up by then and came back.
  -- A sale, a shop and another maker may get containers that are still sealed, and what is written
  -- off was not opened for that.
  if kind in ('draw', 'fill', 'decant', 'issue') then
    insert into ledger_lotopening (coop_id, maker_id, id, lot_id, opened_on, use_within_days,
      reason, entry_id, person_id, recorded_at)
    select coop, maker, uuidv7(), c.lot_id, d.opened_on,
           case when c.opened_on is null then x.use_within_days else c.use_by - c.opened_on end,
           '', entry, person, clock_timestamp()
      from (select distinct m.lot_id from unnest(moves) m
              where m.from_kind = 'store' and m.to_kind <> 'loss' and m.quantity > 0) drawn
      join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = drawn.lot_id
      join ledger_material x on x.coop_id = coop and x.id = c.material_id
        and (x.use_within_days is not null or c.opened_on is not null)
      join ledger_lot l on l.coop_id = coop and l.id = c.lot_id
      cross join lateral (values (greatest(l.arrived_on, least(day,
        case when c.opened_on is null then ledger_first_drawn(maker, c.lot_id) end)))) d(opened_on)
      where c.opened_on is null or c.opened_on > d.opened_on;
  end if;
  -- Only what may be used is used, on the day of the event; a deviation says why not, but never
  -- for what was rejected. Decisions wait for the same lock, so none can come in between.
  if kind in ('draw', 'sale', 'fill', 'consign') then
    select c.lot_id, c.status, c.opened_on, c.use_by, least(l.expires_on, l.retest_on) as last_day,
           least(l.expires_on, l.retest_on) < day as out_of_date into bad
      from unnest(moves) m
      join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = m.lot_id
      join ledger_lot l on l.coop_id = coop and l.id = m.lot_id
      where m.from_kind in ('store', 'consignment') and (c.status = 'rejected' or deviation = ''
        and (c.status <> 'released' or ledger_last_day(l.expires_on, l.retest_on, c.use_by) < day))
      order by m.line limit 1;
    if found then
      raise exception 'The lot may not be used.' using errcode = '23514', constraint = 'lot_usable',
        detail = ledger_lot_facts(bad.lot_id)
          || jsonb_build_object('status', bad.status, 'last_day', bad.last_day,
               'out_of_date', bad.out_of_date, 'opened_on', bad.opened_on, 'use_by', bad.use_by,
               -- Nobody had said so before: its material came by its days after that draw.
               'by_draw', not exists (select from ledger_lotopening o where o.coop_id = coop
                 and o.maker_id = maker and o.lot_id = bad.lot_id and o.opened_on = bad.opened_on
                 and o.person_id is not null and o.entry_id is distinct from entry));
    end if;
  end if;

  -- What leaves a store is taken from its cost layers, at the value that it has there.
  if leaves_store then
    if in_turn then
      moves := ledger_draw_in_turn(entry, moves, by_lot);
    else
      -- One layer has all that is left of each material, or of each lot that is costed by itself.
      -- Its lines take from it one after the other, each a stretch that ends at `ends`, rounded at
      -- both ends, so that whoever takes the last gram takes the last cent.
      with piece as materialized (
        select d.line, l.id as layer_id,
               least(d.ends, l.quantity) - least(d.ends - d.quantity, l.quantity) as quantity,
               ledger_part(l.value, least(d.ends, l.quantity), l.quantity)
                 - ledger_part(l.value, least(d.ends - d.quantity, l.quantity), l.quantity) as value
          from (
            select m.line, m.material_id, m.quantity, o.lot_id,
                   sum(m.quantity) over (partition by m.material_id, o.lot_id order by m.line)
                     as ends
              from unnest(moves) m
              cross join lateral (values (
                case when m.material_id = any (by_lot) then m.lot_id end)) o(lot_id)
              where m.from_kind = 'store' and m.to_kind <> 'store' and m.quantity > 0) d
          join ledger_layer l on l.coop_id = coop and l.maker_id = maker
            and l.material_id = d.material_id and l.any_left
            and (d.lot_id is null or l.lot_id = d.lot_id)
      ), taken as (
        insert into ledger_layerposting (coop_id, maker_id, entry_id, line, layer_id, quantity,
          value)
        select coop, maker, entry, line, layer_id, -quantity, -value from piece
      ), carried as (
        update ledger_layer l set quantity = l.quantity - d.quantity, value = l.value - d.value
          from (select layer_id, sum(quantity) as quantity, sum(value) as value from piece
            group by layer_id) d
          where l.coop_id = coop and l.id = d.layer_id
      )
      select array_agg(row(m.line, m.from_id, m.from_kind, m.to_id, m.to_kind, m.lot_id,
        m.material_id, m.quantity,
        case when m.from_kind = 'store' and m.to_kind <> 'store' and m.lot_id is not null
          then coalesce(p.value, 0) else m.value end)::ledger_move)
        into moves from unnest(moves) m left join piece p using (line);
    end if;
  end if;
  -- What leaves any other account without a value takes its share of what lies there.
  if asks_share then
    select array_agg(row(m.line, m.from_id, m.from_kind, m.to_id, m.to_kind, m.lot_id,
      m.material_id, m.quantity,
                         coalesce(m.value, ledger_part(h.value, m.quantity, h.quantity),
                           0))::ledger_move)
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
    using (select d.account_id, d.lot_id, any_value(d.material_id) as material_id,
                  any_value(d.kind) as kind, sum(d.quantity) as quantity, sum(d.value) as value
             from (select m.from_id, m.lot_id, m.material_id, m.from_kind, -m.quantity, -m.value
               from unnest(moves) m
                   union all
                   select m.to_id, m.lot_id, m.material_id, m.to_kind, m.quantity, m.value
                     from unnest(moves) m
                  ) d(account_id, lot_id, material_id, kind, quantity, value)
             where d.lot_id is not null group by 1, 2) d
      on h.coop_id = coop and h.account_id = d.account_id and h.lot_id = d.lot_id
    when matched then update set
      quantity = case when d.quantity < 0 and h.quantity + d.quantity < 0
                        and h.kind in ('store', 'batch', 'consignment')
                      then ledger_not_enough(d.lot_id, h.quantity, -d.quantity)
                      else h.quantity + d.quantity end,
      value = h.value + d.value, last_on = greatest(h.last_on, day)
    when not matched then insert (coop_id, maker_id, account_id, lot_id, material_id, kind,
      quantity, value, last_on)
      values (coop, maker, d.account_id, d.lot_id, d.material_id, d.kind,
              case when d.quantity < 0 and d.kind in ('store', 'batch', 'consignment')
                   then ledger_not_enough(d.lot_id, 0, -d.quantity) else d.quantity end,
              d.value, day)
    returning h.last_on
  )
  select bool_or(last_on > day) into back_dated from carried;

  insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
    value, happened_on)
  select coop, maker, entry, 2 * m.line - 1, m.from_id, m.lot_id, -m.quantity, -m.value, day
    from unnest(moves) m
  union all
  select coop, maker, entry, 2 * m.line, m.to_id, m.lot_id, m.quantity, m.value, day
    from unnest(moves) m;

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

select walls.define('ledger_post_entry(uuid, text, timestamptz, int, text, text, jsonb,'
                    ' uuid[], uuid[], uuid[], numeric[], numeric[])');
