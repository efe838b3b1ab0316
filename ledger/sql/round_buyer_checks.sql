-- What holds for the buyer of a round. All take the row of the round, so that nobody answers and
-- nobody else is asked while orders are written.

create or replace function ledger_check_buyer_answer() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  perform from ledger_orderround r where r.coop_id = new.coop_id and r.id = new.round_id for update;
  if exists (select from ledger_roundorder o
               join ledger_roundplacement p on p.coop_id = o.coop_id and p.order_id = o.id
               where o.coop_id = new.coop_id and o.round_id = new.round_id) then
    raise exception 'The orders are written.'
      using errcode = '23514', constraint = 'round_buyer_answers_before_orders';
  end if;
  if new.asked <> ledger_round_asked(new.round_id) then
    raise exception 'Another is asked by now.'
      using errcode = '23514', constraint = 'round_buyer_was_asked';
  end if;
  return new;
end $$;

create or replace function ledger_check_placement() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  placed uuid;
begin
  select r.id into placed from ledger_roundorder o
    join ledger_orderround r on r.coop_id = o.coop_id and r.id = o.round_id
    where o.coop_id = new.coop_id and o.id = new.order_id for update of r;
  if new.maker_id is distinct from ledger_round_buyer(placed)
     or ledger_round_agreed(placed) is not true then
    raise exception 'The buyer has not agreed.'
      using errcode = '23514', constraint = 'round_buyer_agrees';
  end if;
  return new;
end $$;

select walls.define('ledger_check_buyer_answer()'), walls.define('ledger_check_placement()');
