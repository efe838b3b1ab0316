-- Handing out what came of a round: the buyer moves to each maker what it is owed, once, and in one
-- transaction. Who pledged has agreed to its fair share, so nobody accepts what comes of it again.

select walls.key('ledger_roundhandout', false), walls.key('ledger_roundportion', true);
select walls.wall('ledger_roundhandout', format('coop_id = %s', walls.reads('app.coop')),
                  format('coop_id = %s', walls.reads('app.coop'))),
       walls.wall('ledger_roundportion', seen, seen)
  from (select format('coop_id = %1$s and (maker_id = %2$s or to_maker_id = %2$s or %2$s is null)',
                      walls.reads('app.coop'), walls.reads('app.maker'))) s(seen);
select walls.link('ledger_roundhandout', 'round_id', 'ledger_orderround'),
       walls.link('ledger_roundportion', 'maker_id', 'ledger_maker'),
       walls.link('ledger_roundportion', 'to_maker_id', 'ledger_maker'),
       walls.link('ledger_roundportion', 'hand_out_id', 'ledger_roundhandout'),
       walls.link('ledger_roundportion', 'material_id', 'ledger_material'),
       walls.link('ledger_roundportion', 'transfer_id', 'ledger_transfer'),
       walls.append_only('ledger_roundhandout'), walls.append_only('ledger_roundportion');
-- Both are written by the function below alone.
revoke insert on ledger_roundhandout, ledger_roundportion from stillroom;
grant select, insert on ledger_roundhandout, ledger_roundportion to stillroom_ledger;
grant select on ledger_offer, ledger_roundorder, ledger_roundorderline, ledger_roundplacement,
  ledger_roundshare, ledger_roundshareline to stillroom_ledger;

-- A round in which the acting maker buys or has a share; whoever acts for the co-op sees all.
create function ledger_round_seen(round uuid) returns ledger_orderround stable language sql as $$
  select r.* from ledger_orderround r,
         (select nullif(current_setting('app.maker', true), '')::uuid) own(maker)
    where r.coop_id = nullif(current_setting('app.coop', true), '')::uuid and r.id = round
      and (own.maker is null or own.maker = r.buyer_id
           or exists (select from ledger_roundshare s where s.coop_id = r.coop_id
                        and s.round_id = r.id and s.maker_id = own.maker))
$$;

-- What the round has promised to whom. Who is neither the buyer nor acts for the co-op is told the
-- others' figures without their names: what each gets of a short delivery follows from all of them.
create function ledger_round_dues(round uuid) returns table (
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
      select coalesce(own.maker in (r.buyer_id, l.maker_id), true)
        from (select nullif(current_setting('app.maker', true), '')::uuid) own(maker)) told(named)
    order by 1, l.id
$$;

-- What the round has ordered of each material, what came of it and what that cost: what lies in the
-- suppliers' accounts, so that returns, late bills and what was undone are heeded. `goods` and
-- `landed` are as the deliveries said. Nothing is to come of what was not written.
create function ledger_round_delivered(round uuid) returns table (
  material_id uuid, ordered numeric, ordered_goods numeric, written boolean, to_come numeric,
  came numeric, paid numeric, goods numeric, landed numeric)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  with asked as (
    select f.material_id, sum(l.quantity) as ordered, sum(l.amount) as goods,
           bool_and(exists (select from ledger_roundplacement p
                              where p.coop_id = o.coop_id and p.order_id = o.id)) as written
      from ledger_round_seen(round) r
      join ledger_roundorder o on o.coop_id = r.coop_id and o.round_id = r.id
      join ledger_roundorderline l on l.coop_id = o.coop_id and l.order_id = o.id
      join ledger_offer f on f.coop_id = l.coop_id and f.id = l.offer_id
      group by 1),
  placed as (
    select l.coop_id, l.maker_id, l.id, l.material_id
      from ledger_round_seen(round) r
      join ledger_roundorder o on o.coop_id = r.coop_id and o.round_id = r.id
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
create function ledger_round_lots(round uuid) returns table (lot_id uuid)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  with recursive lots(coop_id, maker_id, id) as (
    select i.coop_id, i.maker_id, i.lot_id
      from ledger_orderround r
      join ledger_roundorder o on o.coop_id = r.coop_id and o.round_id = r.id
      join ledger_roundplacement p on p.coop_id = o.coop_id and p.order_id = o.id
      join ledger_purchaseorderline l on l.coop_id = p.coop_id and l.order_id = p.purchase_order_id
      join ledger_receiptline i on i.coop_id = l.coop_id and i.order_line_id = l.id
      where r.coop_id = nullif(current_setting('app.coop', true), '')::uuid and r.id = round
        and r.buyer_id = nullif(current_setting('app.maker', true), '')::uuid
    union
    select d.coop_id, d.maker_id, w.lot_id
      from lots
      join ledger_decanting d on d.coop_id = lots.coop_id and d.maker_id = lots.maker_id
        and d.lot_id = lots.id
      join ledger_decantingdraw w on w.coop_id = d.coop_id and w.decanting_id = d.id)
  select id from lots
$$;
grant select on ledger_decanting, ledger_decantingdraw to stillroom_ledger;

-- Locks all that a hand-out touches, of the buyer and of all who get something, in the one order in
-- which every move locks. Only the buyer hands out.
create function ledger_begin_hand_out(round uuid) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  acting uuid := nullif(current_setting('app.maker', true), '')::uuid;
  who record;
begin
  if not exists (select from ledger_orderround r
                   where r.coop_id = coop and r.id = round and r.buyer_id = acting) then
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

-- Moves the portions out of the lots. `moves` are in order of material and maker, each with its
-- ids; one without a lot stays with the buyer. A receiver gets no more than the round has promised
-- it, to the step of a scale, and all pay what was paid.
create function ledger_hand_out(
  handed uuid, round uuid, happened timestamptz, given_by int, why text, paid numeric,
  within_alone boolean, digits int, deciders text[], moves jsonb) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  acting uuid := nullif(current_setting('app.maker', true), '')::uuid;
  m record;
  t ledger_transfer;
  stands text;
  basis text;
begin
  perform ledger_begin_hand_out(round);
  insert into ledger_roundhandout (coop_id, id, round_id, happened_at, note, paid, within_alone,
    person_id, recorded_at)
  values (coop, handed, round, happened, why, paid, within_alone, given_by, clock_timestamp());
  if (select sum((x ->> 'amount')::numeric) from jsonb_array_elements(moves) x)
       is distinct from paid
     or exists (
       select from (select (x ->> 'maker')::uuid as maker, (x ->> 'material')::uuid as material,
                           sum((x ->> 'quantity')::numeric) as quantity
                      from jsonb_array_elements(moves) x group by 1, 2) g
         left join ledger_roundshareline l on l.coop_id = coop and l.round_id = round
           and l.dropped = '' and l.maker_id = g.maker and l.material_id = g.material
         where l.id is null or g.quantity >= l.quantity + l.leftover + 0.01) then
    raise exception 'The portions are not those of the round.'
      using errcode = '23514', constraint = 'round_portions_as_split';
  end if;
  for m in
    select x.*, p.person_id as taken_by, g.role
      from rows from (jsonb_to_recordset(moves) as (id uuid, maker uuid, material uuid, lot uuid,
             quantity numeric, amount numeric, entered text, out_entry uuid, in_entry uuid,
             giver_accounts uuid[], receiver_accounts uuid[])) with ordinality x
      join ledger_roundshareline l on l.coop_id = coop and l.round_id = round and l.dropped = ''
        and l.maker_id = x.maker and l.material_id = x.material
      join ledger_roundpledge p on p.coop_id = coop and p.id = l.pledge_id
      left join ledger_membership g on g.coop_id = coop and g.maker_id = x.maker
        and g.person_id = p.person_id
      order by x.ordinality
  loop
    if m.lot is not null then
      select c.status into stands from ledger_custody c
        where c.coop_id = coop and c.maker_id = acting and c.lot_id = m.lot;
      if stands is distinct from 'released' then
        raise exception 'The lot is not released.' using errcode = '23514',
          constraint = 'round_lot_released',
          detail = ledger_lot_facts(m.lot) || jsonb_build_object('status', stands);
      end if;
      -- As with a claim: it arrives released where whoever pledged may release lots.
      select 'released by ' || g.name || ', as it came' into basis from ledger_maker g
        where g.coop_id = coop and g.id = acting and m.role = any (deciders) and not exists (
          select from ledger_custody h
            where h.coop_id = coop and h.maker_id = m.maker and h.lot_id = m.lot);
      insert into ledger_transfer (coop_id, maker_id, to_maker_id, id, lot_id, material_id, entered,
        quantity, price, note, happened_at, person_id, offered_at, state, reason)
      values (coop, acting, m.maker, m.id, m.lot, m.material, m.entered, m.quantity, m.amount, why,
              happened, given_by, clock_timestamp(), 'open', '')
        returning * into t;
      perform ledger_move_between(t, happened, given_by, m.taken_by, digits, basis, m.out_entry,
        m.in_entry, m.giver_accounts, m.receiver_accounts);
    end if;
    insert into ledger_roundportion (coop_id, maker_id, to_maker_id, id, hand_out_id, material_id,
      quantity, amount, transfer_id)
    values (coop, acting, m.maker, uuidv7(), handed, m.material, m.quantity, m.amount,
            case when m.lot is not null then m.id end);
  end loop;
end $$;

select walls.define('ledger_round_dues(uuid)'),
       walls.define('ledger_round_delivered(uuid)'),
       walls.define('ledger_round_lots(uuid)'),
       walls.define('ledger_begin_hand_out(uuid)'),
       walls.define('ledger_hand_out(uuid, uuid, timestamptz, int, text, numeric, boolean, int,'
                    ' text[], jsonb)');
