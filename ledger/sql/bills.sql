-- Bills that came after their delivery: value without goods, into the layers and beside them.

select walls.key(t, true), walls.of_maker(t), walls.append_only(t)
  from unnest(array['ledger_bill', 'ledger_billline', 'ledger_billuse']) t;
select walls.link('ledger_bill', 'receipt_id', 'ledger_receipt', 'maker'),
       walls.link('ledger_bill', 'entry_id', 'ledger_entry', 'maker'),
       walls.link('ledger_bill', 'supplier_id', 'ledger_supplier'),
       walls.link('ledger_billline', 'bill_id', 'ledger_bill', 'maker'),
       walls.link('ledger_billline', 'line_id', 'ledger_receiptline', 'maker'),
       walls.link('ledger_billuse', 'line_id', 'ledger_billline', 'maker'),
       walls.link('ledger_billuse', 'account_id', 'ledger_account', 'maker'),
       walls.link('ledger_billuse', 'entry_id', 'ledger_entry', 'maker');
grant select on ledger_bill, ledger_receipt to stillroom_ledger;

-- An entry that moves value alone, of either sign: from the supplier's account, for each lot so
-- much into the layers of what is left of it, and so much to the cost difference for what is gone.
-- The layers' own constraints refuse what would take them below zero or give value to nothing.
create function ledger_revalue(
  entry uuid, kind text, happened_at timestamptz, person int, reason text, details jsonb,
  supplier uuid, store uuid, difference uuid, lots uuid[], to_stock numeric[], to_used numeric[])
returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  materials uuid[];
  day date;
begin
  if (select count(*) from ledger_account a
        where a.coop_id = coop and a.maker_id = maker and (a.id, a.kind) in (
          (supplier, 'supplier'), (store, 'store'), (difference, 'cost_difference'))) <> 3
     or exists (select from unnest(lots) l(id) where not exists (
          select from ledger_custody c
            where c.coop_id = coop and c.maker_id = maker and c.lot_id = l.id)) then
    raise exception 'An account or a lot of the entry is not there.'
      using errcode = '23514', constraint = 'entry_of_own_accounts_and_lots';
  end if;
  if kind not in ('late_charge', 'price_correction', 'credit_note')
     or exists (select from unnest(to_stock || to_used) v(amount)
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
           or a.id = supplier and (l.stock <> 0 or l.used <> 0))
    on conflict do nothing;
  insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
                              value, happened_on)
  select coop, maker, entry, s.line, s.account_id, m.lot, 0, s.sign * m.amount, day
    from (select row_number() over (order by l.place, v.which) as n, l.lot, v.account, v.amount
            from unnest(lots, to_stock, to_used) with ordinality l(lot, stock, used, place)
            cross join lateral (values (1, store, l.stock), (2, difference, l.used))
              v(which, account, amount)
            where v.amount <> 0) m
    cross join lateral (values (2 * m.n - 1, supplier, -1), (2 * m.n, m.account, 1))
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
select walls.define('ledger_revalue(uuid, text, timestamptz, int, text, jsonb, uuid, uuid, uuid,'
                    ' uuid[], numeric[], numeric[])');

-- A delivery is not undone while its bills stand. A bill is not undone once goods left the layers
-- at the cost that it gave them: they took a part of it along, and nobody gives that back.
create function ledger_keep_bills() returns trigger language plpgsql as $$
declare
  way json;
begin
  select json_build_object('entries', json_agg(s.entry_id order by s.entry_id),
                           'formula_changed', bool_or(s.formula_changed),
                           'bill', bool_or(s.of_bill))
    into way from (
    select b.entry_id, false as formula_changed, false as of_bill
      from ledger_receipt r
      join ledger_bill b on b.coop_id = r.coop_id and b.maker_id = r.maker_id
        and b.receipt_id = r.id
      where r.coop_id = new.coop_id and r.maker_id = new.maker_id
        and r.entry_id = new.reverses_id
    union
    select x.id, x.kind = 'cost_formula', true
      from ledger_bill b
      join ledger_entry e on e.coop_id = b.coop_id and e.id = b.entry_id
      join ledger_layerposting p on p.coop_id = b.coop_id and p.entry_id = b.entry_id
      join ledger_layerposting later on later.coop_id = b.coop_id and later.layer_id = p.layer_id
      -- The moment of recording is taken under the pool's lock; ids may be older than it.
      join ledger_entry x on x.coop_id = b.coop_id and x.id = later.entry_id
        and x.recorded_at > e.recorded_at and (later.quantity < 0 or x.kind = 'cost_formula')
      left join ledger_entry o on o.coop_id = b.coop_id and o.id = x.reverses_id
      where b.coop_id = new.coop_id and b.entry_id = new.reverses_id
        and coalesce(o.recorded_at <= e.recorded_at, true)
  ) s
    where not exists (select from ledger_entry u
      where u.coop_id = new.coop_id and u.reverses_id = s.entry_id)
    having count(*) > 0;
  if way is not null then
    raise exception 'What the entry moved has been used since.' using errcode = '23514',
      constraint = 'entry_not_used_since', detail = way;
  end if;
  return new;
end $$;
create trigger keep_bills before insert on ledger_entry for each row
  when (new.reverses_id is not null) execute function ledger_keep_bills();
