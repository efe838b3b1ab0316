-- Who acts for the co-op closes a round, or its buyer, or the clock (nobody, and where it is closed
-- already in silence); what is owed about it is due at once.
create or replace function ledger_close_round(round uuid, at timestamptz, who int) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  closes timestamptz;
begin
  select r.closes_at into closes from ledger_orderround r
    where r.coop_id = coop and r.id = round
      and (maker is null or ledger_round_buyer(r.id) = maker) for update;
  if closes is null then
    raise exception 'No such round.' using errcode = '23514', constraint = 'round_is_there';
  end if;
  insert into ledger_roundclosing (coop_id, id, round_id, closed_at, person_id)
  values (coop, uuidv7(), round, least(at, closes), who) on conflict do nothing;
  if not found and who is not null then
    raise exception 'The round is closed.'
      using errcode = '23514', constraint = 'round_open';
  end if;
  update ledger_outbox o set due_at = at
    where o.coop_id = coop and o.task = 'close_round' and o.subject = round
      and o.done_at is null and o.due_at > at;
end $$;
select walls.define('ledger_close_round(uuid, timestamptz, int)');
