-- The maker that buys for all has agreed to it before an order is written in its name. The co-op
-- sees its answer, and it alone gives one, until the orders are written.

select walls.key('ledger_roundbuyeranswer', false), walls.in_coop('ledger_roundbuyeranswer'),
       walls.link('ledger_roundbuyeranswer', 'round_id', 'ledger_orderround'),
       walls.append_only('ledger_roundbuyeranswer');
select walls.wall('ledger_roundbuyeranswer',
  format('coop_id = %s', walls.reads('app.coop')),
  format('coop_id = %1$s and exists (select from ledger_orderround r where r.coop_id = %1$s'
         ' and r.id = round_id and r.buyer_id = %2$s)',
         walls.reads('app.coop'), walls.reads('app.maker')));
grant select on ledger_roundbuyeranswer to stillroom_ledger;

-- Both take the row of the round, so that no answer changes while orders are written.
create function ledger_check_buyer_answer() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  perform from ledger_orderround r where r.coop_id = new.coop_id and r.id = new.round_id for update;
  if exists (select from ledger_roundorder o
               join ledger_roundplacement p on p.coop_id = o.coop_id and p.order_id = o.id
               where o.coop_id = new.coop_id and o.round_id = new.round_id) then
    raise exception 'The orders are written.'
      using errcode = '23514', constraint = 'round_buyer_answers_before_orders';
  end if;
  return new;
end $$;
create trigger check_buyer_answer before insert on ledger_roundbuyeranswer
  for each row execute function ledger_check_buyer_answer();

create function ledger_check_placement() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  placed uuid;
begin
  select r.id into placed from ledger_roundorder o
    join ledger_orderround r on r.coop_id = o.coop_id and r.id = o.round_id
    where o.coop_id = new.coop_id and o.id = new.order_id for update of r;
  if (select a.agrees from ledger_roundbuyeranswer a
        where a.coop_id = new.coop_id and a.round_id = placed
        order by a.id desc limit 1) is not true then
    raise exception 'The buyer has not agreed.'
      using errcode = '23514', constraint = 'round_buyer_agrees';
  end if;
  return new;
end $$;
create trigger check_placement before insert on ledger_roundplacement
  for each row execute function ledger_check_placement();

select walls.define('ledger_check_buyer_answer()'), walls.define('ledger_check_placement()');
