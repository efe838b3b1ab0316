-- Goods cross the inner wall here and nowhere else: they leave the giver's store at what they cost
-- there, and enter the receiver's at the agreed amount; the amount is what the receiver owes. One
-- entry in each maker's books, paired by settlement accounts.
--
-- The pools of both are locked in order of material and maker, as every other entry locks its own
-- in order of material, so that moves which cross each other cannot wait in a ring.
create or replace function ledger_move_between(
  t ledger_transfer, happened timestamptz, given_by int, taken_by int, digits int, basis text,
  out_entry uuid, in_entry uuid, giver_accounts uuid[], receiver_accounts uuid[]) returns numeric
language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  acting uuid := nullif(current_setting('app.maker', true), '')::uuid;
  giver uuid := t.maker_id;
  receiver uuid := t.to_maker_id;
  who uuid;
  stands text;
  opened date;
  lasts date;
  none_left boolean;
  free numeric;
  cost numeric;
  owed numeric;
  told jsonb := jsonb_build_object('transfer', t.id);
  rule text;
  -- What is owed in goods is kept apart from what is owed in money.
  owing text := case when t.in_kind then 'loan' else 'settlement' end;
  first ledger_transfer;
  back_quantity numeric;
  back_amount numeric;
begin
  if happened < t.happened_at then
    raise exception 'The goods were not offered yet.' using errcode = '23514',
      constraint = 'transfer_after_its_offer',
      detail = jsonb_build_object('offered', t.happened_at);
  end if;
  insert into ledger_account (coop_id, maker_id, id, kind, name, created_at)
  select coop, a.maker_id, a.id, a.kind, a.name, clock_timestamp()
    from (select giver as maker_id, giver_accounts[2] as id, owing as kind, m.name
            from ledger_maker m where m.coop_id = coop and m.id = receiver
          union all
          select giver, giver_accounts[3], 'transfer', 'gain or loss on moves between makers'
          union all
          select receiver, receiver_accounts[2], owing, m.name
            from ledger_maker m where m.coop_id = coop and m.id = giver) a
    order by a.maker_id, a.id on conflict do nothing;
  foreach who in array array[least(giver, receiver), greatest(giver, receiver)] loop
    perform set_config('app.maker', who::text, true);
    perform ledger_make_pools(array[t.material_id]);
  end loop;
  perform from ledger_pool p where p.coop_id = coop and p.maker_id in (giver, receiver)
    and p.material_id = t.material_id order by p.material_id, p.maker_id for update;

  select c.status, o.opened_on, o.use_by into stands, opened, lasts from ledger_custody c
    left join ledger_open_since(giver, t.lot_id) o on true
    where c.coop_id = coop and c.maker_id = giver and c.lot_id = t.lot_id;
  if stands in ('hold', 'rejected') then
    raise exception 'The lot may not move.' using errcode = '23514',
      constraint = 'transfer_lot_moves',
      detail = ledger_lot_facts(t.lot_id) || jsonb_build_object('status', stands);
  end if;
  free := ledger_free_to_give(giver, t.lot_id);
  if free < t.quantity then
    -- What the giver has, promised to whom, is its own affair; another is told only what is free.
    raise exception 'The giver has less left than was offered.' using errcode = '23514',
      constraint = 'transfer_still_there',
      detail = ledger_lot_facts(t.lot_id)
        || jsonb_build_object('left', greatest(free, 0), 'wanted', t.quantity, 'batches', case
             when acting = giver then ledger_promised_to(giver, t.lot_id) else '[]' end);
  end if;

  perform set_config('app.maker', giver::text, true);
  begin
    cost := (ledger_post_entry(out_entry, 'transfer_out', happened, given_by, '', '', told,
      giver_accounts[1:1], giver_accounts[2:2], array[t.lot_id], array[t.quantity],
      array[null]::numeric[]))[1];
  exception when check_violation then
    if acting = giver then
      raise;
    end if;
    get stacked diagnostics rule = constraint_name;
    raise exception 'The books of the giver refuse this.' using errcode = '23514',
      constraint = 'transfer_giver_can', detail = jsonb_build_object('rule', rule);
  end;
  -- What is given back goes at the price at which it came; whoever gives back the last gram gives
  -- back the last cent. The lock on the pools lets no other answer come in between.
  select * into first from ledger_transfer x where x.coop_id = coop and x.id = t.answers_id;
  if first.id is not null then
    select coalesce(sum(x.quantity), 0), coalesce(sum(x.amount), 0)
      into back_quantity, back_amount from ledger_transfer x
      where x.coop_id = coop and x.answers_id = first.id and x.state = 'accepted';
    if back_quantity + t.quantity > first.quantity then
      raise exception 'More comes back than was given.' using errcode = '23514',
        constraint = 'transfer_answers_no_more', detail = ledger_lot_facts(t.lot_id)
          || jsonb_build_object('left', first.quantity - back_quantity);
    end if;
    t.price := ledger_shown(ledger_part(first.amount - back_amount, t.quantity,
                                        first.quantity - back_quantity), digits);
  end if;
  owed := coalesce(t.price,
                   ledger_shown(cost * (1 + coalesce(t.percent, 0) * 0.01), digits));
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
    values (coop, receiver, uuidv7(), t.lot_id, 'release', basis, taken_by, clock_timestamp());
  end if;
  none_left := not exists (select from ledger_holding h
    where h.coop_id = coop and h.maker_id = receiver and h.lot_id = t.lot_id and h.any_left
      and h.kind in ('store', 'batch', 'consignment'));
  begin
    perform ledger_post_entry(in_entry, 'transfer_in', happened, taken_by, '', '', told,
      receiver_accounts[2:2], receiver_accounts[1:1], array[t.lot_id], array[t.quantity],
      array[owed]);
  exception when check_violation then
    if acting = receiver then
      raise;
    end if;
    raise exception 'The books of the receiver refuse this.' using errcode = '23514',
      constraint = 'transfer_receiver_can';
  end;
  -- What comes out of an open container is open, too, and so is all that the receiver has of it, by
  -- whichever is to be used first. Whoever had used up what it had, has what came now, and that may
  -- be sealed: its draws of old are of another container.
  insert into ledger_lotopening (coop_id, maker_id, id, lot_id, opened_on, use_within_days, reason,
    entry_id, person_id, recorded_at)
  select coop, receiver, uuidv7(), t.lot_id, opened, lasts - opened, '', in_entry, taken_by,
         clock_timestamp()
    from ledger_custody c
    left join ledger_open_since(receiver, t.lot_id) o on true
    where c.coop_id = coop and c.maker_id = receiver and c.lot_id = t.lot_id
      and case when none_left then (c.opened_on, c.use_by) is distinct from (opened, lasts)
                                   or opened is null and o.opened_on is not null
          else opened is not null and (o.opened_on is null
            or (coalesce(lasts, 'infinity'), opened)
               < (coalesce(o.use_by, 'infinity'), o.opened_on)) end;
  update ledger_transfer x set state = 'accepted', answered_at = clock_timestamp(),
      amount = owed, out_entry_id = out_entry, in_entry_id = in_entry
    where x.coop_id = coop and x.id = t.id;
  insert into ledger_movement (coop_id, maker_id, to_maker_id, id, kind, amount, happened_at,
    happened_on, recorded_at, note, person_id, transfer_id, entry_id, to_entry_id)
  select coop, giver, receiver, uuidv7(), 'goods', owed, happened, e.happened_on,
         clock_timestamp(), t.note, given_by, t.id, out_entry, in_entry
    from ledger_entry e
    where e.coop_id = coop and e.id = in_entry and owed > 0 and not t.in_kind;
  perform set_config('app.maker', acting::text, true);
  return owed;
end $$;

-- What lies in a maker's store of a lot and is promised to none of its batches.
create or replace function ledger_free_to_give(maker uuid, lot uuid) returns numeric
language sql stable as $$
  with own(coop) as (select nullif(current_setting('app.coop', true), '')::uuid)
  select coalesce((select sum(h.quantity) from ledger_holding h where h.coop_id = own.coop
                     and h.maker_id = maker and h.lot_id = lot and h.kind = 'store'), 0)
       - coalesce((select sum(r.quantity) from ledger_reservation r where r.coop_id = own.coop
                     and r.maker_id = maker and r.lot_id = lot), 0)
    from own
$$;

-- The codes of the batches to which some of a lot is promised.
create or replace function ledger_promised_to(maker uuid, lot uuid) returns jsonb
language sql stable as $$
  select coalesce(jsonb_agg(a.name order by a.name), '[]')
    from ledger_reservation r
    join ledger_account a on a.coop_id = r.coop_id and a.id = r.account_id
    where r.coop_id = nullif(current_setting('app.coop', true), '')::uuid
      and r.maker_id = maker and r.lot_id = lot and r.quantity > 0
$$;

-- Accepts an offer that was made to the acting maker.
create or replace function ledger_accept_transfer(
  transfer uuid, happened timestamptz, accepted_by int, digits int, basis text,
  out_entry uuid, in_entry uuid, giver_accounts uuid[], receiver_accounts uuid[]) returns numeric
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  t ledger_transfer := ledger_lock_offer(transfer, true);
begin
  return ledger_move_between(t, happened, t.person_id, accepted_by, digits, basis, out_entry,
    in_entry, giver_accounts, receiver_accounts);
end $$;
select walls.define('ledger_accept_transfer(uuid, timestamptz, int, int, text, uuid, uuid, uuid[],'
                    ' uuid[])');
