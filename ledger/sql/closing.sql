-- The books of a maker are closed day by day, and never opened again.

select walls.key('ledger_closing', true), walls.of_maker('ledger_closing'),
       walls.link('ledger_closing', 'maker_id', 'ledger_maker'),
       walls.append_only('ledger_closing');
grant select on ledger_closing to stillroom_ledger;

-- Whoever posts holds this lock with others until its entry is there; whoever closes holds it
-- alone, so that nothing is posted into a period while it is being closed.
create function ledger_check_closing() returns trigger language plpgsql as $$
begin
  perform pg_advisory_xact_lock(hashtextextended('books of ' || new.maker_id, 0));
  if new.closed_on >= (select (clock_timestamp() at time zone c.time_zone)::date
                         from ledger_coop c where c.id = new.coop_id) then
    raise exception 'Only a day that is over can be closed.'
      using errcode = '23514', constraint = 'closing_of_the_past';
  end if;
  if new.closed_on <= (select max(x.closed_on) from ledger_closing x
                         where x.coop_id = new.coop_id and x.maker_id = new.maker_id) then
    raise exception 'The books are closed beyond that day already.'
      using errcode = '23514', constraint = 'closing_goes_forward';
  end if;
  return new;
end $$;
create trigger check_closing before insert on ledger_closing
  for each row execute function ledger_check_closing();
