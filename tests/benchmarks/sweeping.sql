-- A co-op of many makers with the same materials, written at once: every lot came in, was issued
-- again and again, and what is held is what its postings sum to. Foreign keys and triggers hold of
-- it as of what the ledger writes; they are not asked for each row, which would take an hour.
create schema sweeping;
create table sweeping.place (coop uuid, maker uuid, material uuid, lot uuid, maker_number int,
                             material_number int, store uuid, issued uuid, opening uuid);
create index on sweeping.place (maker);

create function sweeping.some(seed bigint, below int) returns int
language sql immutable as $$ select (hashint8(seed) & 1073741823) % below $$;

-- So many makers beside the one that there is, each with each of the co-op's materials.
create function sweeping.open_places(of_coop uuid, makers int) returns void
language plpgsql as $$
declare
  today date := (clock_timestamp() at time zone 'UTC')::date;
begin
  insert into ledger_maker
  select (jsonb_populate_record(m, jsonb_build_object(
            'id', uuidv7(), 'name', 'Bench ' || n, 'mark', 'B' || n))).*
    from ledger_maker m cross join generate_series(2, makers) n where m.coop_id = of_coop;
  analyze ledger_maker;
  insert into ledger_account (coop_id, maker_id, id, kind, name, created_at)
  select of_coop, m.id, uuidv7(), k.kind, 'of the sweep', clock_timestamp()
    from ledger_maker m cross join (values ('store'), ('issue'), ('opening')) k(kind)
    where m.coop_id = of_coop;
  insert into sweeping.place
  select of_coop, m.id, x.id, uuidv7(), m.n, x.n, s.id, i.id, o.id
    from (select id, row_number() over (order by id) as n from ledger_maker
            where coop_id = of_coop) m
    cross join (select id, row_number() over (order by id) as n from ledger_material
                  where coop_id = of_coop) x
    join ledger_account s on s.maker_id = m.id and s.name = 'of the sweep' and s.kind = 'store'
    join ledger_account i on i.maker_id = m.id and i.name = 'of the sweep' and i.kind = 'issue'
    join ledger_account o on o.maker_id = m.id and o.name = 'of the sweep' and o.kind = 'opening';
  analyze sweeping.place, ledger_account;
  -- Of twenty lots one is out of date, and one is not released.
  insert into ledger_lot (coop_id, id, code, material_id, origin_id, supplier_lot, arrived_on,
                          expires_on, dates_note, density_entered, version, created_at)
  select coop, lot, 'S' || maker_number || '.' || material_number, material, maker, 'S-1',
         today - 400, today + sweeping.some(maker_number * 1000 + material_number, 700) - 35,
         '', '', 1, clock_timestamp()
    from sweeping.place where coop = of_coop;
  insert into ledger_custody (coop_id, maker_id, lot_id, material_id, status, since)
  select coop, maker, lot, material,
         case sweeping.some(maker_number * 7000 + material_number, 20) when 0 then 'quarantine'
           else 'released' end, clock_timestamp()
    from sweeping.place where coop = of_coop;
  insert into ledger_pool (coop_id, maker_id, material_id, cost_formula)
  select coop, maker, material, 'average' from sweeping.place where coop = of_coop;
end $$;

-- Fifty moves an entry: first every lot comes in, ten kilograms of each, then it is issued.
create function sweeping.post(of_coop uuid, person int, postings_each int) returns void
language plpgsql as $$
declare
  materials int := (select max(material_number) from sweeping.place where coop = of_coop);
  now timestamptz := clock_timestamp();
begin
  create temp table move on commit drop as
  select p.*, n, n <= materials as comes,
         case when n <= materials then 10000
           else 1 + sweeping.some(p.maker_number * 100000::bigint + n, 1000) end as quantity
    from generate_series(1, postings_each / 2) n
    join sweeping.place p on p.coop = of_coop and p.material_number = 1 + (n - 1) % materials;
  analyze move;
  create temp table head on commit drop as
  select maker, (n - 1) / 50 as number, bool_or(comes) as comes, uuidv7() as entry
    from move group by 1, 2;
  insert into ledger_entry (coop_id, maker_id, id, kind, happened_at, happened_on, recorded_at,
                            person_id, reason, deviation, details)
  select of_coop, maker, entry, case when comes then 'opening' else 'issue' end, now, now::date,
         now, person, '', '', '{}' from head;
  insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
                              value, happened_on)
  select of_coop, m.maker, h.entry, 2 * ((n - 1) % 50) + side,
         case when side = 2 and m.comes or side = 1 and not m.comes then m.store
           when m.comes then m.opening else m.issued end,
         m.lot, case side when 1 then -m.quantity else m.quantity end, 0, now::date
    from move m join head h on h.maker = m.maker and h.number = (n - 1) / 50
    cross join (values (1), (2)) s(side);
  insert into ledger_holding (coop_id, account_id, lot_id, maker_id, material_id, kind, quantity,
                              value, last_on)
  select of_coop, h.account, m.lot, m.maker, m.material, h.kind, h.quantity, 0, now::date
    from (select maker, material, lot, store, issued, opening,
                 sum(quantity) filter (where comes) as came,
                 sum(quantity) filter (where not comes) as went
            from move group by 1, 2, 3, 4, 5, 6) m
    cross join lateral (values (store, 'store', came - went), (issued, 'issue', went),
                               (opening, 'opening', -came)) h(account, kind, quantity);
end $$;

-- Every material of every maker is watched, and of every sixth something is to come.
create function sweeping.watch(of_coop uuid, person int, supplier uuid) returns void
language plpgsql as $$
declare
  now timestamptz := clock_timestamp();
  of_maker uuid;
  written uuid;
begin
  insert into ledger_watch (coop_id, maker_id, id, material_id, reorder_point, entered, version)
  select coop, maker, uuidv7(), material, point, point || ' g', 1
    from sweeping.place
    cross join lateral (select sweeping.some(maker_number * 3000 + material_number, 7000)) r(point)
    where coop = of_coop;
  perform set_config('app.coop', of_coop::text, true);
  -- What is ordered is put on order by a trigger, inside the maker's walls.
  for of_maker in select distinct maker from sweeping.place where coop = of_coop loop
    perform set_config('app.maker', of_maker::text, true);
    insert into ledger_purchaseorder (coop_id, maker_id, id, number, supplier_id, written_at, note,
                                      person_id, recorded_at)
    select of_coop, of_maker, uuidv7(), 'S-' || min(maker_number), supplier, now, '', person, now
      from sweeping.place where maker = of_maker
    returning id into written;
    insert into ledger_purchaseorderline (coop_id, maker_id, id, order_id, position, material_id,
                                          packs, entered, quantity, density_of, price)
    select of_coop, of_maker, uuidv7(), written, material_number, material, 1, '1 kg', 1000, '', 10
      from sweeping.place
      where maker = of_maker and material_number % 6 = 0;
  end loop;
end $$;
