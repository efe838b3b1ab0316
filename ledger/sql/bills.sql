-- Bills that came after their delivery: value without goods, into the layers and beside them.

select walls.key(t, true), walls.of_maker(t), walls.append_only(t)
  from unnest(array['ledger_bill', 'ledger_billline', 'ledger_billuse']) t;
select walls.link('ledger_bill', 'receipt_id', 'ledger_receipt', 'maker'),
       walls.link('ledger_bill', 'entry_id', 'ledger_entry', 'maker'),
       walls.link('ledger_bill', 'supplier_id', 'ledger_supplier'),
       walls.link('ledger_billline', 'bill_id', 'ledger_bill', 'maker'),
       walls.link('ledger_billline', 'line_id', 'ledger_receiptline', 'maker'),
       walls.link('ledger_billuse', 'line_id', 'ledger_billline', 'maker'),
       walls.link('ledger_billuse', 'account_id', 'ledger_account', 'maker'),
       walls.link('ledger_billuse', 'entry_id', 'ledger_entry', 'maker');
grant select on ledger_bill, ledger_receipt to stillroom_ledger;

-- A delivery is not undone while its bills stand. A bill is not undone once goods left the layers
-- at the cost that it gave them: they took a part of it along, and nobody gives that back.
create function ledger_keep_bills() returns trigger language plpgsql as $$
declare
  way json;
begin
  select json_build_object('entries', json_agg(s.entry_id order by s.entry_id),
                           'formula_changed', bool_or(s.formula_changed),
                           'bill', bool_or(s.of_bill))
    into way from (
    select b.entry_id, false as formula_changed, false as of_bill
      from ledger_receipt r
      join ledger_bill b on b.coop_id = r.coop_id and b.maker_id = r.maker_id
        and b.receipt_id = r.id
      where r.coop_id = new.coop_id and r.maker_id = new.maker_id
        and r.entry_id = new.reverses_id
    union
    select x.id, x.kind = 'cost_formula', true
      from ledger_bill b
      join ledger_entry e on e.coop_id = b.coop_id and e.id = b.entry_id
      join ledger_layerposting p on p.coop_id = b.coop_id and p.entry_id = b.entry_id
      join ledger_layerposting later on later.coop_id = b.coop_id and later.layer_id = p.layer_id
      -- The moment of recording is taken under the pool's lock; ids may be older than it.
      join ledger_entry x on x.coop_id = b.coop_id and x.id = later.entry_id
        and x.recorded_at > e.recorded_at and (later.quantity < 0 or x.kind = 'cost_formula')
      left join ledger_entry o on o.coop_id = b.coop_id and o.id = x.reverses_id
      where b.coop_id = new.coop_id and b.entry_id = new.reverses_id
        and coalesce(o.recorded_at <= e.recorded_at, true)
  ) s
    where not exists (select from ledger_entry u
      where u.coop_id = new.coop_id and u.reverses_id = s.entry_id)
    having count(*) > 0;
  if way is not null then
    raise exception 'What the entry moved has been used since.' using errcode = '23514',
      constraint = 'entry_not_used_since', detail = way;
  end if;
  return new;
end $$;
create trigger keep_bills before insert on ledger_entry for each row
  when (new.reverses_id is not null) execute function ledger_keep_bills();
