-- Writes the entry's own row, once its day is neither in the future nor in a closed period.
create or replace function ledger_open_entry(
  entry uuid, kind text, happened_at timestamptz, person int,
  reason text, deviation text, details jsonb, reverses uuid) returns date
language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  day date;
  closed_on date;
begin
  -- Whoever closes the books holds this lock alone, until the closing is there to be seen.
  perform pg_advisory_xact_lock_shared(hashtextextended('books of ' || maker, 0));
  select (happened_at at time zone c.time_zone)::date, (
           select max(x.closed_on) from ledger_closing x
             where x.coop_id = coop and x.maker_id = m.id) into day, closed_on
    from ledger_coop c join ledger_maker m on m.coop_id = c.id and m.id = maker
    where c.id = coop;
  if day is null then
    raise exception 'No co-op and maker are set.'
      using errcode = '23514', constraint = 'entry_has_a_maker';
  end if;
  -- A minute's grace: the clock of whoever tells us is not the database's own.
  if happened_at > clock_timestamp() + interval '1 minute' then
    raise exception 'An entry cannot happen in the future.'
      using errcode = '23514', constraint = 'entry_not_in_future';
  end if;
  if day <= closed_on then
    raise exception 'The books are closed up to %.', closed_on
      using errcode = '23514', constraint = 'entry_period_open',
        detail = json_build_object('closed_on', closed_on);
  end if;
  insert into ledger_entry (coop_id, maker_id, id, kind, happened_at, happened_on, recorded_at,
                            person_id, reason, deviation, details, reverses_id)
  values (coop, maker, entry, kind, happened_at, day, clock_timestamp(),
          person, reason, deviation, details, reverses);
  return day;
end $$;
