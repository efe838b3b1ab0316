-- Bulk is filled within the days that its formula version gives, or a deviation says why not.
create function formulas_check_bulk_age() returns trigger language plpgsql as $$
declare last_day date;
begin
  select l.arrived_on + v.fill_within_days into last_day
    from ledger_lot l
    join formulas_batch b on b.coop_id = l.coop_id and b.account_id = l.made_in_id
    join formulas_formulaversion v on v.coop_id = b.coop_id and v.id = b.version_id
    where l.coop_id = new.coop_id and l.id = new.bulk_lot_id;
  if new.deviation = '' and exists (
    select from ledger_entry e
      where e.coop_id = new.coop_id and e.id = new.entry_id and e.happened_on > last_day)
  then
    raise exception 'The bulk was to be filled by %.', last_day using errcode = '23514',
      constraint = 'filled_in_time', detail = json_build_object('last_day', last_day);
  end if;
  return new;
end $$;
create trigger check_bulk_age before insert on formulas_filling
  for each row execute function formulas_check_bulk_age();
