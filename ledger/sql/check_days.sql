-- A back-dated draw must leave the lot's balance at or above zero at the end of every later day.
create or replace function ledger_check_days(entry uuid, day date) returns void
language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  worst record;
begin
  with touched as (
    select distinct p.account_id, p.lot_id from ledger_posting p
      join ledger_holding h on h.coop_id = coop and h.account_id = p.account_id
        and h.lot_id = p.lot_id
      where p.coop_id = coop and p.entry_id = entry and p.quantity < 0
        and h.kind in ('store', 'batch', 'consignment') and h.last_on > day
  ), days as (
    select p.lot_id, p.happened_on,
           sum(sum(p.quantity)) over (partition by p.account_id, p.lot_id
             order by p.happened_on) as balance
      from touched t join ledger_posting p
        on p.coop_id = coop and p.lot_id = t.lot_id and p.account_id = t.account_id
      group by p.account_id, p.lot_id, p.happened_on
  )
  select lot_id, happened_on, balance into worst from days
    where happened_on >= day and balance < 0 order by balance limit 1;
  if found then
    raise exception 'The lot would have been overdrawn on %.', worst.happened_on
      using errcode = '23514', constraint = 'holding_not_negative_on_any_day',
        detail = ledger_lot_facts(worst.lot_id)
          || jsonb_build_object('on', worst.happened_on, 'short', -worst.balance);
  end if;
end $$;
