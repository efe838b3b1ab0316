-- Bills that came after a round was handed out are shared among who got the goods: value alone
-- moves, between the buyer and each of them, in an entry in the books of either, paired by their
-- settlement accounts. What was handed out is recosted by nobody.

select walls.key('ledger_roundlatebill', false), walls.key('ledger_roundlatepart', true);
select walls.wall('ledger_roundlatebill', format('coop_id = %s', walls.reads('app.coop')),
                  format('coop_id = %s', walls.reads('app.coop'))),
       walls.wall('ledger_roundlatepart', seen, seen)
  from (select format('coop_id = %1$s and (maker_id = %2$s or to_maker_id = %2$s or %2$s is null)',
                      walls.reads('app.coop'), walls.reads('app.maker'))) s(seen);
select walls.link('ledger_roundlatebill', 'hand_out_id', 'ledger_roundhandout'),
       walls.link('ledger_roundlatepart', 'maker_id', 'ledger_maker'),
       walls.link('ledger_roundlatepart', 'to_maker_id', 'ledger_maker'),
       walls.link('ledger_roundlatepart', 'late_bill_id', 'ledger_roundlatebill'),
       walls.link('ledger_roundlatepart', 'portion_id', 'ledger_roundportion'),
       walls.link('ledger_roundlatepart', 'movement_id', 'ledger_movement'),
       walls.append_only('ledger_roundlatebill'), walls.append_only('ledger_roundlatepart');
-- Both are written by the function below alone.
revoke insert on ledger_roundlatebill, ledger_roundlatepart from stillroom;
grant select, insert on ledger_roundlatebill, ledger_roundlatepart to stillroom_ledger;

-- What was billed after the hand-out, for whoever hands out and for the co-op.
create function ledger_round_billed(round uuid) returns table (
  material_id uuid, goods numeric, charges numeric)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select c.material_id, c.late_goods, c.late_charges from ledger_round_arrived(round) c
    where coalesce(ledger_round_buyer(round)
                   = nullif(current_setting('app.maker', true), '')::uuid, true)
      and (c.late_goods <> 0 or c.late_charges <> 0)
$$;

-- How much of such a part falls on the goods that the acting maker still has of a lot, of so much
-- that it got: first in first out that is left of the layer, otherwise of the lot. A credit takes
-- no more than the layer holds.
create function ledger_late_to_stock(lot uuid, got numeric, amount numeric, digits int)
returns numeric stable language sql as $$
  select greatest(
      ledger_shown(amount * least(s.there, got) / got, digits),
      -trunc(s.value, digits))
    from (
      select coalesce(max(y.value), 0) as value,
             case when max(y.id::text) is null then 0
                  when max(o.cost_formula) = 'fifo' then coalesce(max(y.quantity), 0)
                  else coalesce(max(h.quantity), 0) end as there
        from ledger_custody c
        join ledger_pool o on o.coop_id = c.coop_id and o.maker_id = c.maker_id
          and o.material_id = c.material_id
        left join ledger_layer y on y.coop_id = c.coop_id and y.maker_id = c.maker_id
          and y.material_id = c.material_id
          and y.lot_id is not distinct from case when o.cost_formula <> 'average' then c.lot_id end
        left join ledger_holding h on h.coop_id = c.coop_id and h.maker_id = c.maker_id
          and h.lot_id = c.lot_id and h.kind = 'store'
        where c.coop_id = nullif(current_setting('app.coop', true), '')::uuid
          and c.maker_id = nullif(current_setting('app.maker', true), '')::uuid
          and c.lot_id = lot) s
$$;

-- Shares what was billed. Each part is of a portion and has its ids; that of what the buyer keeps
-- moves nothing. All that was ever shared is what was billed, but for the rounding to coins.
create function ledger_share_late_bills(
  shared uuid, round uuid, happened timestamptz, given_by int, why text, digits int, parts jsonb)
returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  acting uuid := nullif(current_setting('app.maker', true), '')::uuid;
  told jsonb := jsonb_build_object('late_bill', shared);
  done ledger_roundhandout;
  m record;
  to_stock numeric;
  moved uuid;
begin
  perform ledger_begin_hand_out(round);
  select * into done from ledger_roundhandout h where h.coop_id = coop and h.round_id = round;
  if done.id is null or happened < done.happened_at then
    raise exception 'The round is not handed out by then.'
      using errcode = '23514', constraint = 'late_bill_after_hand_out';
  end if;
  if (select count(*) from jsonb_array_elements(parts) x
        join ledger_roundportion p on p.coop_id = coop and p.hand_out_id = done.id
          and p.id = (x ->> 'portion')::uuid) <> jsonb_array_length(parts)
     or abs((select coalesce(sum(c.late_goods * least(c.came, d.ordered) / c.came
                                 + c.late_charges), 0)
               from ledger_round_arrived(round) c
               join ledger_round_delivered(round) d using (material_id))
            - (select coalesce(sum(p.amount), 0) from ledger_roundlatepart p
                 join ledger_roundlatebill b on b.coop_id = coop and b.id = p.late_bill_id
                 where p.coop_id = coop and b.hand_out_id = done.id)
            - (select coalesce(sum((x ->> 'amount')::numeric), 0)
                 from jsonb_array_elements(parts) x)) > power(10.0, -digits) then
    raise exception 'The parts are not what was billed.'
      using errcode = '23514', constraint = 'late_parts_as_billed';
  end if;
  insert into ledger_roundlatebill (coop_id, id, hand_out_id, happened_at, note, amount, person_id,
    recorded_at)
  select coop, shared, done.id, happened, why, sum((x ->> 'amount')::numeric), given_by,
         clock_timestamp() from jsonb_array_elements(parts) x;
  for m in
    select x.*, p.to_maker_id as other, p.quantity, p.transfer_id, t.lot_id
      from rows from (jsonb_to_recordset(parts) as (portion uuid, amount numeric, movement uuid,
             own_entry uuid, other_entry uuid, own_accounts uuid[], other_accounts uuid[]))
           with ordinality x
      join ledger_roundportion p on p.coop_id = coop and p.id = x.portion
      left join ledger_transfer t on t.coop_id = coop and t.id = p.transfer_id
      order by x.ordinality
  loop
    moved := null;
    if m.transfer_id is not null then
      perform ledger_revalue_from(m.own_entry, 'shared_bill', happened, given_by, why, told,
        m.own_accounts[1], m.own_accounts[2], m.own_accounts[3], array[m.lot_id], array[0.0],
        array[-m.amount]);
      perform set_config('app.maker', m.other::text, true);
      to_stock := ledger_late_to_stock(m.lot_id, m.quantity, m.amount, digits);
      begin
        perform ledger_revalue_from(m.other_entry, 'shared_bill', happened, given_by, why, told,
          m.other_accounts[1], m.other_accounts[2], m.other_accounts[3], array[m.lot_id],
          array[to_stock], array[m.amount - to_stock]);
      exception when check_violation then
        raise exception 'The books of the receiver refuse this.' using errcode = '23514',
          constraint = 'transfer_receiver_can';
      end;
      perform set_config('app.maker', acting::text, true);
      moved := m.movement;
      insert into ledger_movement (coop_id, maker_id, to_maker_id, id, kind, amount, happened_at,
        happened_on, recorded_at, note, person_id, transfer_id, entry_id, to_entry_id)
      select coop, w.owed, w.owing, moved, 'bill', abs(m.amount), happened, e.happened_on,
             clock_timestamp(), why, given_by, m.transfer_id, w.entry, w.to_entry
        from (select acting, m.other, m.own_entry, m.other_entry where m.amount > 0
              union all
              select m.other, acting, m.other_entry, m.own_entry where m.amount < 0)
             w(owed, owing, entry, to_entry)
        join ledger_entry e on e.coop_id = coop and e.id = w.entry;
    end if;
    insert into ledger_roundlatepart (coop_id, maker_id, to_maker_id, id, late_bill_id, portion_id,
      amount, movement_id)
    values (coop, acting, m.other, uuidv7(), shared, m.portion, m.amount, moved);
  end loop;
end $$;

-- Neither of the two takes such an entry back alone.
create function ledger_shared_bills_stay() returns trigger language plpgsql as $$
begin
  if exists (select from ledger_entry e where e.coop_id = new.coop_id and e.id = new.reverses_id
               and e.kind = 'shared_bill') then
    raise exception 'A shared bill is not reversed by one of the two.'
      using errcode = '23514', constraint = 'shared_bill_not_reversed';
  end if;
  return new;
end $$;
create trigger shared_bills_stay before insert on ledger_entry
  for each row when (new.reverses_id is not null) execute function ledger_shared_bills_stay();

select walls.define('ledger_round_billed(uuid)'),
       walls.define('ledger_share_late_bills(uuid, uuid, timestamptz, int, text, int, jsonb)');
