-- That what is added to effect is enough: a maker's own word, only ever added, while the batch is
-- still made.
select walls.key('formulas_enough', true), walls.of_maker('formulas_enough'),
       walls.link('formulas_enough', 'maker_id', 'ledger_maker'),
       walls.link('formulas_enough', 'line_id', 'formulas_batchline', 'maker'),
       walls.append_only('formulas_enough');

create function formulas_check_enough() returns trigger language plpgsql as $$
begin
  if not exists (select from formulas_batchline l
                   join formulas_batch b on b.coop_id = l.coop_id and b.id = l.batch_id
                   where l.coop_id = new.coop_id and l.id = new.line_id
                     and l.kind = 'to_effect' and b.state = 'planned') then
    raise exception 'Only of what is added to effect is it said that it is enough.'
      using errcode = '23514', constraint = 'enough_to_effect';
  end if;
  return new;
end $$;
create trigger check_enough before insert on formulas_enough
  for each row execute function formulas_check_enough();
