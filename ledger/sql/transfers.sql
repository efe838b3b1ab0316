-- Moves between makers. An offer is its giver's row, and its receiver sees it as well; accepting it
-- crosses the inner wall: one entry in each maker's books, paired by settlement accounts.

select walls.key('ledger_transfer', false);
select walls.wall('ledger_transfer',
  format('coop_id = %1$s and (maker_id = %2$s or to_maker_id = %2$s)',
         walls.reads('app.coop'), walls.reads('app.maker')),
  format('coop_id = %s and maker_id = %s', walls.reads('app.coop'), walls.reads('app.maker')));
select walls.link('ledger_transfer', 'maker_id', 'ledger_maker'),
       walls.link('ledger_transfer', 'to_maker_id', 'ledger_maker'),
       walls.link('ledger_transfer', 'lot_id', 'ledger_lot'),
       walls.link('ledger_transfer', 'material_id', 'ledger_material'),
       walls.link('ledger_transfer', 'out_entry_id', 'ledger_entry', 'maker');
alter table ledger_transfer
  add constraint ledger_transfer_in_entry_id_fk foreign key (coop_id, to_maker_id, in_entry_id)
    references ledger_entry (coop_id, maker_id, id);
revoke update, delete, truncate on ledger_transfer from stillroom;
grant select, update on ledger_transfer to stillroom_ledger;
grant insert on ledger_account, ledger_custody, ledger_decision to stillroom_ledger;
grant update on ledger_custody to stillroom_ledger;

-- What is offered is in the giver's custody, and is a material that both makers know.
create function ledger_check_offer() returns trigger language plpgsql as $$
begin
  if not exists (
      select from ledger_custody c
        join ledger_material m on m.coop_id = c.coop_id and m.id = c.material_id
        where c.coop_id = new.coop_id and c.maker_id = new.maker_id and c.lot_id = new.lot_id
          and c.material_id = new.material_id and m.maker_id is null) then
    raise exception 'Only a lot of a shared material that the maker has can be offered.'
      using errcode = '23514', constraint = 'transfer_of_own_lot';
  end if;
  return new;
end $$;
create trigger check_offer before insert on ledger_transfer
  for each row execute function ledger_check_offer();

-- Neither side takes back by itself what both have agreed.
create function ledger_transfers_stay() returns trigger language plpgsql as $$
begin
  if exists (select from ledger_entry e where e.coop_id = new.coop_id and e.id = new.reverses_id
               and e.kind in ('transfer_out', 'transfer_in')) then
    raise exception 'A move between makers is not reversed by one of them.'
      using errcode = '23514', constraint = 'transfer_not_reversed';
  end if;
  return new;
end $$;
create trigger transfers_stay before insert on ledger_entry
  for each row when (new.reverses_id is not null) execute function ledger_transfers_stay();

-- The open offer that the acting maker may answer, locked: as its receiver or as its giver.
create function ledger_lock_offer(transfer uuid, as_receiver boolean) returns ledger_transfer
language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  t ledger_transfer;
begin
  select * into t from ledger_transfer x where x.coop_id = coop and x.id = transfer
    and maker = case when as_receiver then x.to_maker_id else x.maker_id end for update;
  if t.id is null then
    raise exception 'No such offer.'
      using errcode = '23514', constraint = 'transfer_is_there';
  end if;
  if t.state <> 'open' then
    raise exception 'The offer is answered.' using errcode = '23514',
      constraint = 'transfer_open', detail = jsonb_build_object('state', t.state);
  end if;
  return t;
end $$;

-- Declined by the receiver, or withdrawn by the giver: nothing moves.
create function ledger_close_transfer(transfer uuid, answer text, why text) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  t ledger_transfer;
begin
  if answer not in ('declined', 'withdrawn') then
    raise exception 'An offer is declined or withdrawn.'
      using errcode = '23514', constraint = 'transfer_answer_known';
  end if;
  t := ledger_lock_offer(transfer, answer = 'declined');
  update ledger_transfer x set state = answer, reason = why, answered_at = clock_timestamp()
    where x.coop_id = t.coop_id and x.id = t.id;
end $$;
select walls.define('ledger_close_transfer(uuid, text, text)');

-- Accepts an offer: the goods leave the giver's store at what they cost there, and enter the
-- receiver's at the agreed amount; the amount is what the receiver owes. The pools of both are
-- locked in order of material and maker, as every other entry locks its own in order of material,
-- so that moves which cross each other cannot wait in a ring.
create function ledger_accept_transfer(
  transfer uuid, happened timestamptz, accepted_by int, digits int, basis text,
  out_entry uuid, in_entry uuid, giver_accounts uuid[], receiver_accounts uuid[]) returns numeric
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  receiver uuid := nullif(current_setting('app.maker', true), '')::uuid;
  t ledger_transfer := ledger_lock_offer(transfer, true);
  giver uuid := t.maker_id;
  who uuid;
  stands text;
  free numeric;
  cost numeric;
  owed numeric;
  told jsonb := jsonb_build_object('transfer', t.id);
  rule text;
begin
  if happened < t.happened_at then
    raise exception 'The goods were not offered yet.' using errcode = '23514',
      constraint = 'transfer_after_its_offer',
      detail = jsonb_build_object('offered', t.happened_at);
  end if;
  insert into ledger_account (coop_id, maker_id, id, kind, name, created_at)
  select coop, a.maker_id, a.id, a.kind, a.name, clock_timestamp()
    from (select giver as maker_id, giver_accounts[2] as id, 'settlement' as kind, m.name
            from ledger_maker m where m.coop_id = coop and m.id = receiver
          union all
          select giver, giver_accounts[3], 'transfer', 'gain or loss on moves between makers'
          union all
          select receiver, receiver_accounts[2], 'settlement', m.name
            from ledger_maker m where m.coop_id = coop and m.id = giver) a
    order by a.maker_id, a.id on conflict do nothing;
  foreach who in array array[least(giver, receiver), greatest(giver, receiver)] loop
    perform set_config('app.maker', who::text, true);
    perform ledger_make_pools(array[t.material_id]);
  end loop;
  perform from ledger_pool p where p.coop_id = coop and p.maker_id in (giver, receiver)
    and p.material_id = t.material_id order by p.material_id, p.maker_id for update;

  -- What the giver has, promised to whom, is its own affair; only what is free is told.
  select c.status into stands from ledger_custody c
    where c.coop_id = coop and c.maker_id = giver and c.lot_id = t.lot_id;
  if stands in ('hold', 'rejected') then
    raise exception 'The lot may not move.' using errcode = '23514',
      constraint = 'transfer_lot_moves',
      detail = ledger_lot_facts(t.lot_id) || jsonb_build_object('status', stands);
  end if;
  select coalesce(sum(h.quantity), 0) - coalesce((
      select sum(r.quantity) from ledger_reservation r where r.coop_id = coop
        and r.maker_id = giver and r.lot_id = t.lot_id), 0)
    into free from ledger_holding h
    where h.coop_id = coop and h.account_id = giver_accounts[1] and h.maker_id = giver
      and h.lot_id = t.lot_id and h.kind = 'store';
  if free < t.quantity then
    raise exception 'The giver has less left than was offered.' using errcode = '23514',
      constraint = 'transfer_still_there',
      detail = ledger_lot_facts(t.lot_id)
        || jsonb_build_object('left', greatest(free, 0), 'wanted', t.quantity);
  end if;

  perform set_config('app.maker', giver::text, true);
  begin
    cost := (ledger_post_entry(out_entry, 'transfer_out', happened, t.person_id, '', '', told,
      giver_accounts[1:1], giver_accounts[2:2], array[t.lot_id], array[t.quantity],
      array[null]::numeric[]))[1];
  exception when check_violation then
    get stacked diagnostics rule = constraint_name;
    raise exception 'The books of the giver refuse this.' using errcode = '23514',
      constraint = 'transfer_giver_can', detail = jsonb_build_object('rule', rule);
  end;
  owed := coalesce(t.price, ledger_shown(cost, digits));
  if owed <> cost then
    insert into ledger_posting (coop_id, maker_id, entry_id, line, account_id, lot_id, quantity,
      value, happened_on)
    select coop, giver, out_entry, s.line, s.account, null, 0, s.value, e.happened_on
      from ledger_entry e
      cross join lateral (values (3, giver_accounts[2], owed - cost),
                                 (4, giver_accounts[3], cost - owed)) s(line, account, value)
      where e.coop_id = coop and e.id = out_entry;
  end if;

  perform set_config('app.maker', receiver::text, true);
  insert into ledger_custody (coop_id, maker_id, lot_id, material_id, status, since)
  values (coop, receiver, t.lot_id, t.material_id, 'quarantine', clock_timestamp())
    on conflict do nothing;
  if basis is not null then
    update ledger_custody c set status = 'released', since = clock_timestamp()
      where c.coop_id = coop and c.maker_id = receiver and c.lot_id = t.lot_id
        and c.status <> 'released';
    insert into ledger_decision (coop_id, maker_id, id, lot_id, decision, basis, person_id,
      decided_at)
    values (coop, receiver, uuidv7(), t.lot_id, 'release', basis, accepted_by, clock_timestamp());
  end if;
  perform ledger_post_entry(in_entry, 'transfer_in', happened, accepted_by, '', '', told,
    receiver_accounts[2:2], receiver_accounts[1:1], array[t.lot_id], array[t.quantity],
    array[owed]);
  update ledger_transfer x set state = 'accepted', answered_at = clock_timestamp(),
      amount = owed, out_entry_id = out_entry, in_entry_id = in_entry
    where x.coop_id = coop and x.id = t.id;
  return owed;
end $$;
select walls.define('ledger_accept_transfer(uuid, timestamptz, int, int, text, uuid, uuid, uuid[],'
                    ' uuid[])');

-- What either side may know of the lots of these offers: what each is, and how it stands with
-- whoever gives it and with its origin, since the receiver has no custody yet.
create function ledger_show_offered(transfers uuid[]) returns table (
  id uuid, code text, supplier_id uuid, supplier_lot text, expires_on date, retest_on date,
  material_name text, counted boolean, giver text, receiver text, giver_status text,
  origin_name text, origin_status text)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select t.id, l.code, l.supplier_id, l.supplier_lot, l.expires_on, l.retest_on, m.name,
         m.measured_by = 'count', g.name, r.name, c.status, o.name, oc.status
    from ledger_transfer t
    join ledger_lot l on l.coop_id = t.coop_id and l.id = t.lot_id
    join ledger_material m on m.coop_id = t.coop_id and m.id = t.material_id
    join ledger_maker g on g.coop_id = t.coop_id and g.id = t.maker_id
    join ledger_maker r on r.coop_id = t.coop_id and r.id = t.to_maker_id
    join ledger_maker o on o.coop_id = t.coop_id and o.id = l.origin_id
    join ledger_custody c on c.coop_id = t.coop_id and c.maker_id = t.maker_id
      and c.lot_id = t.lot_id
    left join ledger_custody oc on oc.coop_id = t.coop_id and oc.maker_id = l.origin_id
      and oc.lot_id = t.lot_id
    where t.coop_id = nullif(current_setting('app.coop', true), '')::uuid
      and nullif(current_setting('app.maker', true), '')::uuid in (t.maker_id, t.to_maker_id)
      and t.id = any (transfers)
$$;
select walls.define('ledger_show_offered(uuid[])');
