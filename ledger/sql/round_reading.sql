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

-- What the round has promised to whom. Who is neither the buyer nor acts for the co-op is told the
-- others' figures without their names: what each gets of a short delivery follows from all of them.
create or replace function ledger_round_dues(round uuid) returns table (
  part bigint, maker_id uuid, maker_name text, material_id uuid, quantity numeric, amount numeric,
  leftover numeric, leftover_amount numeric, alone numeric, alone_orders jsonb)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select dense_rank() over (order by m.id), case when told.named then m.id end,
         case when told.named then m.name end, l.material_id, l.quantity, l.amount,
         l.leftover, l.leftover_amount, s.alone, s.alone_orders
    from ledger_round_seen(round) r
    join ledger_roundshareline l on l.coop_id = r.coop_id and l.round_id = r.id and l.dropped = ''
    join ledger_roundshare s on s.coop_id = r.coop_id and s.round_id = r.id
      and s.maker_id = l.maker_id
    join ledger_maker m on m.coop_id = r.coop_id and m.id = l.maker_id
    cross join lateral (
      select coalesce(own.maker in (ledger_round_buyer(r.id), l.maker_id), true)
        from (select nullif(current_setting('app.maker', true), '')::uuid) own(maker)) told(named)
    order by 1, l.id
$$;

-- What the round has ordered of each material, what came of it and what that cost: what lies in the
-- suppliers' accounts, so that returns, late bills and what was undone are heeded. `goods` and
-- `landed` are as the deliveries said. Nothing is to come of what was not written.
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
      group by 1),
  arrived as (
    select p.material_id, -sum(h.quantity) as quantity, -sum(h.value) as value,
           sum(i.goods) as goods, sum(i.landed_cost) as landed
      from placed p
      join ledger_receiptline i on i.coop_id = p.coop_id and i.order_line_id = p.id
      join lateral (
        select sum(x.quantity) as quantity, sum(x.value) as value from ledger_holding x
          where x.coop_id = i.coop_id and x.maker_id = i.maker_id and x.lot_id = i.lot_id
            and x.kind = 'supplier') h on h.quantity < 0
      group by 1)
  select a.material_id, a.ordered, a.goods, a.written, coalesce(w.quantity, 0),
         coalesce(c.quantity, 0), coalesce(c.value, 0), coalesce(c.goods, 0),
         coalesce(c.landed, 0)
    from asked a left join waiting w using (material_id) left join arrived c using (material_id)
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
