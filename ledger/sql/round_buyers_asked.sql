-- Another maker is asked to buy for a round. Whoever acts for the co-op asks, all know of it, and
-- the newest one is the buyer of the round wherever its buyer is meant.

select walls.key('ledger_roundbuyer', false), walls.in_coop('ledger_roundbuyer'),
       walls.link('ledger_roundbuyer', 'round_id', 'ledger_orderround'),
       walls.link('ledger_roundbuyer', 'buyer_id', 'ledger_maker'),
       walls.append_only('ledger_roundbuyer');
select walls.wall('ledger_roundbuyer', own,
                  own || format(' and %s is null', walls.reads('app.maker')))
  from (select format('coop_id = %s', walls.reads('app.coop'))) s(own);
grant select on ledger_roundbuyer to stillroom_ledger;
grant insert on ledger_roundorder, ledger_roundorderline to stillroom_ledger;

-- Which asking is the newest of a round; 0 is that with which it was opened.
create function ledger_round_asked(round uuid) returns int stable language sql as $$
  select coalesce(max(b.number), 0) from ledger_roundbuyer b
    where b.coop_id = nullif(current_setting('app.coop', true), '')::uuid and b.round_id = round
$$;

-- The maker that buys in a round, or is asked to.
create function ledger_round_buyer(round uuid) returns uuid stable language sql as $$
  select coalesce(b.buyer_id, r.buyer_id) from ledger_orderround r
    left join ledger_roundbuyer b on b.coop_id = r.coop_id and b.round_id = r.id
      and b.number = ledger_round_asked(round)
    where r.coop_id = nullif(current_setting('app.coop', true), '')::uuid and r.id = round
$$;

-- What it has said last; nothing as long as it has not answered.
create function ledger_round_agreed(round uuid) returns boolean stable language sql as $$
  select a.agrees from ledger_roundbuyeranswer a
    where a.coop_id = nullif(current_setting('app.coop', true), '')::uuid and a.round_id = round
      and a.asked = ledger_round_asked(round)
    order by a.id desc limit 1
$$;

-- The buyer of a round, who stays that until the transaction ends. For whoever writes its orders.
create function ledger_hold_buyer(round uuid) returns uuid
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  perform from ledger_orderround r
    where r.coop_id = nullif(current_setting('app.coop', true), '')::uuid and r.id = round
    for update;
  return ledger_round_buyer(round);
end $$;

-- Nobody else is asked once the buyer has agreed or its orders are written. Whoever is asked after
-- the reckoning is to write the orders: it gets them as rows of its own.
create function ledger_check_buyer() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  before uuid := ledger_hold_buyer(new.round_id);
begin
  if exists (select from ledger_roundorder o
               join ledger_roundplacement p on p.coop_id = o.coop_id and p.order_id = o.id
               where o.coop_id = new.coop_id and o.round_id = new.round_id) then
    raise exception 'The orders are written.'
      using errcode = '23514', constraint = 'round_buyer_asked_before_orders';
  end if;
  if ledger_round_agreed(new.round_id) then
    raise exception 'The buyer has agreed.'
      using errcode = '23514', constraint = 'round_buyer_has_agreed';
  end if;
  if new.buyer_id = before then
    raise exception 'This maker is asked.'
      using errcode = '23514', constraint = 'round_buyer_is_another';
  end if;
  with copied as (
    insert into ledger_roundorder (coop_id, maker_id, id, round_id, supplier_id, goods, freight)
    select o.coop_id, new.buyer_id, uuidv7(), o.round_id, o.supplier_id, o.goods, o.freight
      from ledger_roundorder o
      where o.coop_id = new.coop_id and o.round_id = new.round_id and o.maker_id = before
      order by o.id
      on conflict do nothing
      returning id, supplier_id)
  insert into ledger_roundorderline (coop_id, maker_id, id, order_id, position, offer_id, packs,
    quantity, price, amount)
  select l.coop_id, new.buyer_id, uuidv7(), c.id, l.position, l.offer_id, l.packs, l.quantity,
         l.price, l.amount
    from copied c
    join ledger_roundorder o on o.coop_id = new.coop_id and o.round_id = new.round_id
      and o.maker_id = before and o.supplier_id = c.supplier_id
    join ledger_roundorderline l on l.coop_id = o.coop_id and l.order_id = o.id
    order by l.id;
  return new;
end $$;
create trigger check_buyer before insert on ledger_roundbuyer
  for each row execute function ledger_check_buyer();

-- Whoever is asked answers.
alter policy wall on ledger_roundbuyeranswer with check (
  coop_id = nullif(current_setting('app.coop', true), '')::uuid
  and ledger_round_buyer(round_id) = nullif(current_setting('app.maker', true), '')::uuid);

select walls.define('ledger_hold_buyer(uuid)'), walls.define('ledger_check_buyer()');
