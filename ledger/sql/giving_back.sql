-- What is given back answers the move that brought it, the other way, and once.

select walls.link('ledger_transfer', 'answers_id', 'ledger_transfer');
create function ledger_check_answer() returns trigger language plpgsql as $$
begin
  if not exists (
      select from ledger_transfer f where f.coop_id = new.coop_id and f.id = new.answers_id
        and f.state = 'accepted' and f.answers_id is null and f.in_kind = new.in_kind
        and f.maker_id = new.to_maker_id and f.to_maker_id = new.maker_id
        and f.material_id = new.material_id and (f.in_kind or f.lot_id = new.lot_id)) then
    raise exception 'Only what came from that maker is given back to it.'
      using errcode = '23514', constraint = 'transfer_answers_its_move';
  end if;
  return new;
end $$;
create trigger check_answer before insert on ledger_transfer
  for each row when (new.answers_id is not null) execute function ledger_check_answer();
