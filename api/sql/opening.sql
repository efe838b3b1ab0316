-- Opening a request in one round trip: who signed in, for which maker, and whether the same
-- request has been answered before. Sets the walls for the rest of the transaction.
select walls.key('api_token', false), walls.of_coop('api_token');
select walls.in_coop('api_token');
create policy sign_in on api_token for select to stillroom_ledger using (true);
select walls.key('api_answer', false);
select walls.wall('api_answer', own, own) from (
  select format('coop_id = %s and (maker_id is null or maker_id = %s)',
                walls.reads('app.coop'), walls.reads('app.maker'))) s(own);
select walls.in_coop('api_answer');
select walls.link('api_answer', 'maker_id', 'ledger_maker');
grant select on api_token, api_answer to stillroom_ledger;
grant select on auth_user to stillroom_ledger;
grant delete on api_answer to stillroom_ledger;
create policy sweep on api_answer for delete to stillroom_ledger using (true);
create policy sweep_sees on api_answer for select to stillroom_ledger using (true);

create function api_open(
  token_digest bytea, maker_named text, request_key text, request_fingerprint bytea)
returns table (outcome text, person int, coop uuid, maker uuid, role text, currency text,
               time_zone text, status smallint, body text, headers jsonb)
language plpgsql security definer set search_path = pg_catalog, public, pg_temp
-- Everything is found by a key, so one plan serves every request.
set plan_cache_mode = force_generic_plan as $$
declare
  token record;
  seen record;
begin
  select t.person_id, t.coop_id, t.read_only, c.currency, c.time_zone into token
    from api_token t
    join auth_user u on u.id = t.person_id and u.is_active
    join ledger_coop c on c.id = t.coop_id
    where t.digest = token_digest and t.expires_at > now();
  if not found then
    outcome := 'unknown'; return next; return;
  end if;
  select m.maker_id, m.role, count(*) over () as choices into seen
    from ledger_membership m
    where m.coop_id = token.coop_id and m.person_id = token.person_id and m.maker_id is not null
      and (maker_named = '' or m.maker_id::text = lower(maker_named))
    order by m.maker_id limit 1;
  if maker_named <> '' and seen.maker_id is null then
    outcome := 'not_a_member'; return next; return;
  end if;
  if seen.choices > 1 then
    outcome := 'maker_needed'; return next; return;
  end if;
  if seen.maker_id is null and not exists (
      select from ledger_membership m
        where m.coop_id = token.coop_id and m.person_id = token.person_id) then
    outcome := 'unknown'; return next; return;
  end if;
  person := token.person_id; coop := token.coop_id; maker := seen.maker_id;
  role := case when token.read_only then 'read-only'
               else coalesce(seen.role, 'coordinator') end;
  currency := token.currency; time_zone := token.time_zone;
  perform set_config('app.coop', coop::text, true),
          set_config('app.maker', coalesce(maker::text, ''), true);
  outcome := 'open';
  if request_key is not null then
    if not pg_try_advisory_xact_lock(
        hashtextextended(coop::text || ' ' || person || ' ' || request_key, 0)) then
      outcome := 'in_flight'; return next; return;
    end if;
    select a.id, a.fingerprint, a.maker_id, a.status, a.body, a.headers, a.answered_at into seen
      from api_answer a
      where a.coop_id = token.coop_id and a.person_id = token.person_id and a.key = request_key;
    if seen.answered_at <= now() - interval '7 days' then
      -- Here, since it may be of a maker whose rows the application does not see now.
      delete from api_answer a where a.coop_id = token.coop_id and a.id = seen.id;
    elsif found then
      if seen.fingerprint = request_fingerprint and seen.maker_id is not distinct from maker then
        outcome := 'answered'; status := seen.status; body := seen.body; headers := seen.headers;
      else
        outcome := 'key_reused';
      end if;
    end if;
  end if;
  return next;
end $$;
select walls.define('api_open(bytea, text, text, bytea)');

-- Where a person may sign in to, before any wall is set.
create function api_memberships(person int)
returns table (coop_id uuid, slug text, coop_name text, currency text, time_zone text,
               maker_id uuid, maker_name text, role text)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select c.id, c.slug, c.name, c.currency, c.time_zone, k.id, k.name, m.role
    from ledger_membership m
    join ledger_coop c on c.id = m.coop_id
    left join ledger_maker k on k.coop_id = m.coop_id and k.id = m.maker_id
    where m.person_id = person
    order by c.slug, k.name
$$;
select walls.define('api_memberships(int)');

-- Answers are replayed for seven days and then forgotten.
create function api_forget_answers() returns bigint
language sql security definer set search_path = pg_catalog, public, pg_temp as $$
  with gone as (delete from api_answer where answered_at < now() - interval '7 days' returning 1)
  select count(*) from gone
$$;
select walls.define('api_forget_answers()');

grant delete on api_token to stillroom_ledger;
create policy sweep on api_token for delete to stillroom_ledger using (true);
create function api_forget_tokens() returns bigint
language sql security definer set search_path = pg_catalog, public, pg_temp as $$
  with gone as (delete from api_token where expires_at < now() returning 1)
  select count(*) from gone
$$;
select walls.define('api_forget_tokens()');

-- Signs a person out everywhere, in all co-ops.
create function api_end_tokens(person int) returns bigint
language sql security definer set search_path = pg_catalog, public, pg_temp as $$
  with gone as (delete from api_token where person_id = person returning 1)
  select count(*) from gone
$$;
select walls.define('api_end_tokens(int)');
