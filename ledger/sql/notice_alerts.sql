-- Whoever is sent a notice is to be told at once. The review is owed under the notice's own id,
-- which nobody can have looked at before the notice was there; its sender may not write among the
-- receiver's rows.
create function ledger_tell_of_notice() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  insert into ledger_outbox (coop_id, maker_id, id, task, subject)
    values (new.coop_id, new.to_maker_id, uuidv7(), 'review_alerts', new.id);
  return null;
end $$;
select walls.define('ledger_tell_of_notice()');
create trigger tell_of_notice after insert on ledger_recallnotice
  for each row execute function ledger_tell_of_notice();
