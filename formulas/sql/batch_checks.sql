-- Checks of a batch: a maker's own, only ever added; approved by nobody who weighed.
select walls.key('formulas_batchcheck', true), walls.of_maker('formulas_batchcheck'),
       walls.link('formulas_batchcheck', 'maker_id', 'ledger_maker'),
       walls.link('formulas_batchcheck', 'batch_id', 'formulas_batch', 'maker'),
       walls.append_only('formulas_batchcheck');

create function formulas_check_approval() returns trigger language plpgsql as $$
begin
  if exists (select from formulas_weighing w
               where w.coop_id = new.coop_id and w.batch_id = new.batch_id
                 and w.person_id = new.person_id
                 and not exists (select from ledger_entry e
                   where e.coop_id = w.coop_id and e.reverses_id = w.entry_id)) then
    raise exception 'Whoever weighed something of a batch does not approve it.'
      using errcode = '23514', constraint = 'batch_approved_by_another';
  end if;
  return new;
end $$;
create trigger check_approval before insert on formulas_batchcheck
  for each row when (new.kind = 'approval') execute function formulas_check_approval();
