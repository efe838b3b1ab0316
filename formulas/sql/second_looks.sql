-- A second look at a weighing: a maker's own, only ever added, and never by whoever weighed.
select walls.key('formulas_secondlook', true), walls.of_maker('formulas_secondlook'),
       walls.link('formulas_secondlook', 'maker_id', 'ledger_maker'),
       walls.link('formulas_secondlook', 'weighing_id', 'formulas_weighing', 'maker'),
       walls.append_only('formulas_secondlook');

create function formulas_check_second_look() returns trigger language plpgsql as $$
begin
  if exists (select from formulas_weighing w
               where w.coop_id = new.coop_id and w.id = new.weighing_id
                 and w.person_id = new.person_id) then
    raise exception 'Whoever weighed does not look a second time.'
      using errcode = '23514', constraint = 'second_look_by_another';
  end if;
  return new;
end $$;
create trigger check_second_look before insert on formulas_secondlook
  for each row execute function formulas_check_second_look();
