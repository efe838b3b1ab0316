-- Places: their walls; that a lot lies where it was put last, and never among what is kept apart.
select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker')
  from unnest(array['ledger_place', 'ledger_placing']) t;
select walls.link('ledger_placing', 'place_id', 'ledger_place', 'maker'),
       walls.append_only('ledger_placing'),
       walls.link('ledger_custody', 'place_id', 'ledger_place', 'maker');
-- Only what the maker has or had is put anywhere.
alter table ledger_placing add constraint ledger_placing_custody_fk
  foreign key (coop_id, maker_id, lot_id) references ledger_custody (coop_id, maker_id, lot_id);
revoke update, delete, truncate on ledger_place from stillroom;
grant update (name, keeps, retired_at, version) on ledger_place to stillroom;
grant select, update (retired_at) on ledger_place to stillroom_ledger;
grant select on ledger_placing to stillroom_ledger;

-- A lot lies where it was put last. The lock on the place lets nobody give it up meanwhile; that on
-- the custody lets nobody decide about the lot.
create function ledger_put_lot() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  p ledger_place;
  stands text;
begin
  select * into p from ledger_place x
    where x.coop_id = new.coop_id and x.maker_id = new.maker_id and x.id = new.place_id for share;
  update ledger_custody c set place_id = new.place_id
    where c.coop_id = new.coop_id and c.maker_id = new.maker_id and c.lot_id = new.lot_id
    returning c.status into stands;
  if p.retired_at is not null then
    raise exception 'This place is no longer used.' using errcode = '23514',
      constraint = 'place_in_use', detail = jsonb_build_object('place', p.name);
  end if;
  if p.keeps <> '' and p.keeps <> stands then
    raise exception 'This place keeps another status.' using errcode = '23514',
      constraint = 'place_keeps_its_status', detail = (select jsonb_build_object('place', p.name,
        'keeps', p.keeps, 'status', stands, 'code', l.code) from ledger_lot l
        where l.coop_id = new.coop_id and l.id = new.lot_id);
  end if;
  return null;
end $$;
select walls.define('ledger_put_lot()');
create trigger put_lot after insert on ledger_placing
  for each row execute function ledger_put_lot();

-- A custody that came with a place would have no placing to say who put it there.
create function ledger_custody_begins_nowhere() returns trigger language plpgsql as $$
begin
  raise exception 'A lot is put into a place once it is there.'
    using errcode = '23514', constraint = 'custody_begins_nowhere';
end $$;
create trigger begins_nowhere before insert on ledger_custody
  for each row when (new.place_id is not null) execute function ledger_custody_begins_nowhere();

-- Nobody gives up a place where something lies.
create function ledger_check_place() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  lots bigint;
begin
  select count(*) into lots from ledger_custody c
    where c.coop_id = new.coop_id and c.maker_id = new.maker_id and c.place_id = new.id
      and exists (select from ledger_holding h
                    where h.coop_id = c.coop_id and h.maker_id = c.maker_id
                      and h.material_id = c.material_id and h.lot_id = c.lot_id
                      and h.kind = 'store' and h.any_left);
  if lots > 0 then
    raise exception 'Something lies there.' using errcode = '23514',
      constraint = 'place_empty_when_retired',
      detail = jsonb_build_object('place', new.name, 'lots', lots);
  end if;
  return new;
end $$;
select walls.define('ledger_check_place()');
create trigger check_place before update of retired_at on ledger_place
  for each row when (new.retired_at is not null and old.retired_at is null)
  execute function ledger_check_place();

-- Whether a lot of this status lies among what is kept apart from it, or where nothing should lie
-- any more. What is on hold stays where it is until somebody has decided.
create function ledger_out_of_place(status text, keeps text, retired_at timestamptz)
returns boolean immutable parallel safe language sql as $$
  select coalesce(status <> 'hold' and (retired_at is not null or keeps not in ('', status)), false)
$$;
