-- The loss of an infusion follows from its spent lines, its retention and its evaporation; nothing
-- is spent in what is no infusion. A version and its lines come together, so this looks at the end.
create or replace function formulas_check_infusion() returns trigger language plpgsql as $$
declare spent numeric;
begin
  select sum(l.percent) into spent from formulas_line l
    where l.coop_id = new.coop_id and l.version_id = new.id and l.spent;
  if (new.retention is null) <> (spent is null)
     or abs(spent * (1 + new.retention) + new.evaporation_percent - new.process_loss_percent)
        > 0.000001 then
    raise exception 'The loss of an infusion follows from what is spent.'
      using errcode = '23514', constraint = 'formula_infusion_follows';
  end if;
  return null;
end $$;
create constraint trigger check_infusion after insert on formulas_formulaversion
  deferrable initially deferred for each row execute function formulas_check_infusion();
