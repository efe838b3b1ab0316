-- Shares and claims: a share is the co-op's to see, a claim its maker's and the giver's.

select walls.key('ledger_share', false);
select walls.wall('ledger_share',
  format('coop_id = %s', walls.reads('app.coop')),
  format('coop_id = %s and giver_id = %s', walls.reads('app.coop'), walls.reads('app.maker')));
select walls.in_coop('ledger_share'),
       walls.link('ledger_share', 'giver_id', 'ledger_maker'),
       walls.link('ledger_share', 'lot_id', 'ledger_lot'),
       walls.link('ledger_share', 'material_id', 'ledger_material');
revoke update, delete, truncate on ledger_share from stillroom;
grant update (closed_at, closed_why) on ledger_share to stillroom;

select walls.key(t, false), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.link(t, 'to_maker_id', 'ledger_maker'), walls.wall(t,
    format('coop_id = %1$s and (maker_id = %2$s or to_maker_id = %2$s)',
           walls.reads('app.coop'), walls.reads('app.maker')),
    format('coop_id = %s and maker_id = %s', walls.reads('app.coop'), walls.reads('app.maker')))
  from unnest(array['ledger_claim', 'ledger_movement']) t;
select walls.link('ledger_claim', 'share_id', 'ledger_share'),
       walls.link('ledger_claim', 'transfer_id', 'ledger_transfer');
revoke update, delete, truncate on ledger_claim from stillroom;
grant select, insert, update on ledger_claim to stillroom_ledger;
grant select, update on ledger_share to stillroom_ledger;
grant insert on ledger_transfer to stillroom_ledger;

-- What makers owe each other is told by the ledger's functions alone, and only added to.
alter table ledger_movement
  add constraint ledger_movement_entry_id_fk foreign key (coop_id, maker_id, entry_id)
    references ledger_entry (coop_id, maker_id, id),
  add constraint ledger_movement_to_entry_id_fk foreign key (coop_id, to_maker_id, to_entry_id)
    references ledger_entry (coop_id, maker_id, id);
select walls.link('ledger_movement', 'transfer_id', 'ledger_transfer'),
       walls.link('ledger_movement', 'reverses_id', 'ledger_movement'),
       walls.append_only('ledger_movement');
revoke insert on ledger_movement from stillroom;
grant select, insert on ledger_movement to stillroom_ledger;

-- Whether goods of a share can still be claimed.
create function ledger_share_open(s ledger_share) returns boolean stable language sql as $$
  select s.closed_at is null and (s.closes_at is null or s.closes_at > statement_timestamp())
$$;

-- What is opened is in the giver's custody, and is a material that all know.
create function ledger_check_share() returns trigger language plpgsql as $$
begin
  if not exists (
      select from ledger_custody c
        join ledger_material m on m.coop_id = c.coop_id and m.id = c.material_id
        where c.coop_id = new.coop_id and c.maker_id = new.giver_id and c.lot_id = new.lot_id
          and c.material_id = new.material_id and m.maker_id is null) then
    raise exception 'Only a lot of a shared material that the maker has can be opened.'
      using errcode = '23514', constraint = 'share_of_own_lot';
  end if;
  return new;
end $$;
create trigger check_share before insert on ledger_share
  for each row execute function ledger_check_share();

-- A claim is made to whoever opened the share, while it is open.
create function ledger_check_claim() returns trigger language plpgsql as $$
begin
  if new.state <> 'open' or not exists (
      select from ledger_share s where s.coop_id = new.coop_id and s.id = new.share_id
        and s.giver_id = new.to_maker_id and ledger_share_open(s)) then
    raise exception 'Only some of an open share can be claimed.'
      using errcode = '23514', constraint = 'claim_of_open_share';
  end if;
  return new;
end $$;
create trigger check_claim before insert on ledger_claim
  for each row execute function ledger_check_claim();

-- The claim that the acting maker may answer, locked.
create function ledger_lock_claim(claim uuid) returns ledger_claim language plpgsql as $$
declare
  c ledger_claim;
begin
  select * into c from ledger_claim x
    where x.coop_id = nullif(current_setting('app.coop', true), '')::uuid and x.id = claim
      and nullif(current_setting('app.maker', true), '')::uuid in (x.maker_id, x.to_maker_id)
    for update;
  if c.id is null then
    raise exception 'No such claim.' using errcode = '23514', constraint = 'transfer_is_there';
  end if;
  if c.state <> 'open' or c.expires_at <= clock_timestamp() then
    raise exception 'The claim is answered.' using errcode = '23514', constraint = 'claim_open',
      detail = jsonb_build_object('state',
        case when c.state = 'open' then 'expired' else c.state end);
  end if;
  return c;
end $$;

-- Declined by the giver, or withdrawn by whoever made it: nothing moves.
create function ledger_close_claim(claim uuid, why text) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  c ledger_claim := ledger_lock_claim(claim);
begin
  update ledger_claim x set reason = why, answered_at = clock_timestamp(), state = case
      when c.maker_id = nullif(current_setting('app.maker', true), '')::uuid then 'withdrawn'
      else 'declined' end
    where x.coop_id = c.coop_id and x.id = c.id;
end $$;
select walls.define('ledger_close_claim(uuid, text)');

-- Accepts a claim, by the giver, or by the claimer where the share says that it accepts by itself.
-- The share's row is locked before the pools; nothing that holds a pool waits for a share.
create function ledger_accept_claim(
  claim uuid, transfer uuid, happened timestamptz, accepted_by int, digits int,
  out_entry uuid, in_entry uuid, giver_accounts uuid[], receiver_accounts uuid[]) returns numeric
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  by_giver boolean;
  c ledger_claim := ledger_lock_claim(claim);
  s ledger_share;
  t ledger_transfer;
  still numeric;
  basis text;
  owed numeric;
begin
  by_giver := c.to_maker_id = nullif(current_setting('app.maker', true), '')::uuid;
  -- No stronger, or it would wait for whoever has just claimed some as well.
  select * into s from ledger_share x where x.coop_id = coop and x.id = c.share_id
    for no key update;
  if not by_giver and not (s.accepts_itself and ledger_share_open(s)) then
    raise exception 'The giver accepts a claim.'
      using errcode = '23514', constraint = 'claim_accepted_by_giver';
  end if;
  select s.quantity - coalesce(sum(x.quantity), 0) into still from ledger_claim x
    where x.coop_id = coop and x.share_id = s.id and x.state = 'accepted';
  if c.quantity > still then
    raise exception 'Less is left of the share.' using errcode = '23514',
      constraint = 'transfer_still_there', detail = ledger_lot_facts(s.lot_id)
        || jsonb_build_object('wanted', c.quantity, 'batches', '[]'::jsonb, 'left',
             greatest(least(still, ledger_free_to_give(s.giver_id, s.lot_id)), 0));
  end if;
  -- Released by the giver is released here where the claim says so; with whoever has or had some of
  -- the lot, it stands as that maker has decided.
  select 'released by ' || m.name || ', as it came' into basis
    from ledger_custody g join ledger_maker m on m.coop_id = g.coop_id and m.id = g.maker_id
    where c.keeps_status and g.coop_id = coop and g.maker_id = s.giver_id and g.lot_id = s.lot_id
      and g.status = 'released' and not exists (
        select from ledger_custody h where h.coop_id = coop and h.maker_id = c.maker_id
          and h.lot_id = s.lot_id);
  insert into ledger_transfer (coop_id, maker_id, to_maker_id, id, lot_id, material_id, entered,
    quantity, price, percent, note, happened_at, person_id, offered_at, state, reason)
  select coop, s.giver_id, c.maker_id, transfer, s.lot_id, s.material_id, c.entered, c.quantity,
         ledger_shown(s.price * c.quantity
           * case m.measured_by when 'count' then 1 else 0.001 end, digits),
         s.percent, c.note, s.happened_at, case when by_giver then accepted_by else s.person_id end,
         clock_timestamp(), 'open', ''
    from ledger_material m where m.coop_id = coop and m.id = s.material_id
    returning * into t;
  owed := ledger_move_between(t, happened, t.person_id, c.person_id, digits, basis, out_entry,
    in_entry, giver_accounts, receiver_accounts);
  update ledger_claim x
    set state = 'accepted', answered_at = clock_timestamp(), transfer_id = transfer
    where x.coop_id = coop and x.id = c.id;
  return owed;
end $$;
select walls.define('ledger_accept_claim(uuid, uuid, timestamptz, int, int, uuid, uuid, uuid[],'
                    ' uuid[])');
