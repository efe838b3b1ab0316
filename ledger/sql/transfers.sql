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
