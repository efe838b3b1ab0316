-- An entry that moves value alone, of either sign: from one account, for each lot so much into the
-- layers of what is left of it, and so much to the cost difference for what is gone. The layers'
-- own constraints refuse what would take them below zero or give value to nothing.
create or replace function ledger_revalue_from(
  entry uuid, kind text, happened_at timestamptz, person int, reason text, details jsonb,
  source uuid, store uuid, difference uuid, lots uuid[], to_stock numeric[], to_used numeric[])
returns void language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  materials uuid[];
  day date;
begin
  if (select count(*) from ledger_account a
        where a.coop_id = coop and a.maker_id = maker and (a.id, a.kind) in (
          (source, a.kind), (store, 'store'), (difference, 'cost_difference'))) <> 3
     or exists (select from unnest(lots) l(id) where not exists (
          select from ledger_custody c
            where c.coop_id = coop and c.maker_id = maker and c.lot_id = l.id)) then
    raise exception 'An account or a lot of the entry is not there.'
      using errcode = '23514', constraint = 'entry_of_own_accounts_and_lots';
  end if;
  if exists (select from unnest(to_stock || to_used) v(amount)
          where v.amount is null or abs(v.amount) >= 'Infinity'
             or v.amount <> round(v.amount, 6)) then
    raise exception 'A bill has exact amounts.'
      using errcode = '23514', constraint = 'move_is_exact';
  end if;
  materials := array(select distinct c.material_id from ledger_custody c
    where c.coop_id = coop and c.maker_id = maker and c.lot_id = any (lots));
  perform ledger_lock_pools(materials);
  day := ledger_open_entry(entry, kind, happened_at, person, reason, '', details, null);

  -- Each move is two postings, as in every other entry: 2n - 1 gives and 2n takes.
  insert into ledger_holding (coop_id, maker_id, account_id, lot_id, material_id, kind, quantity,
                              value, last_on)
  select coop, maker, a.id, c.lot_id, c.material_id, a.kind, 0, 0, day
    from unnest(lots, to_stock, to_used) l(id, stock, used)
    join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = l.id
    join ledger_account a on a.coop_id = coop
      and (a.id = store and l.stock <> 0 or a.id = difference and l.used <> 0
           or a.id = source and (l.stock <> 0 or l.used <> 0))
    on conflict do nothing;
  insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
                              value, happened_on)
  select coop, maker, entry, s.line, s.account_id, m.lot, 0, s.sign * m.amount, day
    from (select row_number() over (order by l.place, v.which) as n, l.lot, v.account, v.amount
            from unnest(lots, to_stock, to_used) with ordinality l(lot, stock, used, place)
            cross join lateral (values (1, store, l.stock), (2, difference, l.used))
              v(which, account, amount)
            where v.amount <> 0) m
    cross join lateral (values (2 * m.n - 1, source, -1), (2 * m.n, m.account, 1))
      s(line, account_id, sign);
  insert into ledger_layerposting (coop_id, maker_id, entry_id, line, layer_id, quantity, value)
  select coop, maker, entry, p.line / 2, y.id, 0, p.value
    from ledger_posting p
    join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = p.lot_id
    join ledger_pool o on o.coop_id = coop and o.maker_id = maker and o.material_id = c.material_id
    left join ledger_layer y on y.coop_id = coop and y.maker_id = maker
      and y.material_id = c.material_id
      and y.lot_id is not distinct from case when o.cost_formula <> 'average' then p.lot_id end
    where p.coop_id = coop and p.entry_id = entry and p.account_id = store;
  update ledger_holding h set value = h.value + d.value, last_on = greatest(h.last_on, day)
    from (select p.account_id, p.lot_id, sum(p.value) as value from ledger_posting p
            where p.coop_id = coop and p.entry_id = entry group by 1, 2) d
    where h.coop_id = coop and h.account_id = d.account_id and h.lot_id = d.lot_id;
  perform ledger_carry(entry);
end $$;

-- The same for a bill of a supplier.
create or replace function ledger_revalue(
  entry uuid, kind text, happened_at timestamptz, person int, reason text, details jsonb,
  supplier uuid, store uuid, difference uuid, lots uuid[], to_stock numeric[], to_used numeric[])
returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  if not exists (select from ledger_account a
                   where a.coop_id = nullif(current_setting('app.coop', true), '')::uuid
                     and a.maker_id = nullif(current_setting('app.maker', true), '')::uuid
                     and a.id = supplier and a.kind = 'supplier') then
    raise exception 'An account of the entry is not there.'
      using errcode = '23514', constraint = 'entry_of_own_accounts_and_lots';
  end if;
  if kind not in ('late_charge', 'price_correction', 'credit_note') then
    raise exception 'A bill is of one of three kinds.'
      using errcode = '23514', constraint = 'move_is_exact';
  end if;
  perform ledger_revalue_from(entry, kind, happened_at, person, reason, details, supplier, store,
    difference, lots, to_stock, to_used);
end $$;
select walls.define('ledger_revalue(uuid, text, timestamptz, int, text, jsonb, uuid, uuid, uuid,'
                    ' uuid[], numeric[], numeric[])');
