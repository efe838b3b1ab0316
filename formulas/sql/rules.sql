-- What must be true of formulas and batches, whoever writes them.

-- The lines of a version make exactly 100 %; nothing can be added to a version that is complete.
create function formulas_check_hundred() returns trigger language plpgsql as $$
declare bad record;
begin
  select l.version_id, sum(l.percent) as total into bad
    from (select distinct coop_id, version_id from added) a
    join formulas_line l on l.coop_id = a.coop_id and l.version_id = a.version_id
    group by l.version_id having sum(l.percent) <> 100 limit 1;
  if found then
    raise exception 'The lines make % %%, not 100 %%.', bad.total
      using errcode = '23514', constraint = 'formula_percent_100',
        detail = json_build_object('total', trim_scale(bad.total));
  end if;
  return null;
end $$;
create trigger check_hundred after insert on formulas_line
  referencing new table as added for each statement execute function formulas_check_hundred();

-- A version without any line would pass the check above.
create function formulas_check_version() returns trigger language plpgsql as $$
begin
  if not exists (
    select from formulas_line l where l.coop_id = new.coop_id and l.version_id = new.id)
  then
    raise exception 'A version has lines.' using errcode = '23514',
      constraint = 'formula_percent_100', detail = json_build_object('total', 0);
  end if;
  return null;
end $$;
create constraint trigger check_version after insert on formulas_formulaversion
  deferrable initially deferred for each row execute function formulas_check_version();

-- Whoever changes what contains what waits for a turn, so that two changes, each without a cycle,
-- cannot make one together.
create function formulas_take_turn(maker uuid) returns void language sql as $$
  select pg_advisory_xact_lock(hashtextextended('formulas of ' || maker, 0))
$$;

-- No formula contains itself: walks down from the given version through the versions in force.
create function formulas_refuse_cycle(coop uuid, written uuid) returns void language plpgsql as $$
declare own record;
begin
  select f.id, f.name into own from formulas_formulaversion v
    join formulas_formula f on f.coop_id = coop and f.id = v.formula_id
    where v.coop_id = coop and v.id = written;
  if exists (
    with recursive below(id) as (
      select l.component_id from formulas_line l
        where l.coop_id = coop and l.version_id = written and l.component_id is not null
      union
      select l.component_id from below b
        join formulas_formula f on f.coop_id = coop and f.id = b.id
        join formulas_formulaversion v
          on v.coop_id = coop and v.formula_id = f.id and v.number = f.version
        join formulas_line l
          on l.coop_id = coop and l.version_id = v.id and l.component_id is not null
    ) select from below where id = own.id)
  then
    raise exception 'The formula % would contain itself.', own.name using errcode = '23514',
      constraint = 'formula_cycle', detail = json_build_object('formula', own.name);
  end if;
end $$;

create function formulas_check_lines() returns trigger language plpgsql as $$
begin
  perform formulas_take_turn(a.maker_id) from (select distinct maker_id from added) a;
  perform formulas_refuse_cycle(a.coop_id, a.version_id) from (
    select distinct coop_id, version_id from added where component_id is not null) a;
  return null;
end $$;
create trigger check_lines after insert on formulas_line
  referencing new table as added for each statement execute function formulas_check_lines();

-- Versions are counted up, one by one; what a formula makes stays.
create function formulas_check_formula() returns trigger language plpgsql as $$
begin
  if new.version not in (old.version, old.version + 1) or new.material_id <> old.material_id then
    raise exception 'A formula goes from one version to the next.'
      using errcode = '23514', constraint = 'formula_next_version';
  end if;
  perform formulas_take_turn(new.maker_id);
  perform formulas_refuse_cycle(new.coop_id, v.id) from formulas_formulaversion v
    where v.coop_id = new.coop_id and v.formula_id = new.id and v.number = new.version;
  return null;
end $$;
create trigger check_formula after update on formulas_formula
  for each row execute function formulas_check_formula();

-- A batch is made from the version and for the amounts that it was planned with: only its state
-- changes.
create function formulas_keep_plan() returns trigger language plpgsql as $$
begin
  if to_jsonb(old) - array['state', 'making_id', 'cancel_entry_id', 'note']
     <> to_jsonb(new) - array['state', 'making_id', 'cancel_entry_id', 'note'] then
    raise exception 'The plan of a batch stays; cancel it and plan anew.'
      using errcode = '23514', constraint = 'batch_plan_kept';
  end if;
  return new;
end $$;
create trigger keep_plan before update on formulas_batch
  for each row execute function formulas_keep_plan();
