-- Long lists that were sent: of a maker, or (without one) of whoever acts for the co-op.

select walls.key('api_sentlist', false),
       walls.wall('api_sentlist', own, own),
       walls.in_coop('api_sentlist'),
       walls.link('api_sentlist', 'maker_id', 'ledger_maker')
  from (select format('coop_id = %s and maker_id is not distinct from %s',
                      walls.reads('app.coop'), walls.reads('app.maker'))) s(own);

-- What is said of the file is true of it; it may be packed, so nothing tries again.
alter table api_sentlist
  alter column content set storage external,
  add constraint sent_list_is_its_digest
    check (content is null or digest = sha256(content) and size = octet_length(content));

-- A list goes on from step to step, and what is done with stays so.
create function api_list_goes_on() returns trigger language plpgsql as $$
begin
  if new.state <> old.state and not (old.state, new.state) in (
      ('waiting', 'tried'), ('waiting', 'wrong'), ('waiting', 'stopped'),
      ('tried', 'taking'),
      ('taking', 'taken'), ('taking', 'wrong'), ('taking', 'stopped'))
    or new.kind <> old.kind or new.digest <> old.digest or new.person_id <> old.person_id
    or new.maker_id is distinct from old.maker_id
  then
    raise exception 'A list does not go from % to %.', old.state, new.state
      using errcode = '23514', constraint = 'sent_list_goes_on';
  end if;
  return new;
end $$;
create trigger goes_on before update on api_sentlist
  for each row execute function api_list_goes_on();

-- Lists are kept for seven days, as answers are, whatever has become of them.
grant select, delete on api_sentlist to stillroom_ledger;
create policy sweep on api_sentlist to stillroom_ledger using (true);
create function api_forget_lists() returns bigint
language sql security definer set search_path = pg_catalog, public, pg_temp as $$
  with gone as (delete from api_sentlist where sent_at < now() - interval '7 days' returning 1)
  select count(*) from gone
$$;
select walls.define('api_forget_lists()');
