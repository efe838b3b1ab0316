-- A custody that came open would have no opening to say who opened it, and when.
create function ledger_custody_begins_closed() returns trigger language plpgsql as $$
begin
  raise exception 'A lot is opened once it is there.'
    using errcode = '23514', constraint = 'custody_begins_closed';
end $$;
create trigger begins_closed before insert on ledger_custody
  for each row when (new.opened_on is not null or new.use_by is not null)
  execute function ledger_custody_begins_closed();
