-- Sums to zero are checked again where nobody can forget it, and an entry stays sealed.
create or replace function ledger_check_postings() returns trigger language plpgsql as $$
declare
  bad record;
begin
  select grouping(lot_id) = 0 as of_lot, grouping(maker_id) = 0 as of_maker into bad from added
    group by grouping sets ((coop_id, entry_id, lot_id), (coop_id, entry_id, maker_id), (coop_id,
      entry_id))
    having grouping(lot_id) = 0 and sum(quantity) <> 0
      or grouping(maker_id) = 0 and sum(value) <> 0
      -- Looked up by its key whatever the planner believes of the table: of a maker's first stock,
      -- thousands of entries are posted in one transaction.
      or grouping(lot_id, maker_id) = 3 and (
        select e.posted_in from ledger_entry e
          where e.coop_id = added.coop_id and e.id = added.entry_id)
        is distinct from pg_current_xact_id()
    limit 1;
  if bad.of_lot then
    raise exception 'The quantities of an entry do not sum to zero.'
      using errcode = '23514', constraint = 'entry_quantities_sum_to_zero';
  elsif bad.of_maker then
    raise exception 'The values of an entry do not sum to zero.'
      using errcode = '23514', constraint = 'entry_values_sum_to_zero';
  elsif found then
    raise exception 'An entry is sealed with its transaction.'
      using errcode = '23514', constraint = 'entry_sealed';
  end if;
  return null;
end $$;
