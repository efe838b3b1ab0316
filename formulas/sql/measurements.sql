-- Windows and measurements: a maker's own, only ever added.

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.append_only(t)
  from unnest(array['formulas_window', 'formulas_measurement']) t;
select walls.link('formulas_window', 'version_id', 'formulas_formulaversion', 'maker'),
       walls.link('formulas_measurement', 'batch_id', 'formulas_batch', 'maker'),
       walls.link('formulas_measurement', 'corrects_id', 'formulas_measurement', 'maker');

-- What corrects a measurement is of the same batch, and nothing is measured in the future (a
-- minute's grace: the clock of whoever tells us is not the database's own).
alter table formulas_measurement
  add constraint measurement_of_batch unique (coop_id, batch_id, id),
  add constraint measurement_corrects_same_batch foreign key (coop_id, batch_id, corrects_id)
    references formulas_measurement (coop_id, batch_id, id),
  add constraint measurement_not_in_future
    check (happened_at <= recorded_at + interval '1 minute');

-- A version that a batch has used is frozen, its windows too.
create function formulas_check_window() returns trigger language plpgsql as $$
begin
  if exists (
    select from formulas_batch b where b.coop_id = new.coop_id and b.version_id = new.version_id)
  then
    raise exception 'A version that a batch has used is frozen.'
      using errcode = '23514', constraint = 'version_frozen';
  end if;
  return new;
end $$;
create trigger check_window before insert on formulas_window
  for each row execute function formulas_check_window();
