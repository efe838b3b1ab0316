-- Specifications, test results, retests; and what made another decision necessary.

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.append_only(t)
  from unnest(array['ledger_specification', 'ledger_specificationlimit', 'ledger_lotresult',
                    'ledger_retest']) t;
select walls.link('ledger_specification', 'material_id', 'ledger_material'),
       walls.link('ledger_specificationlimit', 'specification_id', 'ledger_specification', 'maker'),
       walls.link('ledger_lotresult', 'lot_id', 'ledger_lot'),
       walls.link('ledger_lotresult', 'limit_id', 'ledger_specificationlimit', 'maker'),
       walls.link('ledger_retest', 'lot_id', 'ledger_lot'),
       walls.link('ledger_retest', 'decision_id', 'ledger_decision', 'maker'),
       walls.link('ledger_decision', 'cause_id', 'ledger_decision', 'maker');

-- A retest date moves only by a record of the retest; an expiry date never moves, as nobody may
-- update it (walls.sql).
create function ledger_check_retest() returns trigger
language plpgsql as $$
begin
  if not exists (select from ledger_retest r
                   where r.coop_id = new.coop_id and r.lot_id = new.id
                     and r.retest_on = new.retest_on and r.retest_before = old.retest_on) then
    raise exception 'A retest date moves by a record of the retest.'
      using errcode = '23514', constraint = 'retest_has_record';
  end if;
  return new;
end $$;
create trigger check_retest before update of retest_on on ledger_lot
  for each row when (old.retest_on is not null and new.retest_on is distinct from old.retest_on)
  execute function ledger_check_retest();
