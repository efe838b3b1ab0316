-- Handing out what came of a round: the buyer moves to each maker what it is owed, once, and in one
-- transaction. Who pledged has agreed to its fair share, so nobody accepts what comes of it again.

select walls.key('ledger_roundhandout', false), walls.key('ledger_roundportion', true);
select walls.wall('ledger_roundhandout', format('coop_id = %s', walls.reads('app.coop')),
                  format('coop_id = %s', walls.reads('app.coop'))),
       walls.wall('ledger_roundportion', seen, seen)
  from (select format('coop_id = %1$s and (maker_id = %2$s or to_maker_id = %2$s or %2$s is null)',
                      walls.reads('app.coop'), walls.reads('app.maker'))) s(seen);
select walls.link('ledger_roundhandout', 'round_id', 'ledger_orderround'),
       walls.link('ledger_roundportion', 'maker_id', 'ledger_maker'),
       walls.link('ledger_roundportion', 'to_maker_id', 'ledger_maker'),
       walls.link('ledger_roundportion', 'hand_out_id', 'ledger_roundhandout'),
       walls.link('ledger_roundportion', 'material_id', 'ledger_material'),
       walls.link('ledger_roundportion', 'transfer_id', 'ledger_transfer'),
       walls.append_only('ledger_roundhandout'), walls.append_only('ledger_roundportion');
-- Both are written by the function below alone.
revoke insert on ledger_roundhandout, ledger_roundportion from stillroom;
grant select, insert on ledger_roundhandout, ledger_roundportion to stillroom_ledger;
grant select on ledger_offer, ledger_roundorder, ledger_roundorderline, ledger_roundplacement,
  ledger_roundshare, ledger_roundshareline, ledger_decanting, ledger_decantingdraw
  to stillroom_ledger;

-- Moves the portions out of the lots. `moves` are in order of material and maker, each with its
-- ids; one without a lot stays with the buyer. A receiver gets no more than the round has promised
-- it, to the step of a scale, and all pay what was paid.
create function ledger_hand_out(
  handed uuid, round uuid, happened timestamptz, given_by int, why text, paid numeric,
  within_alone boolean, digits int, deciders text[], moves jsonb) returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  acting uuid := nullif(current_setting('app.maker', true), '')::uuid;
  m record;
  t ledger_transfer;
  stands text;
  basis text;
begin
  perform ledger_begin_hand_out(round);
  insert into ledger_roundhandout (coop_id, id, round_id, happened_at, note, paid, within_alone,
    person_id, recorded_at)
  values (coop, handed, round, happened, why, paid, within_alone, given_by, clock_timestamp());
  if (select sum((x ->> 'amount')::numeric) from jsonb_array_elements(moves) x)
       is distinct from paid
     or exists (
       select from (select (x ->> 'maker')::uuid as maker, (x ->> 'material')::uuid as material,
                           sum((x ->> 'quantity')::numeric) as quantity
                      from jsonb_array_elements(moves) x group by 1, 2) g
         left join ledger_roundshareline l on l.coop_id = coop and l.round_id = round
           and l.dropped = '' and l.maker_id = g.maker and l.material_id = g.material
         where l.id is null or g.quantity >= l.quantity + l.leftover + 0.01) then
    raise exception 'The portions are not those of the round.'
      using errcode = '23514', constraint = 'round_portions_as_split';
  end if;
  for m in
    select x.*, p.person_id as taken_by, g.role
      from rows from (jsonb_to_recordset(moves) as (id uuid, maker uuid, material uuid, lot uuid,
             quantity numeric, amount numeric, entered text, out_entry uuid, in_entry uuid,
             giver_accounts uuid[], receiver_accounts uuid[])) with ordinality x
      join ledger_roundshareline l on l.coop_id = coop and l.round_id = round and l.dropped = ''
        and l.maker_id = x.maker and l.material_id = x.material
      join ledger_roundpledge p on p.coop_id = coop and p.id = l.pledge_id
      left join ledger_membership g on g.coop_id = coop and g.maker_id = x.maker
        and g.person_id = p.person_id
      order by x.ordinality
  loop
    if m.lot is not null then
      select c.status into stands from ledger_custody c
        where c.coop_id = coop and c.maker_id = acting and c.lot_id = m.lot;
      if stands is distinct from 'released' then
        raise exception 'The lot is not released.' using errcode = '23514',
          constraint = 'round_lot_released',
          detail = ledger_lot_facts(m.lot) || jsonb_build_object('status', stands);
      end if;
      -- As with a claim: it arrives released where whoever pledged may release lots.
      select 'released by ' || g.name || ', as it came' into basis from ledger_maker g
        where g.coop_id = coop and g.id = acting and m.role = any (deciders) and not exists (
          select from ledger_custody h
            where h.coop_id = coop and h.maker_id = m.maker and h.lot_id = m.lot);
      insert into ledger_transfer (coop_id, maker_id, to_maker_id, id, lot_id, material_id, entered,
        quantity, price, note, happened_at, person_id, offered_at, state, reason)
      values (coop, acting, m.maker, m.id, m.lot, m.material, m.entered, m.quantity, m.amount, why,
              happened, given_by, clock_timestamp(), 'open', '')
        returning * into t;
      perform ledger_move_between(t, happened, given_by, m.taken_by, digits, basis, m.out_entry,
        m.in_entry, m.giver_accounts, m.receiver_accounts);
    end if;
    insert into ledger_roundportion (coop_id, maker_id, to_maker_id, id, hand_out_id, material_id,
      quantity, amount, transfer_id)
    values (coop, acting, m.maker, uuidv7(), handed, m.material, m.quantity, m.amount,
            case when m.lot is not null then m.id end);
  end loop;
end $$;

select walls.define('ledger_hand_out(uuid, uuid, timestamptz, int, text, numeric, boolean, int,'
                    ' text[], jsonb)');
