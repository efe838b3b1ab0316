-- What came of a round and to whom it is due, as its buyer, its makers and the co-op may know it.

-- A round in which the acting maker buys or has a share; whoever acts for the co-op sees all.
create or replace function ledger_round_seen(round uuid) returns ledger_orderround
stable language sql as $$
  select r.* from ledger_orderround r,
         (select nullif(current_setting('app.maker', true), '')::uuid) own(maker)
    where r.coop_id = nullif(current_setting('app.coop', true), '')::uuid and r.id = round
      and (own.maker is null or own.maker = ledger_round_buyer(r.id)
           or exists (select from ledger_roundshare s where s.coop_id = r.coop_id
                        and s.round_id = r.id and s.maker_id = own.maker))
$$;

-- Who knows what all get of a round: its buyer, who hands it out, and whoever acts for the co-op.
create or replace function ledger_round_told(round uuid) returns boolean
stable language sql as $$
  select coalesce(ledger_round_buyer(round)
                  = nullif(current_setting('app.maker', true), '')::uuid, true)
$$;

-- What the round has promised to whom: all of it to its buyer and to whoever acts for the co-op,
-- and to any other maker its own, since of two the other's is what is left.
create or replace function ledger_round_dues(round uuid) returns table (
  part bigint, maker_id uuid, maker_name text, material_id uuid, quantity numeric, amount numeric,
  leftover numeric, leftover_amount numeric, alone numeric, alone_orders jsonb)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select dense_rank() over (order by m.id), m.id, m.name, l.material_id, l.quantity, l.amount,
         l.leftover, l.leftover_amount, s.alone, s.alone_orders
    from ledger_round_seen(round) r
    join ledger_roundshareline l on l.coop_id = r.coop_id and l.round_id = r.id and l.dropped = ''
    join ledger_roundshare s on s.coop_id = r.coop_id and s.round_id = r.id
      and s.maker_id = l.maker_id
    join ledger_maker m on m.coop_id = r.coop_id and m.id = l.maker_id
    where ledger_round_told(round)
       or l.maker_id = nullif(current_setting('app.maker', true), '')::uuid
    order by 1, l.id
$$;

-- What came of each material by the orders of a round and what was paid for it, up to the hand-out
-- once that is done: what lies in the suppliers' accounts, so that returns, bills and what was
-- undone are heeded. `goods` and `landed` are as the deliveries and their bills said; a corrected
-- price and a credit are of the goods, a late charge is not. `late_goods` and `late_charges` are of
-- bills that were booked, or undone, after the hand-out.
create or replace function ledger_round_arrived(round uuid) returns table (
  material_id uuid, came numeric, paid numeric, goods numeric, landed numeric, late_goods numeric,
  late_charges numeric)
stable language sql as $$
  select l.material_id, -sum(s.quantity), -sum(s.value), sum(greatest(0, i.goods + s.of_goods)),
         sum(i.landed_cost + s.billed), sum(s.late_goods), sum(s.late - s.late_goods)
    from ledger_round_seen(round) r
    left join ledger_roundhandout h on h.coop_id = r.coop_id and h.round_id = r.id
    join ledger_roundorder o on o.coop_id = r.coop_id and o.round_id = r.id
      and o.maker_id = ledger_round_buyer(r.id)
    join ledger_roundplacement p on p.coop_id = o.coop_id and p.order_id = o.id
    join ledger_purchaseorderline l on l.coop_id = p.coop_id and l.order_id = p.purchase_order_id
    join ledger_receiptline i on i.coop_id = l.coop_id and i.order_line_id = l.id
    join lateral (
      select sum(x.quantity) filter (where k.before) as quantity,
             sum(x.value) filter (where k.before) as value,
             coalesce(-sum(x.value) filter (where k.bill and k.before), 0) as billed,
             coalesce(-sum(x.value) filter (where k.bill and k.before and k.goods), 0) as of_goods,
             coalesce(-sum(x.value) filter (where k.bill and not k.before), 0) as late,
             coalesce(-sum(x.value) filter (where k.bill and not k.before and k.goods), 0)
               as late_goods
        from ledger_account a
        join ledger_posting x on x.coop_id = a.coop_id and x.account_id = a.id
          and x.lot_id = i.lot_id
        join ledger_entry e on e.coop_id = x.coop_id and e.id = x.entry_id
        left join ledger_entry u on u.coop_id = e.coop_id and u.id = e.reverses_id
        cross join lateral (
          select x.quantity = 0, coalesce(u.kind, e.kind) <> 'late_charge',
                 h.id is null or e.recorded_at <= h.recorded_at) k(bill, goods, before)
        where a.coop_id = i.coop_id and a.maker_id = i.maker_id and a.kind = 'supplier') s
      on s.quantity < 0
    group by 1
$$;

-- What the round has ordered of each material, beside what came of it. Nothing is to come of what
-- was not written. Who only gets some of it is told of its own materials whether they are written,
-- and whether any is to come (null), but not how much of what for how much: whole packs of two
-- makers, less one's own, are the other's.
create or replace function ledger_round_delivered(round uuid) returns table (
  material_id uuid, ordered numeric, ordered_goods numeric, written boolean, to_come numeric,
  came numeric, paid numeric, goods numeric, landed numeric)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  with asked as (
    select f.material_id, sum(l.quantity) as ordered, sum(l.amount) as goods,
           bool_and(exists (select from ledger_roundplacement p
                              where p.coop_id = o.coop_id and p.order_id = o.id)) as written
      from ledger_round_seen(round) r
      join ledger_roundorder o on o.coop_id = r.coop_id and o.round_id = r.id
        and o.maker_id = ledger_round_buyer(r.id)
      join ledger_roundorderline l on l.coop_id = o.coop_id and l.order_id = o.id
      join ledger_offer f on f.coop_id = l.coop_id and f.id = l.offer_id
      group by 1),
  placed as (
    select l.coop_id, l.maker_id, l.id, l.material_id
      from ledger_round_seen(round) r
      join ledger_roundorder o on o.coop_id = r.coop_id and o.round_id = r.id
        and o.maker_id = ledger_round_buyer(r.id)
      join ledger_roundplacement p on p.coop_id = o.coop_id and p.order_id = o.id
      join ledger_purchaseorderline l on l.coop_id = p.coop_id
        and l.order_id = p.purchase_order_id),
  waiting as (
    select p.material_id, sum(w.quantity) as quantity
      from placed p
      join ledger_onorder w on w.coop_id = p.coop_id and w.maker_id = p.maker_id
        and w.line_id = p.id
      group by 1)
  select a.material_id, case when t.told then a.ordered end, case when t.told then a.goods end,
         a.written, case when t.told or w.quantity is null or w.quantity = 0
                         then coalesce(w.quantity, 0) end,
         case when t.told then coalesce(c.came, 0) end,
         case when t.told then coalesce(c.paid, 0) end,
         case when t.told then coalesce(c.goods, 0) end,
         case when t.told then coalesce(c.landed, 0) end
    from asked a
    cross join (select ledger_round_told(round)) t(told)
    left join waiting w using (material_id)
    left join ledger_round_arrived(round) c using (material_id)
    where t.told or exists (
      select from ledger_round_dues(round) d where d.material_id = a.material_id)
    order by 1
$$;

-- The lots that came of a round's orders, and what was drawn off from them; the buyer's own.
create or replace function ledger_round_lots(round uuid) returns table (lot_id uuid)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  with recursive lots(coop_id, maker_id, id) as (
    select i.coop_id, i.maker_id, i.lot_id
      from ledger_orderround r
      join ledger_roundorder o on o.coop_id = r.coop_id and o.round_id = r.id
        and o.maker_id = ledger_round_buyer(r.id)
      join ledger_roundplacement p on p.coop_id = o.coop_id and p.order_id = o.id
      join ledger_purchaseorderline l on l.coop_id = p.coop_id and l.order_id = p.purchase_order_id
      join ledger_receiptline i on i.coop_id = l.coop_id and i.order_line_id = l.id
      where r.coop_id = nullif(current_setting('app.coop', true), '')::uuid and r.id = round
        and ledger_round_buyer(r.id) = nullif(current_setting('app.maker', true), '')::uuid
    union
    select d.coop_id, d.maker_id, w.lot_id
      from lots
      join ledger_decanting d on d.coop_id = lots.coop_id and d.maker_id = lots.maker_id
        and d.lot_id = lots.id
      join ledger_decantingdraw w on w.coop_id = d.coop_id and w.decanting_id = d.id)
  select id from lots
$$;

-- Locks all that a hand-out touches, of the buyer and of all who get something, in the one order in
-- which every move locks. Only the buyer hands out.
create or replace function ledger_begin_hand_out(round uuid) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  acting uuid := nullif(current_setting('app.maker', true), '')::uuid;
  who record;
begin
  if not exists (select from ledger_orderround r
                   where r.coop_id = coop and r.id = round
                     and ledger_round_buyer(r.id) = acting) then
    raise exception 'No such round.' using errcode = '23514', constraint = 'round_is_there';
  end if;
  for who in
    select s.maker, array_agg(distinct s.material order by s.material) as materials
      from (select l.maker_id, l.material_id from ledger_roundshareline l
              where l.coop_id = coop and l.round_id = round and l.dropped = ''
            union select acting, l.material_id from ledger_roundshareline l
              where l.coop_id = coop and l.round_id = round and l.dropped = '') s(maker, material)
      group by 1 order by 1
  loop
    perform set_config('app.maker', who.maker::text, true);
    perform ledger_make_pools(who.materials);
  end loop;
  perform set_config('app.maker', acting::text, true);
  perform from ledger_pool p
    where p.coop_id = coop and exists (
      select from ledger_roundshareline l where l.coop_id = coop and l.round_id = round
        and l.dropped = '' and l.material_id = p.material_id and p.maker_id in (l.maker_id, acting))
    order by p.material_id, p.maker_id for update;
end $$;

select walls.define('ledger_round_dues(uuid)'),
       walls.define('ledger_round_delivered(uuid)'),
       walls.define('ledger_round_lots(uuid)'),
       walls.define('ledger_begin_hand_out(uuid)');
