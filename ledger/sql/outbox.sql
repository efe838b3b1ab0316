-- The position of materials, and the outbox's two doors. The sweep and the position of one material
-- have files of their own.

select walls.of_maker('ledger_shortfall'),
       walls.link('ledger_shortfall', 'account_id', 'ledger_account', 'maker'),
       walls.link('ledger_shortfall', 'material_id', 'ledger_material');
select walls.of_coop('ledger_sweep');
select walls.in_coop('ledger_sweep');
-- Who was first is settled by the function below alone.
revoke insert, update, delete, truncate on ledger_sweep from stillroom;
grant select on ledger_shortfall, ledger_alert to stillroom_ledger;
grant select, insert, delete on ledger_sweep to stillroom_ledger;
grant delete on ledger_outbox to stillroom_ledger;

-- Where the maker acted for stands with many materials on a day (position.sql), with the value of
-- its layers.
create function ledger_stock(materials uuid[], day date)
returns table (material_id uuid, on_hand numeric, usable numeric, reserved numeric,
               on_order numeric, "position" numeric, "value" numeric)
language plpgsql stable security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
begin
  return query
  select m.id, p.on_hand, p.usable, p.reserved, p.on_order, p."position",
         -- In their order, which only the index of those that are not used up gives.
         (select coalesce(sum(l.value), 0) from (
            select y.value from ledger_layer y
              where y.coop_id = coop and y.maker_id = maker and y.material_id = m.id and y.any_left
              order by y.ordinal) l)
    from unnest(materials) m(id)
    cross join lateral ledger_position(coop, maker, m.id, day) p;
end $$;

-- The next piece of work owed by any maker of any co-op, claimed for as long as the lease runs.
-- Whoever is at work on one is passed over, and so is what has been tried too often.
create function ledger_claim_outbox(lease interval, most_attempts int)
returns table (coop_id uuid, maker_id uuid, id uuid, task text, subject uuid, attempts int)
language sql security definer set search_path = pg_catalog, public, pg_temp as $$
  update ledger_outbox o set claimed_until = clock_timestamp() + lease, attempts = o.attempts + 1
    from (select d.coop_id, d.id from ledger_outbox d
            where d.done_at is null and d.due_at <= clock_timestamp() and d.attempts < most_attempts
              and (d.claimed_until is null or d.claimed_until <= clock_timestamp())
            order by d.due_at limit 1 for update skip locked) d
    where o.coop_id = d.coop_id and o.id = d.id
    returning o.coop_id, o.maker_id, o.id, o.task::text, o.subject, o.attempts::int
$$;

-- How much is owed, since when, and how much has been given up, in all co-ops.
create function ledger_outbox_state(most_attempts int)
returns table (owed bigint, oldest_due_at timestamptz, parked bigint)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select count(*) filter (where attempts < most_attempts),
         min(due_at) filter (where attempts < most_attempts),
         count(*) filter (where attempts >= most_attempts
                            and (claimed_until is null or claimed_until <= clock_timestamp()))
    from ledger_outbox where done_at is null
$$;

-- What was parked is due again, with all its attempts before it. A claim that has run out stays, as
-- after a failure: without it the row could collide with one that came in the meantime.
create function ledger_release_outbox(most_attempts int) returns bigint
language sql security definer set search_path = pg_catalog, public, pg_temp as $$
  with released as (
    update ledger_outbox set attempts = 0, due_at = clock_timestamp()
      where done_at is null and attempts >= most_attempts
        and (claimed_until is null or claimed_until <= clock_timestamp())
      returning 1)
  select count(*) from released
$$;

-- Work done is kept for a while, for whoever asks what happened, and then forgotten.
create function ledger_forget_outbox(keep interval) returns bigint
language sql security definer set search_path = pg_catalog, public, pg_temp as $$
  with gone as (delete from ledger_outbox where done_at < clock_timestamp() - keep returning 1)
  select count(*) from gone
$$;

-- How much there is of everything, for whoever verifies it: in the co-op, or inside a maker's walls
-- of what is that maker's.
create function ledger_counts()
returns table (makers bigint, lots bigint, entries bigint, postings bigint, holdings bigint)
language plpgsql stable security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
begin
  return query select
    (select count(*) from ledger_maker m where coop_id = coop and (maker is null or m.id = maker)),
    (select count(*) from ledger_lot l where coop_id = coop
        and (maker is null or exists (select from ledger_custody c
               where c.coop_id = coop and c.maker_id = maker and c.lot_id = l.id))),
    (select count(*) from ledger_entry where coop_id = coop
        and (maker is null or maker_id = maker)),
    (select count(*) from ledger_posting where coop_id = coop
        and (maker is null or maker_id = maker)),
    (select count(*) from ledger_holding where coop_id = coop
        and (maker is null or maker_id = maker));
end $$;

select walls.define('ledger_stock(uuid[], date)'),
       walls.define('ledger_claim_outbox(interval, int)'),
       walls.define('ledger_outbox_state(int)'),
       walls.define('ledger_release_outbox(int)'),
       walls.define('ledger_forget_outbox(interval)'),
       walls.define('ledger_counts()');
