-- How often a closed round could not be worked out, and when it is tried again; nothing of a round
-- that waits for its first try. Why is told by the log of whoever runs the server.
create or replace function ledger_round_trouble(round uuid, most int)
returns table (failed int, again_at timestamptz, given_up boolean)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select s.failed, s.due_at, s.failed >= most
    from (select o.due_at,
                 o.attempts - case when o.claimed_until > now() and o.due_at < o.claimed_until
                                   then 1 else 0 end as failed
            from ledger_outbox o
            where o.coop_id = nullif(current_setting('app.coop', true), '')::uuid
              and o.task = 'close_round' and o.subject = round and o.done_at is null) s
    where s.failed > 0
$$;
select walls.define('ledger_round_trouble(uuid, int)');
