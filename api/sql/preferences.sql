-- How a person wants pages shown, and in one round trip all that the frame of a page says: the
-- makers that a token opens, by name, and the person's preferences.
select walls.key('api_preference', false), walls.of_coop('api_preference');
select walls.in_coop('api_preference');
create policy reader on api_preference for select to stillroom_ledger using (true);
grant select on api_preference to stillroom_ledger;

create function api_reader(token_digest bytea)
returns table (coop uuid, coop_name text, maker uuid, maker_name text, role text, username text,
               units text, theme text, numbers text)
language sql stable security definer set search_path = pg_catalog, public, pg_temp
set plan_cache_mode = force_generic_plan as $$
  select c.id, c.name, k.id, k.name, m.role, u.username, p.units, p.theme, p.numbers
    from api_token t
    join auth_user u on u.id = t.person_id and u.is_active
    join ledger_coop c on c.id = t.coop_id
    join ledger_membership m on m.coop_id = t.coop_id and m.person_id = t.person_id
    left join ledger_maker k on k.coop_id = m.coop_id and k.id = m.maker_id
    left join api_preference p on p.coop_id = t.coop_id and p.person_id = t.person_id
    where t.digest = token_digest and t.expires_at > now()
    order by k.name
$$;
select walls.define('api_reader(bytea)');
